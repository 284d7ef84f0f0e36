"""Sightings: what following the dog leaves behind, before anything is decided."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from pose.heatmap import PeakSettings, Places
from pose.landmarks import LANDMARKS
from pose.tracks import FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Sightings:
    """What following the dog leaves behind, per frame: number, time, candidates in px of the picture, window."""

    frame: IntArray
    t_s: FloatArray
    places: Places
    windows: FloatArray
    searches: int = 0


def nothing_found(count: int, settings: PeakSettings) -> Places:
    """Places of ``count`` frames without a dog."""
    many = 2 * settings.count
    return Places(
        pair_xy=np.full((count, 2, many, 2), np.nan),
        pair_mass=np.full((count, 2, many, 2), np.nan),
        single_xy=np.full((count, 2, 2), np.nan),
        single_mass=np.full((count, 2), np.nan),
        absent=np.ones((count, len(LANDMARKS))),
    )


def joined(parts: Iterable[Sightings], peaks: PeakSettings) -> Sightings:
    """Sightings of frames that follow each other, in one."""
    parts = list(parts)
    if not parts:
        return Sightings(np.empty(0, np.int64), np.empty(0), nothing_found(0, peaks), np.empty((0, 3)))
    found = [part.places for part in parts]
    return Sightings(
        frame=np.concatenate([part.frame for part in parts]),
        t_s=np.concatenate([part.t_s for part in parts]),
        places=Places(*(np.concatenate([getattr(one, name) for one in found]) for name in Places.__dataclass_fields__)),
        windows=np.concatenate([part.windows for part in parts]),
    )
