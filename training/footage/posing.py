"""Posing: a movement at one instant becomes bone matrices and the landmarks of the posed dog."""

import math
from dataclasses import dataclass

import numpy as np

from pose.tracks import FloatArray
from training.footage.movement import Movement
from training.footage.skeleton import BONES, HEAD, LEGS, LOIN, NECK, PELVIS, TAIL, THORAX, Skeleton
from training.footage.skin import Skin

_REACH = 0.985  # share of a straight limb that is used at most
_COAT_OUTLINE = 0.7  # share of the hair's length at which the outline of a coat is seen
_HANGS = np.array([0.3, 1.0, 0.0])  # the way in which hair hangs, as the shader has it
_LAST = (0.0, 0.0, 0.0, 1.0)
_TRAIL = 0.95  # radians by which a folded fore foot trails behind its carpus at most
_BEND = (-1.0, -1.0, 1.0, 1.0)  # elbows bend backward, stifles forward


@dataclass(frozen=True, slots=True)
class Carriage:
    """How a dog carries itself. Angles in radians, lengths in withers heights.

    hang  how far a folded hind foot trails behind its hock, radians at most; below 0 it swings before it
    """

    crouch: float = 0.03
    pitch: float = 0.0
    neck_pitch: float = 0.0
    neck_yaw: float = 0.0
    head_pitch: float = 0.0
    head_yaw: float = 0.0
    tail_pitch: float = 0.0
    tail_yaw: float = 0.0
    arch: float = 0.0
    fold: float = 1.0
    hang: float = _TRAIL
    toe_in: float = 0.15


@dataclass(frozen=True, slots=True)
class Pose:
    """bones (27, 4, 4) from rest to posed; marks (6, 3) landmarks, withers heights."""

    bones: FloatArray
    marks: FloatArray


def _turn(pivot: FloatArray, pitch: float, yaw: float = 0.0, roll: float = 0.0) -> FloatArray:
    """(4, 4) rotation about ``pivot``: pitch about Z, then yaw about Y, then roll about X."""
    (cz, sz), (cy, sy), (cx, sx) = ((math.cos(angle), math.sin(angle)) for angle in (pitch, yaw, roll))
    rot = (
        (cy * cz, sy * sx - cy * sz * cx, sy * cx + cy * sz * sx),
        (sz, cz * cx, -cz * sx),
        (-sy * cz, cy * sx + sy * sz * cx, cy * cx - sy * sz * sx),
    )
    x, y, z = pivot.tolist()
    return np.array([*((*r, at - r[0] * x - r[1] * y - r[2] * z) for r, at in zip(rot, (x, y, z), strict=True)), _LAST])


def _apply(m: FloatArray, p: FloatArray) -> FloatArray:
    return np.asarray(m[:3, :3] @ p + m[:3, 3])


def _align(a: FloatArray, b: FloatArray, a2: FloatArray, b2: FloatArray) -> FloatArray:
    """(4, 4) that moves segment a->b onto a2->b2 by the smallest turn, keeping a on a2."""
    (ax, ay, az), u, (x, y, z), v = a.tolist(), (b - a).tolist(), a2.tolist(), (b2 - a2).tolist()
    (ux, uy, uz), (vx, vy, vz) = (e / math.hypot(*u) for e in u), (e / max(math.hypot(*v), 1e-9) for e in v)
    p, q, r = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx  # u x v: the axis times the sine
    d = max(1 + ux * vx + uy * vy + uz * vz, 1e-3)
    c = 1 - (p * p + q * q + r * r) / d
    rot = (
        (c + p * p / d, p * q / d - r, p * r / d + q),
        (p * q / d + r, c + q * q / d, q * r / d - p),
        (p * r / d - q, q * r / d + p, c + r * r / d),
    )
    moved = ((*w, to - w[0] * ax - w[1] * ay - w[2] * az) for w, to in zip(rot, (x, y, z), strict=True))
    return np.array([*moved, _LAST])


def _trunk(bones: FloatArray, s: Skeleton, m: Movement, c: Carriage, t: float) -> None:
    k = m.stride_at(t)
    p = m.patterns[k]
    share = (t - m.stride_s[k]) / p.stride_s
    beats = 1 if p.gait in ("canter", "gallop") else 2
    wave = 2 * np.pi * beats * share
    rise = -c.crouch - p.bounce * np.cos(wave + 0.6)
    pitch = c.pitch + 0.012 * np.sin(wave + 1.0) + (p.bounce * 2.2 * np.sin(wave) if beats == 1 else 0.0)
    flex = c.arch + (0.10 * np.sin(wave + 0.8) if beats == 1 else 0.008 * np.sin(wave))
    bend = 0.03 * np.sin(2 * np.pi * share)
    shift = np.eye(4)
    shift[:3, 3] = (m.trunk_x(t), rise, 0.0)
    bones[LOIN] = shift @ _turn(np.array([0.0, 0.8, 0.0]), pitch)
    middle = np.array([0.0, 0.9, 0.0])
    bones[THORAX] = bones[LOIN] @ _turn(middle, -flex, bend, 0.02 * np.sin(2 * np.pi * share))
    bones[PELVIS] = bones[LOIN] @ _turn(middle, flex, -bend, -0.04 * np.sin(2 * np.pi * share))
    nod = 0.04 * np.sin(wave + 0.4)
    bones[NECK] = bones[THORAX] @ _turn(s.neck[0], c.neck_pitch + nod, c.neck_yaw)
    bones[HEAD] = bones[NECK] @ _turn(s.neck[1], c.head_pitch - 0.6 * nod, c.head_yaw)
    base = bones[PELVIS]
    for i, bone in enumerate(TAIL):
        sway = c.tail_yaw * np.sin(2 * np.pi * share * 0.5 + 0.5 * i)
        base = base @ _turn(s.tail[i], -c.tail_pitch * (0.6 if i else 1.0) + 0.05 * np.sin(wave), sway)
        bones[bone] = base


