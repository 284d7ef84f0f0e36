"""A dog's measures over its visits, and whether a change is beyond what the dog shows from clip to clip anyway."""

from collections.abc import Sequence

import numpy as np
from scipy.special import stdtrit

from gait.compare.compared import Compared, rows_for
from gait.compare.lines import Sides, gaits_of, has_metres
from gait.compare.nouns import LARGER, SMALLER, ClipSet, Contrast, Trend
from gait.compare.resample import likeness, resample
from gait.compare.rows import unrolled, values_of
from gait.compare.settings import CompareSettings

#: Fewest degrees of freedom for a repeatability: three clips of one day, or two clips on each of two days.
LEAST_FREEDOM = 2


def trends_of(
    sets: Sequence[ClipSet], contrasts: Sequence[Contrast], settings: CompareSettings, seed: int
) -> tuple[Trend, ...]:
    """Every measure of every gait of each dog and condition that was filmed on two days or more."""
    visits: dict[tuple[str, str], list[ClipSet]] = {}
    for s in sets:
        visits.setdefault((s.dog, s.condition), []).append(s)
    found: list[Trend] = []
    for days in visits.values():
        if len(days) > 1:
            found += _of_condition(days, contrasts, settings, seed)
    return tuple(found)


def _of_condition(
    days: list[ClipSet], contrasts: Sequence[Contrast], settings: CompareSettings, seed: int
) -> list[Trend]:
    records = tuple(r for day in days for r in day.records)
    found = []
    for gait in gaits_of(*days):
        metres = has_metres(Sides(records, (), True, ("", "")), gait)
        trends = (_trend(days, gait, row, contrasts, settings, seed) for row in rows_for(metres))
        found += [trend for trend in trends if any(trend.n)]
    return found


def _trend(
    days: list[ClipSet], gait: str, row: Compared, contrasts: Sequence[Contrast], settings: CompareSettings, seed: int
) -> Trend:
    points = [_point(day, gait, row, settings, seed) for day in days]
    repeat = repeatability(days, gait, row, settings.alpha)
    since = [_since_first(days[0], day, gait, row, contrasts, repeat) for day in days]
    n, mean, low, high = (tuple(column) for column in zip(*points, strict=True))
    return Trend(
        days[0].dog,
        days[0].condition,
        gait,
        row.name,
        row.measure.unit,
        tuple(day.date for day in days),
        tuple(map(int, n)),
        mean,
        low,
        high,
        repeat,
        tuple(flag for flag, _ in since),
        tuple(why for _, why in since),
    )


def _point(
    day: ClipSet, gait: str, row: Compared, settings: CompareSettings, seed: int
) -> tuple[float, float, float, float]:
    """Strides, mean and interval of one visit; a mean of too few strides is not told."""
    clips = values_of(day.records, gait, row)
    n = sum(map(len, clips))
    if n < settings.least_strides:
        return n, float("nan"), float("nan"), float("nan")
    found = resample(clips, np.random.default_rng(seed), settings.draws, like=likeness([clips]))
    half = float(stdtrit(found.df, 1 - settings.alpha / 2)) * found.spread
    return n, found.mean, found.mean - half, found.mean + half


def repeatability(days: Sequence[ClipSet], gait: str, row: Compared, alpha: float) -> float:
    """The change between two clips that the dog shows without a cause, in the measure's unit; NaN when not known.

    sqrt(2) x t x SD of clip means within a day and condition (Bland & Altman 1986, Lancet 327:307, from memory, not
    read; Student's t in place of 1.96, since few clips tell it).
    """
    squares, freedom = 0.0, 0
    for clips in unrolled(row, [values_of(day.records, gait, row) for day in days]):
        means = np.array([values.mean() for values in clips])
        if len(means) > 1:
            squares += float(((means - means.mean()) ** 2).sum())
            freedom += len(means) - 1
    if freedom < LEAST_FREEDOM:
        return float("nan")
    return float(stdtrit(freedom, 1 - alpha / 2) * np.sqrt(2 * squares / freedom))


def _since_first(
    first: ClipSet, day: ClipSet, gait: str, row: Compared, contrasts: Sequence[Contrast], repeat: float
) -> tuple[bool, str]:
    """Whether the change since the first visit is flagged, and why it could not be told."""
    if day is first:
        return False, ""
    contrast = next(c for c in contrasts if c.kind == "visit" and c.baseline is first and c.condition is day)
    line = next((x for x in contrast.lines if (x.gait, x.measure) == (gait, row.name)), None)
    if line is None:
        return False, contrast.declined or "lengths of this visit are known in another unit only"
    beyond = not np.isfinite(repeat) or abs(line.difference) > repeat
    return line.verdict in (LARGER, SMALLER) and beyond, line.declined
