"""Films of the anatomical dog on a belt, with exact truth beside them, in the form that `pawfall judge` reads.

``PYTHONPATH=.:tests/outside python -m anatomical_dog_film FOLDER`` writes them. The room is drawn here
and shares no colour, texture or program with the rooms that networks are trained on.
"""

import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from anatomical_dog import (
    CROUP_X,
    MIDDLE_X,
    STANCE_X,
    WITHERS_M,
    WITHERS_X,
    Leg,
    dog_file,
    legs_of,
    mujoco,
    pads,
    pose,
)
from numpy.typing import NDArray

from pose.film import FilmSettings, write_film
from pose.landmarks import LANDMARKS, PAWS
from pose.table import write_table
from pose.tracks import FloatArray, Tracks
from training.footage.movement import Movement, Pattern, move

Picture = NDArray[np.uint8]

SIZE = (640, 400)
#: Drawn larger and made smaller, which smooths edges faster than the software renderer's own way.
DRAWN = (800, 500)
FPS = 60.0
_STRIPES, _STRIPE_GAP_M = 8, 0.28
_BELT_M, _DECK_M = (-1.12, 1.12), 0.30
_HIDDEN_GROUP = 4


@dataclass(frozen=True, slots=True)
class Shot:
    """One clip: gait by ``pattern``; ``seed`` for the spread of strides; facing; camera: lens (deg, vertical), distance
    (m), height of the eye (m), turn from square (deg); ``light``, 1 = as bright as the room is by day; frames per
    second."""

    name: str
    pattern: Pattern
    seed: int
    facing: str = "right"
    seconds: float = 4.0
    lens_deg: float = 26.0
    distance_m: float = 3.1
    eye_m: float = 0.55
    turn_deg: float = 3.0
    light: float = 1.0
    fps: float = FPS


#: Times in seconds, lengths in withers heights. Phases and duty factors inside the bands of Hildebrand 1968
#: (J Morphol 124:353) for each gait; travel and lift are our own choices.
SHOTS = (
    Shot("walk", Pattern("walk", 0.64, 0.65, 0.20, 0.50, 0.50, 0.78, 0.60, 0.09, 0.005), 21),
    Shot(
        "trot", Pattern("trot", 0.44, 0.45, 0.47, 0.50, 0.50, 0.50, 0.64, 0.12, 0.018), 22, "left", 3.5, turn_deg=-4.0
    ),
    Shot("pace", Pattern("pace", 0.44, 0.45, 0.02, 0.50, 0.50, 0.54, 0.62, 0.11, 0.010), 23, "right", 3.5, eye_m=0.75),
)


@dataclass(slots=True)
class Stage:
    """Model, state and renderer of one shot; ``trunk`` = skin vertices that carry withers and croup."""

    shot: Shot
    model: Any
    data: Any
    renderer: Any
    option: Any
    legs: list[Leg]
    trunk: list[NDArray[np.int64]] = field(default_factory=list)

    def close(self) -> None:
        """Free the renderer."""
        self.renderer.close()


def movement_of(shot: Shot) -> Movement:
    """The movement of that shot, with an irregular stride here and there."""
    rest = (np.array(STANCE_X) - MIDDLE_X) / WITHERS_M
    strides = int(shot.seconds / shot.pattern.stride_s) + 2
    return move(np.random.default_rng(shot.seed), [(shot.pattern, strides)], rest_x=rest, spread=0.01)


def build_stage(shot: Shot) -> Stage:
    """The dog at rest on its belt, and the camera."""
    spec = mujoco.MjSpec.from_file(str(dog_file()))
    _build_room(spec, near=-1.0 if shot.facing == "right" else 1.0, light=shot.light)
    _add_camera(spec, shot)
    spec.visual.quality.offsamples, spec.visual.quality.shadowsize = 0, 512
    spec.visual.headlight.ambient, spec.visual.headlight.diffuse = [0.34 * shot.light] * 3, [0.22 * shot.light] * 3
    model = spec.compile()
    _hide_the_rest(model)
    data = mujoco.MjData(model)
    _rest(model, data)
    legs = legs_of(model, data, "R" if shot.facing == "right" else "L")
    option = mujoco.MjvOption()
    option.geomgroup[:] = (1, 1, 0, 0, 0, 0)
    stage = Stage(shot, model, data, mujoco.Renderer(model, DRAWN[1], DRAWN[0]), option, legs)
    stage.trunk = [_top(skin(stage), x) for x in (WITHERS_X, CROUP_X)]
    return stage


