"""Cleans tracks: single wild places out, short gaps filled, scatter smoothed where the frame rate allows it."""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import median_filter
from scipy.signal import savgol_filter

from pose.tracks import BoolArray, FloatArray, IntArray, Tracks


@dataclass(frozen=True, slots=True)
class SmoothSettings:
    """What counts as wild, what is filled, and how much is smoothed.

    wild_bl      body lengths from the running median of five frames; that is zero on any steady path and small
                 where a paw turns round. Twice the 5 % that a landmark may be off. Common practice
    wild_steps   the limit also grows with how far the landmark usually moves between frames, in slow frame rates
    longest_gap_s  s, longest gap that is filled; about a third of a stride at the trot, in which a paw cannot both
                 land and lift off unseen
    filled_score 0..1, factor on the score of the ends of the gap
    window_s     s, length of the local parabola; touchdown is a corner of the path, and a parabola over 50 ms
                 rounds it by less than a frame at 60 frames per second. Derived
    """

    wild_bl: float = 0.1
    wild_steps: float = 1.0
    longest_gap_s: float = 0.2
    filled_score: float = 0.5
    window_s: float = 0.05


@dataclass(frozen=True, slots=True)
class SmoothReport:
    """What was changed: frames per landmark (6,) thrown out and filled, and frames per smoothing window (1 = none)."""

    wild: IntArray
    filled: IntArray
    window_frames: int


def smooth(
    tracks: Tracks, *, length_px: float, settings: SmoothSettings = SmoothSettings()
) -> tuple[Tracks, SmoothReport]:
    """Cleaned tracks and what was changed; ``length_px`` px is the body length."""
    wild = find_wild(tracks.xy_px, length_px, settings)
    xy = np.where(wild[..., None], np.nan, tracks.xy_px)
    xy, filled = fill_gaps(tracks.t_s, xy, settings.longest_gap_s)
    frames = _window_frames(tracks.t_s, settings)
    if frames > 3:
        xy = _smoothed(xy, frames)
    score = _score_of_filled(np.where(wild, np.nan, tracks.score), filled, settings)
    score = np.where(np.isfinite(xy[..., 0]), score, 0.0)
    cleaned = replace(tracks, xy_px=xy, score=score, hidden=tracks.hidden | filled)
    return cleaned, SmoothReport(wild.sum(axis=0), filled.sum(axis=0), frames if frames > 3 else 1)


def find_wild(xy_px: FloatArray, length_px: float, settings: SmoothSettings) -> BoolArray:
    """(T, K) places far from the running median of five frames of (T, K, 2) px; missing ones are left out of it."""
    wild = np.zeros(xy_px.shape[:2], bool)
    for mark in range(xy_px.shape[1]):
        seen = np.flatnonzero(np.isfinite(xy_px[:, mark, 0]))
        if len(seen) < 5:
            continue
        path = xy_px[seen, mark]
        away = np.hypot(*(path - median_filter(path, size=(5, 1), mode="nearest")).T)
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


def _window_frames(t_s: FloatArray, settings: SmoothSettings) -> int:
    """Odd number of frames within the window; 3 or fewer leave a parabola nothing to smooth."""
    frame_s = float(np.median(np.diff(t_s))) if len(t_s) > 1 else np.inf
    return 2 * int(settings.window_s / frame_s / 2) + 1


def _smoothed(xy_px: FloatArray, frames: int) -> FloatArray:
    """Local parabolas over ``frames`` frames within each unbroken stretch of (T, K, 2) px."""
    result = np.array(xy_px)
    for mark in range(xy_px.shape[1]):
        seen = np.isfinite(xy_px[:, mark, 0]).astype(np.int64)
        edges = np.flatnonzero(np.diff(np.concatenate([[0], seen, [0]])))
        for first, last in edges.reshape(-1, 2):
            if last - first >= frames:
                result[first:last, mark] = savgol_filter(xy_px[first:last, mark], frames, 2, axis=0)
    return result
