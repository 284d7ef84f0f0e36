"""Landmarks of the newest live picture, before anything that comes after it is known.

Withers and croup are where the network saw them. Near and far paw of a pair are two of the frame's candidates: those
that the paws, going on as they went, would be at. From the next decision of ``pose.stream`` on they start anew from
what was decided, so that an exchange lasts as long as ``every_s`` at most, unless the decision itself holds it.
"""

from dataclasses import dataclass

import numpy as np

from pose.find import best_xy
from pose.heatmap import Places
from pose.landmarks import CROUP, LANDMARKS, PAIRS, WITHERS
from pose.sightings import Sightings
from pose.tracks import FloatArray, Tracks


@dataclass(frozen=True, slots=True)
class NewestSettings:
    """How paws go on. Our own choices, tried on the demo clips.

    off_bl       body lengths, SD of the place that a paw goes on to: a swinging paw changes its speed within a frame
    floor        0..1, mass that any place has at least
    share        how much the shares of the near and the far channel at a place count against where paws go on to
    apart_bl     body lengths, places nearer than this are one place
    most_gap_s   s, after a longer pause nothing is known of where paws went
    """

    off_bl: float = 0.08
    floor: float = 0.03
    share: float = 1.0
    apart_bl: float = 0.05
    most_gap_s: float = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Heading:
    """Where landmarks were last and how fast they went. t_s s; xy_px (6, 2) px, NaN = not seen; v_px_s (6, 2) px/s."""

    t_s: float
    xy_px: FloatArray
    v_px_s: FloatArray

    def at(self, t_s: float) -> FloatArray:
        """(6, 2) px, where they would be at ``t_s``."""
        return np.asarray(self.xy_px + self.v_px_s * (t_s - self.t_s))

    def then(self, t_s: float, xy_px: FloatArray) -> "Heading":
        """The same, a frame later; what is not seen goes on for a while."""
        step_s = max(t_s - self.t_s, 1e-6)
        moved = (xy_px - self.xy_px) / step_s
        return Heading(t_s, xy_px, np.where(np.isfinite(moved), moved, 0.0))


def heading_of(tracks: Tracks) -> Heading:
    """Where the landmarks of the last frame of ``tracks`` go."""
    last, still = tracks.xy_px[-1], np.zeros_like(tracks.xy_px[-1])
    if len(tracks) < 2:
        return Heading(float(tracks.t_s[-1]), last, still)
    return Heading(float(tracks.t_s[-2]), tracks.xy_px[-2], still).then(float(tracks.t_s[-1]), last)


def go_on(
    before: Heading | None, seen: Sightings, length_px: float, settings: NewestSettings = NewestSettings()
) -> tuple[FloatArray, FloatArray, Heading]:
    """Landmarks of the frames of ``seen``: (N, 6, 2) px, their mass (N, 6) 0..1, and where they go from there."""
    best, mass = best_xy(seen.places)
    xy = best.copy()
    for row, t_s in enumerate(seen.t_s.tolist()):
        if before is None or t_s - before.t_s > settings.most_gap_s:
            before = Heading(t_s, xy[row], np.zeros((len(LANDMARKS), 2)))
            continue
        ahead = before.at(t_s)
        for pair, marks in enumerate(PAIRS):
            chosen = _pair(seen.places, row, pair, ahead[list(marks)], length_px, settings)
            if chosen is not None:
                xy[row, list(marks)], mass[row, list(marks)] = chosen
        before = before.then(t_s, xy[row])
    assert before is not None or not len(xy)
    return xy, mass, before or Heading(-np.inf, best[:0], best[:0])


def trunk_length(xy_px: FloatArray) -> float:
    """px, median distance from withers to croup of (N, 6, 2) px; NaN when never seen together."""
    apart = np.hypot(*(xy_px[:, WITHERS] - xy_px[:, CROUP]).T)
    known = apart[np.isfinite(apart)]
    return float(np.median(known)) if len(known) else float("nan")


def _pair(
    places: Places, row: int, pair: int, ahead_px: FloatArray, length_px: float, settings: NewestSettings
) -> tuple[FloatArray, FloatArray] | None:
    """Places (2, 2) px of near and far nearest to ``ahead_px`` (2, 2) px, and the mass (2,) of both channels there.

    None where nothing is known."""
    xy, mass = places.pair_xy[row, pair], places.pair_mass[row, pair]
    kept = np.isfinite(xy).all(axis=1)
    if not kept.any() or not np.isfinite(ahead_px).all() or not length_px > 0:
        return None
    xy, mass = xy[kept], mass[kept]
    total = mass.sum(axis=1, keepdims=True) + settings.floor
    off = np.hypot(*np.moveaxis(xy[:, None] - ahead_px, -1, 0)) / (settings.off_bl * length_px)
    worth = np.log(total) + settings.share * np.log((mass + settings.floor) / total) - 0.5 * off**2
    joint = worth[:, None, 0] + worth[None, :, 1]
    same = np.hypot(*np.moveaxis(xy[:, None] - xy[None], -1, 0)) < settings.apart_bl * length_px
    # one place for both paws only where both go there
    joint = joint + np.where(same, np.log(settings.floor), 0.0) * (not _meet(ahead_px, length_px, settings))
    near, far = np.unravel_index(int(joint.argmax()), joint.shape)
    return xy[[near, far]], np.minimum(mass[[near, far]].sum(axis=1), 1.0)


def _meet(ahead_px: FloatArray, length_px: float, settings: NewestSettings) -> bool:
    return bool(np.hypot(*(ahead_px[0] - ahead_px[1])) < 2 * settings.apart_bl * length_px)
