"""A contrast as tables: every measure with both sides, difference, interval, resolution, strides and verdict."""

import math
from collections.abc import Iterable
from typing import Final

from gait.compare.compared import compared
from gait.compare.nouns import NO_DIFFERENCE, ClipSet, Contrast, Line
from gait.report.comparison.answer import in_order, title
from gait.report.comparison.content import Point, Points, Row, Table
from gait.report.comparison.families import Family
from gait.report.comparison.naturally import sentence, side_name
from gait.report.sections import unit_words
from gait.report.words import NO_BREAK, NOT_KNOWN, gait_sentence, number

VERDICTS: Final = {NO_DIFFERENCE: "no difference shown"}
MINUS: Final = "−"


def contrast_tables(contrast: Contrast, key: str) -> tuple[Table, ...]:
    """One table per gait that has a compared line; a gait of which nothing was compared is told on the first screen."""
    gaits = list(dict.fromkeys(line.gait for line in contrast.lines))
    found = [_table(contrast, gait, f"{key}-{place}") for place, gait in enumerate(gaits, 1)]
    return tuple(table for table in found if table is not None)


def _table(contrast: Contrast, gait: str, key: str) -> Table | None:
    lines = in_order(line for line in contrast.lines if line.gait == gait)
    before = contrast.baseline
    if before is None or not any(line.verdict for line in lines):
        return None
    names = tuple(side_name(contrast, side) for side in (before, contrast.condition))
    used = "; ".join(f"{name}: {_use(side)}" for name, side in zip(names, (before, contrast.condition), strict=True))
    columns = ("Measure", "Strides", *names, "Difference", "95 % interval", "Resolution", "Verdict")
    caption = sentence(f"{gait}. Strides of the near hind paw used: {used}").rstrip(".")
    return Table(key, f"{title(contrast)}, {gait}", caption, columns, tuple(_row(line) for line in lines), words=1)


def _use(side: ClipSet) -> str:
    return f"{side.strides_used} of {side.strides_found} found"


def _row(line: Line) -> Row:
    head = with_unit(line.measure, line.unit)
    strides = f"{line.n_baseline} / {line.n_condition}"
    if line.declined or not line.verdict:
        return Row(head, (strides,), sentence(line.declined or NOT_KNOWN))
    half = (line.high - line.low) / 2
    percent = "" if not math.isfinite(line.percent) else f" ({signed(line.percent, _half_percent(line))}{NO_BREAK}%)"
    cells = (
        strides,
        number(line.baseline_mean, half),
        number(line.condition_mean, half),
        f"{signed(line.difference, half)}{percent}",
        interval(line.low, line.high),
        number(line.resolution, line.resolution),
        VERDICTS.get(line.verdict, line.verdict),
    )
    return Row(head, cells)


def _half_percent(line: Line) -> float:
    return (line.percent_high - line.percent_low) / 2


def with_unit(name: str, unit: str) -> str:
    """The name of a line with its unit: "Hind reach, m"."""
    words = unit_words(unit)
    head = sentence(compared(name).label).rstrip(".")
    return f"{head}, {words}" if words else head


def signed(value: float, spread: float) -> str:
    """A difference with its sign, plus as well as minus."""
    text = number(value, spread)
    return text if text == NOT_KNOWN or text.startswith(MINUS) or not value > 0 else f"+{text}"


def interval(low: float, high: float) -> str:
    """ "−0.05 to +0.02"."""
    half = (high - low) / 2
    return f"{signed(low, half)} to {signed(high, half)}".replace(" ", NO_BREAK)


def runs_of(family: Family) -> Points:
    """The runs of gait of every clip, in its order."""
    points: list[Point] = []
    for side in family.sides:
        for place, record in enumerate(side.clips.records, 1):
            clip = record.trial.clip or f"clip {place}"
            points.append(Point(gait_sentence(record), f"{side.name}, {clip}:"))
    return Points(tuple(points))


def shown_measures(lines: Iterable[Line]) -> tuple[str, ...]:
    """Columns of gait.measures that the lines are made of, each once."""
    return tuple(dict.fromkeys(compared(line.measure).column for line in lines))
