"""The first screen: for each contrast what differs, in an owner's words; what does not; what was not compared."""

from collections import Counter
from collections.abc import Iterable
from typing import Final

import numpy as np

from gait.compare.nouns import NO_DIFFERENCE, ClipSet, Contrast, Line
from gait.nouns import GaitRecord
from gait.report.comparison.content import Card
from gait.report.comparison.naturally import dog_name, figure, goes, joined, sentence, side_name, side_words
from gait.report.comparison.wording import label, resolution_words, stem, told
from gait.report.units import METRIC, shown
from gait.report.words import UNCLEAR

#: What owners ask about first; these come first and tell how small a difference could have been seen.
MAIN: Final = ("topline", "stride_length", "hind_reach", "fore_reach", "stride_time", "hind_duty_factor")
#: Share of the named strides that the commonest gait must have for the others not to be worth a word on the first
#: screen; our own choice.
NEARLY_ALL: Final = 0.9
BY_CHANCE: Final = (
    "Each of these would count if it had been the only question; among so many measures, one may differ as much by "
    "chance."
)
#: Speeds within this of each other are like; the edge of like with like.
LIKE_SPEED: Final = 0.05
#: Measures with one reason are named up to this many; more are counted.
NAMED: Final = 4
Rows = tuple[tuple[str, tuple[str, ...]], ...]


def card(contrast: Contrast, key: str, units: str = METRIC) -> Card:
    """The answer for one contrast. units: of the speeds; its lines are in them already."""
    main, rest = _findings(contrast)
    rows = (
        ("Also", rest),
        ("Not certain", uncertain(contrast)),
        ("No difference shown", _alike(contrast)),
        ("Not compared", () if contrast.declined else declined(contrast)),
        ("Please note", contrast.notes),
        ("Footage", (footage(contrast),)),
        ("When filming again", advice(contrast)),
    )
    kept = tuple((name, texts) for name, texts in rows if texts)
    return Card(key, title(contrast), lead(contrast, units), main, kept)


def title(contrast: Contrast) -> str:
    """ "Tansy: boots against bare"."""
    name, new = dog_name(contrast.condition), side_name(contrast, contrast.condition)
    head = f"{name}, {contrast.condition.condition}" if contrast.kind == "visit" else name
    against = f" against {side_name(contrast, contrast.baseline)}" if contrast.baseline else ""
    return sentence(f"{head}: {new}{against}").rstrip(".")


def lead(contrast: Contrast, units: str = METRIC) -> str:
    """The gait of both sides, which comes before every number; or why nothing was compared."""
    before = contrast.baseline
    if before is None or contrast.declined:
        return sentence(f"nothing was compared: {contrast.declined or 'there is no baseline'}")
    old, new = main_gait(before), main_gait(contrast.condition)
    if old and old == new:
        text = f"same {old}{_speed_words(before, contrast.condition, old, units)}"
        mixed = [side for side in (before, contrast.condition) if not _nearly_all(side)]
        return " ".join([sentence(text), *(sentence(_gaits(contrast, side)) for side in mixed)])
    return f"{sentence(_does(contrast, contrast.condition))[:-1]}; {_does(contrast, before)}."


def main_gait(side: ClipSet) -> str:
    """The commonest named gait of a side, "" when none was named."""
    return next((gait for gait in side.gaits if gait != UNCLEAR), "")


def _nearly_all(side: ClipSet) -> bool:
    named = {gait: count for gait, count in side.gaits.items() if gait != UNCLEAR}
    return max(named.values(), default=0) >= NEARLY_ALL * sum(named.values())


def _does(contrast: Contrast, side: ClipSet) -> str:
    """ "in boots Tansy paces (9 of 12 strides)"."""
    gait, words = main_gait(side) or UNCLEAR, side_words(contrast, side)
    comma = "," if words.lower().startswith("bare") else ""
    total = sum(side.gaits.values())
    count = f" ({side.gaits.get(gait, 0)} of {total} strides)" if total else ""
    others = [f"{name} in {n}" for name, n in side.gaits.items() if name not in (gait, UNCLEAR)]
    more = f", and also shows {joined(others)}" if others else ""
    return f"{words}{comma} {dog_name(side)} {goes(gait)}{count}{more}"


def _gaits(contrast: Contrast, side: ClipSet) -> str:
    counts = [f"{name} in {n}" for name, n in side.gaits.items()]
    return f"{side_words(contrast, side)}: {joined(counts)} of {sum(side.gaits.values())} strides"


def _speed_words(before: ClipSet, after: ClipSet, gait: str, units: str) -> str:
    """Whether both sides went equally fast: as the belt was set, else as measured; "" when not known."""
    belts = [{record.trial.belt_m_s for record in side.records} for side in (before, after)]
    if all(len(belt) == 1 and None not in belt for belt in belts):
        old, new = (float(next(iter(belt)) or 0) for belt in belts)
        return _speeds("belt speed", (old, new), "m/s", units)
    for name, unit in (("speed_m_s", "m/s"), ("speed_bl_s", "body lengths per second")):
        old, new = (_mean_speed(side, gait, name) for side in (before, after))
        if np.isfinite([old, new]).all():
            return _speeds("measured speed", (old, new), unit, units)
    return ""


def _speeds(what: str, speeds: tuple[float, float], unit: str, units: str) -> str:
    (old, told_unit), (new, _) = (shown(speed, unit, units) for speed in speeds)
    before, after = figure(old, 2), figure(new, 2)
    if before == after:
        return f" at the same {what} ({after} {told_unit})"
    like = "at like" if abs(new / old - 1) <= LIKE_SPEED else "but at different"
    return f" {like} {what} ({after} against {before} {told_unit})"


