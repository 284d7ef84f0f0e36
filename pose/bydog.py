"""Means over dogs, each dog counting once, with an interval by drawing dogs anew (bootstrap; Efron 1979, from memory,
not read): pictures of one dog are alike, so that they say less than as many pictures of as many dogs."""

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np

from pose.tracks import FloatArray, IntArray


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


#: For figures that are counted anew from all rows of every draw: a quarter of the draws takes a quarter of the time.
REDRAWN: Final = BootstrapSettings(draws=1000)


@dataclass(frozen=True, slots=True)
class OverDogs:
    """A mean over dogs, or a figure of all together, in the unit of its values; low and high NaN = too few dogs for an
    interval, mean NaN = none."""

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
        low, high = _middle(means[_draws(len(means), settings)].mean(axis=1), settings)
    return OverDogs(float(means.mean()), low, high, len(means), count)


def redrawn(
    figure: Callable[[IntArray], float], dogs: Sequence[str], settings: BootstrapSettings = REDRAWN
) -> OverDogs:
    """A figure that is no mean, counted from all rows together; for its interval dogs are drawn with all their rows.

    figure  from numbers of rows, some of them more than once, to a value; NaN = not known
    dogs    N names, whose each row is
    """
    names = np.array(dogs, dtype=str)
    own = [np.flatnonzero(names == name) for name in np.unique(names)]
    whole, low, high = figure(np.arange(len(names))), math.nan, math.nan
    if len(own) >= settings.fewest_dogs and math.isfinite(whole):
        values = np.array([figure(np.concatenate([own[dog] for dog in draw])) for draw in _draws(len(own), settings)])
        low, high = _middle(values[np.isfinite(values)], settings)
    return OverDogs(float(whole), low, high, len(own), len(names))


def _draws(dogs: int, settings: BootstrapSettings) -> IntArray:
    """(draws, dogs) numbers of dogs, drawn with replacement."""
    return np.random.default_rng(settings.seed).integers(dogs, size=(settings.draws, dogs))


def _middle(values: FloatArray, settings: BootstrapSettings) -> tuple[float, float]:
    """Both ends of the middle ``level`` of ``values`` (M,)."""
    tail = (1 - settings.level) / 2
    low, high = np.quantile(values, [tail, 1 - tail])
    return float(low), float(high)


def means_of_dogs(values: FloatArray, dogs: Sequence[str]) -> dict[str, float]:
    """Each dog's mean of ``values`` (N,), by name; dogs without a value are left out."""
    known = np.isfinite(values)
    names = np.array(dogs, dtype=str)
    return {name: float(values[known & (names == name)].mean()) for name in sorted(set(names[known].tolist()))}