def _rest(model: Any, data: Any) -> None:
    """The pose in which the model's skin is bound: every hinge at zero, paws on the ground."""
    mujoco.mj_resetDataKeyframe(model, data, 0)
    root, ball = model.joint("root").qposadr[0], model.joint("ball_root").qposadr[0]
    hinges = np.ones(model.nq, bool)
    hinges[root : root + 7] = hinges[ball : ball + 7] = False
    data.qpos[hinges] = 0.0
    mujoco.mj_forward(model, data)


def _hide_the_rest(model: Any) -> None:
    """Floor, walls, ball and light of the package's own scene are not shown."""
    for number in range(model.ngeom):
        name = model.geom(number).name
        if name in ("floor", "target", "ball") or name.startswith("wall_"):
            model.geom_group[number] = _HIDDEN_GROUP
    model.light("light").active = False


def _texture(spec: Any, name: str, builtin: Any, colours: tuple[Any, Any], repeat: tuple[float, float]) -> None:
    spec.add_texture(
        name=name, type=mujoco.mjtTexture.mjTEXTURE_2D, builtin=builtin, rgb1=colours[0], rgb2=colours[1],
        width=256, height=256, mark=mujoco.mjtMark.mjMARK_RANDOM, markrgb=colours[1], random=0.03,
    )  # fmt: skip
    material = spec.add_material(name=name, texrepeat=repeat, texuniform=False)
    material.textures[mujoco.mjtTextureRole.mjTEXROLE_RGB] = name


def _box(spec: Any, place: tuple[float, float, float], half: tuple[float, float, float], look: Any) -> None:
    coat = {"material": look} if isinstance(look, str) else {"rgba": [*look, 1.0]}
    spec.worldbody.add_geom(
        type=mujoco.mjtGeom.mjGEOM_BOX, pos=place, size=half, contype=0, conaffinity=0, group=0, **coat
    )


def _build_room(spec: Any, near: float, light: float) -> None:
    """A tiled wall with a window, a cupboard and a plant; a treadmill with rails; ``near`` = side (Y) of the camera;
    ``light`` = brightness of the lamp."""
    checks, flat, far = mujoco.mjtBuiltin.mjBUILTIN_CHECKER, mujoco.mjtBuiltin.mjBUILTIN_FLAT, -near
    _texture(spec, "room_wall", checks, ([0.62, 0.70, 0.60], [0.55, 0.64, 0.55]), (9, 5))
    _texture(spec, "room_floor", checks, ([0.50, 0.42, 0.30], [0.42, 0.34, 0.24]), (14, 14))
    _texture(spec, "room_belt", flat, ([0.17, 0.20, 0.26], [0.24, 0.27, 0.33]), (5, 1))
    _box(spec, (0, far * 1.6, 1.0), (4.0, 0.02, 2.0), "room_wall")
    _box(spec, (0, 0, -_DECK_M - 0.02), (4.0, 3.0, 0.02), "room_floor")
    _box(spec, (0, 0, -0.03), (_BELT_M[1], 0.24, 0.03), "room_belt")
    for side in (near, far):
        _box(spec, (0, side * 0.29, -0.07), (1.2, 0.045, 0.06), (0.72, 0.72, 0.76))
        _box(spec, (0.92, side * 0.31, 0.3), (0.025, 0.02, 0.6), (0.30, 0.34, 0.55))
    _box(spec, (0.1, far * 0.31, 0.62), (0.85, 0.018, 0.018), (0.30, 0.34, 0.55))
    _box(spec, (-0.5, far * 1.56, 1.05), (0.42, 0.03, 0.38), (0.80, 0.90, 0.97))
    _box(spec, (0.75, far * 1.4, 0.1), (0.3, 0.16, 0.42), (0.58, 0.30, 0.28))
    spec.worldbody.add_geom(
        type=mujoco.mjtGeom.mjGEOM_ELLIPSOID, pos=(-1.25, far * 1.3, 0.3), size=(0.2, 0.2, 0.4), contype=0,
        conaffinity=0, group=0, rgba=[0.16, 0.38, 0.18, 1.0],
    )  # fmt: skip
    _add_stripes(spec)
    spec.worldbody.add_light(
        pos=(0.6, near * 1.6, 2.6), dir=(-0.25, -near * 0.6, -1.0), castshadow=True,
        diffuse=[light * part for part in (0.85, 0.82, 0.74)], cutoff=70.0,
    )  # fmt: skip


