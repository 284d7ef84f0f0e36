"""Draws what was found in a picture beside what a person marked there. Knows numbers and words only."""

import errno
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from pose.draw import BLACK, COLOURS, DARK, FONT, SHIFT, WHITE, Colour, Picture, draw_landmarks
from pose.landmarks import LANDMARKS
from pose.tracks import FloatArray


@dataclass(frozen=True, slots=True)
class BesideSettings:
    """How the two are drawn. Common practice, no source, unless a reason is given.

    width_px, height_px  px that the picture is brought to fill: below it small pictures hide what went wrong
    cross_px  px, half the width of the cross at a marked place
    line_px   px, height of a line of the legend
    columns   landmarks side by side in the legend
    """

    width_px: int = 960
    height_px: int = 720
    cross_px: float = 7.0
    line_px: int = 26
    columns: int = 3


def draw_beside(
    rgb: Picture,
    found_px: FloatArray,
    marked_px: FloatArray,
    *,
    title: str,
    notes: tuple[str, ...],
    settings: BesideSettings = BesideSettings(),
) -> Picture:
    """``rgb`` (H, W, 3) with found and marked landmarks (6, 2) px joined by lines, and a legend below.

    notes  six short words on the landmarks, in their order; NaN places are left out
    """
    height, width = rgb.shape[:2]
    scale = min(settings.width_px / width, settings.height_px / height)
    size = max(1, round(width * scale)), max(1, round(height * scale))
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    large = np.asarray(cv2.resize(rgb, size, interpolation=way), np.uint8)
    found, marked = ((places + 0.5) * scale - 0.5 for places in (found_px, marked_px))
    for mark in range(len(LANDMARKS)):
        _join(large, found[mark], marked[mark], COLOURS[mark])
    large = draw_landmarks(large, found)
    for mark in range(len(LANDMARKS)):
        _cross(large, marked[mark], COLOURS[mark], settings.cross_px)
    return _framed(large, _legend(title, notes, settings), settings.width_px)


def write_picture(rgb: Picture, path: Path) -> None:
    """Write ``rgb`` (H, W, 3) to ``path``, in the form that its ending names. Raises OSError when that fails."""
    done, data = cv2.imencode(path.suffix, cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR))
    if not done:
        raise OSError(errno.EIO, "cannot be written as a picture", str(path))
    path.write_bytes(data.tobytes())


def _framed(rgb: Picture, legend: Picture, width_px: int) -> Picture:
    spare = width_px - rgb.shape[1]
    sides = spare // 2, spare - spare // 2
    filled = cv2.copyMakeBorder(rgb, 0, 0, *sides, cv2.BORDER_CONSTANT, value=DARK)
    return np.vstack([np.asarray(filled, np.uint8), legend])


def _legend(title: str, notes: tuple[str, ...], settings: BesideSettings) -> Picture:
    """The title, six landmarks with their notes, and what the signs mean."""
    rows = -(-len(LANDMARKS) // settings.columns)
    line = settings.line_px
    canvas = np.full(((rows + 2) * line + line // 2, settings.width_px, 3), DARK, np.uint8)
    _words(canvas, title, (line // 2, line))
    for mark, (name, note) in enumerate(zip(LANDMARKS, notes, strict=True)):
        row, column = divmod(mark, settings.columns)
        x, y = line // 2 + column * settings.width_px // settings.columns, (row + 2) * line
        cv2.circle(canvas, (x + 6, y - 6), 6, COLOURS[mark], 2 if name.startswith("far") else cv2.FILLED, cv2.LINE_AA)
        _words(canvas, f"{name.replace('_', ' ')}: {note}", (x + 20, y))
    _words(canvas, "disc: found   ring: found, far side   cross: marked", (line // 2, (rows + 2) * line))
    return canvas


def _words(canvas: Picture, words: str, foot: tuple[int, int]) -> None:
    # the font holds plain Latin letters only
    plain = words.encode("ascii", "replace").decode()
    cv2.putText(canvas, plain, foot, FONT, 0.55, WHITE, 1, cv2.LINE_AA)


def _join(canvas: Picture, a: FloatArray, b: FloatArray, colour: Colour) -> None:
    if np.isfinite([a, b]).all():
        cv2.line(canvas, _fixed(a), _fixed(b), BLACK, 4, cv2.LINE_AA, SHIFT)
        cv2.line(canvas, _fixed(a), _fixed(b), colour, 2, cv2.LINE_AA, SHIFT)


def _cross(canvas: Picture, place: FloatArray, colour: Colour, half_px: float) -> None:
    if not np.isfinite(place).all():
        return
    for shade, thick in ((BLACK, 5), (WHITE, 3), (colour, 2)):
        for step in ((half_px, half_px), (half_px, -half_px)):
            cv2.line(canvas, _fixed(place - step), _fixed(place + step), shade, thick, cv2.LINE_AA, SHIFT)


def _fixed(place: FloatArray) -> tuple[int, int]:
    x, y = (round(float(value) * (1 << SHIFT)) for value in place)
    return x, y
