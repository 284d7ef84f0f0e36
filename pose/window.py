"""The window: which part of a picture the network is shown, and the way back from its pixels."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from pose.landmarks import CROUP, WITHERS
from pose.tracks import FloatArray

Picture = NDArray[np.uint8]

#: Grey of everything outside the picture; the same in training, where half grey (114 of 255) is used as well.
OUTSIDE = 114


@dataclass(frozen=True, slots=True)
class Window:
    """A rectangle of the picture with the shape of the network's input.

    x_px, y_px  px, its middle in the picture
    width_px    px of the picture; the height follows from the input
    mirrored    left and right exchanged when it is cut, so that a dog facing left faces right
    """

    x_px: float
    y_px: float
    width_px: float
    mirrored: bool = False

    def scale(self, size_px: tuple[int, int]) -> float:
        """Picture pixels per network pixel, for an input of ``size_px`` (width, height)."""
        return self.width_px / size_px[0]

    def to_picture(self, xy: FloatArray, size_px: tuple[int, int]) -> FloatArray:
        """Pixels of the picture (..., 2) from pixels of the network's input (..., 2)."""
        scale = self.scale(size_px)
        offset = (np.asarray(xy) - (np.array(size_px) - 1) / 2) * scale
        if self.mirrored:
            offset = offset * np.array([-1.0, 1.0])
        return np.asarray(offset + np.array([self.x_px, self.y_px]))


def whole(width: int, height: int, size_px: tuple[int, int], share: float = 1.0) -> Window:
    """The window that holds the whole picture (width, height px), filling ``share`` of it."""
    wide = max(width, height * size_px[0] / size_px[1])
    return Window((width - 1) / 2, (height - 1) / 2, wide / share)


def tiles(width: int, height: int, size_px: tuple[int, int], share: float) -> list[Window]:
    """Half-overlapping windows, each ``share`` of the whole window, that cover the picture (width, height px)."""
    wide = whole(width, height, size_px).width_px * share
    high = wide * size_px[1] / size_px[0]
    columns, rows = _middles(width, wide), _middles(height, high)
    return [Window(x, y, wide) for y in rows for x in columns]


def _middles(length: float, span: float) -> list[float]:
    if span >= length:
        return [(length - 1) / 2]
    count = int(np.ceil((length - span) / (span / 2))) + 1
    return [float(x) for x in np.linspace(span / 2, length - span / 2, count) - 0.5]


def cut(
    rgb: Picture, window: Window, size_px: tuple[int, int], out: NDArray[np.float32] | None = None
) -> NDArray[np.float32]:
    """What the network is shown: (3, height, width) float32 in 0..1, from a picture (H, W, 3); put into ``out`` where
    that is given, which spares the system a megabyte of fresh memory."""
    picture, shift, shrink = _shrunk(rgb, window, size_px)
    scale = window.scale(size_px) / shrink
    side = -1.0 if window.mirrored else 1.0
    middle = (np.array([window.x_px, window.y_px]) - shift + 0.5) / shrink - 0.5
    matrix = np.array([
        [side * scale, 0, middle[0] - side * scale * (size_px[0] - 1) / 2],
        [0, scale, middle[1] - scale * (size_px[1] - 1) / 2],
    ])  # fmt: skip
    seen = cv2.warpAffine(
        cv2.cvtColor(picture, cv2.COLOR_RGB2RGBA),  # the same numbers for red, green and blue in half the time
        matrix,
        size_px,
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=(OUTSIDE,) * 4,
    )
    out = np.empty((3, size_px[1], size_px[0]), np.float32) if out is None else out
    for plane, channel in zip(out, cv2.split(seen)[:3], strict=True):
        np.divide(channel, np.float32(255), out=plane, dtype=np.float32)
    return out


def _shrunk(rgb: Picture, window: Window, size_px: tuple[int, int]) -> tuple[Picture, FloatArray, int]:
    """The part of the picture around the window, averaged down by a whole factor against flicker in fine texture.

    Returns the part, its top left corner (x, y) px in the picture, and the factor.
    """
    shrink = max(1, int(window.scale(size_px)))
    half = window.width_px / 2 * np.array([1.0, size_px[1] / size_px[0]]) + shrink
    middle = np.array([window.x_px, window.y_px])
    size = np.array([rgb.shape[1], rgb.shape[0]])
    first = np.clip(np.floor(middle - half).astype(int), 0, np.maximum(size - 1, 0))
    last = np.clip(np.ceil(middle + half).astype(int), first + 1, size)
    part = rgb[first[1] : last[1], first[0] : last[0]]
    if shrink > 1:
        part = _averaged(part, shrink)
    return part, first.astype(np.float64), shrink


def _averaged(part: Picture, factor: int) -> Picture:
    """Means of blocks of ``factor`` x ``factor`` pixels; the last rows and columns are repeated to fill theirs."""
    down, right = (-part.shape[0]) % factor, (-part.shape[1]) % factor
    even = cv2.copyMakeBorder(part, 0, down, 0, right, cv2.BORDER_REPLICATE) if down or right else part
    size = (even.shape[1] // factor, even.shape[0] // factor)
    return np.asarray(cv2.resize(even, size, interpolation=cv2.INTER_AREA), np.uint8)


@dataclass(frozen=True, slots=True)
class FollowSettings:
    """How the window follows the dog.

    body_lengths   width of the window in withers-croup lengths: a dog from nose to tail is 2 to 3 times as long as
                   its topline and should fill 55-90 % of the window, as in training. Common practice, no source
    ahead_bl, below_bl  middle of the window from the middle of the topline: the head reaches further than the
                   tail, and the legs hang below. Common practice, no source
    leg_share      the legs' height may fill this share of the window's height, for long-legged dogs
    pull           0..1, share of the way to a newly seen place that the window goes per step of eight frames:
                   a dog drifts slowly on a belt, and a window that jumps makes landmarks jump
    still          share of its width by which the wanted window may differ before the window moves at all
    """

    body_lengths: float = 3.2
    ahead_bl: float = 0.1
    below_bl: float = 0.35
    leg_share: float = 0.55
    pull: float = 0.5
    still: float = 0.03


def window_around(
    xy_px: FloatArray, size_px: tuple[int, int], *, mirrored: bool, settings: FollowSettings = FollowSettings()
) -> Window:
    """The window for a dog whose landmarks (6, 2) px are known; NaN paws are left out."""
    trunk = xy_px[[WITHERS, CROUP]].mean(axis=0)
    length = float(np.hypot(*(xy_px[WITHERS] - xy_px[CROUP])))
    forward = -1.0 if mirrored else 1.0
    legs = float(np.nanmax(xy_px[:, 1]) - trunk[1]) if np.isfinite(xy_px[:4, 1]).any() else length
    width = max(settings.body_lengths * length, legs / settings.leg_share * size_px[0] / size_px[1])
    below = max(settings.below_bl * length, 0.5 * legs)
    return Window(trunk[0] + forward * settings.ahead_bl * length, trunk[1] + below, width, mirrored)


def pulled(window: Window, target: Window, settings: FollowSettings = FollowSettings()) -> Window:
    """``window`` moved part of the way to ``target``, or as it is when they hardly differ."""
    off = max(abs(target.x_px - window.x_px), abs(target.y_px - window.y_px), abs(target.width_px - window.width_px))
    share = settings.pull if off > settings.still * window.width_px else 0.0
    return replace(
        window,
        x_px=window.x_px + share * (target.x_px - window.x_px),
        y_px=window.y_px + share * (target.y_px - window.y_px),
        width_px=window.width_px + share * (target.width_px - window.width_px),
    )
