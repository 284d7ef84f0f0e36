"""What a frame looks like in a few numbers, and groups of frames that look alike.

The network file has answers as its only outputs, no inner features; so a small grey picture of the dog and its pose in
body axes stand in for them.
"""

from dataclasses import dataclass

import numpy as np

from pose.landmarks import CROUP, PAWS, WITHERS
from pose.tracks import FloatArray, IntArray
from pose.window import Picture, cut, whole, window_around


@dataclass(frozen=True, slots=True)
class FeatureSettings:
    """How a frame is described.

    size_px     (width, height) of the small grey picture: light, coat, background and outline, no detail
    pose_weight of the pose against the picture; both have a length of about 1. No source, set by judgement
    starts      times that the grouping begins anew; the best one counts
    """

    size_px: tuple[int, int] = (16, 12)
    pose_weight: float = 1.0
    starts: int = 4


DEFAULTS = FeatureSettings()


def describe(rgb: Picture, xy_px: FloatArray, settings: FeatureSettings = DEFAULTS) -> FloatArray:
    """(F,) the frame ``rgb`` (H, W, 3) with landmarks (6, 2) px as a small picture of the dog, facing right, and pose;
    without a trunk the whole picture, and no pose."""
    trunk = xy_px[WITHERS] - xy_px[CROUP]
    known = bool(np.isfinite(trunk).all() and trunk.any())
    size = settings.size_px
    if known:
        window = window_around(xy_px, size, mirrored=bool(trunk[0] < 0))
    else:
        window = whole(rgb.shape[1], rgb.shape[0], size)
    grey = cut(rgb, window, size).mean(axis=0).ravel().astype(np.float64)
    grey -= grey.mean()
    length = float(np.linalg.norm(grey))
    pose = pose_vector(xy_px) if known else np.zeros(3 * len(PAWS))
    return np.concatenate([grey / length if length > 1e-9 else grey, settings.pose_weight * pose])


def pose_vector(xy_px: FloatArray) -> FloatArray:
    """(12,) the four paws in body axes, forward and up from the middle of the trunk in body lengths, then a 1 for each
    that is missing (it lies on 0); from landmarks (6, 2) px. Its length is about 1."""
    trunk = xy_px[WITHERS] - xy_px[CROUP]
    length = float(np.hypot(*trunk))
    forward = trunk / length
    up = np.array([forward[1], -forward[0]])
    up *= -1.0 if up[1] > 0 else 1.0
    paws = (xy_px[: len(PAWS)] - (xy_px[WITHERS] + xy_px[CROUP]) / 2) / length
    missing = np.isnan(paws).any(axis=1)
    place = np.where(missing[:, None], 0.0, np.stack([paws @ forward, paws @ up], axis=-1))
    return np.asarray(np.concatenate([place.ravel(), missing]) / np.sqrt(2 * len(PAWS)))


def alike(features: FloatArray, groups: int, seed: int, settings: FeatureSettings = DEFAULTS) -> IntArray:
    """(N,) number of the group of each frame, from features (N, F); at most ``groups`` of them."""
    distinct = len(np.unique(features.round(9), axis=0)) if len(features) else 0
    if distinct < 2 or groups < 2:
        return np.zeros(len(features), np.int64)
    from sklearn.cluster import KMeans  # takes two seconds, and a desk is opened more often than frames are chosen

    found = KMeans(min(groups, distinct), n_init=settings.starts, random_state=seed).fit_predict(features)
    return np.asarray(found, np.int64)
