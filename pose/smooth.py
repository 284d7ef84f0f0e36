"""Cleans tracks: wild places out, short gaps filled, scatter smoothed where frames are many against the stride.

How long "short" is goes by the stride, whatever the clock says: slow motion and a high frame rate are the same thing.
"""

from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import median_filter

from pose.rhythm import RhythmSettings, stride_frames
from pose.tracks import BoolArray, FloatArray, IntArray, Tracks, repeated_frames


@dataclass(frozen=True, slots=True)
class SmoothSettings:
    """What counts as wild, what is filled, and how much is smoothed.

    wild_bl      body lengths from the running median; that is zero on any steady path and small where a paw turns
                 round. Twice the 5 % that a landmark may be off. Common practice
    wild_steps   the limit also grows with how far the landmark usually moves between frames, in slow frame rates
    wild_frames  frames of the running median, or as many as the local parabola has when those are more
    gap_share    share of the stride, longest gap that is filled: about the shorter of stance and swing at the walk and
                 the trot, so that a paw cannot both land and lift off unseen
    longest_gap_s  s, the same where no stride is found; about two fifths of a stride at the trot
    filled_score 0..1, factor on the score of the ends of the gap
    window_share share of the stride, length of the local parabola; touchdown is a corner of the path, and this rounds
                 it by less than a frame at 60 frames per second. Derived
    window_s     s, the same where no stride is found
    outlier_sd   SDs from the parabola at which a place stops counting (Tukey's biweight; 4.685 keeps 95 % of the
                 efficiency on plain Gaussian scatter. From memory, not read)
    rounds       times that the parabola is fitted again with the weights of the last time
    least_weight lowest weight of a place with a poor score, so that a poorly seen stretch is still smoothed
    """

    wild_bl: float = 0.1
    wild_steps: float = 1.0
    wild_frames: int = 5
    gap_share: float = 0.4
    longest_gap_s: float = 0.2
    filled_score: float = 0.5
    window_share: float = 0.1
    window_s: float = 0.05
    outlier_sd: float = 4.685
    rounds: int = 4
    least_weight: float = 0.1
    rhythm: RhythmSettings = field(default_factory=RhythmSettings)


@dataclass(frozen=True, slots=True)
class SmoothReport:
    """What was changed.

    wild, filled   (6,) frames per landmark thrown out, and filled
    window_frames  frames per smoothing window, 1 = none
    stride_frames  frames per stride by which lengths were chosen; NaN = not found, lengths went by the clock
    """

    wild: IntArray
    filled: IntArray
    window_frames: int
    stride_frames: float = float("nan")


def smooth(
    tracks: Tracks, *, length_px: float, settings: SmoothSettings = SmoothSettings()
) -> tuple[Tracks, SmoothReport]:
    """Cleaned tracks and what was changed; ``length_px`` px is the body length."""
    stride = stride_frames(tracks.xy_px, settings.rhythm)
    frames = _window_frames(tracks.t_s, stride, settings)
    wild = find_wild(tracks.xy_px, length_px, replace(settings, wild_frames=max(settings.wild_frames, frames)))
    again = repeated_frames(tracks.xy_px)[:, None]
    xy = np.where((wild | again)[..., None], np.nan, tracks.xy_px)
    xy, filled = fill_gaps(tracks.t_s, xy, _longest_gap_s(tracks.t_s, stride, settings))
    score = _score_of_filled(np.where(wild, np.nan, tracks.score), filled, settings)
    if frames > 3:
        xy = _smoothed(xy, np.nan_to_num(score, nan=1.0), frames, settings)
    score = np.where(np.isfinite(xy[..., 0]), score, 0.0)
    cleaned = replace(tracks, xy_px=xy, score=score, hidden=tracks.hidden | filled)
    return cleaned, SmoothReport(wild.sum(axis=0), filled.sum(axis=0), frames if frames > 3 else 1, stride)


def find_wild(xy_px: FloatArray, length_px: float, settings: SmoothSettings) -> BoolArray:
    """(T, K) places far from the running median of (T, K, 2) px; missing ones are left out of it."""
    wild = np.zeros(xy_px.shape[:2], bool)
    for mark in range(xy_px.shape[1]):
        seen = np.flatnonzero(np.isfinite(xy_px[:, mark, 0]))
        if len(seen) < settings.wild_frames:
            continue
        path = xy_px[seen, mark]
        away = np.hypot(*(path - median_filter(path, size=(settings.wild_frames, 1), mode="nearest")).T)
        step = np.quantile(np.hypot(*np.diff(path, axis=0).T), 0.9)
        limit = max(settings.wild_bl * length_px, settings.wild_steps * step)
        wild[seen, mark] = _confirmed(path, away > limit, limit)
    return wild


def _confirmed(path: FloatArray, suspect: BoolArray, limit: float) -> BoolArray:
    """Suspects that also lie off the line between their sound neighbours: wild places spoil the median beside them."""
    sound, rows = np.flatnonzero(~suspect), np.flatnonzero(suspect)
    line = np.stack([np.interp(rows, sound, path[sound, axis]) for axis in (0, 1)], axis=-1)
    confirmed = np.array(suspect)
    confirmed[rows] = np.hypot(*(path[rows] - line).T) > limit
    return confirmed


