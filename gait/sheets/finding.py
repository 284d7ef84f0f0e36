"""The clips in a folder: films, folders of numbered pictures, landmark tables."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

import pyarrow.parquet

from gait.errors import TrialError
from pose.pictures import ENDINGS as PICTURES
from pose.table import ENDINGS as TABLES
from pose.table import NEEDED as TABLE_COLUMNS

FILMS: Final = (".mp4", ".mov", ".m4v", ".avi", ".mkv", ".webm")
#: A folder with fewer pictures holds photographs rather than a clip; derived: half a second at 20 a second.
LEAST_PICTURES: Final = 10
#: A folder that holds one of these is a result of pawfall, not footage.
RESULTS: Final = ("record.json", "comparison.json")

#: Is told which folder cannot be opened, and why.
OnFault = Callable[[Path, OSError], None]


def _give_up(folder: Path, error: OSError) -> None:
    raise error


def find_clips(folder: Path, on_fault: OnFault = _give_up) -> list[Path]:
    """Every clip in ``folder`` and the folders below it, sorted by path; results of earlier readings are passed over.

    on_fault  is told of each folder that cannot be opened, and may let the others go on

    A table that is named after a film beside it (film.csv, film.landmarks.csv) belongs to that film and is no clip.
    """
    if not folder.is_dir():
        raise TrialError(f"{folder} is no folder. Give the folder in which the clips lie.")
    return sorted(_clips_in(folder, on_fault))


def _clips_in(folder: Path, on_fault: OnFault) -> Iterator[Path]:
    try:
        items = [item for item in sorted(folder.iterdir()) if not item.name.startswith(".")]
    except OSError as error:
        on_fault(folder, error)
        return
    if any(item.name in RESULTS for item in items):
        return
    films = tuple(f"{item.stem}." for item in items if item.suffix.lower() in FILMS)
    for item in items:
        if item.is_dir():
            yield from [item] if _is_picture_folder(item) else _clips_in(item, on_fault)
        elif item.suffix.lower() in FILMS:
            yield item
        elif not item.name.startswith(films) and _is_landmark_table(item):
            yield item


def _is_picture_folder(folder: Path) -> bool:
    try:
        pictures = [item for item in folder.iterdir() if item.suffix.lower() in PICTURES]
    except OSError:
        return False  # looked into as a folder of clips, and told there
    return sum(any(map(str.isdigit, item.stem)) for item in pictures) >= LEAST_PICTURES


def _is_landmark_table(path: Path) -> bool:
    if path.suffix.lower() not in TABLES:
        return False
    try:
        if path.suffix.lower() == ".csv":
            with path.open(encoding="utf-8-sig") as file:
                names = [name.strip() for name in file.readline().split(",")]
        else:
            names = pyarrow.parquet.read_schema(path).names
    except (OSError, UnicodeDecodeError, pyarrow.ArrowException):
        return False
    return set(TABLE_COLUMNS) <= set(names)
