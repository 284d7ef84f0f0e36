"""Reads a folder of numbered pictures as if it were a film."""

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from pose.errors import ClipError
from pose.tracks import FloatArray, IntArray

ENDINGS = (".png", ".jpg", ".jpeg", ".bmp", ".tif", ".tiff", ".webp")

Picture = NDArray[np.uint8]


class PictureFolder:
    """Pictures ordered by the last number in their names; a missing number is a gap in time.

    stamps_s  (N,) s, number / fps counted from the first picture; numbers (N,) counted likewise
    """

    repeated = 0
    capture_fps: float | None = None
    filmed_on: date | None = None

    def __init__(self, folder: Path, fps: float) -> None:
        self._folder = folder
        by_number = _numbered(folder)
        found = sorted(by_number)
        self._files = [by_number[number] for number in found]
        self.numbers: IntArray = np.array(found, dtype=np.int64) - found[0]
        self.stamps_s: FloatArray = self.numbers / fps
        self.height, self.width = load_picture(self._files[0]).shape[:2]

    def read(self, first: int, last: int) -> Iterator[tuple[int, float, Picture]]:
        """Pictures at ``first`` to ``last`` inclusive: (number, s, rgb (H, W, 3))."""
        yield from self.pick(list(range(first, last + 1)))

    def pick(self, positions: list[int]) -> Iterator[tuple[int, float, Picture]]:
        """The pictures at ``positions``, in the same form."""
        for place in positions:
            picture = load_picture(self._files[place])
            if picture.shape != (self.height, self.width, 3):
                raise ClipError(
                    f"{self._files[place].name} has {picture.shape[1]}x{picture.shape[0]} px, the first picture "
                    f"{self.width}x{self.height}. All pictures of a folder need one size."
                )
            yield int(self.numbers[place]), float(self.stamps_s[place]), picture


def _numbered(folder: Path) -> dict[int, Path]:
    by_number: dict[int, Path] = {}
    for file in sorted(folder.iterdir()):
        digits = re.findall(r"\d+", file.stem)
        if file.suffix.lower() not in ENDINGS or file.name.startswith(".") or not digits:
            continue
        number = int(digits[-1])
        if number in by_number:
            raise ClipError(f"{by_number[number].name} and {file.name} carry one number; keep one clip in a folder.")
        by_number[number] = file
    if not by_number:
        raise ClipError(f"{folder.name} holds no numbered pictures (such as 0001.png). Allowed: {', '.join(ENDINGS)}.")
    return by_number


def load_picture(file: Path) -> Picture:
    """The picture in ``file``, upright: rgb (H, W, 3) uint8. Raises ClipError when it cannot be read."""
    data = np.fromfile(file, dtype=np.uint8)
    picture = cv2.imdecode(data, cv2.IMREAD_COLOR) if data.size else None
    if picture is None:
        raise ClipError(f"{file.name} cannot be read as a picture. Copy it again, or take it out of the folder.")
    return np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2RGB), dtype=np.uint8)
