"""Topline and place on the belt from the last seconds, and how long answers took; pure."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from gait.trial import Facing
from pose.landmarks import CROUP, WITHERS
from pose.tracks import FloatArray, Tracks

NAN: Final = float("nan")
#: s over which the topline is averaged: a stride of a slow walk, two of a trot, so that its swing in a stride is out.
TOPLINE_S: Final = 1.0
#: s over which the place is averaged, most of a stride; and over which its drift is taken. Our own choices.
PLACE_S: Final = 0.5
DRIFT_S: Final = 3.0
#: s that the dog's own middle is taken over.
MIDDLE_S: Final = 60.0
#: Fewest pictures in which anything can be said.
LEAST: Final = 5
#: ms, upper bounds of the classes in which answers are counted, so that hours of them take no room.
CLASSES_MS: Final = np.concatenate([np.arange(1, 1001, dtype=float), [2000, 5000, np.inf]])


@dataclass(frozen=True, slots=True)
class Back:
    """Topline and place. NaN = not known.

    topline_deg  deg, mean angle from withers to croup against the belt over the last second, + croup higher
    spread_deg   deg, SD of that angle within that second: mostly its swing within the stride
    place        0..1, middle of withers and croup as a share of the picture's width, from the left
    place_bl     body lengths from the dog's own middle of the last minute, + further ahead
    drift_bl_s   body lengths a second over the last three seconds, + forward
    """

    topline_deg: float = NAN
    spread_deg: float = NAN
    place: float = NAN
    place_bl: float = NAN
    drift_bl_s: float = NAN


class Trail:
    """Where withers and croup were in the last minute: rows of (s, middle in px, angle in deg, length, width)."""

    def __init__(self) -> None:
        self._rows: deque[tuple[float, float, float, float, float]] = deque()

    def add(self, tracks: Tracks, width_px: int) -> None:
        """One row per frame of ``tracks``, of pictures ``width_px`` px wide."""
        for t_s, xy in zip(tracks.t_s.tolist(), tracks.xy_px, strict=True):
            run, drop = xy[CROUP] - xy[WITHERS]
            angle = float(np.degrees(np.arctan2(-drop, abs(run))))
            self._rows.append((t_s, float(xy[[WITHERS, CROUP], 0].mean()), angle, float(np.hypot(run, drop)), width_px))
        while self._rows and self._rows[0][0] < self._rows[-1][0] - MIDDLE_S:
            self._rows.popleft()

    def back(self, belt_deg: float, facing: Facing | None) -> Back:
        """Topline and place now. belt_deg: deg, slope of the belt line, + rising to the right; NaN = taken as level."""
        rows = np.array(self._rows, dtype=float).reshape(-1, 5)
        now_s = rows[-1, 0] if len(rows) else 0.0
        rows = rows[np.isfinite(rows[:, 1])]
        t_s, middle, angle, length, width = rows.T
        ahead = -1.0 if facing == "left" else 1.0
        tilt = ahead * np.nan_to_num(belt_deg)
        late = angle[t_s > now_s - TOPLINE_S] + tilt
        topline, spread = (float(late.mean()), float(late.std())) if len(late) >= LEAST else (NAN, NAN)
        here = middle[t_s > now_s - PLACE_S]
        if not len(here):
            return Back(topline, spread)
        place, middle_bl = float(here.mean() / width[-1]), ahead * middle / np.median(length)
        own = float(middle_bl[t_s > now_s - PLACE_S].mean() - np.median(middle_bl)) if facing else NAN
        recent = t_s > now_s - DRIFT_S
        drift = _slope(t_s[recent], middle_bl[recent]) if facing else NAN
        return Back(topline, spread, place, own, drift)


def _slope(t_s: FloatArray, value: FloatArray) -> float:
    """Least-squares slope; NaN unless two thirds of the time that drift is taken over are known."""
    if len(t_s) < LEAST or np.ptp(t_s) < DRIFT_S * 2 / 3:
        return NAN
    return float(np.polyfit(t_s - t_s.mean(), value, 1)[0])


@dataclass(frozen=True, slots=True)
class Latency:
    """How long answers took: how many there were, and ms from the picture to the answer. NaN = none yet."""

    count: int = 0
    median_ms: float = NAN
    most_ms: float = NAN
    longest_ms: float = NAN


class LatencyLog:
    """Counts answers by how long they took; ``most`` is what 95 % stay below."""

    def __init__(self) -> None:
        self._counts = np.zeros(len(CLASSES_MS), dtype=np.int64)
        self._longest_ms = NAN

    def add(self, taken_s: Iterable[float]) -> None:
        """Answers that took so many s."""
        for taken_ms in (1e3 * one for one in taken_s):
            self._counts[int(np.searchsorted(CLASSES_MS, taken_ms))] += 1
            self._longest_ms = float(np.fmax(self._longest_ms, taken_ms))

    def summary(self) -> Latency:
        """Median, 95 % and longest, to the next whole ms above."""
        count = int(self._counts.sum())
        if not count:
            return Latency()
        below = np.cumsum(self._counts)
        median, most = (float(CLASSES_MS[np.searchsorted(below, share * count)]) for share in (0.5, 0.95))
        return Latency(count, min(median, self._longest_ms), min(most, self._longest_ms), self._longest_ms)
