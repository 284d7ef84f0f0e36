"""Several dogs in the same condition against their own baselines: paired by dog, each dog counts once."""

from collections.abc import Sequence

import numpy as np
from scipy.special import stdtr, stdtrit

from gait.compare.compared import compared
from gait.compare.lines import with_verdicts
from gait.compare.nouns import Contrast, GroupLine, Line
from gait.compare.settings import CompareSettings
from pose.tracks import FloatArray

#: Key of what is pooled over dogs: condition, gait, name without the unit of length.
Key = tuple[str, str, str]


def group_lines(contrasts: Sequence[Contrast], settings: CompareSettings) -> tuple[GroupLine, ...]:
    """One line per condition, gait and measure that at least two dogs give; corrected within each condition."""
    found: dict[Key, dict[str, list[Line]]] = {}
    for contrast in contrasts:
        if contrast.kind == "condition":
            for line in contrast.lines:
                if not line.declined:
                    key = (contrast.condition.condition, line.gait, _stem(line))
                    found.setdefault(key, {}).setdefault(contrast.dog, []).append(line)
    made = [_group(key, dogs, settings.alpha) for key, dogs in found.items() if len(dogs) > 1]
    result: list[GroupLine] = []
    for condition in dict.fromkeys(line.condition for line in made):
        result += with_verdicts([line for line in made if line.condition == condition], settings.alpha)
    return tuple(result)


def _in_percent(line: Line) -> bool:
    """Lengths and times of large and small dogs are alike in percent only; other measures keep their unit."""
    return compared(line.measure).measure.zero and line.unit in ("s", "m", "bl")


def _stem(line: Line) -> str:
    """The name; of a length that is told in percent, without its unit: metres or body lengths."""
    return line.measure.removesuffix("_bl").removesuffix("_m") if _in_percent(line) else line.measure


def _group(key: Key, dogs: dict[str, list[Line]], alpha: float) -> GroupLine:
    condition, gait, _ = key
    first = next(iter(dogs.values()))[0]
    percent = _in_percent(first)
    name = "percent" if percent else "difference"
    values = np.array([np.mean([getattr(line, name) for line in lines]) for lines in dogs.values()])
    mean, half, p = _student(values, alpha)
    return GroupLine(
        condition,
        first.measure,
        "%" if percent else first.unit,
        gait,
        tuple(dogs),
        tuple(map(float, values)),
        mean,
        mean - half,
        mean + half,
        p,
    )


def _student(values: FloatArray, alpha: float) -> tuple[float, float, float]:
    """Mean, half of its interval and two-sided p of ``values`` (D,), one per dog; Student's paired t."""
    n, mean = len(values), float(values.mean())
    error = float(values.std(ddof=1)) / np.sqrt(n)
    p = float(2 * stdtr(n - 1, -abs(mean) / error)) if error > 0 else float(mean == 0)
    return mean, float(stdtrit(n - 1, 1 - alpha / 2)) * error, p
