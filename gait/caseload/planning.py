"""Which clips are to be read: new ones, those of which a sheet now says something else, and stale ones when asked."""

from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import delete, exists, func, insert, select, update
from sqlalchemy.orm import Session

from gait.caseload.errors import CaseloadError
from gait.caseload.keys import RESULTS, Wanted, reading_key, reading_part
from gait.caseload.queue import ASIDE, FAILED, WAITING
from gait.caseload.store import Store
from gait.caseload.tables import Clip, Dog, RecordRow, TaskRow, TrialRow, Visit
from gait.caseload.trials import SAME, trial_of

UNDONE: Final = (WAITING, FAILED, ASIDE)
#: Rows are changed where they lie; none of them is held in memory.
_PLAIN: Final = {"synchronize_session": False}


@dataclass(frozen=True, slots=True)
class Planned:
    """What came of planning: tasks that are new, clips whose record holds, stale ones that were left as they are."""

    new: int
    current: int
    stale: int


def plan(store: Store, wanted: Wanted, *, stale: bool = False) -> Planned:
    """Make a task for every clip whose record ``wanted`` asks for and which has none.

    stale  whether to read again what an older network, setting or version read. What a sheet says otherwise since is
           always read again (mostly without the network, from the landmarks that are there)

    Tasks that nobody wants any more (waiting, failed or aside, with another key) are taken out.
    """
    with store.writing() as session:
        clips = [(row, *_keys(row, wanted)) for row in session.execute(_everything())]
        _want(session, {row.id: key for row, key, _ in clips})
        there = {(clip, key) for clip, key in session.execute(select(TaskRow.clip_id, TaskRow.key))}
        parts = _parts_read(session)
        missing = [(row, key, part) for row, key, part in clips if (row.id, key) not in there]
        old = [] if stale else [row.id for row, _, part in missing if row.wanted and parts.get(row.id, part) != part]
        new = [_task(row.id, key, part) for row, key, part in missing if row.id not in set(old)]
        if new:
            session.execute(insert(TaskRow), new)
        return Planned(len(new), _current(session), len(old))


def unplanned(store: Store) -> bool:
    """Whether clips are there that are new, or of which a sheet says something else since the last plan."""
    with store.reading() as connection:
        return connection.execute(select(Clip.id).where(Clip.wanted == "").limit(1)).first() is not None


def wait_where_gone(store: Store) -> int:
    """Let clips be read again of which the folder of results was taken away; returns how many.

    Raises CaseloadError when the folder of all results is gone: then it is rather another folder that was given.
    """
    with store.writing() as session:
        rows = select(RecordRow.id, RecordRow.task_id, RecordRow.folder).where(RecordRow.current)
        found = session.execute(rows).all()
        if found and not (store.home / RESULTS).is_dir():
            raise CaseloadError(
                f"{store.home} holds no results, but the store knows of {len(found)}. Is it the right --home? To read "
                f"all clips again, make a folder {RESULTS!r} in it."
            )
        gone = [row for row in found if not (store.home / row.folder / "record.json").is_file()]
        if gone:
            session.execute(update(TaskRow), [{"id": row.task_id, "state": WAITING, "deaths": 0} for row in gone])
            lost = delete(RecordRow).where(RecordRow.id.in_([row.id for row in gone]))
            session.execute(lost, execution_options=_PLAIN)
        return len(gone)


def _task(clip_id: int, key: str, part: str) -> dict[str, Any]:
    return {"clip_id": clip_id, "key": key, "reading": part, "state": WAITING}


def _everything() -> Any:
    columns = [getattr(TrialRow, name) for name in (*SAME, "fps")]
    found = select(Clip.id, Clip.name, Clip.kind, Clip.wanted, Dog.name.label("dog"), Visit.date, *columns)
    return found.join(TrialRow, TrialRow.clip_id == Clip.id).outerjoin(Visit).outerjoin(Dog).order_by(Clip.id)


def _keys(row: Any, wanted: Wanted) -> tuple[str, str]:
    trial = trial_of(row, clip=row.name, dog=row.dog, date=row.date)
    return reading_key(wanted, row.kind, trial, row.fps), reading_part(wanted, row.kind)


def _want(session: Session, keys: dict[int, str]) -> None:
    """Note the wanted key of every clip; its record with that key, if there is one, is the current one."""
    if keys:
        session.execute(update(Clip), [{"id": clip, "wanted": key} for clip, key in keys.items()])
    same = exists().where(Clip.id == RecordRow.clip_id, Clip.wanted == RecordRow.key)
    has = select(RecordRow.clip_id).join(Clip).where(RecordRow.key == Clip.wanted)
    session.execute(update(RecordRow).where(RecordRow.clip_id.in_(has)).values(current=same), execution_options=_PLAIN)
    unwanted = select(TaskRow.id).join(Clip).where(TaskRow.state.in_(UNDONE), TaskRow.key != Clip.wanted)
    session.execute(delete(TaskRow).where(TaskRow.id.in_(unwanted)), execution_options=_PLAIN)


def _parts_read(session: Session) -> dict[int, str]:
    """Clip -> the part of the key that is the same for all clips, of its current record."""
    found = select(RecordRow.clip_id, TaskRow.reading).join(TaskRow).where(RecordRow.current)
    return {clip: part for clip, part in session.execute(found)}


def _current(session: Session) -> int:
    found = select(func.count()).select_from(RecordRow).join(Clip).where(RecordRow.key == Clip.wanted)
    return int(session.scalar(found) or 0)
