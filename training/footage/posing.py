"""Posing: a movement becomes bone matrices and the landmarks of the posed dog, at one instant or at many at once."""

from dataclasses import dataclass

import numpy as np

from pose.tracks import BoolArray, FloatArray
from training.footage.movement import Movement
from training.footage.skeleton import BONES, HEAD, LEGS, LOIN, NECK, PELVIS, TAIL, THORAX, Skeleton
from training.footage.skin import Skin

_REACH = 0.985  # share of a straight limb that is used at most
_COAT_OUTLINE = 0.7  # share of the hair's length at which the outline of a coat is seen
_HANGS = np.array([0.3, 1.0, 0.0])  # the way in which hair hangs, as the shader has it
_TRAIL = 0.95  # radians by which a folded fore foot trails behind its carpus at most
_BEND = np.array([-1.0, -1.0, 1.0, 1.0])  # elbows bend backward, stifles forward
_ROOTS = np.array([THORAX, THORAX, PELVIS, PELVIS])  # what each leg hangs from
_BLADES = np.array([LEGS[0][0], LEGS[1][0]])
_CHAINS = np.array([leg[-4:] for leg in LEGS])  # bones below the shoulder blade, or the hip


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
    """bones (..., 27, 4, 4) from rest to posed; marks (..., 6, 3) landmarks, withers heights."""

    bones: FloatArray
    marks: FloatArray


Rows = tuple[tuple[FloatArray, FloatArray, FloatArray], ...]


def _about(rows: Rows, pivot: FloatArray, to: FloatArray) -> FloatArray:
    """(..., 4, 4) that turn by ``rows``, 3 x 3 of (...), and bring ``pivot`` (..., 3) to ``to`` (..., 3)."""
    turn = np.array(rows)
    moved = np.zeros((*turn.shape[2:], 4, 4))
    for i in range(3):
        for j in range(3):
            moved[..., i, j] = turn[i, j]
    moved[..., :3, 3] = to - (moved[..., :3, :3] @ pivot[..., None])[..., 0]
    moved[..., 3, 3] = 1.0
    return moved


def _turn(
    pivot: FloatArray, pitch: FloatArray, yaw: FloatArray | float = 0.0, roll: FloatArray | float = 0.0
) -> FloatArray:
    """(..., 4, 4) rotations about ``pivot`` (..., 3): pitch (...) about Z, then yaw about Y, then roll about X."""
    (cz, sz), (cy, sy), (cx, sx) = ((np.cos(angle), np.sin(angle)) for angle in (pitch, yaw, roll))
    rows = (
        (cy * cz, sy * sx - cy * sz * cx, sy * cx + cy * sz * sx),
        (sz, cz * cx, -cz * sx),
        (-sy * cz, cy * sx + sy * sz * cx, cy * cx - sy * sz * sx),
    )
    return _about(rows, pivot, pivot)


def _apply(m: FloatArray, p: FloatArray) -> FloatArray:
    """(..., 3), where ``m`` (..., 4, 4) bring ``p`` (..., 3)."""
    return np.asarray((m[..., :3, :3] @ p[..., None])[..., 0] + m[..., :3, 3])


def _norm(v: FloatArray) -> FloatArray:
    """(..., 1) lengths."""
    return np.asarray(np.sqrt(np.sum(v * v, axis=-1, keepdims=True)))


def _align(a: FloatArray, b: FloatArray, a2: FloatArray, b2: FloatArray) -> FloatArray:
    """(..., 4, 4) that move segment a->b onto a2->b2, (..., 3) each, by the smallest turn, keeping a on a2."""
    u, v = (b - a) / _norm(b - a), (b2 - a2) / np.maximum(_norm(b2 - a2), 1e-9)
    (ux, uy, uz), (vx, vy, vz) = (tuple(w[..., i] for i in range(3)) for w in (u, v))
    p, q, r = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx  # u x v: the axis times the sine
    d = np.maximum(1 + ux * vx + uy * vy + uz * vz, 1e-3)
    c = 1 - (p * p + q * q + r * r) / d
    rows = (
        (c + p * p / d, p * q / d - r, p * r / d + q),
        (p * q / d + r, c + q * q / d, q * r / d - p),
        (p * r / d - q, q * r / d + p, c + r * r / d),
    )
    return _about(rows, a, a2)


