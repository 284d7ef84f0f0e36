"""Landmarks of a clip in every form that others use, told apart by the ending of the file."""

from collections.abc import Callable
from pathlib import Path
from typing import Final

from pose.c3d import read_c3d, write_c3d
from pose.coco_clip import read_coco_clip, write_coco_clip
from pose.errors import TableError
from pose.table import read_table, write_table
from pose.tracks import Tracks

READERS: Final[dict[str, Callable[[Path], Tracks]]] = {
    ".csv": read_table, ".parquet": read_table, ".json": read_coco_clip, ".c3d": read_c3d,
}  # fmt: skip
WRITERS: Final[dict[str, Callable[[Tracks, Path], None]]] = {
    ".csv": write_table, ".parquet": write_table, ".json": write_coco_clip, ".c3d": write_c3d,
}  # fmt: skip


def read_landmarks(path: str | Path) -> Tracks:
    """The landmarks in a table (.csv, .parquet), COCO keypoints (.json) or C3D (.c3d).

    Raises TableError or MarksError, which says what is wrong in the file.
    """
    path = Path(path)
    return READERS[known_ending(path)](path)


def write_landmarks(tracks: Tracks, path: str | Path) -> None:
    """Write ``tracks`` in the form that the ending of ``path`` says; the file appears whole or not at all."""
    path = Path(path)
    WRITERS[known_ending(path)](tracks, path)


def known_ending(path: Path) -> str:
    """The ending of ``path``. Raises TableError when it is none of ours."""
    ending = path.suffix.lower()
    if ending not in READERS:
        raise TableError(f"{path.name} is no file of landmarks; allowed are {', '.join(READERS)}.")
    return ending
