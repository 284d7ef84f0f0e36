"""A dog that is not ours: the anatomical model of the package dm_control (suite/dog.xml, Apache-2.0), in plain mujoco.

Its skeleton, skin and texture had no part in the training of any network of this project. Here it is set down on its
paws, and inverse kinematics bends its legs to follow footfalls. Metres, radians, seconds; X forward, Y left, Z up.
"""

import os
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from pose.tracks import BoolArray, FloatArray
from training.footage.movement import Movement

os.environ.setdefault("MUJOCO_GL", "egl")  # read once, when mujoco is first imported: it then needs no window system
import mujoco as mujoco

#: Places on the resting model (m). Withers: above the back of the elbow (ulna from x = 0.113) and the upper edge of the
#: shoulder blade (x = 0.099 to 0.144). Croup: halfway between the front of the pelvis (x = -0.222) and the point where
#: the tail leaves the rump (x = -0.37). Read off the bones' meshes and the skin.
WITHERS_X, CROUP_X = 0.117, -0.296
MIDDLE_X = (WITHERS_X + CROUP_X) / 2
WITHERS_M = 0.571

#: Joints of a leg, from the trunk down, then the one that moves it sideways.
FORE = (
    "scapula_{}_extend", "shoulder_{}_extend", "elbow_{}", "wrist_{}", "finger_{}",
    "scapula_{}_abduct",
)  # fmt: skip
HIND = ("hip_{}_extend", "knee_{}", "ankle_{}", "toe_{}", "hip_{}_abduct")
#: Bones that carry the foot, and the middle of the foot at the height of the pads on the resting model (x, |y|):
#: halfway between the tips of the toes and the back of the main pad, from the skin that touches the ground.
FEET = (("finger_{}", 0.196, 0.058), ("toe_{}", -0.517, 0.080))
PAD_M = 0.004
#: Where the stance of a paw is centred (m, resting model): under the shoulder joint, and a little behind the hip.
STANCE_X = (0.150, 0.150, -0.385, -0.385)


@dataclass(frozen=True, slots=True)
class Solving:
    """How legs are bent.

    steps        Gauss-Newton steps per frame, from the frame before; step_rad = the most that a joint turns in one
    place_m, pitch_rad, posture_rad   SDs: a paw off its path, a foot off its slope, a joint off its habit
    extend_rad   how far toes bend upward; the model stops at 15 degrees, which a late stance exceeds
    """

    steps: int = 10
    step_rad: float = 0.3
    place_m: float = 0.001
    pitch_rad: float = 0.06
    posture_rad: float = 0.5
    extend_rad: float = 0.8


@dataclass(frozen=True, slots=True, eq=False)
class Leg:
    """Addresses of one leg: joints (J,) in qpos, dofs (J,), limits (J, 2) rad, foot body, pad (3,) m in its frame."""

    joints: list[int]
    dofs: list[int]
    limits: FloatArray
    foot: int
    pad: FloatArray
    fore: bool
    side_y: float


def dog_file() -> Path:
    """Where the package keeps the model."""
    spec = find_spec("dm_control")
    assert spec and spec.submodule_search_locations
    return Path(spec.submodule_search_locations[0]) / "suite" / "dog.xml"


def legs_of(model: Any, data: Any, near: str, settings: Solving = Solving()) -> list[Leg]:
    """Near fore, far fore, near hind, far hind, on a model at rest; ``near`` is "R" when the dog faces right."""
    far = "L" if near == "R" else "R"
    return [_leg(model, data, fore, side, settings) for fore in (True, False) for side in (near, far)]


def _leg(model: Any, data: Any, fore: bool, side: str, settings: Solving) -> Leg:
    names = [name.format(side) for name in (FORE if fore else HIND)]
    joints = [model.joint(name) for name in names]
    limits = np.array([joint.range for joint in joints])
    toes = 4 if fore else 3
    limits[toes, 0] = -settings.extend_rad
    body, x, y = FEET[0 if fore else 1]
    foot = model.body(body.format(side)).id
    y = -y if side == "R" else y
    pad = data.xmat[foot].reshape(3, 3).T @ (np.array([x, y, PAD_M]) - data.xpos[foot])
    return Leg(
        [int(j.qposadr[0]) for j in joints], [int(j.dofadr[0]) for j in joints], limits, foot, np.array(pad), fore, y
    )


def pads(data: Any, legs: list[Leg]) -> FloatArray:
    """(4, 3) m, the middle of each foot at the height of the pads, as posed."""
    return np.array([data.xpos[leg.foot] + data.xmat[leg.foot].reshape(3, 3) @ leg.pad for leg in legs])


def pose(model: Any, data: Any, legs: list[Leg], movement: Movement, t: float) -> BoolArray:
    """Bend the dog to what ``movement`` does at ``t`` (s), from the frame before; (4,) which paws are down."""
    _trunk(model, data, movement, t)
    down = []
    for paw, leg in enumerate(legs):
        x, height, share, is_down = movement.paw(paw, t)
        target = np.array([x * WITHERS_M, 0.75 * leg.side_y, PAD_M + height * WITHERS_M])
        _bend(model, data, leg, (target, _slope(leg, share, is_down)), _habit(leg, target, movement, t, share, is_down))
        down.append(is_down)
    mujoco.mj_forward(model, data)
    return np.array(down)


