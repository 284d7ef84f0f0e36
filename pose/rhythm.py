"""How many frames a stride takes, from the paths of the paws alone: no clock, no contacts, no names."""

from dataclasses import dataclass

import numpy as np

from pose.landmarks import CROUP, PAWS, WITHERS
from pose.tracks import FloatArray


@dataclass(frozen=True, slots=True)
class RhythmSettings:
    """When a repetition counts as a stride.

    least_frames  frames, shorter repetitions are scatter: a galloping dog takes a stride in 0.3 s, 7 frames at 24 per
                  second
    least_strides strides that the clip has to hold for a repetition to be seen
    least_alike   0..1, lowest correlation of the paths with themselves one stride later; our own choice
    first_share   share of the highest correlation from which an earlier one is taken: two strides look like one
    seen_share    share of the frames in which a paw must be seen to be asked
    """

    least_frames: int = 6
    least_strides: float = 1.6
    least_alike: float = 0.4
    first_share: float = 0.7
    seen_share: float = 0.5


def stride_frames(xy_px: FloatArray, settings: RhythmSettings = RhythmSettings()) -> float:
    """Frames per stride from landmarks (T, 6, 2) px, or NaN when nothing repeats itself."""
    longest = int(len(xy_px) / settings.least_strides)
    paths = _forward_paths(xy_px, settings)
    if not len(paths) or longest <= settings.least_frames:
        return float("nan")
    alike = _alike(paths, longest)
    inner = alike[1:-1]
    tops = 1 + np.flatnonzero((inner >= alike[:-2]) & (inner > alike[2:]))
    tops = tops[(tops >= settings.least_frames) & (alike[tops] >= settings.least_alike)]
    if not len(tops):
        return float("nan")
    return float(tops[np.flatnonzero(alike[tops] >= settings.first_share * alike[tops].max())[0]])


def _forward_paths(xy_px: FloatArray, settings: RhythmSettings) -> FloatArray:
    """(P, T) px, places of the paws along the picture from the middle of the topline, without gaps, drift and mean."""
    rows = np.arange(len(xy_px))
    paths = []
    for mark in range(len(PAWS)):
        path = xy_px[:, mark, 0] - xy_px[:, [WITHERS, CROUP], 0].mean(axis=1)
        seen = np.isfinite(path)
        if seen.sum() < max(settings.seen_share * len(rows), 3):
            continue
        path = np.interp(rows, rows[seen], path[seen])
        paths.append(path - np.polyval(np.polyfit(rows, path, 1), rows))
    return np.array(paths)


def _alike(paths: FloatArray, longest: int) -> FloatArray:
    """(longest + 1,) correlation of the paths (P, T) with themselves so many frames later, by Fourier transform."""
    count = paths.shape[1]
    spectrum = np.fft.rfft(paths, 2 * count)
    together = np.fft.irfft(np.abs(spectrum) ** 2, 2 * count)[:, : longest + 1].sum(axis=0)
    energy = np.concatenate([[0.0], np.cumsum((paths**2).sum(axis=0))])
    lags = np.arange(longest + 1)
    size = np.sqrt(energy[count - lags] * np.maximum(energy[-1] - energy[lags], 0.0))
    return np.asarray(np.where(size > 0, together / np.where(size > 0, size, 1.0), 0.0))
