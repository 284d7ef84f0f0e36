"""Means over dogs, each dog counting once, with an interval by drawing dogs anew (bootstrap; Efron 1979, from memory,
not read): pictures of one dog are alike, so that they say less than as many pictures of as many dogs."""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from pose.tracks import FloatArray


@dataclass(frozen=True, slots=True)
class BootstrapSettings:
    """How the interval is made.

    level        of the interval
    draws        of dogs with replacement; enough for two decimals. Common practice, no source
    fewest_dogs  with fewer no interval is stated: drawing one or two dogs anew shows nothing
    seed         of the draws
    """

    level: float = 0.95
    draws: int = 4000
    fewest_dogs: int = 3
    seed: int = 7


@dataclass(frozen=True, slots=True)
class OverDogs:
    """A mean over dogs in the unit of its values; low and high NaN = too few dogs for an interval, mean NaN = none."""

    mean: float
    low: float
    high: float
    dogs: int
    pictures: int

    @property
    def certain(self) -> bool:
        """Whether there is an interval."""
        return math.isfinite(self.low)

    def as_dict(self) -> dict[str, Any]:
        """Plain values, rounded to four decimals; what is not known is left out."""
        plain = {key: round(value, 4) if isinstance(value, float) else value for key, value in asdict(self).items()}
        return {key: value for key, value in plain.items() if value == value}


def over_dogs(values: FloatArray, dogs: Sequence[str], settings: BootstrapSettings = BootstrapSettings()) -> OverDogs:
    """Mean of the dogs' own means of ``values`` (N,), one per picture; NaN values are left out. ``dogs``: N names."""
    own = means_of_dogs(values, dogs)
    means = np.array(list(own.values()))
    count = int(np.isfinite(values).sum())
    if not len(means):
        return OverDogs(math.nan, math.nan, math.nan, 0, count)
    low = high = math.nan
    if len(means) >= settings.fewest_dogs:
        draws = np.random.default_rng(settings.seed).integers(len(means), size=(settings.draws, len(means)))
        tail = (1 - settings.level) / 2
        low, high = (float(edge) for edge in np.quantile(means[draws].mean(axis=1), [tail, 1 - tail]))
    return OverDogs(float(means.mean()), low, high, len(means), count)


def means_of_dogs(values: FloatArray, dogs: Sequence[str]) -> dict[str, float]:
    """Each dog's mean of ``values`` (N,), by name; dogs without a value are left out."""
    known = np.isfinite(values)
    names = np.array(dogs, dtype=str)
    return {name: float(values[known & (names == name)].mean()) for name in sorted(set(names[known].tolist()))}
