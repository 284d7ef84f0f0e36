"""Strides of one name in a row become runs; a change says where it happened and how many strides it took."""

from dataclasses import dataclass

import numpy as np

from gait.body import FORWARD, Body
from gait.naming import STAND, UNCLEAR
from gait.nouns import Run, Strides
from pose.landmarks import FAR_HIND, NEAR_HIND
from pose.tracks import BoolArray


@dataclass(frozen=True, slots=True)
class RunSettings:
    """When a dog stands; both our own choice.

    stand_s     s without a stride, paws down
    still_bl_s  body lengths per s, no paw faster than this in the picture; the slowest belts move three times as fast
    still_s     s before and after a frame, over which places are averaged: noise of 1 % of body length then moves a
                standing paw by 0.02 body lengths per s at 60 frames per second (derived)
    """

    stand_s: float = 1.0
    still_bl_s: float = 0.15
    still_s: float = 0.25


def find_runs(strides: Strides) -> tuple[Run, ...]:
    """Runs over the strides of the near hind paw, numbered from 1. Unclear and dropped strides end no run.

    Where no near hind stride has a name, the far hind's are taken.
    """
    named = ~np.isin(strides.gait, ("", UNCLEAR))
    paw = NEAR_HIND if named[strides.paw == NEAR_HIND].any() else FAR_HIND
    rows = np.flatnonzero(strides.paw == paw)
    runs: list[Run] = []
    between = 0
    for number, row in enumerate(rows, start=1):
        name = str(strides.gait[row])
        if name in ("", UNCLEAR):
            between += 1
            continue
        if runs and runs[-1].gait == name:
            last = runs[-1]
            runs[-1] = Run(
                name, last.start_s, float(strides.end_s[row]), last.strides + 1, last.first_stride, last.steps_to
            )
        else:
            runs.append(
                Run(name, float(strides.start_s[row]), float(strides.end_s[row]), 1, number, between if runs else 0)
            )
        between = 0
    return tuple(runs)


def find_stands(body: Body, least_s: float, settings: RunSettings) -> tuple[Run, ...]:
    """Spans longer than ``least_s`` in which no seen paw moves."""
    still = _still(body, settings)
    edge = np.flatnonzero(np.diff(np.pad(still.astype(np.int8), 1)))
    spans = [(body.t_s[a], body.t_s[b - 1]) for a, b in zip(edge[::2], edge[1::2], strict=True)]
    return tuple(Run(STAND, float(a), float(b), 0, 0) for a, b in spans if b - a > least_s)


def _still(body: Body, settings: RunSettings) -> BoolArray:
    """(T,) bool, no seen paw is further on, in the mean of the time after a frame, than in the mean of that before."""
    t, half = body.t_s, settings.still_s
    x = body.xy_px[:, :4, FORWARD]
    known = np.isfinite(x)
    zero = np.zeros((1, 4))
    total = np.concatenate([zero, np.cumsum(np.where(known, x, 0.0), axis=0)])
    count = np.concatenate([zero, np.cumsum(known, axis=0)])
    first, here, stop = (np.searchsorted(t, t + shift, side="right") for shift in (-half, 0.0, half))
    means = []
    for a, b in ((np.minimum(first, here - 1), here), (here - 1, stop)):
        n = count[b] - count[a]
        means.append(np.where(n > 0, (total[b] - total[a]) / np.maximum(n, 1.0), np.nan))
    moved = np.abs(means[1] - means[0])
    judged = np.isfinite(moved)
    fast = np.where(judged, moved, 0.0) > settings.still_bl_s * body.length_px * half
    return np.asarray(judged.any(axis=1) & ~fast.any(axis=1))
