"""The folder of marks as far as a machine writes it: pictures/, and picked.json with the network's answers."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from os import path as os_path
from pathlib import Path
from typing import Any, Final

import numpy as np

from pose.beside import write_picture
from pose.coco import COVERED, NOT_MARKED, VISIBLE, Marks, read_marks, write_marks
from pose.errors import MarksError
from pose.landmarks import CROUP, LANDMARKS, WITHERS
from pose.tracks import BoolArray, FloatArray, IntArray
from pose.window import Picture

FILE: Final = "picked.json"
PICTURES: Final = "pictures"
ABOUT: Final = "frames chosen by pawfall pick; the annotations are a network's answers, nobody's marks"


@dataclass(frozen=True, slots=True, eq=False)
class PickedFrame:
    """One frame to be added.

    stem     name of the picture without its ending
    rgb      (H, W, 3) uint8, upright
    notes    what picked.json says of the picture
    xy_px    (6, 2) px, the network's answer; NaN = none
    hidden   (6,) bool
    score    (6,) 0..1; NaN = not judged
    facing   "left", "right" or None
    """

    stem: str
    rgb: Picture
    notes: Mapping[str, Any]
    xy_px: FloatArray
    hidden: BoolArray
    score: FloatArray
    facing: str | None


def read_picked(folder: Path) -> Marks | None:
    """What was picked into ``folder`` before; None = nothing yet.

    Raises MarksError when the folder holds something else.
    """
    if folder.exists() and not folder.is_dir():
        raise MarksError(f"{folder} is a file. Give a folder for the marks.")
    if (folder / FILE).is_file():
        return read_marks(folder / FILE)
    if folder.is_dir() and any(item for item in folder.iterdir() if not item.name.startswith(".")):
        raise MarksError(f"{folder} is there already and holds no {FILE}. Give an empty folder, or a new name.")
    return None


def add_picked(folder: Path, frames: Iterable[PickedFrame]) -> int:
    """Put ``frames`` into ``folder``, pictures first, so that picked.json never names one that is not there; returns
    how many. What is there already stays as it is."""
    earlier = read_picked(folder)
    (folder / PICTURES).mkdir(parents=True, exist_ok=True)
    added = []
    for frame in frames:
        path = folder / _file_of(frame)
        if path.exists():
            raise MarksError(f"{path} is there already, but not in {FILE}. Move it elsewhere and pick again.")
        write_picture(frame.rgb, path)
        added.append(_without_picture(frame))
    if added:
        write_marks(_joined(earlier, added), folder / FILE)
    return len(added)


def source_seen_from(folder: Path, source: Path) -> str:
    """The way from ``folder`` to the clip, so that both may move together; across disks the whole address."""
    try:
        return Path(os_path.relpath(source.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return source.resolve().as_posix()


@dataclass(frozen=True, slots=True, eq=False)
class _Entry:
    """A frame without its picture: name, (width, height) px, notes, (6, 2) px, (6,) visibility, notes of the answer."""

    file: str
    size_px: tuple[int, int]
    notes: Mapping[str, Any]
    xy_px: FloatArray
    visibility: IntArray
    answer_notes: Mapping[str, Any]


def _file_of(frame: PickedFrame) -> str:
    return f"{PICTURES}/{frame.stem}.png"


def _without_picture(frame: PickedFrame) -> _Entry:
    height, width = frame.rgb.shape[:2]
    seen = _visibility(frame, width, height)
    score = [round(float(value), 4) if np.isfinite(value) else None for value in frame.score]
    xy = np.where(seen[:, None] > NOT_MARKED, frame.xy_px, np.nan)
    answer = {"attributes": {"facing": frame.facing, "score": score}}
    return _Entry(_file_of(frame), (width, height), frame.notes, xy, seen, answer)


def _visibility(frame: PickedFrame, width: int, height: int) -> IntArray:
    """(6,) as COCO has it; a place outside the picture is no mark, nor is a croup on the very place of the withers."""
    x, y = frame.xy_px.T
    inside = (x >= -0.5) & (y >= -0.5) & (x <= width) & (y <= height)  # NaN compares false
    seen = np.where(inside, np.where(frame.hidden, COVERED, VISIBLE), NOT_MARKED)
    if np.array_equal(frame.xy_px[WITHERS], frame.xy_px[CROUP]):
        seen[CROUP] = NOT_MARKED
    return np.asarray(seen, np.int64)


def _joined(earlier: Marks | None, added: list[_Entry]) -> Marks:
    """All entries of ``earlier`` unchanged, then the added ones; a frame without any place has no annotation."""
    before = earlier or _nothing()
    count = len(before.files)
    first_image, first_mark = (int(numbers.max(initial=0)) + 1 for numbers in (before.image_id, before.mark_id))
    dogs = [row for row, entry in enumerate(added) if entry.visibility.any()]
    about = before.about if earlier else {"info": {"description": ABOUT}}
    return Marks(
        files=(*before.files, *(entry.file for entry in added)),
        image_id=np.append(before.image_id, np.arange(len(added)) + first_image),
        size_px=np.concatenate([before.size_px, [entry.size_px for entry in added]]),
        mark_id=np.append(before.mark_id, np.arange(len(dogs)) + first_mark),
        picture=np.append(before.picture, np.array(dogs, np.int64) + count),
        xy_px=np.concatenate([before.xy_px, *(added[row].xy_px[None] for row in dogs)]),
        visibility=np.concatenate([before.visibility, *(added[row].visibility[None] for row in dogs)]),
        image_notes=(*before.image_notes, *(entry.notes for entry in added)),
        mark_notes=(*before.mark_notes, *(added[row].answer_notes for row in dogs)),
        about=about,
    )


def _nothing() -> Marks:
    none, six = np.empty(0, np.int64), len(LANDMARKS)
    return Marks((), none, none.reshape(0, 2), none, none, np.empty((0, six, 2)), none.reshape(0, six))