def fill_gaps(t_s: FloatArray, xy_px: FloatArray, longest_s: float) -> tuple[FloatArray, BoolArray]:
    """(T, K, 2) px with gaps up to ``longest_s`` s filled without overshoot, and which (T, K) were filled."""
    filled_xy, filled = np.array(xy_px), np.zeros(xy_px.shape[:2], bool)
    for mark in range(xy_px.shape[1]):
        seen = np.flatnonzero(np.isfinite(xy_px[:, mark, 0]))
        short = [(a, b) for a, b in pairwise(seen) if b > a + 1 and t_s[b] - t_s[a] <= longest_s]
        if not short:
            continue
        inside = np.concatenate([np.arange(a + 1, b) for a, b in short])
        filled_xy[inside, mark] = PchipInterpolator(t_s[seen], xy_px[seen, mark])(t_s[inside])
        filled[inside, mark] = True
    return filled_xy, filled


def _score_of_filled(score: FloatArray, filled: BoolArray, settings: SmoothSettings) -> FloatArray:
    """Filled places get a share of the lower score of the two ends of their gap."""
    rows = np.arange(len(score))
    result = np.array(score)
    for mark in np.flatnonzero(filled.any(axis=0)):
        seen = np.flatnonzero(np.isfinite(score[:, mark]) & ~filled[:, mark])
        if not len(seen):
            continue
        after = np.searchsorted(seen, rows[filled[:, mark]])
        ends = np.minimum(score[seen[after.clip(1) - 1], mark], score[seen[after.clip(0, len(seen) - 1)], mark])
        result[filled[:, mark], mark] = settings.filled_score * ends
    return result


def _frame_s(t_s: FloatArray) -> float:
    return float(np.median(np.diff(t_s))) if len(t_s) > 1 else np.inf


def _window_frames(t_s: FloatArray, stride: float, settings: SmoothSettings) -> int:
    """Odd number of frames within the window; 3 or fewer leave a parabola nothing to smooth."""
    frames = settings.window_s / _frame_s(t_s) if np.isnan(stride) else settings.window_share * stride
    return 2 * int(frames / 2) + 1


def _longest_gap_s(t_s: FloatArray, stride: float, settings: SmoothSettings) -> float:
    return settings.longest_gap_s if np.isnan(stride) else settings.gap_share * stride * _frame_s(t_s)


def _smoothed(xy_px: FloatArray, weight: FloatArray, frames: int, settings: SmoothSettings) -> FloatArray:
    """Local parabolas over ``frames`` frames within each unbroken stretch of (T, K, 2) px, by weights (T, K)."""
    result = np.array(xy_px)
    weight = np.maximum(weight, settings.least_weight)
    for mark in range(xy_px.shape[1]):
        seen = np.isfinite(xy_px[:, mark, 0]).astype(np.int64)
        edges = np.flatnonzero(np.diff(np.concatenate([[0], seen, [0]])))
        for first, last in edges.reshape(-1, 2):
            if last - first >= frames:
                rows = slice(first, last)
                result[rows, mark] = _local_parabolas(xy_px[rows, mark], weight[rows, mark], frames, settings)
    return result


def _local_parabolas(xy: FloatArray, weight: FloatArray, frames: int, settings: SmoothSettings) -> FloatArray:
    """(T, 2) px at the middle of robust parabolas through ``frames`` neighbours; at the ends those that there are."""
    steps = np.arange(frames) - frames // 2
    rows = np.arange(len(xy))[:, None] + steps
    inside = (rows >= 0) & (rows < len(xy))
    rows = np.clip(rows, 0, len(xy) - 1)
    basis = np.vander(steps / max(frames // 2, 1), 3, increasing=True)
    around, first = xy[rows], np.where(inside, weight[rows], 0.0)
    now = first
    for _ in range(settings.rounds):
        curve = _weighted_fit(basis, around, now)
        off = np.hypot(*np.moveaxis(around - basis @ curve, -1, 0))
        # one scatter for the whole stretch: within a single window three numbers of a fit bend towards the outliers
        sd = max(float(np.median(off[inside])) / 1.1774, 1e-9)
        now = first * np.clip(1 - (off / (settings.outlier_sd * sd)) ** 2, 1e-3, 1) ** 2
    return np.asarray(_weighted_fit(basis, around, now)[:, 0])


def _weighted_fit(basis: FloatArray, around: FloatArray, weight: FloatArray) -> FloatArray:
    """(T, 3, 2) coefficients of parabolas through (T, F, 2) with weights (T, F)."""
    weighted = basis * weight[..., None]
    normal = np.swapaxes(weighted, 1, 2) @ basis + 1e-9 * np.eye(3)
    return np.asarray(np.linalg.solve(normal, np.swapaxes(weighted, 1, 2) @ around))
