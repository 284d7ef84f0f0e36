"""Repeated looks: a picture shown to the network several times, a little moved and scaled, and its maps averaged.

For single pictures, where time can be spent: errors that hang on where the window happens to lie average out.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from pose.find import Reader
from pose.heatmap import STRIDE, TINY, Heat, Heatmaps, probabilities
from pose.network import NetworkCard
from pose.tracks import FloatArray
from pose.window import OUTSIDE


@dataclass(frozen=True, slots=True)
class RepeatSettings:
    """How a picture is changed between looks; about the range over which a window that follows a dog may lie.

    shifts  (x, y) shares of the picture's width and height
    scales  factors on the dog's size
    """

    shifts: tuple[tuple[float, float], ...] = ((0.0, 0.0), (0.03, 0.02), (-0.03, -0.02))
    scales: tuple[float, ...] = (0.88, 1.0, 1.14)


@dataclass(frozen=True, slots=True)
class Repeated:
    """A network that answers with the mean over several looks; reads like any other (``pose.find.Reader``)."""

    network: Reader
    settings: RepeatSettings = RepeatSettings()

    @property
    def card(self) -> NetworkCard:
        """The network's card; the temperature is taken care of in each look."""
        return replace(self.network.card, temperature=1.0)

    def calibrated(self, mass: FloatArray) -> FloatArray:
        """Probability for mass of any shape, as measured on single looks."""
        return self.network.calibrated(mass)

    def run(self, pictures: NDArray[np.float32]) -> Heat:
        """Heat (logarithms of mean probabilities) for pictures (N, 3, height, width)."""
        size = self.card.size_px
        moves = [_move(shift, scale, size) for scale in self.settings.scales for shift in self.settings.shifts]
        seen = [self._look(pictures, move) for move in moves]
        maps, absent, facing = (np.mean([look[i] for look in seen], axis=0) for i in range(3))
        return Heat(np.log(maps + np.float32(TINY)), np.log(absent + np.float32(TINY)), facing)

    def _look(
        self, pictures: NDArray[np.float32], move: FloatArray
    ) -> tuple[Heatmaps, NDArray[np.float32], NDArray[np.float32]]:
        """Maps brought back to where the pictures lie, absent, and facing, with pictures moved by ``move`` (2, 3)."""
        heat = self.network.run(np.stack([_moved(picture, move) for picture in pictures]))
        maps, absent = probabilities(heat, self.network.card.temperature)
        return np.stack([_back(each, move) for each in maps]), absent, heat.facing


def _move(shift: tuple[float, float], scale: float, size_px: tuple[int, int]) -> FloatArray:
    """(2, 3) from pixels of the picture to those of the moved picture, scaled about its middle."""
    middle = (np.array(size_px) - 1) / 2
    offset = middle * (1 - scale) + np.array(shift) * size_px
    return np.array([[scale, 0.0, offset[0]], [0.0, scale, offset[1]]])


def _moved(picture: NDArray[np.float32], move: FloatArray) -> NDArray[np.float32]:
    """(3, H, W) moved; what comes in from outside is grey."""
    size = picture.shape[:0:-1]
    grey = (OUTSIDE / 255,) * 3
    moved = cv2.warpAffine(np.moveaxis(picture, 0, -1), move, size, flags=cv2.INTER_LINEAR, borderValue=grey)
    return np.asarray(np.moveaxis(moved, -1, 0), np.float32)


def _back(maps: Heatmaps, move: FloatArray) -> Heatmaps:
    """Maps (6, R, C) of a moved picture in cells of the picture itself, each with the mass that it had there."""
    scale = float(move[0, 0])
    middle = (STRIDE - 1) / 2  # the middle of cell c lies at pixel 4 c + 1.5
    cells = np.array([[scale, 0.0, 0.0], [0.0, scale, 0.0]])
    cells[:, 2] = (move[:, 2] + (scale - 1) * middle) / STRIDE
    size = maps.shape[:0:-1]
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    back = cv2.warpAffine(np.moveaxis(maps, 0, -1), cells, size, flags=flags, borderValue=0)
    return np.asarray(np.moveaxis(back, -1, 0) * scale**2, np.float32)
