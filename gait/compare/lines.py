"""The lines of one contrast: every measure of every gait, compared like with like or declined with the reason."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import TypeVar

import numpy as np

from gait.compare.compared import Compared, rows_for
from gait.compare.doubt import common_sd, tracking_sd
from gait.compare.nouns import LARGER, NO_DIFFERENCE, SMALLER, ClipSet, GroupLine, Line
from gait.compare.resample import Doubt, between_clips, gap_between, holm, likeness, resample
from gait.compare.rows import rows_of, unrolled, values_of
from gait.compare.settings import CompareSettings
from gait.naming import STAND, UNCLEAR
from gait.nouns import GaitRecord
from pose.tracks import FloatArray

Judged = TypeVar("Judged", Line, GroupLine)

#: What is no gait that could be compared.
NO_GAIT = ("", UNCLEAR, STAND)
#: Of a measure without a zero.
NO_PERCENT = dict.fromkeys(("percent", "percent_low", "percent_high"), float("nan"))


@dataclass(frozen=True, slots=True, eq=False)
class Sides:
    """The records of both sets that are compared. alike: all of them face one way; names: of both sets, in words."""

    baseline: tuple[GaitRecord, ...]
    condition: tuple[GaitRecord, ...]
    alike: bool
    names: tuple[str, str]

    @property
    def both(self) -> tuple[tuple[GaitRecord, ...], tuple[GaitRecord, ...]]:
        """Baseline, condition."""
        return self.baseline, self.condition


def compare_lines(sides: Sides, gaits: Sequence[str], settings: CompareSettings, seed: int) -> tuple[Line, ...]:
    """Lines of all ``gaits``, corrected together for their number."""
    lines: list[Line] = []
    for gait in gaits:
        rows = rows_for(has_metres(sides, gait))
        reason = unlike(sides, gait, settings)
        lines += [_line(sides, gait, row, settings, seed) if not reason else _declined(sides, gait, row, reason)
                  for row in rows]  # fmt: skip
    return with_verdicts(lines, settings.alpha)


def with_verdicts(lines: Sequence[Judged], alpha: float) -> tuple[Judged, ...]:
    """``lines`` with Holm's correction and a verdict on each that was compared."""
    found = []
    for line, p in zip(lines, holm([line.p for line in lines]), strict=True):
        change = line.difference if isinstance(line, Line) else line.mean
        differs = LARGER if change > 0 else SMALLER
        verdict = "" if line.declined else differs if p <= alpha else NO_DIFFERENCE
        found.append(replace(line, p_holm=p, verdict=verdict))
    return tuple(found)


def gaits_of(*sets: ClipSet) -> tuple[str, ...]:
    """Every gait that any set shows, the most frequent first."""
    total: dict[str, int] = {}
    for s in sets:
        for name, count in s.gaits.items():
            total[name] = total.get(name, 0) + count
    return tuple(sorted((name for name in total if name not in NO_GAIT), key=lambda name: (-total[name], name)))


def has_metres(sides: Sides, gait: str) -> bool:
    """Whether both sides know lengths of ``gait`` in metres in every clip that shows it."""
    lengths = [r.strides.measures["stride_length_m"][rows_of(r, gait, "")] for r in (*sides.baseline, *sides.condition)]
    return all(bool(np.isfinite(values).any()) for values in lengths if len(values))


def unlike(sides: Sides, gait: str, settings: CompareSettings) -> str:
    """Why no measure of ``gait`` can be compared, in a sentence; "" when it can."""
    for name, records in zip(sides.names, sides.both, strict=True):
        n = sum(int(rows_of(record, gait, "").sum()) for record in records)
        if n < settings.least_strides:
            return f"{name}: {n} strides of {gait} that can be used; {settings.least_strides} are needed"
    column, unit = ("speed_m_s", "m/s") if has_metres(sides, gait) else ("speed_bl_s", "body lengths/s")
    speeds = [_mean_speed(records, gait, column) for records in sides.both]
    if not np.isfinite(speeds).all():
        return "the forward speed is not known"
    if abs(speeds[1] / speeds[0] - 1) > settings.most_speed_gap:
        return (
            f"the forward speed differs by {100 * (speeds[1] / speeds[0] - 1):+.0f} % ({speeds[0]:.2f} and "
            f"{speeds[1]:.2f} {unit}); up to {100 * settings.most_speed_gap:g} % is alike"
        )
    return ""


def _mean_speed(records: Sequence[GaitRecord], gait: str, column: str) -> float:
    speeds = np.concatenate([record.strides.measures[column][rows_of(record, gait, "")] for record in records])
    speeds = speeds[np.isfinite(speeds)]
    return float(speeds.mean()) if len(speeds) else float("nan")


def _declined(sides: Sides, gait: str, row: Compared, reason: str) -> Line:
    n = [sum(map(len, values_of(records, gait, row))) for records in sides.both]
    return Line(row.name, row.measure.unit, gait, n[0], n[1], declined=reason)


def _line(sides: Sides, gait: str, row: Compared, settings: CompareSettings, seed: int) -> Line:
    if row.pair and not sides.alike:
        reason = "filmed from different sides: the near limbs are the left ones in one and the right ones in the other"
        return _declined(sides, gait, row, reason)
    sets = [values_of(records, gait, row) for records in sides.both]
    counts = [sum(map(len, clips)) for clips in sets]
    for name, n in zip(sides.names, counts, strict=True):
        if n < settings.least_strides:
            return _declined(
                sides, gait, row, f"{name}: known in {n} strides only; {settings.least_strides} are needed"
            )
    return _compared(sides, gait, row, unrolled(row, sets), settings, seed)


def _compared(
    sides: Sides, gait: str, row: Compared, sets: list[list[FloatArray]], settings: CompareSettings, seed: int
) -> Line:
    rng = np.random.default_rng(seed)
    like = likeness(sets)
    between, freedom = between_clips(sets, like)
    baseline, condition = (resample(clips, rng, settings.draws, between, like) for clips in sets)
    added = [between * sum(len(c) ** 2 for c in clips) / sum(map(len, clips)) ** 2 for clips in sets]
    old, new = sides.both
    common = np.hypot(common_sd(old, gait, row), common_sd(new, gait, row))
    floor = np.hypot(tracking_sd(old, gait, row), tracking_sd(new, gait, row))
    doubt = Doubt((added[0], added[1], freedom), float(common), float(floor))
    gap = gap_between(baseline, condition, doubt, alpha=settings.alpha)
    told = asdict(gap) if row.measure.zero and baseline.mean > 0 else asdict(gap) | NO_PERCENT
    means = baseline.mean, _rolled(row, condition.mean)
    return Line(row.name, row.measure.unit, gait, baseline.n, condition.n, *means, **told)


def _rolled(row: Compared, mean: float) -> float:
    circle = row.measure.circle
    return mean if circle is None else (mean - circle) % 1.0 + circle