def _mean_speed(side: ClipSet, gait: str, name: str) -> float:
    values = np.concatenate([_strides_of(record, gait, name) for record in side.records] or [np.empty(0)])
    values = values[np.isfinite(values)]
    return float(values.mean()) if len(values) else float("nan")


def _strides_of(record: GaitRecord, gait: str, name: str) -> np.ndarray:
    """Values (N,) of a measure in the used near hind strides of ``gait``."""
    strides = record.strides
    rows = record.strides_of("near_hind") & strides.used & (strides.gait == gait)
    return np.asarray(strides.measures[name][rows]) if name in strides.measures else np.empty(0)


def _findings(contrast: Contrast) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What differs in words: the measures that owners ask about, then the others; all in the first where none is."""
    lines = in_order(line for line in contrast.lines if line.verdict not in ("", NO_DIFFERENCE))
    words = _at_gaits(contrast, lines)
    if words and contrast.kind == "condition":
        words[0] = words[0].replace(" (", f" {side_words(contrast, contrast.condition)} (", 1)
    texts = [sentence(text) for text in words]
    main = tuple(text for text, line in zip(texts, lines, strict=True) if stem(line.measure) in MAIN)
    return (main, tuple(text for text in texts if text not in main)) if main else (tuple(texts), ())


def _at_gaits(contrast: Contrast, lines: list[Line]) -> list[str]:
    """Each line in words, with its gait where that is not plain."""
    gaits = list(dict.fromkeys(line.gait for line in lines))
    several = len(gaits) > 1 or bool(gaits and gaits[0] != main_gait(contrast.condition))
    return [f"{f'at the {line.gait}, ' if several else ''}{told(line)}" for line in lines]


def doubtful(line: Line) -> bool:
    """Whether the line alone would show a difference, but not among so many."""
    return line.verdict == NO_DIFFERENCE and (line.low > 0 or line.high < 0)


def uncertain(contrast: Contrast) -> tuple[str, ...]:
    """Differences whose own interval leaves out nought, but which so many measures may show by chance."""
    lines = in_order(line for line in contrast.lines if doubtful(line))
    texts = tuple(f"Perhaps {text}." for text in _at_gaits(contrast, lines))
    return (*texts, BY_CHANCE) if texts else ()


def in_order(lines: Iterable[Line]) -> list[Line]:
    """Lines with those that are asked about first in front, gait by gait."""
    rank = {name: place for place, name in enumerate(MAIN)}
    found = list(lines)
    gaits = list(dict.fromkeys(line.gait for line in found))
    return sorted(found, key=lambda line: (gaits.index(line.gait), rank.get(stem(line.measure), len(rank))))


def _alike(contrast: Contrast) -> tuple[str, ...]:
    """One sentence per gait: what shows no difference, and how small a one could have been seen of the main ones."""
    lines = in_order(line for line in contrast.lines if line.verdict == NO_DIFFERENCE and not doubtful(line))
    texts = []
    for gait in dict.fromkeys(line.gait for line in lines):
        here = [line for line in lines if line.gait == gait]
        main = [line for line in here if stem(line.measure) in MAIN]
        rest = [label(line.measure) for line in here if stem(line.measure) not in MAIN]
        parts = [joined([_seen(line) for line in main])] if main else []
        parts += [f"{'nor in ' if main else ''}{joined(rest, 'or' if main else 'and')}"] if rest else []
        at = f"At the {gait}: " if len({line.gait for line in contrast.lines}) > 1 else ""
        texts.append(f"{at}{sentence('; '.join(parts))}")
    if any(resolution_words(line) for line in lines if stem(line.measure) in MAIN):
        texts.append("In brackets: the smallest difference that this footage could have shown.")
    return tuple(texts)


def _seen(line: Line) -> str:
    least = resolution_words(line)
    return f"{label(line.measure)} ({least})" if least else label(line.measure)


def declined(contrast: Contrast) -> tuple[str, ...]:
    """What was not compared, one sentence per gait and reason."""
    groups: dict[tuple[str, str], list[str]] = {}
    for line in contrast.lines:
        if line.declined:
            groups.setdefault((line.gait, line.declined), []).append(label(line.measure))
    whole = Counter(line.gait for line in contrast.lines)
    return tuple(
        f"{_which(names, gait, len(names) == whole[gait])} – {sentence(reason, capital=False)}"
        for (gait, reason), names in groups.items()
    )


def _which(names: list[str], gait: str, everything: bool) -> str:
    if everything:
        return f"Everything at the {gait}"
    words = joined(names) if len(names) <= NAMED else f"{len(names)} measures ({joined(names)})"
    return f"{sentence(words)[:-1]} at the {gait}"


def footage(contrast: Contrast) -> str:
    """The grade of the footage of each side."""
    sides = [side for side in (contrast.baseline, contrast.condition) if side is not None]
    return sentence("; ".join(f"{side_name(contrast, side)}: {_grades(side)}" for side in sides))


def _grades(side: ClipSet) -> str:
    grades = Counter(record.grade for record in side.records)
    if len(grades) == 1:
        return next(iter(grades)) + (f" ({len(side.records)} clips)" if len(side.records) > 1 else "")
    return joined([f"{count} clip{'s' * (count > 1)} {grade}" for grade, count in grades.items()])


def advice(contrast: Contrast) -> tuple[str, ...]:
    """What to do better when filming again, each line once with the sides that need it."""
    found: dict[str, list[str]] = {}
    for side in (contrast.baseline, contrast.condition):
        for record in side.records if side else ():
            for check in record.checks:
                if not check.passed and check.advice:
                    found.setdefault(check.advice, []).append(side_name(contrast, side) if side else "")
    return tuple(f"{text.rstrip('.')} ({joined(list(dict.fromkeys(sides)))})." for text, sides in found.items())
