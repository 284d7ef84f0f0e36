"""Which strides of a record count for a compared measure, and their values."""

from collections.abc import Sequence

import numpy as np

from gait.compare.compared import Compared
from gait.footfalls import wrap_half
from gait.nouns import GaitRecord
from gait.summaries import mean_of
from pose.landmarks import NEAR_FORE, NEAR_HIND
from pose.tracks import BoolArray, FloatArray


def rows_of(record: GaitRecord, gait: str, pair: str) -> BoolArray:
    """(S,) bool, used strides of that gait of the near paw of ``pair`` ("fore", "hind"; "" = the hind's)."""
    strides = record.strides
    paw = NEAR_FORE if pair == "fore" else NEAR_HIND
    return np.asarray(strides.used & (strides.paw == paw) & (strides.gait == gait))


def values_of(records: Sequence[GaitRecord], gait: str, row: Compared) -> list[FloatArray]:
    """Known values of each clip in the order of time; clips without any are left out."""
    found = []
    for record in records:
        rows = np.flatnonzero(rows_of(record, gait, row.pair))
        rows = rows[np.argsort(record.strides.start_s[rows], kind="stable")]
        values = record.strides.measures[row.column][rows]
        values = values[np.isfinite(values)]
        if len(values):
            found.append(np.asarray(values))
    return found


def unrolled(row: Compared, sets: Sequence[Sequence[FloatArray]]) -> list[list[FloatArray]]:
    """Values on a circle laid out around the mean of the first set with any, so that they can be averaged."""
    first = next((clips for clips in sets if clips), ())
    if row.measure.circle is None or not first:
        return [list(clips) for clips in sets]
    middle = mean_of(row.measure, np.concatenate(list(first)))
    return [[middle + wrap_half(values - middle) for values in clips] for clips in sets]
