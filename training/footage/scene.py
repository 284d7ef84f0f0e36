"""Scene: one dog, one movement, one room, one camera: everything random about a picture, by seed."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pose.tracks import BoolArray, FloatArray
from training.footage.build import draw_build, vary_build
from training.footage.camera import Camera, View, draw_view, set_camera
from training.footage.look import Look, draw_look
from training.footage.movement import GAITS, Movement, Pattern, draw_pattern, move
from training.footage.posing import Carriage, Pose, pose_at, poses_over
from training.footage.room import Room, draw_room, grow
from training.footage.skeleton import Skeleton, build_skeleton
from training.footage.skin import Skin, build_skin
from training.footage.studio import Actor, Figure, Studio

_GAIT_SHARE = (0.36, 0.12, 0.10, 0.28, 0.06, 0.08)
#: Share of pictures in which the dog stands about; SD of how far a paw is set from under its limb while the dog moves
#: and while it stands, withers heights.
_STANDING = 0.25
_ASTRIDE = (0.03, 0.11)
#: Mean and SD of how far both hind paws of a standing dog are set forward of under it: mostly back, as it is posed.
_SET_BACK = (-0.06, 0.09)
#: Share of pictures in which the paws of a dog that moves go anyhow.
_ANYHOW = 0.15
#: Share of pictures in a meadow, of dogs with a dark coat (black, dark brown: hardest to tell from it) and of others,
#: and the mean linear reflectance below which a coat is dark.
_IN_MEADOW = {True: 0.25, False: 0.10}
_DARK_COAT = 0.05
#: Share of pictures in a meadow that are taken from near the ground, and from how high, m; own estimates.
_CROUCHED, _CROUCHED_M = 0.5, (0.05, 0.7)
#: Share of heads that are carried high, and how steeply a neck may stand, rad above level.
_HEAD_HIGH = 0.25
_STEEPEST_NECK = 1.45
#: A landmark counts as hidden when more than this share of its surroundings is covered.
HIDDEN_SHARE = 0.6


@dataclass(frozen=True, slots=True)
class Dog:
    """One identity: skeleton, surface on the card, look, and surface points (N, 4 and 4 weights) for its outline."""

    number: int
    skeleton: Skeleton
    skin: Skin
    figure: Figure
    look: Look
    outline: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Shot:
    """One drawn picture with its truth: xy (6, 2) px, hidden (6,), box (4,) px x0 y0 x1 y1 of the dog's outline."""

    rgb: NDArray[np.uint8]
    xy: FloatArray
    hidden: BoolArray
    box: FloatArray


def make_dog(studio: Studio, number: int, kind: str | None = None) -> Dog:
    """Dog ``number``: the same number is always the same dog."""
    rng = np.random.default_rng((7001, number))
    skeleton = build_skeleton(vary_build(np.random.default_rng((7002, number)), draw_build(rng, kind)))
    skin = build_skin(skeleton)
    outline = rng.choice(len(skin.xyz), 500, replace=False)
    return Dog(number, skeleton, skin, studio.load(skeleton, skin), draw_look(rng, skeleton), outline)


def draw_carriage(rng: np.random.Generator, dog: Dog) -> Carriage:
    """A random way for that dog to carry itself; every fourth head is low, every fifth high."""
    low, high = rng.random() < 0.28, rng.random() < _HEAD_HIGH
    neck = rng.uniform(-1.45, -0.6) if low else rng.uniform(0.0 if high else -0.6, 0.35)
    return Carriage(
        crouch=float(rng.uniform(0.0, 0.06)),
        pitch=float(rng.normal(0, 0.04)),
        neck_pitch=float(min(neck, _STEEPEST_NECK - dog.skeleton.build.neck_rise)),
        neck_yaw=float(rng.normal(0, 0.22)),
        head_pitch=float(rng.uniform(-0.5, 0.45) + (0.3 if low else 0.0)),
        head_yaw=float(rng.normal(0, 0.35)),
        tail_pitch=float(rng.uniform(-0.7, 0.9)),
        tail_yaw=float(rng.normal(0, 0.35)),
        arch=float(rng.normal(0, 0.03)),
        fold=float(rng.uniform(0.6, 1.25)),
        hang=float(rng.uniform(-0.3, 1.1)),
        toe_in=float(rng.uniform(-0.1, 0.55)),
    )


def draw_movement(rng: np.random.Generator, dog: Dog) -> Movement:
    """A random steady movement, paws going anyhow, or standing about with each paw where it happens to be."""
    gait = str(rng.choice(GAITS, p=_GAIT_SHARE))
    pattern = draw_pattern(rng, gait, dog.skeleton.build.withers_m)
    if rng.random() < _ANYHOW:
        pattern = _anyhow(rng, pattern)
    standing = rng.random() < _STANDING
    if standing:  # slow, short, heavy on the ground
        pattern = replace(
            draw_pattern(rng, "walk", dog.skeleton.build.withers_m),
            travel=float(rng.uniform(0.02, 0.3)),
            duty_hind=0.85,
            duty_fore=0.85,
            limb_phase=float(rng.random()),
            lift=0.04,
        )
    astride = _ASTRIDE[standing] * rng.standard_normal(4)
    if standing:
        astride[2:] += rng.normal(*_SET_BACK)
    return move(rng, [(pattern, 3)], rest_x=dog.skeleton.foot[:, 0] + astride, spread=0.02)


