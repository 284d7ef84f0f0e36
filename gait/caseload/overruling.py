"""A person's word in the caseload: rows and page of a record made anew with it, and kept in step with what was said."""

from contextlib import suppress
from pathlib import Path
from typing import Any, Final, NamedTuple

from sqlalchemy import delete, or_, select

from gait.caseload.corrected import key_now, machine_record, with_overrulings, write_corrected_page
from gait.caseload.made import Made
from gait.caseload.making import made_of
from gait.caseload.queue import put_measures
from gait.caseload.store import Store
from gait.caseload.tables import Clip, MeasureRow, RecordRow
from gait.errors import GaitError
from gait.nouns import GaitRecord
from gait.overrulings_file import FOLDER, page_of

#: What of a record a person's word reaches; what was filmed and by whom it was read stays.
REACHED: Final = ("grade", "gait", "strides_used", "notices", "checks", "overruled", "overruled_key")


class _Current(NamedTuple):
    """The newest record of a clip, as the store has it."""

    clip_id: int
    sha256: str
    record_id: int
    folder: str
    trial: dict[str, Any]
    key: str


def corrected_record(store: Store, clip_id: int) -> GaitRecord | None:
    """The newest record of a clip with what people said; None when it has none, or its results are gone.

    Raises GaitError when its landmarks give none any more, or nobody can tell what was said.
    """
    return next((_corrected(store.home, one) for one in _current(store, clip_id)), None)


def _corrected(home: Path, one: _Current) -> GaitRecord | None:
    record = machine_record(home, one.folder, one.trial)
    return None if record is None else with_overrulings(home, one.sha256, record)


def apply_overrulings(store: Store, clip_id: int) -> GaitRecord | None:
    """Make the rows of a clip's newest record anew with what people said; returns the record, None = it has none.

    Its page is taken away, since it tells what was said before: write_corrected_page makes it anew. Raises StoreError,
    OSError, or GaitError when its landmarks give no record any more.
    """
    for one in _current(store, clip_id):
        page_of(store.home, one.sha256).unlink(missing_ok=True)
        while (record := _corrected(store.home, one)) is not None:
            if _put(store, one, made_of(record)):
                return record
    return None


def _put(store: Store, one: _Current, made: Made) -> bool:
    """Whether the rows were written; not when another word came in meanwhile, whose turn may be over already."""
    with store.writing() as session:
        if key_now(store.home, one.sha256) != made.overruled_key:
            return False
        row = session.get(RecordRow, one.record_id)
        if row is not None:  # its dog may have been removed
            for name in REACHED:
                setattr(row, name, getattr(made, name))
            session.execute(delete(MeasureRow).where(MeasureRow.record_id == row.id))
            put_measures(session, row.id, made)
    return True


def catch_up(store: Store) -> int:
    """Bring rows and pages in step with what people said, wherever something ended in between; returns how many were
    not. Records of which the results are gone, and those of which nobody can tell what was said, stay as they are."""
    done = 0
    for one in _current(store):
        with suppress(GaitError):  # told where findings are made
            page, key = page_of(store.home, one.sha256), key_now(store.home, one.sha256)
            if (key, bool(key)) != (one.key, page.is_file()):
                record = apply_overrulings(store, one.clip_id) if key != one.key else _corrected(store.home, one)
                write_corrected_page(store.home, one.sha256, one.folder, record)
                done += record is not None
    return done


def _current(store: Store, clip_id: int | None = None) -> list[_Current]:
    """The newest record of a clip, or those of all clips of which anybody said anything."""
    columns = (RecordRow.clip_id, Clip.sha256, RecordRow.id, RecordRow.folder, RecordRow.trial, RecordRow.overruled_key)
    said = {path.stem for path in (store.home / FOLDER).glob("*.jsonl")} if clip_id is None else set()
    spoken_of = or_(RecordRow.overruled_key != "", Clip.sha256.in_(said))
    found = select(*columns).join(Clip, Clip.id == RecordRow.clip_id).where(RecordRow.current)
    with store.reading() as connection:
        rows = connection.execute(found.where(spoken_of if clip_id is None else RecordRow.clip_id == clip_id)).all()
    return list(map(_Current._make, rows))
