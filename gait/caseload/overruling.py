"""A person's word in the caseload: rows and page of a record made anew with it, and kept in step with what was said."""

import os
from contextlib import suppress
from pathlib import Path
from typing import Any, Final, NamedTuple

from sqlalchemy import delete, or_, select

from gait.caseload.made import Made
from gait.caseload.making import made_of, overruled_key
from gait.caseload.queue import put_measures
from gait.caseload.store import Store
from gait.caseload.tables import Clip, MeasureRow, RecordRow
from gait.errors import GaitError
from gait.nouns import GaitRecord
from gait.overruling import overruled
from gait.overrulings_file import FOLDER, page_of, read_said
from gait.report.page import write_page
from gait.reuse import record_again
from gait.trial import Trial

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


def machine_record(home: Path, folder: str, trial: dict[str, Any] | None) -> GaitRecord | None:
    """The reading itself, made anew from the results in ``folder`` of the caseload; None when they are gone.

    trial  of the row in the store

    Raises GaitError when its landmarks give none any more.
    """
    return record_again(home / folder, Trial(**{**(trial or {}), "clock_known": True}))


def with_overrulings(home: Path, sha256: str, record: GaitRecord) -> GaitRecord:
    """``record`` of that content as it is with what people said in this caseload."""
    return overruled(record, read_said(home, sha256).in_force)


def record_page(home: Path, sha256: str, folder: str) -> str:
    """The report of a clip, as seen from the home: with what a person said where there is such a page."""
    page = page_of(home, sha256)
    return page.relative_to(home).as_posix() if page.is_file() else f"{folder}/report.html"


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
        if _key_now(store.home, one.sha256) != made.overruled_key:
            return False
        row = session.get(RecordRow, one.record_id)
        if row is not None:  # its dog may have been removed
            for name in REACHED:
                setattr(row, name, getattr(made, name))
            session.execute(delete(MeasureRow).where(MeasureRow.record_id == row.id))
            put_measures(session, row.id, made)
    return True


def write_corrected_page(home: Path, sha256: str, folder: str, record: GaitRecord | None) -> None:
    """Write the report of a content with what people said, or take it away when nothing of that is in force.

    folder  of the results of the reading, relative to ``home``
    record  of that content, with or without what people said; None = it has none
    """
    page = page_of(home, sha256)
    if record is None or not record.overruled:
        page.unlink(missing_ok=True)
        return
    page.parent.mkdir(parents=True, exist_ok=True)
    write_page(record, page, reading=reading_link(Path(folder)))
    if _key_now(home, sha256) != overruled_key(record.overruled):
        page.unlink(missing_ok=True)  # another word came in meanwhile; whoever looks next makes it anew


def reading_link(folder: Path) -> str:
    """Where the reading's own page lies, as seen from the one with what people said."""
    return Path(os.path.relpath(folder / "report.html", page_of(Path(), "any").parent)).as_posix()


def catch_up(store: Store) -> int:
    """Bring rows and pages in step with what people said, wherever something ended in between; returns how many were
    not. Records of which the results are gone, and those of which nobody can tell what was said, stay as they are."""
    done = 0
    for one in _current(store):
        with suppress(GaitError):  # told where findings are made
            page, key = page_of(store.home, one.sha256), _key_now(store.home, one.sha256)
            if (key, bool(key)) != (one.key, page.is_file()):
                record = apply_overrulings(store, one.clip_id) if key != one.key else _corrected(store.home, one)
                write_corrected_page(store.home, one.sha256, one.folder, record)
                done += record is not None
    return done


def _key_now(home: Path, sha256: str) -> str:
    return overruled_key(read_said(home, sha256).in_force)


def _current(store: Store, clip_id: int | None = None) -> list[_Current]:
    """The newest record of a clip, or those of all clips of which anybody said anything."""
    columns = (RecordRow.clip_id, Clip.sha256, RecordRow.id, RecordRow.folder, RecordRow.trial, RecordRow.overruled_key)
    said = {path.stem for path in (store.home / FOLDER).glob("*.jsonl")} if clip_id is None else set()
    spoken_of = or_(RecordRow.overruled_key != "", Clip.sha256.in_(said))
    found = select(*columns).join(Clip, Clip.id == RecordRow.clip_id).where(RecordRow.current)
    with store.reading() as connection:
        rows = connection.execute(found.where(spoken_of if clip_id is None else RecordRow.clip_id == clip_id)).all()
    return list(map(_Current._make, rows))
