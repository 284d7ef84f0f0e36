"""Drawn dogs without a picture: shape, movement and landmarks, for tests of the footage that need no OpenGL."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from pose.tracks import FloatArray, Tracks
from training.footage.build import draw_build
from training.footage.camera import View, set_camera
from training.footage.movement import Movement, Pattern, draw_pattern, move
from training.footage.posing import Carriage, poses_over
from training.footage.scene import span_of
from training.footage.skeleton import Skeleton, build_skeleton
from training.footage.skin import Skin, build_skin

FPS = 60.0
SIZE = (640, 360)


@dataclass(frozen=True)
class Body:
    """Skeleton and surface of one dog."""

    skeleton: Skeleton
    skin: Skin

    @property
    def withers_m(self) -> float:
        return self.skeleton.build.withers_m


@cache
def body(kind: str, seed: int = 0) -> Body:
    """A dog of that kind; the same words give the same dog."""
    skeleton = build_skeleton(draw_build(np.random.default_rng(seed), kind))
    return Body(skeleton, build_skin(skeleton))


def pattern(gait: str, dog: Body, seed: int = 0) -> Pattern:
    """A random pattern of that gait that suits the dog."""
    return draw_pattern(np.random.default_rng(seed), gait, dog.withers_m)


def steady(dog: Body, step: Pattern, strides: int = 8, spread: float = 0.0, seed: int = 0) -> Movement:
    """The movement that repeats one pattern."""
    rng = np.random.default_rng(seed)
    return move(rng, [(step, strides)], rest_x=dog.skeleton.foot[:, 0], spread=spread)


def places(dog: Body, movement: Movement, t_s: FloatArray, carriage: Carriage | None = None) -> FloatArray:
    """(T, 6, 3) withers heights, the posed landmarks."""
    carried = carriage or Carriage(neck_pitch=-0.25)
    return poses_over(dog.skeleton, dog.skin, movement, carried, t_s).marks


def film(dog: Body, movement: Movement, seconds: float, *, facing: str = "right") -> Tracks:
    """The true landmark table of a film 60 times a second, 4 degrees from square and 5 from above, as for a tripod."""
    t_s, h = np.arange(round(seconds * FPS)) / FPS, dog.withers_m
    view = View(np.radians(4), np.radians(5), 0.0, np.radians(34), 0.55, (0.0, 0.02))
    camera = set_camera(view, np.array([0.12 * h, 0.55 * h, 0.0]), span_of(dog.skeleton) * h, SIZE)
    xy = camera.project(places(dog, movement, t_s) * h)
    if facing == "left":
        xy[..., 0] = SIZE[0] - 1 - xy[..., 0]
    full = np.ones(xy.shape[:2])
    return Tracks(np.arange(len(t_s)), t_s, xy, full, full < 0, np.ones((len(t_s), 2)))
