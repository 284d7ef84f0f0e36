"""Marks out of a folder and into one: a COCO keypoints file with its pictures beside it, whole in itself."""

import shutil
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np

from pose.coco import Entry, Marks, picture_paths, read_marks, write_marks
from pose.errors import MarksError
from pose.landmarks import LANDMARKS
from training.marks.store import PICKED, marks_path, states_of

EXPORTED: Final = "marks.json"

#: What the file of a folder says for the folder alone; it has no meaning elsewhere.
OWN_NOTES: Final = ("edits",)


def export_marks(folder: str | Path, marker: str, out: str | Path) -> Path:
    """Copy what ``marker`` finished in ``folder``, with its pictures, to the new folder ``out``; returns the file.

    Raises MarksError when there is nothing to copy or ``out`` is taken.
    """
    folder, out = Path(folder), Path(out)
    source = marks_path(folder, marker)
    if not source.is_file():
        raise MarksError(f"{marker} has finished no picture in {folder}.")
    marks = _without_own(read_marks(source))
    paths = picture_paths(marks, folder)
    _check_free(out)
    for name, path in zip(marks.files, paths, strict=True):
        _copy(path, out / name)
    write_marks(marks, out / EXPORTED)
    return out / EXPORTED


def import_marks(file: str | Path, folder: str | Path, marker: str) -> Path:
    """Bring the marks in ``file`` and their pictures into ``folder`` as those of ``marker``; returns the new file.

    A new folder is begun; a folder with marks takes them when it holds the same pictures. Marks that are there are
    never overwritten. Raises MarksError with what stands in the way.
    """
    file, folder = Path(file), Path(folder)
    target = marks_path(folder, marker)
    marks = _without_own(read_marks(file))
    paths = picture_paths(marks, file.parent)
    states_of(marks)
    if target.exists() or target.with_name(f"edits-{marker}.jsonl").exists():
        raise MarksError(f"{target} or its edits are there already; give another --marker, or move them away.")
    if (folder / PICKED).exists():
        marks = _renumbered(marks, read_marks(folder / PICKED))
    else:
        _check_free(folder)
        for name, path in zip(marks.files, paths, strict=True):
            _copy(path, folder / name)
        write_marks(_pictures_alone(marks), folder / PICKED)
    write_marks(marks, target)
    return target


def _without_own(marks: Marks) -> Marks:
    about = {key: value for key, value in marks.about.items() if key not in OWN_NOTES}
    return replace(marks, about=about)


def _pictures_alone(marks: Marks) -> Marks:
    """The pictures of ``marks`` without a dog: a person's marks are no answer of a network."""
    none: tuple[Entry, ...] = ()
    return replace(
        marks,
        mark_id=np.zeros(0, np.int64), picture=np.zeros(0, np.int64), mark_notes=none, about={},
        xy_px=np.zeros((0, len(LANDMARKS), 2)), visibility=np.zeros((0, len(LANDMARKS)), np.int64),
    )  # fmt: skip


def _renumbered(marks: Marks, picked: Marks) -> Marks:
    """``marks`` with the numbers that the same pictures have in ``picked``."""
    numbers = dict(zip(picked.files, picked.image_id.tolist(), strict=True))
    strange = [name for name in marks.files if name not in numbers]
    if strange:
        raise MarksError(
            f"{strange[0]} is not among the pictures of this folder ({len(strange)} of {len(marks.files)} are not). "
            "Import into a new folder."
        )
    return replace(marks, image_id=np.array([numbers[name] for name in marks.files]))


def _check_free(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise MarksError(f"{folder} is there already and not empty; give a new folder.")


def _copy(path: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copy2(path, target)