def _bend(a: FloatArray, end: FloatArray, upper: float, lower: float, side: float) -> tuple[FloatArray, FloatArray]:
    """Middle joint and reachable end of two segments from ``a`` to ``end`` in the plane X-Y (Z runs straight)."""
    span = end - a
    far = float(np.hypot(span[0], span[1]))
    most, least = _REACH * (upper + lower), abs(upper - lower) * 1.05 + 1e-3
    hold = float(np.clip(far, least, most))
    end = a + span * np.array([hold / far, hold / far, 1.0])
    along = (upper**2 - lower**2 + hold**2) / (2 * hold)
    out = np.sqrt(max(upper**2 - along**2, 0.0))
    way = span[:2] / far
    middle = a[:2] + along * way + side * out * np.array([-way[1], way[0]])
    return np.array([*middle, (a[2] + end[2]) / 2]), end


def _limb(bones: FloatArray, s: Skeleton, p: int, state: tuple[float, float, float, bool], c: Carriage) -> FloatArray:
    """Pose one limb; returns the paw landmark as posed."""
    rest = s.legs[p]
    numbers: tuple[int, ...] = LEGS[p]
    x, high, share, down = state
    paw = np.array([x, s.foot[p, 1] + high, s.foot[p, 2] * (1 - c.toe_in)])
    root = THORAX if p < 2 else PELVIS
    top = _apply(bones[root], rest[1 if p < 2 else 0])
    lean = float(np.arctan2(top[0] - paw[0], top[1] - paw[1]))
    chain = list(rest)
    if p < 2:
        bones[numbers[0]] = bones[root] @ _turn(rest[0], -0.40 * (lean - 0.1))
        top = _apply(bones[numbers[0]], rest[1])
        chain, numbers = chain[1:], numbers[1:]
    tip, slope = _foot_angles(share, down, lean, c.fold, _TRAIL if p < 2 else c.hang)
    fetlock = paw - _rotate(s.foot[p] - rest[-1], tip)
    return _hang(bones, chain, numbers, (top, fetlock, slope), (tip, _BEND[p], s.foot[p]))


def _foot_angles(share: float, down: bool, lean: float, fold: float, trail: float) -> tuple[float, float]:
    """Pitch of the foot and forward lean of the pastern, radians, in stance or swing."""
    if down:
        return -0.55 * max(0.0, (share - 0.72) / 0.28) ** 2, 0.75 * lean
    curl = fold * float(np.sin(np.pi * share**0.75))
    return -0.55 * (1 - share) ** 3 - 0.85 * curl, 0.75 * lean + trail * curl * (1.0 - 0.35 * share)


def _rotate(v: FloatArray, angle: float) -> FloatArray:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([c * v[0] - s * v[1], s * v[0] + c * v[1], v[2]])


def _hang(
    bones: FloatArray,
    chain: list[FloatArray],
    numbers: tuple[int, ...],
    aim: tuple[FloatArray, FloatArray, float],
    foot: tuple[float, float, FloatArray],
) -> FloatArray:
    top, fetlock, slope = aim
    tip, side, foot_rest = foot
    upper, lower, pastern = (float(np.linalg.norm(chain[i + 1] - chain[i])) for i in range(3))
    knee = fetlock + pastern * np.array([np.sin(slope), np.cos(slope), 0.0])
    if np.hypot(*(knee - top)[:2]) > _REACH * (upper + lower):  # straighten the pastern towards the trunk first
        way = (top - fetlock) / np.linalg.norm(top - fetlock)
        knee = fetlock + pastern * way
    middle, held = _bend(top, knee, upper, lower, side)
    fetlock = fetlock + (held - knee)
    joints = [top, middle, held, fetlock]
    for i in range(3):
        bones[numbers[i]] = _align(chain[i], chain[i + 1], joints[i], joints[i + 1])
    last = _turn(chain[3], tip)
    last[:3, 3] += fetlock - chain[3]
    bones[numbers[3]] = last
    return _apply(last, foot_rest)


def pose_at(s: Skeleton, skin: Skin, m: Movement, c: Carriage, t: float) -> Pose:
    """The dog of ``s`` in movement ``m`` at t (s)."""
    bones = np.tile(np.eye(4), (BONES, 1, 1))
    _trunk(bones, s, m, c, t)
    marks = np.empty((6, 3))
    for p in range(4):
        marks[p] = _limb(bones, s, p, m.paw(p, t), c)
    for row, vertex in ((4, skin.withers), (5, skin.croup)):
        blend = np.tensordot(skin.weight[vertex], bones[skin.bone[vertex]], axes=1)
        out = _COAT_OUTLINE * s.build.hair * skin.hair[vertex]
        hang = _COAT_OUTLINE * s.build.droop * out * _HANGS
        marks[row] = _apply(blend, skin.xyz[vertex]) + out * blend[:3, :3] @ skin.normal[vertex] - hang
    return Pose(bones, marks)
