"""Networks that other packages bring: found by name, and made to answer as our own do.

A package lists them in its entry-point group ``pawfall.networks``, each under the name by which ``--network`` calls it.
Such an entry is the path of an .onnx file with its card beside it, or a callable that takes one upright picture
(H, W, 3) uint8 and gives (6, 3): x_px, y_px and score (0..1) of the landmarks in the order of ``pose.landmarks``; NaN
or a score of 0 where there is none.

Pictures are ``SIZE_PX`` large, cut around the dog and mirrored so that it faces right; while it is searched for, they
are whole pictures or parts of them, and it may face either way. ``pose.contract`` tells whether all that holds.
"""

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from pose.errors import NetworkError
from pose.heatmap import STRIDE, TINY
from pose.landmarks import CROUP, LANDMARKS, WITHERS

GROUP: Final = "pawfall.networks"
#: Width and height of what a callable is shown; those of the network that comes with pawfall.
SIZE_PX: Final = (320, 256)
#: Logit of the facing that a callable's withers and croup show; our own choice, as many as one picture may count.
FACING: Final = 3.0

Points = Callable[[NDArray[np.uint8]], Any]


@dataclass(frozen=True, slots=True)
class Brought:
    """What an entry brings. what: a path or a callable; sha256: of its package, version and place, hexadecimal."""

    name: str
    what: Any
    sha256: str


def names() -> list[str]:
    """The names of all networks that installed packages bring."""
    return sorted({entry.name for entry in entry_points(group=GROUP)})


def brought(name: str) -> Brought | None:
    """The network of that name; None = no package brings one. Raises NetworkError when its package cannot be loaded."""
    found = [entry for entry in entry_points(group=GROUP) if entry.name == name]
    if not found:
        return None
    try:
        return Brought(name, found[0].load(), _digest(found[0]))
    except Exception as error:  # whatever a strange package raises
        raise NetworkError(f"The network {name} of another package cannot be loaded: {error}.") from error


def _digest(entry: EntryPoint) -> str:
    made_by = (entry.dist.name, entry.dist.version) if entry.dist else ("", "")
    return hashlib.sha256(" ".join((*made_by, entry.value)).encode()).hexdigest()


class PointSession:
    """Answers as a session of ONNX Runtime does, from a callable that gives points.

    A point becomes a hill of probability with an SD of one heat cell, as in training, that holds its score.
    """

    def __init__(self, name: str, points: Points) -> None:
        self._name, self._points = name, points

    def run(self, outputs: Sequence[str], feed: Mapping[str, NDArray[np.float32]]) -> list[NDArray[np.float32]]:
        """The named outputs for pictures (N, 3, H, W) in 0..1."""
        pictures = np.moveaxis(np.rint(feed["picture"] * 255), 1, -1).astype(np.uint8)
        found = np.stack([self._look(picture) for picture in pictures])
        hills, score = _hills(found, pictures.shape[1] // STRIDE, pictures.shape[2] // STRIDE)
        ahead = np.nan_to_num(found[:, WITHERS, 0] - found[:, CROUP, 0])
        told = {
            "heat": np.log(hills + TINY),
            "absent": np.log(1 - score + TINY),
            "facing": (FACING * np.sign(ahead) * score[:, (WITHERS, CROUP)].min(axis=1))[:, None],
        }
        return [told[name].astype(np.float32) for name in outputs]

    def _look(self, picture: NDArray[np.uint8]) -> NDArray[np.float64]:
        """(6, 3) for one picture, checked."""
        found = np.asarray(self._points(np.ascontiguousarray(picture)), np.float64)
        if found.shape != (len(LANDMARKS), 3):
            raise NetworkError(f"The network {self._name} gave {found.shape}; (6, 3) is needed: x_px, y_px, score.")
        score = found[np.isfinite(found).all(axis=1), 2]
        if np.any((score < 0) | (score > 1)):
            raise NetworkError(f"The network {self._name} gave a score of {score.max():g}; scores are 0 to 1.")
        return found


def _hills(
    found: NDArray[np.float64], rows: int, columns: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Probability (N, 6, rows, columns) of each cell, and the score (N, 6) that it adds up to; 0 where nothing is."""
    known = np.asarray(np.isfinite(found).all(axis=-1))
    x, y, score = np.moveaxis(np.where(known[..., None], found, 0.0), -1, 0)
    column, row = ((place + 0.5) / STRIDE - 0.5 for place in (x, y))
    inside = known & (column > -0.5) & (column < columns - 0.5) & (row > -0.5) & (row < rows - 0.5)
    off = (np.arange(columns) - column[..., None])[..., None, :] ** 2
    off = off + (np.arange(rows) - row[..., None])[..., :, None] ** 2
    hill = np.exp(-0.5 * np.minimum(off, 200.0))
    score = np.asarray(np.where(inside, score, 0.0))
    return hill / hill.sum(axis=(-1, -2), keepdims=True) * score[..., None, None], score
