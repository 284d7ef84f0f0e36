"""Clips and records of a desk's caseload, by the number of the clip."""

from functools import lru_cache
from pathlib import Path
from typing import Any

from sqlalchemy import select

from gait.caseload.listing import ClipLine, clip_of, dogs
from gait.caseload.tables import RecordRow, TrialRow
from gait.desk.errors import DeskError
from gait.desk.room import Desk
from gait.errors import GaitError
from gait.nouns import GaitRecord
from gait.reuse import record_again
from gait.trial import Trial


def clip_line(desk: Desk, clip_id: int) -> ClipLine:
    """What the lists know of a clip. Raises DeskError when there is none of that number."""
    line = clip_of(desk.store, clip_id)
    if line is None:
        raise DeskError("There is no such clip here; it may have been removed.", 404)
    return line


def names_said(desk: Desk) -> dict[str, list[str]]:
    """Names of dogs and conditions that were said before, which a page proposes: {"dogs", "conditions"}."""
    with desk.store.reading() as connection:
        said = select(TrialRow.condition).where(TrialRow.condition != "").distinct().order_by(TrialRow.condition)
        conditions = list(connection.scalars(said))
    return {"dogs": [line.dog for line in dogs(desk.store)], "conditions": conditions}


def record_folder(desk: Desk, line: ClipLine) -> Path:
    """The folder with the results of a clip. Raises DeskError when it was not read yet."""
    if not line.folder:
        became = f"could not be read. {line.error}" if line.error else "has not been read yet."
        raise DeskError(f"{line.name} {became}", 404)
    return desk.home / line.folder


def trial_told(desk: Desk, line: ClipLine) -> dict[str, Any]:
    """What was said of the filming when the clip was read."""
    with desk.store.reading() as connection:
        told = connection.execute(select(RecordRow.trial).where(RecordRow.id == line.record_id)).scalar()
    return told or {}


def record_of(desk: Desk, clip_id: int) -> GaitRecord:
    """The machine's record of a clip, from its results; those that were asked for last are at hand.

    Raises DeskError when it was not read yet or its results are gone.
    """
    line = clip_line(desk, clip_id)
    folder = record_folder(desk, line)
    trial = Trial(**{**trial_told(desk, line), "clock_known": True})
    try:
        record = _again(folder, trial)
    except GaitError as error:
        raise DeskError(str(error), 404) from error
    if record is None:
        raise DeskError(f"The results of {line.name} are gone or damaged; have it read again.", 404)
    return record


def forget_records() -> None:
    """Let go of all records that are at hand."""
    _again.cache_clear()


@lru_cache(maxsize=24)
def _again(folder: Path, trial: Trial) -> GaitRecord | None:
    """A record never changes: its folder is named after everything that it depends on."""
    return record_again(folder, trial)
