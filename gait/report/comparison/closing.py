"""The last part: how to read the numbers, what the words mean, and how the report was made."""

from collections.abc import Iterator
from typing import Final

import numpy as np

from gait.compare.compared import compared
from gait.compare.nouns import ClipSet, Comparison
from gait.measures import MEASURES
from gait.overruling import overruled_words
from gait.report.cautions import CAUTIONS, PRACTICE
from gait.report.comparison.content import Block, Definition, Definitions, Facts, Point, Points, Row, Table
from gait.report.comparison.naturally import day
from gait.report.comparison.tables import shown_measures
from gait.report.sections import define, flat
from gait.report.units import METRIC
from gait.report.words import NOT_KNOWN, number

EQUIPMENT: Final = Point(
    "On a treadmill, nine dogs extended the shoulder less in a Y-front than in a chest-strap harness (Lafuente et al. "
    "2019, Vet Rec 184:64); in twelve guide dogs two types of harness changed nothing on the leash alone "
    "(Weissenbacher et al. 2022, Animals 12:2453). This report never assumes which direction an effect should have.",
    "Published studies disagree about equipment.",
    "only the abstracts read",
)
ONE_CLIP: Final = (
    "{which} The interval then tells how the strides of that clip differ, and nothing of how two clips of the same "
    "condition would differ: the dog a little more tired, the gear put on anew, the camera moved."
)
STATISTICS: Final = (
    Point(
        "Every interval is about this dog, on these days, in these clips; what holds for other dogs is not in it.",
        "One dog, few clips.",
        PRACTICE,
    ),
    Point(
        "Only strides of the same gait at like speed are set against each other, and only where there are enough of "
        "them; the limits stand among the settings below.",
        "Like with like.",
        PRACTICE,
    ),
    Point(
        "Neighbouring strides resemble each other and do not count as independent: the interval comes from drawing "
        "blocks of neighbouring strides anew.",
        "95 % interval.",
        "Künsch 1989, Ann Stat 17:1217, from memory, not read",
    ),
    Point(
        "Many measures are looked at at once, and one in twenty would differ by chance; the verdict is therefore "
        "corrected for their number.",
        "Verdict.",
        "Holm 1979, Scand J Stat 6:65, from memory, not read",
    ),
    Point(
        "“No difference shown” does not say that there is none; the resolution says how small a difference could have "
        "been seen.",
        "Nothing shown is not nothing there.",
        "Altman & Bland 1995, BMJ 311:485, from memory, not read",
    ),
    Point(
        "A vest or a harness over the withers, or a long coat, hides where withers and croup are. A difference of "
        "topline, protraction or retraction between such a condition and bare may come from that: look at the film.",
        "Gear over the back.",
        PRACTICE,
    ),
    EQUIPMENT,
)
TERMS: Final = (
    Definition("baseline", "", "the condition that the others are set against: the same dog on the same day", ""),
    Definition("difference", "", "condition minus baseline, or later visit minus earlier visit", "by definition"),
    Definition("95 % interval", "", "bounds that hold the true difference in 95 of 100 such films, as far as strides "
               "tell it", "by definition"),
    Definition("resolution", "", "the smallest difference that this footage could have shown: error of the tracking, "
               "frames and the spread between strides together", "our own definition"),
    Definition("verdict", "", "larger, smaller, or no difference that this footage can show", "our own definition"),
)  # fmt: skip
#: Measures that the figures show, whether or not a line was compared.
DRAWN: Final = ("duty_factor", "limb_phase", "topline_deg")
REPEATABILITY: Final = Definition(
    "repeatability",
    "",
    "change between two visits that the dog shows without any cause, from its clips of one day and condition",
    "our own definition",
)


def cautions() -> Points:
    """The cautions of every page, in their usual place."""
    return Points(tuple(Point(item.text, item.gist, item.source) for item in CAUTIONS))


def statistics(comparison: Comparison) -> Points:
    """How to read the numbers; the warning about single clips only where there are some."""
    single = [name for name, side in clip_sets(comparison) if len(side.records) == 1]
    everyone = len(single) == len(list(clip_sets(comparison)))
    which = "Every condition has one clip alone." if everyone else f"There is one clip alone of: {'; '.join(single)}."
    points = list(STATISTICS)
    if single:
        points.insert(1, Point(ONE_CLIP.format(which=which), "One clip a condition.", "derived"))
    return Points(tuple(points))


def clip_sets(comparison: Comparison) -> Iterator[tuple[str, ClipSet]]:
    """Every side of the comparison once, with its name."""
    seen: set[tuple[str, str, str]] = set()
    for contrast in comparison.contrasts:
        for side in (contrast.baseline, contrast.condition):
            if side is not None and (key := (side.dog, side.condition, side.date)) not in seen:
                seen.add(key)
                yield ", ".join(part for part in (side.dog, side.condition, day(side.date)) if part), side


def overruled_remarks(comparison: Comparison) -> tuple[str, ...]:
    """What people said against the readings that are compared, clip by clip."""
    return tuple(
        f"{record.trial.clip or 'A clip'} ({name}): {overruled_words(record.overruled, len(record.strides))}"
        for name, side in clip_sets(comparison)
        for record in side.records
        if record.overruled
    )


def definitions(comparison: Comparison, units: str = METRIC) -> Definitions:
    """What the words of this report mean: terms first, then every measure that it shows, in ``units``."""
    lines = (line for contrast in comparison.contrasts for line in contrast.lines if line.verdict)
    shown = {*shown_measures(lines), *(compared(trend.measure).column for trend in comparison.trends), *DRAWN}
    rows = define((row for row in MEASURES if row.name in shown), units)
    found = [Definition(row["label"], row["unit"], row["definition"], row["source"]) for row in rows]
    return Definitions((*TERMS, *((REPEATABILITY,) if comparison.trends else ()), *found))


def making(comparison: Comparison) -> tuple[Block, ...]:
    """The clips, versions and settings."""
    versions = tuple((f"Version of {name}", str(value)) for name, value in comparison.versions.items())
    settings = tuple(flat(comparison.settings))
    blocks: list[Block] = [_clips(comparison)]
    blocks += [Facts(versions)] if versions else []
    return (*blocks, Facts(settings, "Settings")) if settings else tuple(blocks)


def _clips(comparison: Comparison) -> Table:
    columns = ("Clip", "Frames per second", "Strides used / found", "Dog, condition, day", "Footage", "Network")
    rows = tuple(row for name, side in clip_sets(comparison) for row in _clip_rows(name, side))
    return Table("clips", "The clips", "The clips; strides are those of the near hind paw", columns, rows, words=3)


def _clip_rows(name: str, side: ClipSet) -> Iterator[Row]:
    for place, record in enumerate(side.records, 1):
        hind, t_s = record.strides_of("near_hind"), record.tracks.t_s
        rate = (len(t_s) - 1) / (t_s[-1] - t_s[0]) if len(t_s) > 1 else np.nan
        used = f"{int((hind & record.strides.used).sum())} / {int(hind.sum())}"
        network = record.network_hash[:12] or "none: a table of landmarks"
        clip = record.trial.clip or f"clip {place}"
        yield Row(clip, (number(float(rate)) if np.isfinite(rate) else NOT_KNOWN, used, name, record.grade, network))
