"""A comparison in the units that a person wants to see; what is compared, kept and written to files stays metric."""

import re
from dataclasses import fields, replace
from typing import Any, Final, TypeVar

from gait.compare.nouns import Comparison, GroupLine, Line, Trend
from gait.report.units import METRIC, shown

Told = TypeVar("Told", Line, GroupLine, Trend)
#: Fields that are in the unit of their line.
IN_UNIT: Final = ("baseline_mean", "condition_mean", "difference", "differences", "mean", "low", "high", "resolution",
                  "repeatability")  # fmt: skip
#: The two speeds of a sentence from gait.compare.lines.unlike, the only quantities in its sentences that have a unit.
SPEEDS: Final = re.compile(r"\((\d+\.\d\d) and (\d+\.\d\d) (m/s)\)")


def in_units(comparison: Comparison, units: str) -> Comparison:
    """``comparison`` with its lines in ``units`` "metric" or "imperial"; its records stay as they are."""
    if units == METRIC:
        return comparison
    contrasts = tuple(
        replace(contrast, lines=tuple(line_in(line, units) for line in contrast.lines))
        for contrast in comparison.contrasts
    )
    groups = tuple(line_in(line, units) for line in comparison.groups)
    trends = tuple(line_in(line, units) for line in comparison.trends)
    return replace(comparison, contrasts=contrasts, groups=groups, trends=trends)


def line_in(line: Told, units: str) -> Told:
    """One line, group line or trend in ``units``."""
    factor, unit = shown(1.0, line.unit, units)
    names = {field.name for field in fields(line)}.intersection(IN_UNIT)
    changed: dict[str, Any] = {name: _times(factor, getattr(line, name)) for name in names}
    why = line.declined
    said = tuple(sentence_in(each, units) for each in why) if isinstance(why, tuple) else sentence_in(why, units)
    return replace(line, unit=unit, declined=said, **changed)


def _times(factor: float, value: float | tuple[float, ...]) -> float | tuple[float, ...]:
    return tuple(factor * each for each in value) if isinstance(value, tuple) else factor * value


def sentence_in(text: str, units: str) -> str:
    """A sentence on why something was not compared, with its speeds in ``units``."""

    def told(found: re.Match[str]) -> str:
        """Both speeds with the decimals that they had."""
        (one, unit), (two, _) = (shown(float(found[place]), found[3], units) for place in (1, 2))
        return f"({one:.2f} and {two:.2f} {unit})"

    return SPEEDS.sub(told, text)
