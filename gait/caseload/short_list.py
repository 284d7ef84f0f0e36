"""Reads from the store what the morning list and the page of a dog show."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from sqlalchemy import func, select

from gait.caseload.findings import dog_id_of, dog_page
from gait.caseload.morning import FILM_AGAIN
from gait.caseload.queue import counts
from gait.caseload.store import Store
from gait.caseload.tables import Clip, Dog, FindingRow, MeasureRow, Place, RecordRow, TaskRow, TrialRow, Visit
from gait.compare.compared import COMPARED, Compared, compared
from gait.compare.lines import NO_GAIT
from gait.summaries import mean_of


@dataclass(frozen=True, slots=True)
class Case:
    """All findings of one kind about one dog's visit, or about one clip.

    kind       as in gait.caseload.morning; "maybe" = changed, of a dog whose repeatability is not known
    dog, clip  names, "" = none
    words, advice   one sentence or more for each finding, each once
    page       where to look, as seen from the home of the caseload; "" = nowhere
    """

    kind: str
    rank: float
    dog: str
    clip: str
    date: str
    words: tuple[str, ...]
    advice: tuple[str, ...]
    page: str
    dog_page: str


@dataclass(frozen=True, slots=True)
class ShortList:
    """The morning list: its cases in order, how many readings are in each state, and what else is to be known.

    copies    name of a clip -> the places where its content lies
    unsheeted clips of which no sheet tells dog and day
    """

    cases: tuple[Case, ...]
    tally: dict[str, int]
    clips: int
    dogs: int
    copies: dict[str, tuple[str, ...]]
    unsheeted: int


def short_list(store: Store) -> ShortList:
    """What a person has to look at, what needs one first in front."""
    rows = (
        select(FindingRow, Dog.name, Clip.name)
        .outerjoin(Dog, Dog.id == FindingRow.dog_id)
        .outerjoin(Clip, Clip.id == FindingRow.clip_id)
        .order_by(FindingRow.rank, FindingRow.date.desc(), FindingRow.id)
    )
    with store.reading() as connection:
        cases = _cases(connection.execute(rows).mappings())
        clips = connection.execute(select(func.count(Clip.id))).scalar_one()
        dogs = connection.execute(select(func.count(Dog.id))).scalar_one()
        sheeted = connection.execute(select(func.count(TrialRow.id)).where(TrialRow.visit_id.is_not(None))).scalar_one()
        twice = select(Place.clip_id).group_by(Place.clip_id).having(func.count() > 1)
        places = connection.execute(
            select(Clip.name, Place.path).join(Place).where(Clip.id.in_(twice)).order_by(Clip.id, Place.id)
        ).all()
    copies: dict[str, tuple[str, ...]] = {}
    for name, path in places:
        copies[name] = (*copies.get(name, ()), path)
    return ShortList(cases, counts(store), clips, dogs, copies, clips - sheeted)


def _cases(rows: Iterable[Any]) -> tuple[Case, ...]:
    """Findings of one kind about one thing, joined; the first one says where they stand."""
    found: dict[tuple[Any, ...], Case] = {}
    for row in rows:
        kind = "maybe" if row["kind"] == "changed" and row["repeatability"] is None else row["kind"]
        key = (kind, row["dog_id"], row["clip_id"], row["date"], None if row["dog_id"] or row["clip_id"] else row["id"])
        dog = dog_page(row["dog_id"]) if row["dog_id"] else ""
        old = found.get(key)
        words = (*(old.words if old else ()), row["words"])
        advice = dict.fromkeys((*(old.advice if old else ()), *([row["advice"]] if row["advice"] else [])))
        found[key] = Case(kind, old.rank if old else row["rank"], row["name"] or "", row["name_1"] or "", row["date"],
                          words, tuple(advice), row["page"], dog)  # fmt: skip
    return tuple(found.values())


@dataclass(frozen=True, slots=True)
class ClipLine:
    """One clip of a dog: what was filmed, and what came of it. page: "" when it was not read; state: of its task."""

    clip: str
    date: str
    condition: str
    belt_m_s: float | None
    gait: str
    strides: int | None
    grade: str
    page: str
    state: str
    stale: bool


@dataclass(frozen=True, slots=True)
class Course:
    """One measure over a dog's visits, at one gait in one condition: mean of each of the days, None = not known."""

    condition: str
    gait: str
    measure: str
    label: str
    unit: str
    means: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class DogStory:
    """Everything that the page of a dog shows. dates: its visits, in order."""

    id: int
    name: str
    dates: tuple[str, ...]
    clips: tuple[ClipLine, ...]
    courses: tuple[Course, ...]
    cases: tuple[Case, ...]


