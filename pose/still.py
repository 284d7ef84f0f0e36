"""Landmarks in a single picture: read as a clip of one frame, the two paws of a pair at the places best for both."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from pose.errors import NoDogError
from pose.find import Reader, best_xy
from pose.heatmap import Places
from pose.landmarks import CROUP, LANDMARKS, PAIRS, WITHERS
from pose.motion import SideSettings
from pose.read import Facing, ReadSettings, find_facing, follow_dog
from pose.repeat import Repeated, RepeatSettings
from pose.tracks import FloatArray
from pose.window import Picture


@dataclass(frozen=True, slots=True, eq=False)
class Still:
    """One picture in the form of a clip; ``rgb`` (H, W, 3) uint8."""

    name: str
    rgb: Picture
    index: int = 0
    t_s: float = 0.0
    frame_count: int = 1

    def frames(self) -> Iterable["Still"]:
        """The one frame."""
        return (self,)

    def sample(self, count: int) -> Sequence["Still"]:
        """The one frame, however many are asked for."""
        return (self,)


@dataclass(frozen=True, slots=True, eq=False)
class StillReading:
    """What was found in one picture.

    xy_px   (6, 2) px of the picture; NaN = not found
    score   (6,) 0..1, probability that the landmark, side and all, lies within 5 % of body length; 0 = not found
    facing  None = no dog was found
    """

    xy_px: FloatArray
    score: FloatArray
    facing: Facing | None


DEFAULTS = ReadSettings()
LOOKS = RepeatSettings()

#: Mean score below which what was found in a picture is no dog. Of 200 drawn rooms without a dog three were read as
#: one, with 0.15 to 0.37; 200 drawn dogs cut by the edge have 0.55 and more, 58 of 60 no wider than a quarter of a
#: picture of 384 px 0.41 and more.
LEAST_SCORE = 0.4

#: The reading of a picture in which no dog was found.
NO_DOG = StillReading(np.full((len(LANDMARKS), 2), np.nan), np.zeros(len(LANDMARKS)), None)


def read_still(
    still: Still, network: Reader, settings: ReadSettings = DEFAULTS, looks: RepeatSettings = LOOKS
) -> StillReading:
    """Find the dog and its facing in a whole picture, and its landmarks as the mean of several looks.

    What a clip tells over time is missing: near and far are what the network says of this picture alone.
    """
    try:
        facing, _ = find_facing(still, network, settings)
    except NoDogError:
        return NO_DOG
    found = follow_dog(still, Repeated(network, looks), settings, mirrored=facing == "left").places
    xy, own = (values[0] for values in best_xy(found))
    if not (own[[WITHERS, CROUP]] > settings.nothing_mass).all():
        return NO_DOG
    _choose_pairs(found, xy, own, settings.sides)
    mass, sides = _masses(found, xy, own, settings.sides.same_bl)
    xy[mass < settings.nothing_mass] = np.nan
    score = np.where(np.isfinite(xy[:, 0]), network.calibrated(mass) * sides, 0.0)
    return StillReading(xy, score, facing) if score.mean() >= LEAST_SCORE else NO_DOG


def _choose_pairs(found: Places, xy: FloatArray, own: FloatArray, settings: SideSettings) -> None:
    """Put the paws of each pair (into ``xy`` (6, 2) and ``own`` (6,)) where near and far together are likeliest.

    Each channel alone may take the clearer paw for its own; that one paw covers the other is rarer than both being
    seen, by the same factor as in a clip.
    """
    length = np.hypot(*(xy[WITHERS] - xy[CROUP]))
    for pair, marks in enumerate(PAIRS):
        places, mass = found.pair_xy[0, pair], np.nan_to_num(found.pair_mass[0, pair])
        apart = np.hypot(*np.moveaxis(places[:, None] - places, -1, 0))
        both = mass[:, None, 0] * mass[:, 1] * np.where(apart < settings.same_bl * length, settings.covered, 1.0)
        for side, best in enumerate(np.unravel_index(np.argmax(both), both.shape)):
            xy[marks[side]], own[marks[side]] = places[best], mass[best, side]


def _masses(found: Places, xy: FloatArray, own: FloatArray, same_bl: float) -> tuple[FloatArray, FloatArray]:
    """(6,) mass at the places ``xy`` (6, 2), both channels of a pair together as in a clip, and the probability (6,)
    that near and far are the right way round.

    Paws within ``same_bl`` body lengths share a place, and each has its ``own`` mass (6,) only.
    """
    mass, sides = own.copy(), np.ones(len(LANDMARKS))
    length = np.hypot(*(xy[WITHERS] - xy[CROUP]))
    for pair, marks in enumerate(PAIRS):
        near, far = (xy[mark] for mark in marks)
        if not np.hypot(*(near - far)) >= same_bl * length:
            continue
        share = found.pair_mass[0, pair, [_candidate(found.pair_xy[0, pair], place) for place in (near, far)]]
        mass[list(marks)] = np.minimum(share.sum(axis=1), 1.0)
        kept, turned = share[0, 0] * share[1, 1], share[0, 1] * share[1, 0]
        sides[list(marks)] = kept / (kept + turned) if kept + turned > 0 else 0.5
    return mass, sides


def _candidate(places: FloatArray, xy: FloatArray) -> int:
    """Row of the candidate (C, 2) that lies at ``xy`` (2,), which is one of them."""
    return int(np.nanargmin(np.hypot(*(places - xy).T)))
