"""What lists are made of, fast: a few joins, no object per row."""

from collections.abc import Sequence
from operator import attrgetter
from pathlib import Path
from typing import Any, Final, NamedTuple

from sqlalchemy import and_, case, func, select
from sqlalchemy.orm import aliased

from gait.caseload.queue import DONE, WAITING
from gait.caseload.store import Store
from gait.caseload.tables import Clip, Dog, Place, RecordRow, TaskRow, TrialRow, Unusable, Visit, folded
from gait.overrulings_file import page_of

#: State of a clip that no run has planned for yet.
NEW: Final = "new"


class ClipLine(NamedTuple):
    """One clip. state: of its wanted reading, "new" = not planned yet; what is not known is "" or 0.

    stale   whether its record is of an older network, setting, version or sheet
    folder  of its record, relative to the home of the caseload
    fps     pictures per second of a folder of pictures
    overruled  how many strides of its record a person decided and how, "2 (1 trot, 1 left out)"
    """

    clip_id: int
    name: str
    kind: str
    sha256: str
    dog: str
    date: str
    condition: str
    baseline: bool
    state: str
    error: str
    record_id: int
    grade: str
    gait: str
    strides_used: int
    folder: str
    stale: bool
    fps: float
    path: str
    overruled: str = ""

    @property
    def report(self) -> str:
        """Where its report lies, as seen from the home of the caseload: with what a person said where anybody did."""
        return page_of(Path(), self.sha256).as_posix() if self.overruled else f"{self.folder}/report.html"


class DogLine(NamedTuple):
    """One dog: its visits and clips, the day of the last visit, and how many clips have a record."""

    dog_id: int
    dog: str
    visits: int
    clips: int
    read: int
    last_date: str


def clips(store: Store, *, dog: str | None = None, states: Sequence[str] = ()) -> list[ClipLine]:
    """Every clip, or those of ``dog`` or in ``states``, by dog, day, condition and name."""
    found = _clips()
    found = found if dog is None else found.where(Dog.folded == folded(dog))
    with store.reading() as connection:
        rows = connection.execute(found).all()
    lines = [line for line in map(ClipLine._make, rows) if not states or line.state in states]
    return sorted(lines, key=attrgetter("dog", "date", "condition", "name"))


def clip_of(store: Store, clip_id: int) -> ClipLine | None:
    """The clip of that number; None when there is none."""
    with store.reading() as connection:
        row = connection.execute(_clips().where(Clip.id == clip_id)).first()
    return None if row is None else ClipLine._make(row)


def read_last(store: Store, most: int) -> list[ClipLine]:
    """The clips that were read last, the newest first."""
    found = _clips().where(RecordRow.id.is_not(None)).order_by(RecordRow.read_at.desc(), Clip.id).limit(most)
    with store.reading() as connection:
        return [ClipLine._make(row) for row in connection.execute(found)]


def dogs(store: Store) -> list[DogLine]:
    """Every dog by name."""
    found = (
        select(
            Dog.id,
            Dog.name,
            func.count(Visit.id.distinct()),
            func.count(TrialRow.id.distinct()),
            func.count(RecordRow.clip_id.distinct()),
            func.coalesce(func.max(Visit.date), ""),
        )
        .outerjoin(Visit, Visit.dog_id == Dog.id)
        .outerjoin(TrialRow, TrialRow.visit_id == Visit.id)
        .outerjoin(RecordRow, and_(RecordRow.clip_id == TrialRow.clip_id, RecordRow.current))
        .group_by(Dog.id, Dog.name)
        .order_by(Dog.name)
    )
    with store.reading() as connection:
        return [DogLine._make(row) for row in connection.execute(found)]


def copies(store: Store) -> list[tuple[Path, Path]]:
    """(path, path of the same content that came first) of every file that lies in more than one place."""
    first = select(func.min(Place.id).label("id"), Place.clip_id).group_by(Place.clip_id).subquery()
    kept = aliased(Place)
    found = (
        select(Place.path, kept.path)
        .join(first, first.c.clip_id == Place.clip_id)
        .join(kept, kept.id == first.c.id)
        .where(Place.id != first.c.id)
        .order_by(Place.path)
    )
    with store.reading() as connection:
        return [(Path(path), Path(before)) for path, before in connection.execute(found)]


def tally(store: Store) -> dict[str, int]:
    """State -> clips in it, by the reading that is wanted; where none is planned, a clip with a record counts as done,
    one without as waiting."""
    unplanned = case((RecordRow.id.is_not(None), DONE), else_=WAITING)
    found = (
        select(func.coalesce(TaskRow.state, unplanned).label("standing"), func.count())
        .select_from(Clip)
        .outerjoin(TaskRow, and_(TaskRow.clip_id == Clip.id, TaskRow.key == Clip.wanted))
        .outerjoin(RecordRow, and_(RecordRow.clip_id == Clip.id, RecordRow.current))
        .group_by("standing")
    )
    with store.reading() as connection:
        return {str(state): int(count) for state, count in connection.execute(found)}


def unusable(store: Store) -> list[tuple[Path, str]]:
    """Every file that was not taken in, and why."""
    with store.reading() as connection:
        rows = connection.execute(select(Unusable.path, Unusable.reason).order_by(Unusable.path))
        return [(Path(path), reason) for path, reason in rows]


def _clips() -> Any:
    """Rows of ClipLine. They are sorted afterwards: the database would carry all columns along, at twice the time."""
    first = select(Place.path).where(Place.clip_id == Clip.id).order_by(Place.id).limit(1).scalar_subquery()
    return (
        select(
            Clip.id,
            Clip.name,
            Clip.kind,
            Clip.sha256,
            func.coalesce(Dog.name, ""),
            func.coalesce(Visit.date, ""),
            func.coalesce(TrialRow.condition, ""),
            func.coalesce(TrialRow.baseline, False),
            func.coalesce(TaskRow.state, NEW),
            func.coalesce(TaskRow.error, ""),
            func.coalesce(RecordRow.id, 0),
            func.coalesce(RecordRow.grade, ""),
            func.coalesce(RecordRow.gait, ""),
            func.coalesce(RecordRow.strides_used, 0),
            func.coalesce(RecordRow.folder, ""),
            func.coalesce(RecordRow.key != Clip.wanted, False),
            func.coalesce(TrialRow.fps, 0.0),
            func.coalesce(first, ""),
            func.coalesce(RecordRow.overruled, ""),
        )
        .select_from(Clip)
        .outerjoin(TrialRow, TrialRow.clip_id == Clip.id)
        .outerjoin(Visit, Visit.id == TrialRow.visit_id)
        .outerjoin(Dog, Dog.id == Visit.dog_id)
        .outerjoin(TaskRow, and_(TaskRow.clip_id == Clip.id, TaskRow.key == Clip.wanted))
        .outerjoin(RecordRow, and_(RecordRow.clip_id == Clip.id, RecordRow.current))
    )
