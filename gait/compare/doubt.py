"""Errors of a mean that no scatter of strides shows: what all strides of a clip share, and what tracking leaves."""

from collections.abc import Sequence

import numpy as np

from gait.compare.compared import Compared
from gait.compare.rows import rows_of
from gait.compare.settings import CompareSettings
from gait.nouns import GaitRecord
from pose.tracks import FloatArray


def common_sd(records: Sequence[GaitRecord], gait: str, row: Compared, settings: CompareSettings) -> float:
    """SD of the mean over all strides from errors that the strides of a clip share and clips do not."""
    rows = [rows_of(record, gait, row.pair) for record in records]
    n = sum(int(mine.sum()) for mine in rows)
    parts = []
    for record, mine in zip(records, rows, strict=True):
        values = record.strides.measures[row.column][mine]
        usual = float(np.abs(values[np.isfinite(values)]).mean()) if np.isfinite(values).any() else 0.0
        own = record.strides.common_sd.get(row.column, 0.0)
        parts.append(int(mine.sum()) / n * np.hypot(own, _placed(record, row, usual, settings)))
    return float(np.linalg.norm(parts)) if n else 0.0


def _placed(record: GaitRecord, row: Compared, usual: float, settings: CompareSettings) -> float:
    """What the placing of withers and croup by a network does to a measure of size ``usual``, in its unit (derived)."""
    if not record.network_hash:
        return 0.0
    one = settings.placed_bl
    if row.column == "topline_deg":
        return float(np.degrees(np.sqrt(2) * one))
    if row.column in ("protraction_deg", "retraction_deg"):
        return float(np.degrees(one))  # legs are about as long as the line from withers to croup
    return float(np.sqrt(2) * one * usual) if row.column.endswith("_bl") else 0.0


def tracking_sd(records: Sequence[GaitRecord], gait: str, row: Compared) -> float:
    """The least SD that tracking leaves to the mean over n strides: that of one stride / n, as for the time of n
    strides in a row, of which the first and the last event alone are in error (derived). 0 where it is not known."""
    doubts: FloatArray = np.concatenate(
        [record.strides.measures_sd[row.column][rows_of(record, gait, row.pair)] for record in records]
    )
    doubts = doubts[np.isfinite(doubts)]
    return float(np.sqrt((doubts**2).mean())) / len(doubts) if len(doubts) else 0.0
