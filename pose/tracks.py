"""Tracks: the noun that the picture side hands to the gait side."""

from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pose.errors import TableError
from pose.landmarks import LANDMARKS, PAIRS

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]


def frozen_array(values: ArrayLike, dtype: type) -> NDArray[Any]:
    """A read-only copy of ``values`` (any shape) as ``dtype``."""
    array: NDArray[Any] = np.array(values, dtype=dtype)
    array.setflags(write=False)
    return array


@dataclass(frozen=True, slots=True, eq=False)
class Tracks:
    """Six landmarks over time in pixels of the upright picture (origin top left, y down).

    frame      (T,) int, number of the frame in its clip, rising
    t_s        (T,) s, the container's own time stamps, rising
    xy_px      (T, 6, 2) px; NaN where a landmark was not found
    score      (T, 6) 0..1, probability that the point lies within 5 % of body length; NaN = not judged
    hidden     (T, 6) bool, covered or filled in: a place was worked out, not seen
    side_score (T, 2) 0..1, probability that near and far of the fore and of the hind pair are
               the right way round; NaN = not judged (a table made elsewhere)
    """

    frame: IntArray
    t_s: FloatArray
    xy_px: FloatArray
    score: FloatArray
    hidden: BoolArray
    side_score: FloatArray = field(default_factory=lambda: np.empty((0, 2)))

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "frame", frozen_array(self.frame, np.int64))
        for name in ("t_s", "xy_px", "score", "side_score"):
            put(self, name, frozen_array(getattr(self, name), np.float64))
        put(self, "hidden", frozen_array(self.hidden, np.bool_))
        count = len(self.t_s)
        if self.side_score.shape == (0, 2) and count:
            put(self, "side_score", frozen_array(np.full((count, len(PAIRS)), np.nan), np.float64))
        self._check(count)

    def _check(self, count: int) -> None:
        marks = len(LANDMARKS)
        wanted = {
            "frame": (count,),
            "t_s": (count,),
            "xy_px": (count, marks, 2),
            "score": (count, marks),
            "hidden": (count, marks),
            "side_score": (count, len(PAIRS)),
        }
        for name, shape in wanted.items():
            if getattr(self, name).shape != shape:
                raise TableError(f"Tracks.{name} has shape {getattr(self, name).shape}; {shape} is needed.")
        if not np.all(np.isfinite(self.t_s)) or np.any(np.diff(self.t_s) <= 0):
            raise TableError("Tracks.t_s must be finite and rise from frame to frame; sort the rows by time.")

    def __len__(self) -> int:
        return len(self.t_s)

    def rows(self, kept: slice | BoolArray) -> "Tracks":
        """The frames that a slice or (T,) bool picks."""
        return Tracks(**{item.name: getattr(self, item.name)[kept] for item in fields(self)})


def joined_tracks(parts: Sequence[Tracks]) -> Tracks:
    """Tracks of one dog that follow each other in time, in one; at least one part is needed."""
    names = [item.name for item in fields(Tracks)]
    return Tracks(**{name: np.concatenate([getattr(part, name) for part in parts]) for name in names})


#: A step between two frames counts as none below this share of the largest step within so many frames: honest noise and
#: movement of six landmarks stay above a third of it, a picture that was encoded twice below a hundredth (measured on
#: drawn dogs). Encoders repeat up to three pictures on end; common practice, no source.
NO_STEP, STEPS_AROUND = 0.05, 4


def repeated_frames(xy_px: FloatArray) -> BoolArray:
    """(T,) bool, frames that show the picture before them once more, from landmarks (T, K, 2) px that do not move.

    A dog that stands still is not meant: its landmarks keep their own noise, or nothing moves before and after.
    """
    step = np.nan_to_num(np.abs(np.diff(xy_px, axis=0)).max(axis=2, initial=0.0), nan=0.0)
    padded = np.pad(step, ((STEPS_AROUND, STEPS_AROUND), (0, 0)))
    around = np.max([padded[k : k + len(step)] for k in range(2 * STEPS_AROUND + 1)], axis=0)
    missing = np.isnan(xy_px[..., 0])
    same = (step < NO_STEP * around) | missing[1:]
    same &= missing[1:] == missing[:-1]
    again = same.all(axis=1) & ~missing[1:].all(axis=1)
    return np.concatenate([np.zeros(min(len(xy_px), 1), dtype=bool), again])
