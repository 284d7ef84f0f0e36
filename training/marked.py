"""Marked pictures as footage: each marked dog cut out as the window that follows a dog would show it, and a margin."""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import torch
from numpy.typing import NDArray

from pose.coco import COVERED, NOT_MARKED, Marks, picture_paths, read_marks
from pose.errors import MarksError
from pose.landmarks import CROUP, PAIRS, WITHERS
from pose.pictures import load_picture
from pose.tracks import FloatArray
from pose.window import Picture, Window, cut, window_around
from training.data import STORED_SIZE, Footage
from training.errors import FootageError

#: Width of a stored picture in widths of the window that reading would use: crops are moved, turned and resized in it.
MARGIN = 1.3
#: Share of the reading window that the dog fills, the middle of 55 to 90 %: marks say nothing of its outline.
FILLED = 0.72
#: The note of an image that says whose it is. Pictures without it count as one dog for each file of marks, so that
#: neighbouring frames never stand on both sides of the split.
DOG = "dog"


@dataclass(frozen=True, slots=True, eq=False)
class Marked:
    """Marked pictures to learn from.

    footage   one row per marked dog; dog = row of ``names``, unseen = kept from training
    names     of the dogs, in alphabetical order
    left_out  marked dogs without withers, croup or a facing, which cannot be cut out
    """

    footage: Footage
    names: tuple[str, ...]
    left_out: int

    def of(self, unseen: bool) -> list[str]:
        """Names of the dogs that are held out (or trained on)."""
        rows = self.footage.dog[self.footage.unseen == unseen].tolist()
        return [self.names[row] for row in sorted(set(rows))]


@dataclass(frozen=True, slots=True, eq=False)
class _Row:
    """One marked dog: stored (432, 384) uint8, xy (6, 2) px, hidden and known (6,), box (4,) px."""

    stored: NDArray[np.uint8]
    xy: FloatArray
    hidden: NDArray[np.bool_]
    known: NDArray[np.bool_]
    right: bool
    box: FloatArray
    dog: str


def load_marked(
    files: tuple[str, ...], device: torch.device, *, held_out: tuple[str, ...] = (), hold_out_every: int = 3
) -> Marked:
    """The marked dogs of all ``files``, split by dog.

    held_out        names that are kept from training; none = every ``hold_out_every``-th by name, at least one of two
    Raises FootageError when a file or a picture cannot be used, or when nothing is left to train on.
    """
    try:
        rows, left_out = _all_rows([Path(name) for name in files])
    except MarksError as error:
        raise FootageError(str(error)) from error
    if not rows:
        raise FootageError("The marks hold no dog with withers, croup and facing; mark some pictures first.")
    names = tuple(sorted({row.dog for row in rows}))
    kept = _held_out(names, held_out, hold_out_every)
    return Marked(_footage(rows, names, kept, device), names, left_out)


def _all_rows(files: list[Path]) -> tuple[list[_Row], int]:
    """Every dog that can be cut out, and how many cannot."""
    rows, left_out = [], 0
    for file in files:
        marks = read_marks(file)
        paths = picture_paths(marks, file.parent)
        usable = [dog for dog in range(len(marks)) if _usable(marks, dog)]
        rows += [_row(marks, dog, load_picture(paths[marks.picture[dog]]), file.stem) for dog in usable]
        left_out += len(marks) - len(usable)
    return rows, left_out


def _usable(marks: Marks, dog: int) -> bool:
    return bool(marks.visibility[dog, [WITHERS, CROUP]].all()) and marks.facing(dog) is not None


def _row(marks: Marks, dog: int, rgb: Picture, nameless: str) -> _Row:
    """One dog cut out, ``nameless`` where no one says whose picture it is.

    Near and far of a pair count as known only where the person was sure of them.
    """
    xy, seen = marks.xy_px[dog], marks.visibility[dog]
    window = window_around(xy, STORED_SIZE, mirrored=False)
    known = seen > NOT_MARKED
    for pair, sure in zip(PAIRS, marks.sides_sure(dog), strict=True):
        known[list(pair)] &= sure
    wide = Window(window.x_px, window.y_px, MARGIN * window.width_px)
    stored = np.moveaxis(cut(rgb, wide, STORED_SIZE), 0, -1)
    return _Row(
        stored=np.asarray(cv2.cvtColor(np.round(255 * stored).astype(np.uint8), cv2.COLOR_RGB2YUV_I420), np.uint8),
        xy=stored_px(xy, wide),
        hidden=seen == COVERED,
        known=known,
        right=marks.facing(dog) == "right",
        box=_box(),
        dog=str(marks.image_notes[marks.picture[dog]].get(DOG) or nameless),
    )


def stored_px(xy_px: FloatArray, window: Window) -> FloatArray:
    """Pixels of the stored picture (..., 2) from pixels of the whole one (..., 2); the way back of ``to_picture``."""
    middle = np.array([window.x_px, window.y_px])
    return np.asarray((xy_px - middle) / window.scale(STORED_SIZE) + (np.array(STORED_SIZE) - 1) / 2)


def _box() -> FloatArray:
    """(4,) px, the part of a stored picture that a dog fills."""
    size = np.array(STORED_SIZE, np.float64)
    half = FILLED / MARGIN * size / 2
    return np.concatenate([(size - 1) / 2 - half, (size - 1) / 2 + half])


def _held_out(names: tuple[str, ...], wanted: tuple[str, ...], every: int) -> set[str]:
    unknown = sorted(set(wanted) - set(names))
    if unknown:
        raise FootageError(f"held_out names {unknown[0]}, which no mark shows; there are {', '.join(names)}.")
    kept = set(wanted) or set(names[every - 1 :: every] or names[1:][-1:])
    if kept == set(names):
        raise FootageError(f"All marked dogs ({', '.join(names)}) are held out; leave some to train on.")
    return kept


def _footage(rows: list[_Row], names: tuple[str, ...], kept: set[str], device: torch.device) -> Footage:
    def tensor(values: list[object], kind: type) -> torch.Tensor:
        """One entry per row, on the device."""
        return torch.from_numpy(np.array(values, kind)).to(device)

    return Footage(
        pictures=tensor([row.stored for row in rows], np.uint8),
        xy=tensor([row.xy for row in rows], np.float32),
        hidden=tensor([row.hidden for row in rows], np.bool_),
        facing_right=tensor([row.right for row in rows], np.bool_),
        dog=tensor([names.index(row.dog) for row in rows], np.int32),
        box=tensor([row.box for row in rows], np.float32),
        unseen=tensor([row.dog in kept for row in rows], np.bool_),
        known=tensor([row.known for row in rows], np.bool_),
    )
