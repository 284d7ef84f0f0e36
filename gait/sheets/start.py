"""Starts a trial sheet from a folder of clips, for a person to fill in."""

import os
from pathlib import Path
from typing import Any

from gait.errors import TrialError
from gait.sheets.cells import write_cells
from gait.sheets.finding import find_clips
from gait.sheets.keys import KEYS, PICTURE_KEY
from gait.sheets.trial_sheet import SPREADSHEETS, read_trial

#: A new sheet asks for the belt speed once; whoever reads it in km/h renames the column.
ASKED = tuple(key for key in KEYS if key not in ("belt_kmh", PICTURE_KEY))


def start_sheet(folder: Path, sheet: Path) -> int:
    """Write ``sheet`` (.csv or .xlsx) with a row for each clip in ``folder``; returns how many.

    What a clip's own .toml beside it says is filled in. Raises TrialError, or FileExistsError when it is there already.
    """
    if sheet.suffix.lower() not in SPREADSHEETS:
        raise TrialError(f"{sheet.name} cannot be written; a new sheet is a .csv or an .xlsx file.")
    clips = find_clips(folder)
    if not clips:
        raise TrialError(f"{folder} holds no clip: no film, no folder of numbered pictures, no landmark table.")
    columns = (*ASKED, PICTURE_KEY) if any(clip.is_dir() for clip in clips) else ASKED
    rows = [[_cell(value) for value in _values(clip, sheet.parent, columns)] for clip in clips]
    write_cells([columns, *rows], sheet)
    return len(clips)


def _values(clip: Path, folder: Path, columns: tuple[str, ...]) -> list[Any]:
    beside = clip.with_suffix(".toml")
    told = read_trial(beside) if beside.is_file() else {}
    told["clip"] = Path(os.path.relpath(clip, folder)).as_posix()
    return [told.get(column) for column in columns]


def _cell(value: Any) -> str | float | None:
    return ("yes" if value else "no") if isinstance(value, bool) else value