def _trunk(bones: FloatArray, s: Skeleton, m: Movement, c: Carriage, t_s: FloatArray) -> None:
    k = m.strides_at(t_s)
    share, bounce = (t_s - m.stride_s[k]) / m.per_stride("stride_s")[k], m.per_stride("bounce")[k]
    leaps = np.array([pattern.gait in ("canter", "gallop") for pattern in m.patterns])[k]  # one beat per stride
    wave = 2 * np.pi * np.where(leaps, 1, 2) * share
    pitch = c.pitch + 0.012 * np.sin(wave + 1.0) + np.where(leaps, bounce * 2.2 * np.sin(wave), 0.0)
    flex = c.arch + np.where(leaps, 0.10 * np.sin(wave + 0.8), 0.008 * np.sin(wave))
    bend, roll = 0.03 * np.sin(2 * np.pi * share), np.sin(2 * np.pi * share)
    bones[:, LOIN] = _turn(np.array([0.0, 0.8, 0.0]), pitch)
    bones[:, LOIN, 0, 3] += m.trunk_x(t_s)
    bones[:, LOIN, 1, 3] += -c.crouch - bounce * np.cos(wave + 0.6)
    middle = np.array([0.0, 0.9, 0.0])
    bones[:, THORAX] = bones[:, LOIN] @ _turn(middle, -flex, bend, 0.02 * roll)
    bones[:, PELVIS] = bones[:, LOIN] @ _turn(middle, flex, -bend, -0.04 * roll)
    nod = 0.04 * np.sin(wave + 0.4)
    bones[:, NECK] = bones[:, THORAX] @ _turn(s.neck[0], c.neck_pitch + nod, c.neck_yaw)
    bones[:, HEAD] = bones[:, NECK] @ _turn(s.neck[1], c.head_pitch - 0.6 * nod, c.head_yaw)
    base = bones[:, PELVIS]
    for i, bone in enumerate(TAIL):
        sway = c.tail_yaw * np.sin(2 * np.pi * share * 0.5 + 0.5 * i)
        base = base @ _turn(s.tail[i], -c.tail_pitch * (0.6 if i else 1.0) + 0.05 * np.sin(wave), sway)
        bones[:, bone] = base


