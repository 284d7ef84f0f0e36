"""Left against right: near and far means side by side, told only where the footage can tell them apart."""

from typing import Final

import numpy as np

from gait.measures import measure
from gait.nouns import SideDifference, Strides

#: What is compared, measures with a zero: a symmetry index of an angle that may be 0 means nothing.
COMPARED: Final = (
    "stride_time_s",
    "stance_s",
    "swing_s",
    "duty_factor",
    "stride_length_bl",
    "reach_bl",
    "sweep_deg",
)
#: Fewest used strides of each side for a mean with an error; two give a spread at all.
LEAST_STRIDES: Final = 2
#: Two-sided 95 % of a normal error.
Z95: Final = 1.96


def symmetry_index(near: float, far: float) -> float:
    """%, (near - far) / half of their sum; Robinson, Herzog & Nigg 1987. NaN where the sum is not above 0."""
    return 200 * (near - far) / (near + far) if near + far > 0 else float("nan")


def symmetry_angle(near: float, far: float) -> float:
    """%, (45 degrees - atan(far / near)) / 90 degrees, brought back by 180 degrees when above 90; Zifchock et al. 2008.

    NaN when both are 0.
    """
    if near == 0 and far == 0:
        return float("nan")
    angle = 45 - float(np.degrees(np.arctan(far / near if near else np.copysign(np.inf, far))))
    return (angle - 180 if angle > 90 else angle) / 90 * 100


def compare_sides(strides: Strides) -> tuple[SideDifference, ...]:
    """Near against far of every measure in COMPARED and both pairs, where each side has enough used strides."""
    found = []
    for name in COMPARED:
        for pair, paws in (("fore", (0, 1)), ("hind", (2, 3))):
            near, far = (_side(strides, name, paw) for paw in paws)
            if min(near[2], far[2]) >= LEAST_STRIDES:
                found.append(_difference(name, pair, near, far))
    return tuple(found)


def _side(strides: Strides, name: str, paw: int) -> tuple[float, float, int]:
    """Mean, its SD and the number of strides. The doubt of the single strides is not divided by their number: a paw is
    seen alike in all of them, so their errors need not cancel."""
    rows = strides.used & (strides.paw == paw) & np.isfinite(strides.measures[name])
    values, doubts = strides.measures[name][rows], strides.measures_sd[name][rows]
    doubts = doubts[np.isfinite(doubts)]
    if len(values) < LEAST_STRIDES or not len(doubts):
        return float(values.mean()) if len(values) else float("nan"), float("nan"), len(values)
    sem = float(values.std(ddof=1)) / np.sqrt(len(values))
    return float(values.mean()), float(np.hypot(sem, doubts.mean())), len(values)


def _difference(name: str, pair: str, near: tuple[float, float, int], far: tuple[float, float, int]) -> SideDifference:
    error = Z95 * float(np.hypot(near[1], far[1]))
    told = abs(near[0] - far[0]) > error
    index, angle = (symmetry_index(near[0], far[0]), symmetry_angle(near[0], far[0])) if told else (np.nan, np.nan)
    return SideDifference(name, pair, measure(name).unit, near[0], far[0], error, index, angle)
