"""The queue of readings: every change of a task's state, each in one transaction.

waiting -> running -> done | failed (it said why); a task whose worker died waits again, and is set aside at the second
death. Whatever ends between two transactions, a task is in one of these states, and its record is there or not.
"""

import dataclasses
from collections.abc import Callable, Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from sqlalchemy import CursorResult, Select, delete, func, insert, select, update
from sqlalchemy.orm import Session, selectinload

from gait.caseload.clock import now_s
from gait.caseload.keys import Wanted, folder_of, reading_part
from gait.caseload.made import Made
from gait.caseload.owners import is_gone
from gait.caseload.store import Store
from gait.caseload.tables import Clip, MeasureRow, Note, RecordRow, TaskRow, TrialRow
from gait.caseload.trials import trial_of
from gait.trial import Trial

WAITING: Final = "waiting"
RUNNING: Final = "running"
DONE: Final = "done"
FAILED: Final = "failed"
ASIDE: Final = "aside"
STATES: Final = (WAITING, RUNNING, DONE, FAILED, ASIDE)

#: A clip that ended its worker so often is set aside.
MOST_DEATHS: Final = 2
#: s without a sign of life after which a task of another machine is taken for abandoned; several missed beats
SILENT_S: Final = 120.0
PAUSED: Final = "paused"


@dataclass(frozen=True, slots=True)
class Task:
    """One reading to be done, with all that a worker needs to know.

    places  where the clip lies, in the order in which it was found there
    fps     pictures per second of a folder of pictures, else None
    tries   how often it was begun, this time counted
    """

    id: int
    clip_id: int
    key: str
    sha256: str
    name: str
    kind: str
    bytes: int
    places: tuple[Path, ...]
    trial: Trial
    fps: float | None
    tries: int
    deaths: int

    @property
    def folder(self) -> Path:
        """Where its results belong, relative to the home of the caseload."""
        return folder_of(self.sha256, self.key)


def claim(store: Store, owner: str, wanted: Wanted) -> Task | None:
    """Take a waiting task that ``wanted`` asks for; two callers never get the same one. None = none is waiting."""
    parts = [reading_part(wanted, kind) for kind in ("film", "table")]
    with store.writing() as session:
        waiting = select(TaskRow).where(TaskRow.state == WAITING, TaskRow.reading.in_(parts))
        row = session.scalar(waiting.order_by(TaskRow.tries, TaskRow.id).limit(1).with_for_update(skip_locked=True))
        if row is None:
            return None
        row.state, row.owner, row.tries, row.ended_at = RUNNING, owner, row.tries + 1, None
        session.flush()
        session.execute(update(TaskRow).where(TaskRow.id == row.id).values(begun_at=now_s(), beat_at=now_s()))
        return _task(session, row)


def beat(store: Store, owner: str) -> None:
    """Say that ``owner`` still works on all that it took."""
    with store.writing() as session:
        session.execute(_running_of(owner).values(beat_at=now_s()))


def finish(store: Store, task: Task, made: Made) -> bool:
    """Put the record of a task into the store and call it done, both or neither; doing it twice does it once.

    False = its clip was removed in the meantime, and nothing was kept: the caller removes the folder of results.
    """
    with store.writing() as session:
        row = session.scalar(select(TaskRow).where(TaskRow.id == task.id).with_for_update())
        if row is None or row.key != task.key:
            return False
        if row.state != DONE:
            _put_record(session, task, made)
            row.state, row.owner, row.error, row.exit_code = DONE, "", "", None
            session.execute(_only(row.id).values(ended_at=now_s()))
        return True


def fail(store: Store, task: Task, owner: str, error: str, exit_code: int) -> None:
    """Note that a task of ``owner`` cannot be done, and why."""
    with store.writing() as session:
        values = {"state": FAILED, "owner": "", "error": error, "exit_code": exit_code, "ended_at": now_s()}
        session.execute(_running_of(owner).where(TaskRow.id == task.id).values(values))


def died(store: Store, task: Task, owner: str, why: str) -> str:
    """Note that a task of ``owner`` ended its worker: it waits again, or is set aside. Returns its state now."""
    with store.writing() as session:
        row = session.scalar(select(TaskRow).where(TaskRow.id == task.id).with_for_update())
        if row is None or (row.state, row.owner) != (RUNNING, owner):
            return row.state if row else ""
        row.deaths, row.owner, row.error = row.deaths + 1, "", why
        row.state = ASIDE if row.deaths >= MOST_DEATHS else WAITING
        session.execute(_only(row.id).values(ended_at=now_s()))
        return row.state