def _anyhow(rng: np.random.Generator, pattern: Pattern) -> Pattern:
    """Paws in an order that no gait has, lifted high or reaching far: dogs that turn, play or are held back."""
    duty_hind, duty_fore = rng.uniform(0.25, 0.65, 2)
    phase, hind, fore = rng.random(3)
    travel, lift = rng.uniform(0.2, 1.1), rng.uniform(0.08, 0.28)
    return replace(
        pattern, duty_hind=float(duty_hind), duty_fore=float(duty_fore), limb_phase=float(phase),
        hind_lag=float(hind), fore_lag=float(fore), travel=float(travel), lift=float(lift),
    )  # fmt: skip


def instants(
    dog: Dog, movement: Movement, carriage: Carriage, t: float, shutter_s: float, count: int
) -> tuple[list[Pose], Pose]:
    """Poses spread over the exposure, and the pose in its middle."""
    times = t + shutter_s * np.linspace(-0.5, 0.5, count) if count > 1 else np.empty(0)
    poses = poses_over(dog.skeleton, dog.skin, movement, carriage, np.append(times, t))
    each = [Pose(*one) for one in zip(poses.bones, poses.marks, strict=True)]
    return each[:-1] or each, each[-1]


def outline_box(dog: Dog, pose: Pose, size_m: float, camera: Camera) -> FloatArray:
    """(4,) px x0, y0, x1, y1 of the posed surface."""
    rows = dog.outline
    blend = np.einsum("vk,vkij->vij", dog.skin.weight[rows], pose.bones[dog.skin.bone[rows]])
    xyz = np.einsum("vij,vj->vi", blend[:, :3, :3], dog.skin.xyz[rows]) + blend[:, :3, 3]
    px = camera.project(xyz * size_m)
    return np.concatenate([px.min(axis=0), px.max(axis=0)])


def span_of(skeleton: Skeleton) -> float:
    """How much of a picture's width the dog needs, withers heights."""
    return skeleton.build.length + 0.75 * (skeleton.build.neck + skeleton.build.muzzle) + 0.35


@dataclass(frozen=True, slots=True)
class Place:
    """Where a picture is taken: room, view, and the size of the picture, px."""

    room: Room
    view: View
    size: tuple[int, int]


def draw_place(rng: np.random.Generator, dog: Dog, studio: Studio, wide: bool) -> Place:
    """A random room and tripod for that dog."""
    h = dog.skeleton.build.withers_m
    span = span_of(dog.skeleton) * h
    place = Place(draw_room(rng, h, span, studio.backdrops.layers), draw_view(rng, wide), studio.size)
    if rng.random() < _IN_MEADOW[bool(dog.look.coat[0].mean() < _DARK_COAT)]:
        if rng.random() < _CROUCHED:
            place = replace(place, view=replace(place.view, eye_m=float(rng.uniform(*_CROUCHED_M))))
        eye = camera_for(dog, place).eye
        place = replace(place, room=grow(rng, place.room, h, span, dog.skeleton.build.elbow, eye))
    return place


def camera_for(dog: Dog, place: Place) -> Camera:
    """The camera of that place, looking at the middle of the dog."""
    h = dog.skeleton.build.withers_m
    middle = np.array([0.12 * h, 0.55 * h, 0.0])
    return set_camera(place.view, middle, span_of(dog.skeleton) * h, place.size)


def shoot(rng: np.random.Generator, studio: Studio, dog: Dog, place: Place, extra: Dog | None = None) -> Shot:
    """One random picture of ``dog``; ``extra`` = a second dog in the background."""
    movement, carriage = draw_movement(rng, dog), draw_carriage(rng, dog)
    t = float(rng.uniform(0.05, 2.4) * movement.patterns[1].stride_s)
    blurred = rng.random() < 0.3
    poses, middle = instants(dog, movement, carriage, t, float(rng.uniform(0.004, 0.022)), 5 if blurred else 1)
    h = dog.skeleton.build.withers_m
    actors = [Actor(dog.figure, dog.look, tuple(p.bones for p in poses), h, np.zeros(3))]
    if extra is not None:
        actors.append(_bystander(rng, extra, len(poses)))
    camera = camera_for(dog, place)
    rgb, covered = studio.shoot(actors, place.room, camera, middle.marks * h, scroll_m=float(rng.uniform(0, 9)))
    return Shot(rgb, camera.project(middle.marks * h), covered > HIDDEN_SHARE, outline_box(dog, middle, h, camera))


def _bystander(rng: np.random.Generator, dog: Dog, count: int) -> Actor:
    movement = draw_movement(rng, dog)
    pose = pose_at(dog.skeleton, dog.skin, movement, draw_carriage(rng, dog), float(rng.uniform(0.1, 1.0)))
    place = np.array([rng.uniform(-1.3, 1.3), 0.0, -rng.uniform(0.9, 3.0)])
    return Actor(dog.figure, dog.look, (pose.bones,) * count, dog.skeleton.build.withers_m, place)
