"""The morning list and the page of one dog as pages that stand alone: no script, nothing fetched."""

import os
from dataclasses import dataclass
from pathlib import PurePath, PurePosixPath
from shlex import quote as quoted
from typing import Final
from urllib.parse import quote

from gait.caseload.listing import ClipLine
from gait.caseload.short_list import Case, Course, DogStory, ShortList
from gait.report.cautions import CAUTIONS
from gait.report.comparison.naturally import day, figure
from gait.report.comparison.wording import scale
from gait.report.page import stylesheet, template
from gait.report.units import METRIC, shown


@dataclass(frozen=True, slots=True)
class Part:
    """One section of the list: its heading, what one and many of its cases are called, what they have in common, and
    the kinds that belong to it."""

    key: str
    title: str
    one: str
    many: str
    text: str
    kinds: tuple[str, ...]


#: In the order in which a person should go through them (gait.caseload.morning.RANKS).
PARTS: Final = (
    Part(
        "moves", "Dogs that move otherwise", "dog moves otherwise", "dogs move otherwise",
        "Measures that changed since the last visit in the same condition, at the same gait and speed of the belt, by "
        "more than this dog showed without a cause; and dogs that show another gait. In brackets: 95 % interval. A "
        "change says nothing about its cause; look at the films of both visits before anything is made of it.",
        ("gait_changed", "changed"),
    ),
    Part(
        "again", "To be filmed again", "clip to be filmed again", "clips to be filmed again",
        "Clips from which nothing can be said, and what to do otherwise next time.",
        ("film_again",),
    ),
    Part(
        "files", "Files that cannot be used", "file that cannot be used", "files that cannot be used",
        "Nothing was read from these.",
        ("unreadable",),
    ),
    Part(
        "maybe", "Changes that may be none", "dog with changes that may be none",
        "dogs with changes that may be none",
        "The footage shows a change since the last visit, but how far the dog differs without a cause is not known.",
        ("maybe",),
    ),
    Part(
        "unsure", "Sides or gait unsure", "clip with sides or gait unsure",
        "clips with sides or gait unsure",
        "Too many strides in which near and far paws or the gait could not be told. Their frames, marked, teach the "
        "network.",
        ("unsure",),
    ),
)  # fmt: skip
#: Kinds whose sentences begin with gait, condition and day, told once for all of them.
WITH_HEAD: Final = ("changed", "maybe")
#: Least size of the largest value of a row, and the decimals that it is told with: two when it is smaller.
DECIMALS: Final = ((100.0, 0), (10.0, 1))
#: What a state of a reading is called in the head of the list.
STATES: Final = {"done": "Read", "waiting": "Waiting", "running": "Being read", "failed": "Could not be read",
                 "aside": "Set aside"}  # fmt: skip


def morning_page(found: ShortList, made: str) -> str:
    """The morning list as HTML text. made: when, in words. Links are as seen from the home of the caseload."""
    parts = [(part, joined([case for case in found.cases if case.kind in part.kinds])) for part in PARTS]
    tally = [(name, found.tally[state]) for state, name in STATES.items() if found.tally.get(state)]
    return template("morning.html").render(
        css=stylesheet(),
        made=made,
        facts=[("Clips", found.clips), ("Dogs", found.dogs), *tally],
        parts=[(part, cases) for part, cases in parts if cases],
        pick=pick_words(found),
        copies=found.copies,
        unsheeted=found.unsheeted,
        cautions=CAUTIONS,
        day=day,
        heads=under_heads,
        link=quote,
    )


def dog_html(story: DogStory, home: str) -> str:
    """The page of a dog as HTML text. home: the folder of the caseload, as seen from the folder of the page."""
    groups: dict[str, list[Course]] = {}
    for course in story.courses:
        groups.setdefault(f"{course.condition}, {course.gait}", []).append(course)
    return template("dog.html").render(
        css=stylesheet(),
        story=story,
        parts=[(part, cases) for part in PARTS if (cases := [c for c in story.cases if c.kind in part.kinds])],
        groups={name: [(course, *course_words(course)) for course in rows] for name, rows in groups.items()},
        cautions=CAUTIONS,
        footage=footage_words,
        day=day,
        heads=under_heads,
        link=lambda page: quote(_from(page, home)),
    )


def _from(page: str, home: str) -> str:
    """``page``, which is seen from the home, as seen from a page for which the home is ``home``."""
    return os.path.normpath(PurePosixPath(home) / page).replace(os.sep, "/") if page else ""


def footage_words(clip: ClipLine) -> str:
    """How good the footage of a clip is, and what a person overruled, or what became of its reading."""
    older = " (by an older network, setting or version)" if clip.folder and clip.stale else ""
    said = f"; overruled: {clip.overruled}" if clip.overruled else ""
    return f"{clip.grade}{older}{said}" if clip.grade else STATES.get(clip.state, "Waiting").lower()


def under_heads(case: Case) -> list[tuple[str, list[str]]]:
    """The sentences of a case, those under one head together: [("Trot, bare, since 2026-03-02", ["..."])]."""
    found: dict[str, list[str]] = {}
    for text in case.words:
        head, colon, rest = text.partition(": ") if case.kind in WITH_HEAD else ("", "", text)
        found.setdefault(head if colon else "", []).append(rest if colon else text)
    return list(found.items())


def joined(cases: list[Case]) -> list[list[Case]]:
    """Cases about one dog's visit together, the others by themselves."""
    found: dict[tuple[str, str, str], list[Case]] = {}
    for number, case in enumerate(cases):
        found.setdefault((case.dog, case.date, "" if case.dog and not case.clip else str(number)), []).append(case)
    return list(found.values())


def pick_words(found: ShortList) -> str:
    """The command that chooses frames from all clips that are unsure; "" when there are none."""
    folders = [quoted(folder) for folder, _ in found.unsure]
    sources = dict.fromkeys(quoted(str(PurePath(path).parent)) for _, path in found.unsure)
    words = " ".join((*folders, *(f"--sources {source}" for source in sources)))
    return f"pawfall pick {words} -o marks" if folders else ""


def course_words(course: Course, units: str = METRIC) -> tuple[str, tuple[str, ...]]:
    """The unit in which a measure is told, and its means in it; a dash = not known. units: of lengths."""
    factor, unit = scale(course.measure, course.unit)
    times, unit = shown(1.0, unit, units)
    factor *= times
    known = [factor * mean for mean in course.means if mean is not None]
    largest = max(map(abs, known), default=1.0)
    places = next((places for least, places in DECIMALS if largest >= least), 2)
    words = ("–" if mean is None else figure(factor * mean, places) for mean in course.means)
    return unit, tuple(words)
