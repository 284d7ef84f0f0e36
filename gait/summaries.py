"""Each measure over the used strides of the clip, per paw."""

import numpy as np

from gait.footfalls import wrap, wrap_half
from gait.measures import MEASURES, Measure
from gait.nouns import Strides, Summary
from pose.landmarks import PAWS
from pose.tracks import FloatArray


def summarise(strides: Strides) -> tuple[Summary, ...]:
    """Mean, SD, standard error and coefficient of variation (%) of every measure and paw that has a value."""
    found = []
    for measure in MEASURES:
        for paw, name in enumerate(PAWS):
            values = strides.measures[measure.name][strides.used & (strides.paw == paw)]
            values = values[np.isfinite(values)]
            if len(values):
                found.append(_summary(measure, name, values))
    return tuple(found)


def _summary(measure: Measure, paw: str, values: FloatArray) -> Summary:
    n, mean = len(values), mean_of(measure, values)
    sd = sd_of(measure, values, mean)
    cv = 100 * sd / mean if measure.zero and mean > 0 else float("nan")
    return Summary(measure.name, paw, measure.unit, mean, sd, sd / np.sqrt(n), cv, n)


def mean_of(measure: Measure, values: FloatArray) -> float:
    """Mean of ``values`` (N,), none missing; the direction of the mean vector for what goes round a circle."""
    if measure.circle is None:
        return float(values.mean())
    turn = np.angle(np.exp(2j * np.pi * values).mean()) / (2 * np.pi)
    return float(wrap(turn - measure.circle) + measure.circle)


def sd_of(measure: Measure, values: FloatArray, mean: float) -> float:
    """Standard deviation of ``values`` (N,) about their ``mean``, the short way round a circle; NaN for one alone."""
    away = values - mean if measure.circle is None else wrap_half(values - mean)
    return float(np.sqrt((away**2).sum() / (len(values) - 1))) if len(values) > 1 else float("nan")
