"""Drawn pictures as marked ones, for ``pawfall judge``: how surely a dog is found in a picture, and none where none is.

``python -m training.stills FOOTAGE KIND FOLDER [COUNT]`` writes COUNT pictures of that kind and their marks.
"""

import sys
from pathlib import Path

import cv2
import numpy as np
import torch
from numpy.typing import NDArray

from pose.coco import COVERED, NOT_MARKED, VISIBLE, Marks, write_marks
from pose.landmarks import CROUP, WITHERS
from training.data import Footage, load_footage
from training.errors import FitError

#: empty: no dog; cut: withers and croup are in the picture, a part of the dog is not; whole: all of the dog is.
KINDS = ("empty", "cut", "whole")


def rows_of(footage: Footage, kind: str, size_px: tuple[int, int]) -> NDArray[np.int64]:
    """Numbers of the pictures of dogs kept from training that are of that kind, in pictures of ``size_px``."""
    dog, box, xy = (getattr(footage, name).cpu().numpy() for name in ("dog", "box", "xy"))
    inside = np.all(box >= 0, axis=1) & np.all(box <= np.tile(size_px, 2) - 1, axis=1)
    back = np.isfinite(xy[:, [WITHERS, CROUP]]).all(axis=(1, 2))
    wanted = {"empty": dog < 0, "cut": (dog >= 0) & back & ~inside, "whole": (dog >= 0) & back & inside}[kind]
    rows = footage.rows(unseen=True)
    return np.asarray(rows[wanted[rows]])


def write_stills(footage: Footage, rows: NDArray[np.int64], folder: Path) -> None:
    """The pictures of those rows as PNG files with their marks beside them; FitError when there are none."""
    if not len(rows):
        raise FitError("No picture of that kind shows a dog that was kept from training; draw more of them.")
    folder.mkdir(parents=True, exist_ok=True)
    taken = footage.take(rows)
    files = tuple(f"{row:06d}.png" for row in rows)
    size = np.zeros((len(rows), 2), np.int64)
    for k, (name, planes) in enumerate(zip(files, taken.in_memory().cpu().numpy(), strict=True)):
        picture = cv2.cvtColor(planes, cv2.COLOR_YUV2BGR_I420)
        size[k] = picture.shape[1::-1]
        cv2.imwrite(str(folder / name), picture)
    dogs = np.flatnonzero(taken.dog.cpu().numpy() >= 0)
    xy = taken.xy.cpu().numpy().astype(np.float64)[dogs]
    placed, covered = np.isfinite(xy).all(axis=-1), taken.hidden.cpu().numpy()[dogs]
    visibility = np.where(placed, np.where(covered, COVERED, VISIBLE), NOT_MARKED)
    notes = tuple(
        {"attributes": {"facing": "right" if right else "left"}} for right in taken.facing_right.cpu().numpy()[dogs]
    )
    images = tuple({"dog": f"drawn {number}"} for number in taken.dog.cpu().numpy())
    numbers = np.arange(1, len(rows) + 1)
    marks = Marks(files, numbers, size, np.arange(1, len(dogs) + 1), dogs, xy, visibility, images, notes)
    write_marks(marks, folder / "marks.json")


def main() -> None:
    """What the command line names."""
    source, kind, folder = Path(sys.argv[1]), sys.argv[2], Path(sys.argv[3])
    count = int(sys.argv[4]) if len(sys.argv) > 4 else 200
    if kind not in KINDS:
        raise SystemExit(f"{kind} is no kind of picture; it can be one of {', '.join(KINDS)}")
    footage = load_footage(source, torch.device("cpu"))
    height, width = footage.take(np.array([0])).in_memory().shape[1:]
    rows = rows_of(footage, kind, (width, height * 2 // 3))
    try:
        write_stills(footage, rows[:count], folder)
    except FitError as error:
        raise SystemExit(str(error)) from None
    sys.stdout.write(f"{min(len(rows), count)} pictures, {len(rows)} there were\n")


if __name__ == "__main__":
    main()