def _trunk(model: Any, data: Any, m: Movement, t: float, drop_m: float = 0.02) -> None:
    """Place, bounce and pitch of the trunk; nod of the neck and sway of the tail. Two beats per stride."""
    k = int(m.strides_at(t))
    p = m.patterns[k]
    share = (t - m.stride_s[k]) / (m.stride_s[min(k + 1, len(m.stride_s) - 1)] - m.stride_s[k] or p.stride_s)
    beat = 4 * np.pi * share
    pitch = 0.012 * np.sin(beat + 0.6)
    root = model.joint("root").qposadr[0]
    data.qpos[root : root + 3] = (
        0.040403 - MIDDLE_X + m.trunk_x(t) * WITHERS_M, 0.0, 0.41522 - drop_m - p.bounce * WITHERS_M * np.cos(beat),
    )  # fmt: skip
    data.qpos[root + 3 : root + 7] = (np.cos(pitch / 2), 0.0, np.sin(pitch / 2), 0.0)
    _swing(model, data, "C_{}_extend", (1, 3, 5, 7), 0.06 + 0.02 * np.sin(beat + 1.0))
    _swing(model, data, "L_{}_bend", (1, 3, 5, 7), 0.015 * np.sin(2 * np.pi * share))
    _swing(model, data, "Ca_{}_bend", (2, 4, 6, 8, 10, 12), 0.05 * np.sin(2 * np.pi * share))


def _swing(model: Any, data: Any, name: str, numbers: tuple[int, ...], angle: float) -> None:
    for number in numbers:
        data.qpos[model.joint(name.format(number)).qposadr[0]] = angle


def _slope(leg: Leg, share: float, down: bool) -> float:
    """Downward pitch of the toes (rad): flat in stance, trailing in swing, flat again before landing."""
    most = 0.0 if down else 1.5 if leg.fore else 1.1
    return float(most * np.sin(np.pi * share**0.7) ** 1.5 * (1 - share) ** 0.3)


def _habit(leg: Leg, target: FloatArray, m: Movement, t: float, share: float, down: bool) -> FloatArray:
    """(J,) rad, where the joints would like to be: the shoulder blade turns with the leg, swinging joints fold."""
    fold = 0.0 if down else float(np.sin(np.pi * share**0.8))
    ahead = (target[0] - m.trunk_x(t) * WITHERS_M + MIDDLE_X - (STANCE_X[0] if leg.fore else STANCE_X[2])) / 0.2
    if leg.fore:
        return np.array([-0.22 * ahead, -0.15 * ahead, -0.5 * fold, -1.1 * fold, 0.3 * fold, 0.0])
    return np.array([-0.25 - 0.4 * ahead, -0.1 - 0.8 * fold, -0.1 - 0.7 * fold, 0.3 * fold, 0.0])


def _bend(
    model: Any, data: Any, leg: Leg, aim: tuple[FloatArray, float], habit: FloatArray, settings: Solving = Solving()
) -> None:
    """Damped Gauss-Newton for one leg: pad to its place, foot to its slope, joints near their habit."""
    jacobian, turning = np.zeros((3, model.nv)), np.zeros((3, model.nv))
    weight = 1 / settings.posture_rad
    for _ in range(settings.steps):
        mujoco.mj_kinematics(model, data)
        mujoco.mj_comPos(model, data)
        frame = data.xmat[leg.foot].reshape(3, 3)
        place = data.xpos[leg.foot] + frame @ leg.pad
        mujoco.mj_jac(model, data, jacobian, turning, place, leg.foot)
        pitch = np.arctan2(-frame[2, 0], frame[0, 0])
        off = np.concatenate([
            (aim[0] - place) / settings.place_m,
            [(aim[1] - pitch) / settings.pitch_rad],
            (habit - data.qpos[leg.joints]) * weight,
        ])  # fmt: skip
        rows = np.vstack([
            jacobian[:, leg.dofs] / settings.place_m, turning[1:2, leg.dofs] / settings.pitch_rad,
            weight * np.eye(len(leg.dofs)),
        ])  # fmt: skip
        data.qpos[leg.joints] = _stepped(data.qpos[leg.joints], rows, off, leg.limits, settings.step_rad)


def _stepped(angles: FloatArray, rows: FloatArray, off: FloatArray, limits: FloatArray, most: float) -> FloatArray:
    """(J,) rad after one step; a joint that comes to its limit stays there and the others make up for it."""
    free, wanted = np.ones(len(angles), bool), angles
    for _ in range(2):
        step = np.linalg.lstsq(rows[:, free], off - rows[:, ~free] @ (wanted - angles)[~free], rcond=None)[0]
        wanted = np.array(wanted)
        wanted[free] = angles[free] + np.clip(step, -most, most)
        wanted = np.clip(wanted, *limits.T)
        free &= (wanted > limits[:, 0]) & (wanted < limits[:, 1])
    return wanted