def give_back(store: Store, owner: str, tasks: Collection[int] | None = None) -> int:
    """Let tasks of ``owner`` (None = all) wait again as if they had not been begun; returns how many."""
    with store.writing() as session:
        of = _running_of(owner)
        of = of if tasks is None else of.where(TaskRow.id.in_(tasks))
        return _count(session.execute(of.values(state=WAITING, owner="", tries=TaskRow.tries - 1)))


def reclaim(store: Store, silent_s: float = SILENT_S, gone: Callable[[str], bool] = is_gone) -> int:
    """Let tasks wait again whose owner has ended, or gave no sign of life for ``silent_s`` s; returns how many."""
    with store.writing() as session:
        owners = session.scalars(select(TaskRow.owner).where(TaskRow.state == RUNNING).distinct()).all()
        ended = [owner for owner in owners if gone(owner)]
        lost = (TaskRow.owner.in_(ended)) | (TaskRow.beat_at < now_s() - silent_s)
        of = update(TaskRow).where(TaskRow.state == RUNNING, lost)
        return _count(session.execute(of.values(state=WAITING, owner="")))


def try_again(store: Store, states: Collection[str] = (FAILED, ASIDE), clip_id: int | None = None) -> int:
    """Let tasks that did not end well wait again, all or those of one clip, with their deaths forgiven; returns how
    many."""
    with store.writing() as session:
        of = update(TaskRow).where(TaskRow.state.in_(states), TaskRow.state.in_((FAILED, ASIDE)))
        of = of if clip_id is None else of.where(TaskRow.clip_id == clip_id)
        return _count(session.execute(of.values(state=WAITING, owner="", deaths=0)))


def counts(store: Store, wanted: Wanted | None = None) -> dict[str, int]:
    """How many tasks are in each state, of those that ``wanted`` asks for (None = all)."""
    of = select(TaskRow.state, func.count()).group_by(TaskRow.state)
    if wanted is not None:
        of = of.where(TaskRow.reading.in_([reading_part(wanted, kind) for kind in ("film", "table")]))
    with store.reading() as connection:
        found = {str(state): int(count) for state, count in connection.execute(of)}
    return {state: found.get(state, 0) for state in STATES}


def pause(store: Store, paused: bool = True) -> None:
    """Ask every run on this store to begin nothing new, or to go on."""
    with store.writing() as session:
        session.execute(delete(Note).where(Note.name == PAUSED))
        if paused:
            session.add(Note(name=PAUSED, value={}))


def is_paused(store: Store) -> bool:
    """Whether runs were asked to begin nothing new."""
    with store.reading() as connection:
        return connection.execute(select(Note.name).where(Note.name == PAUSED)).first() is not None


def _task(session: Session, row: TaskRow) -> Task:
    with_all: Select[Any] = select(Clip).where(Clip.id == row.clip_id)
    clip = session.scalars(with_all.options(selectinload(Clip.places), selectinload(Clip.trial))).one()
    told = clip.trial or TrialRow()
    dog, date = (told.visit.dog.name, told.visit.date) if told.visit else (None, None)
    trial = trial_of(told, clip=clip.name, dog=dog, date=date)
    places = tuple(Path(place.path) for place in clip.places)
    return Task(row.id, clip.id, row.key, clip.sha256, clip.name, clip.kind, clip.bytes, places, trial, told.fps,
                row.tries, row.deaths)  # fmt: skip


def _put_record(session: Session, task: Task, made: Made) -> None:
    session.execute(update(RecordRow).where(RecordRow.clip_id == task.clip_id).values(current=False))
    kept = {name.name: getattr(made, name.name) for name in dataclasses.fields(made) if name.name != "measures"}
    row = RecordRow(clip_id=task.clip_id, task_id=task.id, key=task.key, folder=task.folder.as_posix(), **kept)
    row.read_at = now_s()
    session.add(row)
    session.flush()
    put_measures(session, row.id, made)


def put_measures(session: Session, record_id: int, made: Made) -> None:
    """Put the measures of a record into the store."""
    rows = [dataclasses.asdict(measure) | {"record_id": record_id} for measure in made.measures]
    if rows:
        session.execute(insert(MeasureRow), rows)


def _running_of(owner: str) -> Any:
    return update(TaskRow).where(TaskRow.state == RUNNING, TaskRow.owner == owner)


def _only(task_id: int) -> Any:
    return update(TaskRow).where(TaskRow.id == task_id)


def _count(result: Any) -> int:
    return result.rowcount if isinstance(result, CursorResult) else 0
