"""Each measure over the used strides of the clip, per paw."""

import numpy as np

from gait.footfalls import wrap_half
from gait.measures import MEASURES
from gait.nouns import Strides, Summary
from pose.landmarks import PAWS


def summarise(strides: Strides) -> tuple[Summary, ...]:
    """Mean, SD, standard error and coefficient of variation (%) of every measure and paw that has a value."""
    found = []
    for measure in MEASURES:
        for paw, name in enumerate(PAWS):
            values = strides.measures[measure.name][strides.used & (strides.paw == paw)]
            values = values[np.isfinite(values)]
            if len(values):
                found.append(_summary(measure.name, name, measure.unit, values))
    return tuple(found)


def _summary(measure: str, paw: str, unit: str, values: np.ndarray) -> Summary:
    n, mean = len(values), _mean(measure, values)
    away = wrap_half(values - mean) if measure.startswith("limb_phase") else values - mean
    sd = float(np.sqrt((away**2).sum() / (n - 1))) if n > 1 else float("nan")
    cv = 100 * sd / abs(mean) if abs(mean) > 1e-9 else float("nan")
    return Summary(measure, paw, unit, mean, sd, sd / np.sqrt(n), cv, n)


def _mean(measure: str, values: np.ndarray) -> float:
    """Mean; limb phases go round a circle."""
    if not measure.startswith("limb_phase"):
        return float(values.mean())
    angle = np.angle(np.exp(2j * np.pi * values).mean())
    return float(angle / (2 * np.pi) % 1.0)
