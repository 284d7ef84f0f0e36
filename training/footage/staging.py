"""What a plan says of one clip apart from its picture: build, movement and carriage of the dog, the view, the times."""

from dataclasses import replace
from typing import Any

import numpy as np

from pose.tracks import FloatArray
from training.errors import DrawError
from training.footage.build import Build, draw_build
from training.footage.camera import View
from training.footage.movement import Movement, Pattern, draw_pattern, move
from training.footage.plan import ClipPlan
from training.footage.posing import Carriage
from training.footage.skeleton import Skeleton

#: Degrees, horizontal field of view of a planned camera.
_FIELD_DEG = 34


def build_of(plan: ClipPlan) -> Build:
    """The build of the planned dog; the same identity is always the same build."""
    return replace(draw_build(np.random.default_rng((8101, plan.identity)), plan.kind), **plan.build)


def pattern_of(plan: ClipPlan, row: dict[str, Any], withers_m: float) -> tuple[Pattern, int]:
    """One row of ``gaits`` as a pattern, and for how many strides."""
    row = dict(row)
    gait, strides = row.pop("gait"), row.pop("strides")
    return replace(draw_pattern(np.random.default_rng((plan.identity, 5)), gait, withers_m), **row), strides


def movement_of(plan: ClipPlan, skeleton: Skeleton, rng: np.random.Generator) -> Movement:
    """The planned movement; DrawError when its strides end before the film does."""
    rows = [pattern_of(plan, row, skeleton.build.withers_m) for row in plan.gaits]
    movement = move(rng, rows, rest_x=skeleton.foot[:, 0], spread=plan.spread)
    last_s = min(float(touchdown[-1]) for touchdown in movement.touchdown_s)
    if last_s < plan.seconds:  # every paw has to know its next touchdown to the end of the film
        raise DrawError(
            f"{plan.name}: its strides last {last_s:.1f} s, but seconds is {plan.seconds:g}; plan more strides."
        )
    return movement


def carriage_of(plan: ClipPlan) -> Carriage:
    """How the planned dog carries itself."""
    return replace(Carriage(neck_pitch=-0.25), **plan.carriage)


def view_of(plan: ClipPlan, roll_deg: float) -> View:
    """The planned camera, turned by ``roll_deg`` about its line of sight."""
    return View(
        np.radians(plan.yaw_deg),
        np.radians(plan.pitch_deg),
        np.radians(roll_deg),
        np.radians(_FIELD_DEG),
        plan.fill,
        (0.0, 0.02),
    )


def times_of(plan: ClipPlan) -> FloatArray:
    """(T,) s, times of the frames."""
    return np.asarray(np.arange(int(plan.seconds * plan.fps)) / plan.fps)