def _bend(a: FloatArray, end: FloatArray, upper: FloatArray, lower: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Middle joints and reachable ends of two segments from ``a`` to ``end`` in the plane X-Y (Z runs straight); (T, 4,
    3) each."""
    span = end - a
    far = np.hypot(span[..., 0], span[..., 1])
    most, least = _REACH * (upper + lower), abs(upper - lower) * 1.05 + 1e-3
    hold = np.clip(far, least, most)
    end = a + span * np.stack([hold / far, hold / far, np.ones_like(far)], axis=-1)
    along = (upper**2 - lower**2 + hold**2) / (2 * hold)
    out = _BEND * np.sqrt(np.maximum(upper**2 - along**2, 0.0))
    x, y = span[..., 0] / far, span[..., 1] / far
    places = (a[..., 0] + along * x - out * y, a[..., 1] + along * y + out * x, (a[..., 2] + end[..., 2]) / 2)
    return np.stack(places, axis=-1), end


def _limbs(bones: FloatArray, s: Skeleton, m: Movement, c: Carriage, t_s: FloatArray) -> FloatArray:
    """Pose the four limbs; returns (T, 4, 3) the paw landmarks as posed."""
    states = [m.paw_over(p, t_s) for p in range(4)]
    x, high, share = np.array([state[:3] for state in states]).transpose(1, 2, 0)
    down = np.stack([state[3] for state in states], axis=1)
    paw = np.stack([x, s.foot[:, 1] + high, np.broadcast_to(s.foot[:, 2] * (1 - c.toe_in), x.shape)], axis=-1)
    chain = np.array([leg[-4:] for leg in s.legs])
    top = _apply(bones[:, _ROOTS], chain[:, 0])
    lean = np.arctan2(top[..., 0] - paw[..., 0], top[..., 1] - paw[..., 1])
    blades = np.array([leg[0] for leg in s.legs[:2]])
    bones[:, _BLADES] = bones[:, THORAX, None] @ _turn(blades, -0.40 * (lean[:, :2] - 0.1))
    top[:, :2] = _apply(bones[:, _BLADES], chain[:2, 0])
    tip, slope = _foot_angles(share, down, lean, c)
    fetlock = paw - _rotate(s.foot - chain[:, 3], tip)
    return _hang(bones, chain, (top, fetlock, slope), (tip, s.foot))


def _foot_angles(share: FloatArray, down: BoolArray, lean: FloatArray, c: Carriage) -> tuple[FloatArray, FloatArray]:
    """(T, 4) pitch of the foot and forward lean of the pastern, radians, in stance or swing."""
    swung, trail = np.where(down, 0.0, share), np.array([_TRAIL, _TRAIL, c.hang, c.hang])
    curl = c.fold * np.sin(np.pi * swung**0.75)
    rolled = -0.55 * np.maximum(0.0, (share - 0.72) / 0.28) ** 2
    tip = np.where(down, rolled, -0.55 * (1 - swung) ** 3 - 0.85 * curl)
    return tip, 0.75 * lean + trail * curl * (1.0 - 0.35 * swung)


def _rotate(v: FloatArray, angle: FloatArray) -> FloatArray:
    """(T, 4, 3), ``v`` (4, 3) turned by ``angle`` (T, 4) about Z."""
    (x, y, z), c, s = v.T, np.cos(angle), np.sin(angle)
    return np.stack([c * x - s * y, s * x + c * y, np.broadcast_to(z, c.shape)], axis=-1)


def _hang(
    bones: FloatArray,
    chain: FloatArray,
    aim: tuple[FloatArray, FloatArray, FloatArray],
    foot: tuple[FloatArray, FloatArray],
) -> FloatArray:
    (top, fetlock, slope), (tip, foot_rest) = aim, foot
    upper, lower, pastern = _norm(np.diff(chain, axis=1))[..., 0].T
    straight = np.stack([np.sin(slope), np.cos(slope), np.zeros_like(slope)], axis=-1)
    knee, span = fetlock + pastern[:, None] * straight, top - fetlock
    far = np.hypot(knee[..., 0] - top[..., 0], knee[..., 1] - top[..., 1]) > _REACH * (upper + lower)
    # straighten the pastern towards the trunk first
    knee = np.where(far[..., None], fetlock + pastern[:, None] * (span / _norm(span)), knee)
    middle, held = _bend(top, knee, upper, lower)
    fetlock = fetlock + (held - knee)
    starts, ends = np.stack([top, middle, held], axis=2), np.stack([middle, held, fetlock], axis=2)
    bones[:, _CHAINS[:, :3]] = _align(chain[:, :3], chain[:, 1:], starts, ends)
    last = _turn(chain[:, 3], tip)
    last[..., :3, 3] += fetlock - chain[:, 3]
    bones[:, _CHAINS[:, 3]] = last
    return _apply(last, foot_rest)


def poses_over(s: Skeleton, skin: Skin, m: Movement, c: Carriage, t_s: FloatArray) -> Pose:
    """The dog of ``s`` in movement ``m`` at every one of t_s (T,), s: bones (T, 27, 4, 4), marks (T, 6, 3)."""
    bones, marks = np.empty((len(t_s), BONES, 4, 4)), np.empty((len(t_s), 6, 3))
    _trunk(bones, s, m, c, t_s)
    marks[:, :4] = _limbs(bones, s, m, c, t_s)
    for row, vertex in ((4, skin.withers), (5, skin.croup)):
        blend = np.einsum("k,tkij->tij", skin.weight[vertex], bones[:, skin.bone[vertex]])
        out = _COAT_OUTLINE * s.build.hair * skin.hair[vertex]
        hang = _COAT_OUTLINE * s.build.droop * out * _HANGS
        marks[:, row] = _apply(blend, skin.xyz[vertex]) + out * (blend[:, :3, :3] @ skin.normal[vertex]) - hang
    return Pose(bones, marks)


def pose_at(s: Skeleton, skin: Skin, m: Movement, c: Carriage, t: float) -> Pose:
    """The dog of ``s`` in movement ``m`` at t (s): bones (27, 4, 4), marks (6, 3)."""
    poses = poses_over(s, skin, m, c, np.array([t]))
    return Pose(poses.bones[0], poses.marks[0])
