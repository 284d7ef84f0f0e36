"""A record with what people said of it, and its page: files alone, so that who reads clips loads no database."""

import os
from pathlib import Path
from typing import Any

from gait.caseload.making import overruled_key
from gait.nouns import GaitRecord
from gait.overruling import overruled
from gait.overrulings_file import page_of, read_said
from gait.report.page import write_page
from gait.reuse import record_again
from gait.trial import Trial


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
    if key_now(home, sha256) != overruled_key(record.overruled):
        page.unlink(missing_ok=True)  # another word came in meanwhile; whoever looks next makes it anew


def reading_link(folder: Path) -> str:
    """Where the reading's own page lies, as seen from the one with what people said."""
    return Path(os.path.relpath(folder / "report.html", page_of(Path(), "any").parent)).as_posix()


def key_now(home: Path, sha256: str) -> str:
    """Number of what people said of that content in the caseload ``home``, "" = nothing."""
    return overruled_key(read_said(home, sha256).in_force)
