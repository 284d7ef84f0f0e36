"""How sure a mean of strides is: resampled in blocks of neighbouring strides within clips, and clips within a set.

Blocks because neighbouring strides resemble each other: circular blocks as in Politis & Romano 1992, of a length that
grows with the cube root of the number of strides (Hall, Horowitz & Jing 1995, Biometrika 82:561); both from memory, not
read. A dozen strides allow blocks of three, which see only part of such a likeness: what they and the centring of clips
take away from the spread is given back, for a likeness that fades from stride to stride by one factor.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import stdtr, stdtrit

from pose.tracks import FloatArray

#: A likeness above this is not believed: a dozen strides cannot tell it from a drift. By judgement, no source.
MOST_LIKENESS: Final = 0.6
#: A touchdown found late makes one stride longer and the next shorter: -0.5 at most (derived); near that a mean would
#: look surer than a dozen strides can make it.
LEAST_LIKENESS: Final = -0.4
#: Strides in a clip; with fewer the likeness cannot be told (its correction needs more than four).
LEAST_TELLING: Final = 5


@dataclass(frozen=True, slots=True, eq=False)
class Resampled:
    """Means of one set, drawn again. mean; draws (D,) in the unit of the values; spread = SD of the draws; df = degrees
    of freedom with which that SD is known (Student's t)."""

    mean: float
    draws: FloatArray
    spread: float
    df: float
    n: int


def block_length(n: int, clips: int = 1) -> int:
    """Strides in a block for ``n`` strides of so many clips: the cube root of n, rounded up, and never so long that a
    clip holds fewer than four blocks."""
    return max(1, min(int(np.ceil(n ** (1 / 3) - 1e-9)), n // (4 * clips)))


def likeness(sets: Sequence[Sequence[FloatArray]]) -> float:
    """Correlation of a stride with the next within clips, from all ``sets`` of clips together.

    Clips too short to tell would show less than there is: (1 + 4 r) / n is given back (Marriott & Pope 1954, Biometrika
    41:390, from memory, not read).
    """
    residuals = [clip - clip.mean() for clips in sets for clip in clips]
    whole = sum(float((e**2).mean()) * (len(e) - 1) for e in residuals)
    steps = sum(float((e[1:] * e[:-1]).sum()) for e in residuals)
    n = sum(map(len, residuals)) / len(residuals)
    if whole <= 0 or n <= LEAST_TELLING:
        return 0.0
    return float(np.clip((steps / whole + 1 / n) / (1 - 4 / n), LEAST_LIKENESS, MOST_LIKENESS))


def unseen_share(like: float, block: int, lost: float) -> float:
    """How many times larger the variance of a mean is than blocks show, for strides that resemble by ``like``.

    block  strides in a block
    lost   share of the strides that the centring of clips costs; more than half of what is left is not believed
    Derived for an autoregression of first order.
    """
    true = (1 + like) / (1 - like)
    k = np.arange(1, block)
    seen = 1 + 2 * float(((1 - k / block) * like**k).sum())
    return true * (1 - lost) / max(seen - true * lost, seen * (1 - lost) / 2)


def resample(
    clips: Sequence[FloatArray], rng: np.random.Generator, draws: int, between: float = 0.0, like: float = 0.0
) -> Resampled:
    """The mean of all values of ``clips`` (each (n,), in the order of time), drawn again ``draws`` times.

    between  variance of true means between clips of the set (:func:`between_clips`), in the unit squared
    like     correlation of a stride with the next (:func:`likeness`)
    """
    values = np.concatenate(list(clips))
    n, block = len(values), block_length(len(values), len(clips))
    residuals = np.concatenate([clip - clip.mean() for clip in clips])
    lost = len(clips) * block / n
    back = np.sqrt(unseen_share(like, block, lost) / (1 - lost))
    within = _block_means(residuals, block, rng, draws) * back
    shares = np.array([len(clip) for clip in clips]) / n
    noise = rng.standard_normal((draws, len(clips))) @ shares * np.sqrt(between)
    return Resampled(
        float(values.mean()),
        np.asarray(values.mean() + within + noise),
        float(np.hypot(within.std(), np.sqrt(between * (shares**2).sum()))),
        _freedom(n, block, len(clips)),
        n,
    )


def _block_means(residuals: FloatArray, block: int, rng: np.random.Generator, draws: int) -> FloatArray:
    """(draws,) means of n values made of circular blocks of ``residuals`` (n,)."""
    n = len(residuals)
    starts = rng.integers(n, size=(draws, -(-n // block), 1))
    rows = ((starts + np.arange(block)) % n).reshape(draws, -1)[:, :n]
    return np.asarray(residuals[rows].mean(axis=1))


def _freedom(n: int, block: int, clips: int) -> float:
    """Degrees of freedom of a spread from overlapping blocks: half as many again as there are blocks apart (Meketon &
    Schmeiser 1984, Winter Simulation Conference, from memory, not read)."""
    return float(n - clips) if block == 1 else max(1.0, 1.5 * (n / block - clips))


def between_clips(sets: Sequence[Sequence[FloatArray]], like: float = 0.0) -> tuple[float, float]:
    """Variance of true means between clips of one set, and its degrees of freedom, from all ``sets`` together.

    The moments of a one-way analysis of variance, 0 where clips differ no more than their strides explain; no degrees
    of freedom when no set has two clips. like = correlation of a stride with the next (:func:`likeness`).
    """
    squares, known, weight, freedom = 0.0, 0.0, 0.0, 0
    for clips in sets:
        counts = np.array([len(clip) for clip in clips])
        means = np.array([clip.mean() for clip in clips])
        n = counts.sum()
        if len(clips) > 1:
            squares += float((counts * (means - (counts * means).sum() / n) ** 2).sum())
            known += (len(clips) - 1) * _long_run(clips, like)
            weight += float(n - (counts**2).sum() / n)
            freedom += len(clips) - 1
    return (max(0.0, (squares - known) / weight), float(freedom)) if freedom else (0.0, 0.0)


def _long_run(clips: Sequence[FloatArray], like: float) -> float:
    """Variance of a mean within clips times the number of strides: what all resamples would show (exact)."""
    residuals = np.concatenate([clip - clip.mean() for clip in clips])
    n, block = len(residuals), block_length(len(residuals), len(clips))
    lost = len(clips) * block / n
    total = np.cumsum(np.concatenate([[0.0], residuals, residuals[:block]]))
    sums = total[block : block + n] - total[:n]
    return float((sums**2).mean() / block * unseen_share(like, block, lost) / (1 - lost))


@dataclass(frozen=True, slots=True)
class Gap:
    """Condition minus baseline with its 95 % interval.

    difference, low, high, percent, percent_low, percent_high, resolution as in gait.compare.nouns.Line; p two-sided
    """

    difference: float
    low: float
    high: float
    percent: float
    percent_low: float
    percent_high: float
    resolution: float
    p: float


@dataclass(frozen=True, slots=True)
class Doubt:
    """What resampled strides do not show of a difference.

    clips    variance that clips add to the baseline's mean and to the condition's, and its degrees of freedom; the
             first two are part of the spread of the draws already
    common   SD of the difference from errors that all strides of a clip share
    floor    SD of the difference from what is known of tracking alone: the interval is never narrower than that
    """

    clips: tuple[float, float, float] = (0.0, 0.0, 0.0)
    common: float = 0.0
    floor: float = 0.0


def gap_between(baseline: Resampled, condition: Resampled, doubt: Doubt, *, alpha: float) -> Gap:
    """The difference of two resampled means; alpha = share of truths that may lie outside its interval."""
    both = baseline, condition
    parts = [(r.spread**2 - clips, r.df) for r, clips in zip(both, doubt.clips[:2], strict=True)]
    parts += [(sum(doubt.clips[:2]), doubt.clips[2]), (doubt.common**2, float("inf"))]
    spread = float(np.sqrt(sum(part for part, _ in parts)))
    scale = max(spread, doubt.floor)
    df = _welch(parts)
    half = float(stdtrit(df, 1 - alpha / 2)) * scale
    difference = condition.mean - baseline.mean
    p = float(2 * stdtr(df, -abs(difference) / scale)) if scale > 0 else float(difference == 0)
    percent, wide = _percent(baseline, condition, half)
    return Gap(difference, difference - half, difference + half, percent, percent - wide, percent + wide, half, p)


def _percent(baseline: Resampled, condition: Resampled, half: float) -> tuple[float, float]:
    """The difference and half its interval in % of the baseline, whose own draws count; NaN where that is near 0."""
    if not (np.abs(baseline.draws).min() > 0):
        return float("nan"), float("nan")
    shares = 100 * (condition.draws / baseline.draws - 1)
    spread = float(np.hypot(baseline.draws.std(), condition.draws.std()))
    per_unit = 100 / abs(baseline.mean) if spread == 0 else float(shares.std()) / spread
    return 100 * (condition.mean / baseline.mean - 1), half * per_unit


def _welch(parts: Sequence[tuple[float, float]]) -> float:
    """Degrees of freedom of a sum of variances, each with its own (Welch 1947, Satterthwaite 1946)."""
    total = sum(part for part, _ in parts)
    below = sum(part**2 / df for part, df in parts if df > 0)
    return total**2 / below if below > 0 else float("inf")


def holm(p: Sequence[float]) -> list[float]:
    """Probabilities corrected for their number (Holm 1979, Scand J Stat 6:65); NaN stays and does not count."""
    values = np.asarray(p, dtype=float)
    found = np.full(len(values), np.nan)
    known = np.flatnonzero(np.isfinite(values))
    order = known[np.argsort(values[known], kind="stable")]
    if len(order):
        steps = values[order] * (len(order) - np.arange(len(order)))
        found[order] = np.minimum(1.0, np.maximum.accumulate(steps))
    return [float(value) for value in found]
