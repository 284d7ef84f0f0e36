"""Errors of a mean that no scatter of strides shows: what all strides of a clip share, and what tracking leaves."""

from collections.abc import Sequence

import numpy as np

from gait.compare.clipwise import off_by
from gait.compare.compared import Compared
from gait.compare.rows import rows_of
from gait.nouns import GaitRecord
from pose.tracks import FloatArray


def common_sd(records: Sequence[GaitRecord], gait: str, row: Compared) -> float:
    """SD of the mean over all strides from errors that the strides of a clip share and clips do not: of the belt line,
    and of where a network finds landmarks (nothing is known of landmarks that came as a table)."""
    rows = [rows_of(record, gait, row.pair) for record in records]
    n = sum(int(mine.sum()) for mine in rows)
    parts = []
    for record, mine in zip(records, rows, strict=True):
        values = record.strides.measures[row.column][mine]
        usual = float(np.abs(values[np.isfinite(values)]).mean()) if np.isfinite(values).any() else 0.0
        own = record.strides.common_sd.get(row.column, 0.0)
        read = off_by(row.name, usual) if record.network_hash else 0.0
        parts.append(int(mine.sum()) / n * np.hypot(own, read))
    return float(np.linalg.norm(parts)) if n else 0.0


def tracking_sd(records: Sequence[GaitRecord], gait: str, row: Compared) -> float:
    """The least SD that tracking leaves to the mean over n strides: that of one stride / n, as for the time of n
    strides in a row, of which the first and the last event alone are in error (derived). 0 where it is not known."""
    doubts: FloatArray = np.concatenate(
        [record.strides.measures_sd[row.column][rows_of(record, gait, row.pair)] for record in records]
    )
    doubts = doubts[np.isfinite(doubts)]
    return float(np.sqrt((doubts**2).mean())) / len(doubts) if len(doubts) else 0.0
