"""Reads from the store what the morning list and the page of a dog show."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Any, Final, NamedTuple

import numpy as np
from sqlalchemy import func, select

from gait.caseload.findings import dog_page
from gait.caseload.listing import ClipLine, clips, copies, tally
from gait.caseload.morning import FILM_AGAIN
from gait.caseload.store import Store
from gait.caseload.tables import Clip, Dog, FindingRow, MeasureRow, Place, RecordRow, TrialRow, Visit
from gait.compare.compared import COMPARED, Compared, compared
from gait.compare.lines import NO_GAIT
from gait.summaries import mean_of


class Case(NamedTuple):
    """All findings of one kind about one dog's visit, or about one clip.

    kind       as in gait.caseload.morning; "maybe" = changed, of a dog whose repeatability is not known
    dog, clip  names, "" = none
    words, advice   one sentence or more for each finding, each once
    page       where to look, as seen from the home of the caseload; "" = nowhere
    dog_id, clip_id   their numbers, 0 = none
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
    dog_id: int = 0
    clip_id: int = 0


@dataclass(frozen=True, slots=True)
class ShortList:
    """The morning list: its cases in order, how many clips are in each state, and what else is to be known.

    copies    path -> path of the same content that came first
    unsheeted clips of which no sheet tells dog and day
    unsure    of each clip that is unsure, the folder of its record and where it lies
    """

    cases: tuple[Case, ...]
    tally: dict[str, int]
    clips: int
    dogs: int
    copies: dict[str, str]
    unsheeted: int
    unsure: tuple[tuple[str, str], ...] = ()


#: Columns that a case is made from, and the places of two of them.
_RANK, _DATE = 3, 6
_OF_CASE: Final = (
    FindingRow.id, FindingRow.kind, FindingRow.repeatability, FindingRow.rank, FindingRow.dog_id, FindingRow.clip_id,
    FindingRow.date, FindingRow.words, FindingRow.advice, FindingRow.page, Dog.name, Clip.name,
)  # fmt: skip


def short_list(store: Store) -> ShortList:
    """What a person has to look at, what needs one first in front."""
    rows = (
        select(*_OF_CASE)
        .outerjoin(Dog, Dog.id == FindingRow.dog_id)
        .outerjoin(Clip, Clip.id == FindingRow.clip_id)
    )
    with store.reading() as connection:
        cases = _cases(connection.execute(rows).all())
        known = connection.execute(select(func.count(Clip.id))).scalar_one()
        dogs = connection.execute(select(func.count(Dog.id))).scalar_one()
        sheeted = connection.execute(select(func.count(TrialRow.id)).where(TrialRow.visit_id.is_not(None))).scalar_one()
        unsure = tuple((folder, path) for folder, path in connection.execute(_unsure()))
    twice = {str(copy): str(first) for copy, first in copies(store)}
    return ShortList(cases, tally(store), known, dogs, twice, known - sheeted, unsure)


def _unsure() -> Any:
    first = select(Place.path).where(Place.clip_id == RecordRow.clip_id).order_by(Place.id).limit(1).scalar_subquery()
    found = select(RecordRow.folder, first).join(FindingRow, FindingRow.record_id == RecordRow.id)
    return found.where(FindingRow.kind == "unsure").order_by(FindingRow.rank, FindingRow.date.desc(), FindingRow.id)


def _cases(rows: Sequence[Any]) -> tuple[Case, ...]:
    """Findings of one kind about one thing, joined; the first one says where they stand."""
    found: dict[tuple[Any, ...], list[Any]] = {}
    newest = sorted(sorted(rows, key=itemgetter(0)), key=itemgetter(_DATE), reverse=True)
    for row in sorted(newest, key=itemgetter(_RANK)):  # by the database it would take twice the time
        number, kind, repeatability, _, dog_id, clip_id, date, *_ = row
        kind = "maybe" if kind == "changed" and repeatability is None else kind
        found.setdefault((kind, dog_id, clip_id, date, None if dog_id or clip_id else number), []).append(row)
    return tuple(_case(kind, of_one) for (kind, *_), of_one in found.items())


def _case(kind: str, rows: list[Any]) -> Case:
    _, _, _, rank, dog_id, clip_id, date, _, _, page, dog, clip = rows[0]
    advice = tuple(dict.fromkeys(row[8] for row in rows if row[8]))
    own = dog_page(dog_id) if dog_id else ""
    words = tuple(row[7] for row in rows)
    return Case(kind, rank, dog or "", clip or "", date, words, advice, page, own, dog_id or 0, clip_id or 0)


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
    """Everything that the page of a dog shows. dates: its visits, in order; belt_m_s: of its clips, by their number."""

    id: int
    name: str
    dates: tuple[str, ...]
    clips: tuple[ClipLine, ...]
    belt_m_s: dict[int, float]
    courses: tuple[Course, ...]
    cases: tuple[Case, ...]


_PLACES: Final = {row.name: place for place, row in enumerate(COMPARED)}


def story_of(store: Store, dog_id: int) -> DogStory:
    """The story of the dog of that number."""
    findings = (
        select(*_OF_CASE)
        .join(Dog, Dog.id == FindingRow.dog_id)
        .outerjoin(Clip, Clip.id == FindingRow.clip_id)
        .where(FindingRow.dog_id == dog_id)
    )
    with store.reading() as connection:
        name = connection.execute(select(Dog.name).where(Dog.id == dog_id)).scalar_one()
        of_dog = select(TrialRow.clip_id, TrialRow.belt_m_s).join(Visit).where(Visit.dog_id == dog_id)
        belt_m_s = {clip: float(belt) for clip, belt in connection.execute(of_dog) if belt is not None}
        cases = _cases(connection.execute(findings).all())
        measures = connection.execute(_measures(dog_id)).all()
    lines = clips(store, dog=name)
    dates = tuple(sorted({line.date for line in lines}))
    return DogStory(dog_id, name, dates, tuple(lines), belt_m_s, _courses(measures, dates), cases)


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
