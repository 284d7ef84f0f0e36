"""Finds the dog in a whole picture, and which way it faces in a clip."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pose.heatmap import Heat, Places, places
from pose.landmarks import CROUP, LANDMARKS, PAIRS, WITHERS
from pose.network import NetworkCard
from pose.tracks import FloatArray
from pose.window import FollowSettings, Picture, Window, cut, tiles, whole, window_around


class Reader(Protocol):
    """What reading needs of a network."""

    @property
    def card(self) -> NetworkCard:
        """Size of its input and what else its card says."""
        ...

    def run(self, pictures: NDArray[np.float32]) -> Heat:
        """Heat for pictures (N, 3, height, width)."""
        ...

    def calibrated(self, mass: FloatArray) -> FloatArray:
        """Probability for mass of any shape."""
        ...


@dataclass(frozen=True, slots=True)
class FindSettings:
    """How a dog is searched for.

    least_presence  0..1, mean probability over the landmarks that they are in the picture at all
    least_mass      0..1, mean mass at the best places; a map that is spread thin has found nothing
    sure            0..1, presence from which smaller tiles need not be searched
    shares          of the whole window: the tiles' sizes. In training a dog fills 12 % of the width at least,
                    so that a dog of 4 % of the picture's width is still found
    roomy           the whole picture shown at this share of the window: a dog that fills the picture is then
                    about as large as the dogs that face either way in training (up to half of the width)
    refinements     times that the window is laid again around what was seen in it
    batch           tiles that are run together, to keep memory flat
    radius_px       px of the network's picture, radius of the mass while the body length is not known yet
    follow          how the window lies around a dog that was found
    """

    least_presence: float = 0.5
    least_mass: float = 0.1
    sure: float = 0.8
    shares: tuple[float, ...] = (0.55, 0.3)
    roomy: float = 0.55
    refinements: int = 2
    batch: int = 8
    radius_px: float = 8.0
    follow: FollowSettings = field(default_factory=FollowSettings)


@dataclass(frozen=True, slots=True, eq=False)
class Sighting:
    """A dog seen in one picture.

    xy_px     (6, 2) px of the picture, best place of each landmark
    presence  0..1, mean probability that a landmark is in the window
    mass      0..1, mean mass at the best places
    facing    logit, above 0 = faces right in the picture
    """

    xy_px: FloatArray
    presence: float
    mass: float
    facing: float

    @property
    def worth(self) -> float:
        """0..1, how much there is to be said for it."""
        return self.presence * self.mass


def best_xy(found: Places) -> tuple[FloatArray, FloatArray]:
    """Best place (N, 6, 2) and its mass (N, 6) of each landmark, every channel for itself."""
    xy = np.full((len(found), len(LANDMARKS), 2), np.nan)
    mass = np.zeros((len(found), len(LANDMARKS)))
    xy[:, (WITHERS, CROUP)], mass[:, (WITHERS, CROUP)] = found.single_xy, found.single_mass
    rows = np.arange(len(found))
    for pair, sides in enumerate(PAIRS):
        for side, mark in enumerate(sides):
            here = np.nan_to_num(found.pair_mass[:, pair, :, side], nan=-1.0)
            best = here.argmax(axis=1)
            xy[:, mark], mass[:, mark] = found.pair_xy[rows, pair, best], here[rows, best]
    return xy, mass


def look(
    network: Reader, rgb: Picture, windows: list[Window], settings: FindSettings = FindSettings()
) -> list[Sighting]:
    """What is seen in each of ``windows``."""
    size = network.card.size_px
    seen: list[Sighting] = []
    for first in range(0, len(windows), settings.batch):
        part = windows[first : first + settings.batch]
        heat = network.run(np.stack([cut(rgb, window, size) for window in part]))
        found = places(heat, settings.radius_px, network.card.temperature)
        xy, mass = best_xy(found)
        for i, window in enumerate(part):
            facing = float(heat.facing[i]) * (-1 if window.mirrored else 1)
            presence = float(1 - found.absent[i].mean())
            seen.append(Sighting(window.to_picture(xy[i], size), presence, float(mass[i].mean()), facing))
    return seen


def find(
    network: Reader, rgb: Picture, settings: FindSettings = FindSettings(), *, mirrored: bool | None = None
) -> tuple[Sighting, Window] | None:
    """The dog in a whole picture and the window around it, or None.

    mirrored says which way the dog faces when that is known; None = both are tried and the better one taken.
    """
    sighting = _search(network, rgb, settings)
    if sighting is None:
        return None
    sides = (False, True) if mirrored is None else (mirrored,)
    for _ in range(settings.refinements):
        windows = _windows(sighting, network, sides, settings)
        seen = look(network, rgb, windows, settings)
        best = int(np.argmax([one.worth for one in seen]))
        sighting, side = seen[best], sides[best]
    if not _is_dog(sighting, settings):
        return None
    return sighting, _windows(sighting, network, (side,), settings)[0]


def _windows(sighting: Sighting, network: Reader, sides: tuple[bool, ...], settings: FindSettings) -> list[Window]:
    """The window around a dog, mirrored or not as ``sides`` says."""
    size = network.card.size_px
    return [window_around(sighting.xy_px, size, mirrored=side, settings=settings.follow) for side in sides]


def _search(network: Reader, rgb: Picture, settings: FindSettings) -> Sighting | None:
    """The best sighting in the whole picture; smaller and smaller tiles are searched until one is sure."""
    height, width = rgb.shape[:2]
    size = network.card.size_px
    plain = whole(width, height, size)
    rounds = [[plain, Window(plain.x_px, plain.y_px, plain.width_px, True), whole(width, height, size, settings.roomy)]]
    rounds += [tiles(width, height, size, share) for share in settings.shares]
    best: Sighting | None = None
    for windows in rounds:
        seen = look(network, rgb, windows, settings)
        top = max(seen, key=lambda one: one.worth)
        best = top if best is None or top.worth > best.worth else best
        if best.presence >= settings.sure and _is_dog(best, settings):
            break
    return best if best is not None and _is_dog(best, settings) else None


def _is_dog(sighting: Sighting, settings: FindSettings) -> bool:
    length = np.hypot(*(sighting.xy_px[WITHERS] - sighting.xy_px[CROUP]))
    return sighting.presence >= settings.least_presence and sighting.mass >= settings.least_mass and length > 0


@dataclass(frozen=True, slots=True)
class FacingSettings:
    """How much each cue counts for the facing, in log odds of one picture; common practice, no source.

    most_logit   a network's own logit counts up to this: it is overconfident on footage unlike its training
    order        withers in front of croup
    clearer      per unit of difference in worth between the picture as it is and mirrored
    enough       sum of votes after which no more pictures are asked
    """

    most_logit: float = 3.0
    order: float = 2.0
    clearer: float = 8.0
    enough: float = 12.0


def facing_votes(
    network: Reader,
    pictures: Iterable[Picture],
    settings: FacingSettings = FacingSettings(),
    *,
    finding: FindSettings = FindSettings(),
) -> FloatArray:
    """Log odds that the dog faces right, one per picture until they are enough; NaN where no dog was found."""
    votes: list[float] = []
    seen: tuple[Sighting, Sighting] | None = None
    for rgb in pictures:
        seen = seen_both_ways(network, rgb, seen, finding)
        votes.append(vote(*seen, settings) if seen else float("nan"))
        if abs(np.nansum(votes)) > settings.enough:
            break
    return np.array(votes)


def seen_both_ways(
    network: Reader, rgb: Picture, before: tuple[Sighting, Sighting] | None, settings: FindSettings
) -> tuple[Sighting, Sighting] | None:
    """The dog in the picture as it is, and mirrored: where it was before, or else searched for in the whole picture."""
    if before is not None:
        seen = _look_both_ways(network, rgb, _clearer(*before), settings)
        if _clearer(*seen).presence >= settings.sure and _is_dog(_clearer(*seen), settings):
            return seen
    found = find(network, rgb, settings)
    return _look_both_ways(network, rgb, found[0], settings) if found else None


def _look_both_ways(
    network: Reader, rgb: Picture, sighting: Sighting, settings: FindSettings
) -> tuple[Sighting, Sighting]:
    plain, mirrored = look(network, rgb, _windows(sighting, network, (False, True), settings), settings)
    return plain, mirrored


def _clearer(plain: Sighting, mirrored: Sighting) -> Sighting:
    return plain if plain.worth >= mirrored.worth else mirrored


def vote(plain: Sighting, mirrored: Sighting, settings: FacingSettings) -> float:
    """Log odds of facing right in one picture, weighted by how clearly the dog is seen."""
    better = _clearer(plain, mirrored)
    order = float(np.sign(better.xy_px[WITHERS, 0] - better.xy_px[CROUP, 0]))
    logit = float(np.clip(0.5 * (plain.facing + mirrored.facing), -settings.most_logit, settings.most_logit))
    return better.worth * (logit + settings.order * order + settings.clearer * (plain.worth - mirrored.worth))
