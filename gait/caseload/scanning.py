"""What lies in a folder or stands in a sheet: clips with what is said of them, and files that cannot be used."""

import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from gait.caseload.errors import CaseloadError
from gait.errors import TrialError
from gait.reading import is_table
from gait.sheets.finding import RESULTS, find_clips
from gait.sheets.keys import PICTURE_KEY
from gait.sheets.trial_sheet import SPREADSHEETS, read_rows, read_trial
from gait.trial import Trial

#: A sheet of this name in the folder of the clips is used without being asked for.
SHEETS: Final = ("sheet.csv", "sheet.xlsx", "sheet.toml")
#: Endings of films that cameras leave and that are not read; they must not be passed over in silence.
OTHER_FILMS: Final = (".mts", ".m2ts", ".wmv", ".mpg", ".mpeg", ".3gp", ".flv", ".vob", ".mxf", ".ogv", ".insv", ".lrv")


@dataclass(frozen=True, slots=True)
class Found:
    """A clip that may be taken in. trial: what is said of it, None = nothing; sheet: the file that says so."""

    source: Path
    trial: Trial | None = None
    fps: float | None = None
    sheet: str = ""


@dataclass(frozen=True, slots=True)
class Fault:
    """A file that cannot be used, or something in a sheet that cannot, and why."""

    path: Path
    reason: str


@dataclass(frozen=True, slots=True)
class Scan:
    """All that was found in one place."""

    clips: tuple[Found, ...]
    faults: tuple[Fault, ...]


@dataclass(frozen=True, slots=True)
class Stamp:
    """Size in bytes and time of the last change in ns, of a file or of all files of a folder together."""

    bytes: int
    changed_ns: int


def scan(source: Path, home: Path) -> Scan:
    """Everything in the folder or the sheet ``source``; the folder ``home`` of the caseload itself is passed over,
    unless ``source`` is a folder within it.

    Raises CaseloadError when there is no such folder or sheet.
    """
    source = source.resolve()
    if source.is_dir():
        return _scan_folder(source, home.resolve())
    if source.suffix.lower() not in (*SPREADSHEETS, ".toml") or not source.is_file():
        raise CaseloadError(f"{source} is no folder and no trial sheet (.csv, .xlsx, .toml). Give one of these.")
    faults: list[Fault] = []
    return Scan(tuple(_in_sheet(source, faults)), tuple(faults))


def scan_clips(clips: Iterable[Path]) -> Scan:
    """Single clips, each with the sheet beside it."""
    faults: list[Fault] = []
    found = [_told_beside(clip.resolve(), faults) for clip in clips]
    return Scan(tuple(found), tuple(faults))


def _scan_folder(folder: Path, home: Path) -> Scan:
    within = home in folder.parents
    faults = [Fault(path, "a film of a kind that is not read; save it as mp4") for path in _other_films(folder, home)]
    clips = find_clips(folder, lambda closed, error: faults.append(unreadable(closed, error)))
    found = {clip: _told_beside(clip, faults) for clip in clips if within or not clip.is_relative_to(home)}
    for sheet in (folder / name for name in SHEETS):
        if sheet.is_file():
            found |= {row.source: row for row in _in_sheet(sheet, faults)}
    told_first = sorted(found.values(), key=lambda clip: clip.trial is None)  # of two copies it gives the name
    return Scan(tuple(told_first), tuple(faults))


def _told_beside(clip: Path, faults: list[Fault]) -> Found:
    beside = clip.with_suffix(".toml")
    return _beside(clip, beside, faults) if beside.is_file() else Found(clip)


def _in_sheet(sheet: Path, faults: list[Fault]) -> Iterator[Found]:
    try:
        rows = read_rows(sheet, lambda error: faults.append(Fault(sheet, str(error))))
    except TrialError as error:
        faults.append(Fault(sheet, str(error)))
        return
    for row in rows:
        yield Found(row.source.resolve(), row.trial, row.fps, str(sheet))


def _beside(clip: Path, sheet: Path, faults: list[Fault]) -> Found:
    try:
        told = read_trial(sheet)
        fps = told.pop(PICTURE_KEY, None)
        trial = Trial(**told)
        if bool(trial.dog) != bool(trial.date):
            faults.append(Fault(sheet, "it needs both a dog and a date; its clip belongs to no visit until then"))
        return Found(clip, trial, fps, str(sheet))
    except TrialError as error:
        faults.append(Fault(sheet, str(error)))
        return Found(clip)


def _other_films(folder: Path, home: Path) -> Iterator[Path]:
    """Films whose endings are not among those that are read."""
    for here, folders, files in os.walk(folder):
        if any(name in RESULTS for name in files):
            folders.clear()
            continue
        folders[:] = sorted(name for name in folders if not name.startswith(".") and Path(here, name) != home)
        names = (name for name in sorted(files) if not name.startswith("."))
        yield from (Path(here, name) for name in names if Path(name).suffix.lower() in OTHER_FILMS)


def unreadable(source: Path, error: OSError) -> Fault:
    """A file or a folder that cannot be opened."""
    return Fault(source, f"it cannot be read: {error.strerror or error}")


def stamp_of(source: Path) -> Stamp:
    """Size and time of change of a clip; a folder of pictures counts with all its files."""
    parts = [item for item in source.iterdir() if item.is_file()] if source.is_dir() else [source]
    stats = [part.stat() for part in parts]
    return Stamp(sum(stat.st_size for stat in stats), max((stat.st_mtime_ns for stat in stats), default=0))


def kind_of(source: Path) -> str:
    """'film', 'pictures' or 'table'."""
    return "pictures" if source.is_dir() else "table" if is_table(source) else "film"
