"""Strides of one name in a row become runs; a change says where it happened and how many strides it took."""

from dataclasses import dataclass

import numpy as np

from gait.body import FORWARD, Body
from gait.naming import STAND, UNCLEAR
from gait.nouns import Run, Strides
from pose.landmarks import FAR_HIND, NEAR_HIND


@dataclass(frozen=True, slots=True)
class RunSettings:
    """When a dog stands; both our own choice.

    stand_s     s without a stride, paws down
    still_bl_s  body lengths per s, no paw faster than this in the picture; the slowest belts move three times as fast
    """

    stand_s: float = 1.0
    still_bl_s: float = 0.15


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
    slope_px_s = body.slope_px_s[:, :4, FORWARD]
    fast = np.abs(slope_px_s) > settings.still_bl_s * body.length_px
    still = ~fast.any(axis=1) & np.isfinite(slope_px_s).any(axis=1)
    edge = np.flatnonzero(np.diff(np.pad(still.astype(np.int8), 1)))
    spans = [(body.t_s[a], body.t_s[b - 1]) for a, b in zip(edge[::2], edge[1::2], strict=True)]
    return tuple(Run(STAND, float(a), float(b), 0, 0) for a, b in spans if b - a > least_s)
