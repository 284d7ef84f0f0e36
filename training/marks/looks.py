"""Second looks at a frame, for which the network is asked again: the frame by itself, and its mirror image."""

from dataclasses import dataclass, field, replace

import numpy as np

from pose.find import Reader, look
from pose.landmarks import CROUP, LANDMARKS, PAIRS, WITHERS
from pose.tracks import FloatArray
from pose.window import FollowSettings, Picture, window_around


@dataclass(frozen=True, slots=True)
class LookSettings:
    """Windows of the second looks.

    usual  of the frame by itself: the same that reading uses
    wide   of the mirrored frame: in training, dogs up to about half of the window's width face either way and larger
           ones right alone, and a dog from nose to tail is 2 to 3 body lengths long. Measured on drawn clips: mirrored
           in its usual window a well read dog comes out altogether different, in the wide one it mostly does not
    """

    usual: FollowSettings = field(default_factory=FollowSettings)
    wide: FollowSettings = field(default_factory=lambda: FollowSettings(body_lengths=5.5))


def second_looks(
    rgb: Picture, xy_px: FloatArray, network: Reader, settings: LookSettings = LookSettings()
) -> tuple[FloatArray, FloatArray]:
    """How far landmarks (6, 2) px that a clip gave lie from what the network says of this frame (H, W, 3) by itself,
    and of its mirror image: (6,) and (6,) body lengths. NaN without a trunk, or where either has no place.

    Two paws of a pair are held against the two answers whichever way round fits: sides are a question of their own.
    """
    trunk = xy_px[WITHERS] - xy_px[CROUP]
    length = float(np.hypot(*trunk))
    if not length > 0:
        nothing = np.full(len(LANDMARKS), np.nan)
        return nothing, nothing
    size, left = network.card.size_px, bool(trunk[0] < 0)
    usual, wide = (window_around(xy_px, size, mirrored=left, settings=s) for s in (settings.usual, settings.wide))
    alone, turned = look(network, rgb, [usual, replace(wide, mirrored=not left)])
    return _apart(xy_px, alone.xy_px) / length, _apart(xy_px, turned.xy_px) / length


def _apart(one_px: FloatArray, other_px: FloatArray) -> FloatArray:
    """(6,) px between landmarks (6, 2) and (6, 2), pairs the way round that fits better."""
    apart = np.linalg.norm(one_px - other_px, axis=-1)
    for pair in PAIRS:
        rows = list(pair)
        turned = np.linalg.norm(one_px[rows] - other_px[rows[::-1]], axis=-1)
        if turned.sum() < apart[rows].sum():
            apart[rows] = turned
    return np.asarray(apart)