def _add_stripes(spec: Any) -> None:
    """Lines across the belt that travel with it."""
    for number in range(_STRIPES):
        body = spec.worldbody.add_body(name=f"stripe_{number}", mocap=True)
        body.add_geom(
            type=mujoco.mjtGeom.mjGEOM_BOX, size=(0.008, 0.2, 0.0005), rgba=[0.62, 0.62, 0.55, 1.0], contype=0,
            conaffinity=0, group=0,
        )  # fmt: skip


def _add_camera(spec: Any, shot: Shot) -> None:
    side, turn = (-1.0 if shot.facing == "right" else 1.0), np.radians(shot.turn_deg)
    eye = np.array([shot.distance_m * np.sin(turn), side * shot.distance_m * np.cos(turn), shot.eye_m])
    back = eye - np.array([-0.02, 0.0, 0.33])
    back /= np.linalg.norm(back)
    right = np.cross([0.0, 0.0, 1.0], back)
    right /= np.linalg.norm(right)
    turned = np.zeros(4)
    mujoco.mju_mat2Quat(turned, np.stack([right, np.cross(back, right), back], axis=1).ravel())
    spec.worldbody.add_camera(name="tripod", pos=eye, quat=turned, fovy=shot.lens_deg)


def skin(stage: Stage) -> FloatArray:
    """(V, 3) m, the skin as posed."""
    stage.renderer.update_scene(stage.data, "tripod", stage.option)
    return np.asarray(stage.renderer.scene.skinvert, dtype=float).reshape(-1, 3)


def _top(resting: FloatArray, x: float, count: int = 4) -> NDArray[np.int64]:
    """The ``count`` vertices of the back's middle line nearest to ``x`` (m) on the resting dog."""
    ridge = np.flatnonzero((np.abs(resting[:, 1]) < 0.004) & (resting[:, 2] > 0.5))
    return ridge[np.argsort(np.abs(resting[ridge, 0] - x))[:count]]


def project(stage: Stage, points_m: FloatArray) -> FloatArray:
    """(N, 2) px of the final picture (pixel centres at whole numbers, y down) of points (N, 3) m."""
    camera = stage.model.camera("tripod").id
    frame, eye = stage.data.cam_xmat[camera].reshape(3, 3), stage.data.cam_xpos[camera]
    seen = (points_m - eye) @ frame
    scale = SIZE[1] / 2 / np.tan(np.radians(stage.shot.lens_deg) / 2)
    return np.asarray(seen[:, :2] / -seen[:, 2:] * (scale, -scale) + np.array(SIZE) / 2 - 0.5)


def marks(stage: Stage) -> FloatArray:
    """(6, 3) m, the landmarks of the posed dog: paws (near first), withers, croup."""
    surface = skin(stage)
    return np.vstack([pads(stage.data, stage.legs), *(surface[rows].mean(axis=0) for rows in stage.trunk)])