_PLACES: Final = {row.name: place for place, row in enumerate(COMPARED)}


def dog_story(store: Store, name: str) -> DogStory | None:
    """The story of the dog of that name; None when the caseload has none."""
    dog_id = dog_id_of(store, name)
    return None if dog_id is None else story_of(store, dog_id)


def story_of(store: Store, dog_id: int) -> DogStory:
    """The story of the dog of that number."""
    newest = select(func.max(TaskRow.id)).group_by(TaskRow.clip_id)
    clips = (
        select(Clip.name, Visit.date, TrialRow.condition, TrialRow.belt_m_s, RecordRow.gait, RecordRow.strides_used,
               RecordRow.grade, RecordRow.folder, TaskRow.state, RecordRow.key != Clip.wanted)
        .join(TrialRow, TrialRow.clip_id == Clip.id)
        .join(Visit, Visit.id == TrialRow.visit_id)
        .outerjoin(RecordRow, (RecordRow.clip_id == Clip.id) & RecordRow.current)
        .outerjoin(TaskRow, (TaskRow.clip_id == Clip.id) & TaskRow.id.in_(newest))
        .where(Visit.dog_id == dog_id)
        .order_by(Visit.date, TrialRow.condition, Clip.name)
    )  # fmt: skip
    findings = (
        select(FindingRow, Dog.name, Clip.name)
        .join(Dog, Dog.id == FindingRow.dog_id)
        .outerjoin(Clip, Clip.id == FindingRow.clip_id)
        .where(FindingRow.dog_id == dog_id)
        .order_by(FindingRow.rank, FindingRow.date.desc(), FindingRow.id)
    )
    with store.reading() as connection:
        name = connection.execute(select(Dog.name).where(Dog.id == dog_id)).scalar_one()
        lines = tuple(ClipLine(*row[:4], row[4] or "", row[5], row[6] or "", f"{row[7]}/report.html" if row[7] else "",
                               row[8] or "waiting", bool(row[9])) for row in connection.execute(clips))  # fmt: skip
        cases = _cases(connection.execute(findings).mappings())
        measures = connection.execute(_measures(dog_id)).all()
    dates = tuple(sorted({line.date for line in lines}))
    return DogStory(dog_id, name, dates, lines, _courses(measures, dates), cases)


def _measures(dog_id: int) -> Any:
    return (
        select(TrialRow.condition, MeasureRow.gait, MeasureRow.measure, Visit.date, MeasureRow.mean, MeasureRow.n)
        .join(RecordRow, RecordRow.id == MeasureRow.record_id)
        .join(TrialRow, TrialRow.clip_id == RecordRow.clip_id)
        .join(Visit, Visit.id == TrialRow.visit_id)
        .where(Visit.dog_id == dog_id, RecordRow.current, RecordRow.grade != FILM_AGAIN)
    )


def _courses(rows: Iterable[Any], dates: tuple[str, ...]) -> tuple[Course, ...]:
    """Means of each day, each clip weighing as many strides as it gave; the commonest gait of a condition first."""
    found: dict[tuple[str, str, str], dict[str, list[tuple[float, int]]]] = {}
    strides: Counter[tuple[str, str]] = Counter()
    for condition, gait, measure, date, mean, n in rows:
        if gait not in NO_GAIT:
            found.setdefault((condition, gait, measure), {}).setdefault(date, []).append((mean, n))
            strides[condition, gait] += n
    shown = [key for key in found if not (key[2].endswith("_bl") and (*key[:2], f"{key[2][:-3]}_m") in found)]
    shown.sort(key=lambda key: (key[0], -strides[key[:2]], key[1], _PLACES[key[2]]))
    return tuple(_course(key, [found[key].get(date, []) for date in dates]) for key in shown)


def _course(key: tuple[str, str, str], days: list[list[tuple[float, int]]]) -> Course:
    row = compared(key[2])
    return Course(*key, row.label, row.measure.unit, tuple(_mean(row, day) for day in days))


def _mean(row: Compared, day: list[tuple[float, int]]) -> float | None:
    values = [np.full(n, mean) for mean, n in day]
    return mean_of(row.measure, np.concatenate(values)) if values else None
