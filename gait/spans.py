"""Sums, means and medians over many spans of frames at once, however unequal their lengths."""

import numpy as np

from pose.tracks import FloatArray, IntArray


def frames_of(first: IntArray, stop: IntArray) -> tuple[IntArray, IntArray]:
    """Frames first..stop - 1 of every span one after the other (M,), and the span each belongs to (M,)."""
    length = np.maximum(stop - first, 0)
    span = np.repeat(np.arange(len(first)), length)
    begin = np.cumsum(length) - length
    return np.arange(len(span)) - begin[span] + first[span], span


def span_sum(values: FloatArray, span: IntArray, count: int) -> FloatArray:
    """(count,) sums of ``values`` (M,) over each span."""
    return np.asarray(np.bincount(span, weights=values, minlength=count), dtype=np.float64)


def span_mean(values: FloatArray, span: IntArray, count: int) -> FloatArray:
    """(count,) means; NaN for an empty span."""
    number = np.bincount(span, minlength=count)
    return np.where(number > 0, span_sum(values, span, count) / np.maximum(number, 1), np.nan)


def span_median(values: FloatArray, span: IntArray, count: int) -> FloatArray:
    """(count,) medians of finite ``values`` (M,); NaN for an empty span."""
    if not len(values):
        return np.full(count, np.nan)
    ranked = values[np.lexsort((values, span))]
    number = np.bincount(span, minlength=count)
    begin = np.cumsum(number) - number
    low = np.minimum(begin + np.maximum(number - 1, 0) // 2, len(values) - 1)
    high = np.minimum(begin + number // 2, len(values) - 1)
    return np.where(number > 0, (ranked[low] + ranked[high]) / 2, np.nan)


def span_range(values: FloatArray, span: IntArray, count: int) -> FloatArray:
    """(count,) largest minus smallest of ``values`` (M,), spans in rising order; NaN for an empty span."""
    number = np.bincount(span, minlength=count)
    full = np.flatnonzero(number)
    found = np.full(count, np.nan)
    if len(full):
        begin = (np.cumsum(number) - number)[full]
        found[full] = np.maximum.reduceat(values, begin) - np.minimum.reduceat(values, begin)
    return found


def median(values: FloatArray) -> float:
    """Median of finite ``values`` (M,), at least one."""
    middle = len(values) // 2
    ranked = np.partition(values, [max(middle - 1, 0), middle] if len(values) % 2 == 0 else middle)
    return float(ranked[middle] if len(values) % 2 else (ranked[middle - 1] + ranked[middle]) / 2)