def shoot(stage: Stage) -> Picture:
    """(H, W, 3) rgb of the dog as posed."""
    stage.renderer.update_scene(stage.data, "tripod", stage.option)
    return np.asarray(cv2.resize(stage.renderer.render(), SIZE, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def silhouette(stage: Stage) -> NDArray[np.bool_]:
    """(H, W) where the final picture shows the skin of the dog as posed."""
    drawn = _kinds(stage)[..., 1] == int(mujoco.mjtObj.mjOBJ_SKIN)
    return np.asarray(cv2.resize(drawn.astype(np.float32), SIZE, interpolation=cv2.INTER_AREA) > 0.5)


def seen_at(stage: Stage, geom: int) -> FloatArray:
    """(2,) px, middle of what the final picture shows of one geom."""
    kinds = _kinds(stage)
    rows, columns = np.nonzero((kinds[..., 0] == geom) & (kinds[..., 1] == int(mujoco.mjtObj.mjOBJ_GEOM)))
    return np.asarray((np.array([columns.mean(), rows.mean()]) + 0.5) * SIZE[0] / DRAWN[0] - 0.5)


def _kinds(stage: Stage) -> NDArray[np.int32]:
    """(H, W, 2) number and type of what every drawn pixel shows."""
    stage.renderer.enable_segmentation_rendering()
    stage.renderer.update_scene(stage.data, "tripod", stage.option)
    kinds = np.array(stage.renderer.render())
    stage.renderer.disable_segmentation_rendering()
    return kinds


def run_belt(stage: Stage, travelled_m: float) -> None:
    """Put the stripes where they are after the belt has moved backward by so much."""
    length = _STRIPES * _STRIPE_GAP_M
    for number in range(_STRIPES):
        x = (number * _STRIPE_GAP_M - travelled_m) % length + _BELT_M[0]
        stage.data.mocap_pos[number] = (x, 0.0, 0.0003)


def put_ball(stage: Stage, place: list[float]) -> None:
    """Put the ball of the package's own scene at ``place`` (3,) m."""
    ball = stage.model.joint("ball_root").qposadr[0]
    stage.data.qpos[ball : ball + 3] = place
    mujoco.mj_forward(stage.model, stage.data)


def settle(stage: Stage, movement: Movement, t: float, rounds: int = 5) -> None:
    """Bend the dog from where it stands to where it is at ``t`` (s), which takes more steps than between frames."""
    for _ in range(rounds):
        pose(stage.model, stage.data, stage.legs, movement, t)


def frames(stage: Stage, movement: Movement, kept: list[FloatArray]) -> Iterator[tuple[float, Picture]]:
    """(s, picture) of every frame; the landmarks of each, (6, 3) m, are put into ``kept``."""
    noise = np.random.default_rng(stage.shot.seed)
    settle(stage, movement, 0.0)
    for number in range(round(stage.shot.seconds * stage.shot.fps)):
        t = number / stage.shot.fps
        run_belt(stage, movement.speed * WITHERS_M * t)
        pose(stage.model, stage.data, stage.legs, movement, t)
        kept.append(marks(stage))
        grain = noise.normal(0, 2.0, (SIZE[1], SIZE[0], 1))
        yield t, np.clip(shoot(stage) + grain, 0, 255).astype(np.uint8)


def make_clip(shot: Shot, folder: Path) -> None:
    """Write NAME.mp4, NAME.landmarks.csv and NAME.truth.json into ``folder``."""
    stage, kept = build_stage(shot), list[FloatArray]()
    movement = movement_of(shot)
    try:
        write_film(frames(stage, movement, kept), folder / f"{shot.name}.mp4", settings=FilmSettings(quality=23))
        xy = project(stage, np.concatenate(kept)).reshape(len(kept), len(LANDMARKS), 2)
    finally:
        stage.close()
    frame, seen = np.arange(len(kept)), np.ones((len(kept), len(LANDMARKS)))
    write_table(Tracks(frame, frame / shot.fps, xy, seen, seen < 0), folder / f"{shot.name}.landmarks.csv")
    truth = json.dumps(truth_of(shot, movement), indent=1)
    (folder / f"{shot.name}.truth.json").write_text(truth + "\n", encoding="utf-8")


def truth_of(shot: Shot, m: Movement) -> dict[str, Any]:
    """Contacts (s), strides with their gait, belt speed (m/s)."""
    contacts = [
        {"paw": name, "touchdown_s": float(down), "liftoff_s": float(up)}
        for p, name in enumerate(PAWS)
        for down, up in zip(m.touchdown_s[p], m.liftoff_s[p], strict=True)
        if up > 0 and down < shot.seconds
    ]
    strides = [
        {"start_s": float(a), "end_s": float(b), "gait": m.patterns[i].gait}
        for i, (a, b) in enumerate(zip(m.stride_s[:-1], m.stride_s[1:], strict=True))
    ]
    return {"facing": shot.facing, "belt_m_s": m.speed * WITHERS_M, "contacts": contacts, "strides": strides}


if __name__ == "__main__":
    for each in SHOTS:
        make_clip(each, Path(sys.argv[1]))
