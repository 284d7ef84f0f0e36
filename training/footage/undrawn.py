"""Landmarks and contacts of a planned clip without its picture: the drawn dog's movement, as the camera sees it."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from pose.landmarks import CROUP, LANDMARKS, WITHERS
from pose.tracks import BoolArray, FloatArray, Tracks
from training.footage.camera import set_camera
from training.footage.plan import ClipPlan
from training.footage.posing import poses_over
from training.footage.scene import span_of
from training.footage.skeleton import Skeleton, build_skeleton
from training.footage.skin import Skin, build_skin
from training.footage.staging import build_of, carriage_of, movement_of, times_of, view_of

#: Withers heights off its planned place up to which a paw is at it.
_AT_ITS_PLACE = 0.002
#: s within its stance at which it is looked at.
_WITHIN_S = 1e-6


@dataclass(frozen=True, slots=True)
class Watching:
    """How far off landmarks are found.

    frame_bl   body lengths, SD of each landmark in each frame and direction, by itself
    clip_bl    the same, for the whole of a clip alike: what looks like a paw or a croup differs from clip to clip. With
               it topline angles of one dog are 0.24 degrees apart from clip to clip (derived: sqrt 2 x 0.003 rad)
    score      of a landmark that is well seen
    """

    frame_bl: float = 0.008
    clip_bl: float = 0.003
    score: float = 0.93


def landmarks_of(plan: ClipPlan, watching: Watching = Watching(), *, roll_deg: float = 0.0) -> Tracks:
    """Places of the six landmarks in every frame of the planned clip, with the errors of ``watching``."""
    rng = np.random.default_rng((8106, plan.seed))
    times, xy = times_of(plan), _exact_px(plan, roll_deg)
    body_px = float(np.median(np.hypot(*(xy[:, WITHERS] - xy[:, CROUP]).T)))
    xy = xy + body_px * watching.clip_bl * rng.standard_normal(xy.shape[1:])
    xy = xy + body_px * watching.frame_bl * rng.standard_normal(xy.shape)
    score = np.clip(watching.score + 0.03 * rng.standard_normal(xy.shape[:2]), 0.5, 1.0)
    sure = np.clip(0.97 + 0.02 * rng.standard_normal((len(times), 2)), 0.8, 1.0)
    return Tracks(np.arange(len(times)), times, xy, score, np.zeros(score.shape, dtype=bool), sure)


def _exact_px(plan: ClipPlan, roll_deg: float) -> FloatArray:
    """(T, 6, 2) px in the upright picture, as the dog faces."""
    skeleton, skin = _dog(plan.identity, plan.kind, tuple(sorted(plan.build.items())))
    h = skeleton.build.withers_m
    movement, carriage = movement_of(plan, skeleton, np.random.default_rng((8102, plan.seed))), carriage_of(plan)
    marks = poses_over(skeleton, skin, movement, carriage, times_of(plan)).marks
    middle = np.array([0.12 * h, 0.55 * h, 0.0])
    xy = set_camera(view_of(plan, roll_deg), middle, span_of(skeleton) * h, plan.size).project(marks * h)
    if plan.facing == "left":
        xy[..., 0] = plan.size[0] - 1 - xy[..., 0]
    return xy.reshape(len(marks), len(LANDMARKS), 2)


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """Contacts of one paw. touchdown_s, liftoff_s (N,) s; kept (N, 2) bool, whether the paw comes down, and leaves, at
    the place of its stance: a leg that is too short for its step takes it off the belt early and slowly, so that there
    is no moment of lift-off to be told."""

    touchdown_s: FloatArray
    liftoff_s: FloatArray
    kept: BoolArray


def steps_of(plan: ClipPlan) -> tuple[Steps, ...]:
    """Contacts of the four paws that are whole in the planned clip."""
    skeleton, skin = _dog(plan.identity, plan.kind, tuple(sorted(plan.build.items())))
    movement, carriage = movement_of(plan, skeleton, np.random.default_rng((8102, plan.seed))), carriage_of(plan)

    def kept(p: int, t_s: FloatArray) -> BoolArray:
        """(N,) whether paw ``p`` is at its place at t_s (N,), s."""
        marks = poses_over(skeleton, skin, movement, carriage, t_s).marks[:, p]
        off = np.hypot(marks[:, 0] - movement.paw_over(p, t_s)[0], marks[:, 1] - skeleton.foot[p, 1])
        return np.asarray(off <= _AT_ITS_PLACE)

    found = []
    for p, (down, up) in enumerate(zip(movement.touchdown_s, movement.liftoff_s, strict=True)):
        whole = (down >= 0) & (up <= plan.seconds)
        down, up = down[whole], up[whole]
        looks = (down + _WITHIN_S, up - _WITHIN_S)
        found.append(Steps(down, up, np.stack([kept(p, t_s) for t_s in looks], axis=1)))
    return tuple(found)


@lru_cache(maxsize=1)
def _dog(identity: int, kind: str | None, build: tuple[tuple[str, object], ...]) -> tuple[Skeleton, Skin]:
    """Skeleton and surface of one dog; clips of a dog follow one another, so the last one is kept."""
    skeleton = build_skeleton(build_of(ClipPlan("", "", (), identity=identity, kind=kind, build=dict(build))))
    return skeleton, build_skin(skeleton)
