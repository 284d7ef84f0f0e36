"""Skeleton: joints and bones of a standing dog, built from its Build. Unit: withers height."""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator

from pose.tracks import FloatArray
from training.footage.build import Build

#: Bones by number. Legs come in the order near fore, far fore, near hind, far hind.
PELVIS, LOIN, THORAX, NECK, HEAD = range(5)
TAIL = (5, 6, 7, 8)
LEGS = ((9, 10, 11, 12, 13), (14, 15, 16, 17, 18), (19, 20, 21, 22), (23, 24, 25, 26))
BONES = 27
_PAD = 0.45  # height of the paw landmark above the ground, share of the size of the paw: the height of the pads
SIDES = (1.0, -1.0, 1.0, -1.0)


@dataclass(frozen=True, slots=True)
class Skeleton:
    """Rest joints. ``legs[p]`` (J, 3): scapula top or hip first, then down to the fetlock; foot = paw landmark.

    trunk      (N, 4) rows x, top, bottom, half-width: the outline of the trunk from rump to chest
    neck       (3, 3) base, poll, muzzle end; tail (5, 3)
    foot       (4, 3) paw landmarks at rest: middle of the foot at the height of the pads
    withers_x, croup_x   where on the back the two topline landmarks lie; the croup half way from the hip-bone crest
               to where the outline of the back meets that of the tail: the front of a tail that is carried high
    """

    build: Build
    trunk: FloatArray
    neck: FloatArray
    tail: FloatArray
    legs: tuple[FloatArray, ...]
    foot: FloatArray
    withers_x: float
    croup_x: float

    def outline(self, x: FloatArray) -> FloatArray:
        """(..., 3) top, bottom and half-width of the trunk at ``x`` (...)."""
        knots = self.trunk
        found = np.asarray(PchipInterpolator(knots[:, 0], knots[:, 1:])(np.clip(x, knots[0, 0], knots[-1, 0])))
        found[..., 0] += _waves(self.build, np.asarray(x))
        return found


def _waves(b: Build, x: FloatArray) -> FloatArray:
    """(...) how much higher the back is at ``x`` (...) than its knots say: nothing at rump and chest."""
    share = np.clip(x / b.length + 0.5, 0.0, 1.0)
    room = np.clip(np.minimum(share, 1.0 - share) / 0.12, 0.0, 1.0)
    return np.asarray(
        room * sum(high * np.cos(2 * np.pi * n * (share - first / n)) for n, (high, first) in enumerate(b.back, 1))
    )


def _trunk(b: Build, withers_x: float, crest_x: float, hip_x: float) -> FloatArray:
    half, floor = b.length / 2, b.elbow + b.chest_drop
    loin = 0.45 * withers_x + 0.55 * crest_x
    mid = 0.75 * withers_x + 0.25 * crest_x
    pelvis = b.width * 0.82
    return np.array(
        [
            (-half - 0.02, b.croup - b.rump_fall - 0.10, b.croup - b.rump_fall - 0.14, 0.015),
            (-half + 0.03, b.croup - b.rump_fall * 0.85, b.croup - 0.40, pelvis * 0.7),
            (hip_x, b.croup - b.rump_fall * 0.30, b.croup - 0.45, pelvis),
            (crest_x, b.croup, floor + b.tuck + 0.02, pelvis),
            (loin, (b.croup + 1) / 2 + b.dip * 0.6, floor + b.tuck, b.width * 0.78),
            (mid, 0.985 + b.dip, floor + b.tuck * 0.35, b.width),
            (withers_x, 1.0, floor, b.width),
            (withers_x + 0.77 * (half + 0.01 - withers_x), 0.92, floor + 0.0, b.width * 0.95),
            (half + 0.01, 0.78, floor + 0.13, b.width * 0.62),
            (half + 0.06, 0.70, 0.66, 0.015),
        ]
    )


def _fore(b: Build, x: float, z: float) -> FloatArray:
    e = b.elbow
    top = (x - 0.015, 0.94, z * 0.55)
    return np.array(
        [
            top,
            (x + 0.115, e + 0.17 + 0.1 * (1 - e - 0.5), z * 0.9),
            (x - 0.02, e, z),
            (x + 0.005, 0.36 * b.carpus * e, z),
            (x + 0.022, 0.040 + b.paw * 0.35, z),
        ]
    )


def _hind(b: Build, x: float, z: float) -> FloatArray:
    k, hip_y = b.angulation, b.croup - 0.20
    stifle = (x + 0.12 * k, (0.47 * hip_y / 0.78 + 0.02) * b.stifle, z)
    hock_y = min(0.27, 0.30 * hip_y) * b.hock
    return np.array([(x, hip_y, z * 0.85), stifle, (x - 0.10 * k, hock_y, z), (x - 0.085 * k, 0.040 + b.paw * 0.35, z)])


def _neck(b: Build, withers_x: float) -> FloatArray:
    base = np.array([withers_x + b.neck_ahead, b.neck_base, 0.0])
    poll = base + b.neck * np.array([np.cos(b.neck_rise), np.sin(b.neck_rise), 0.0])
    return np.array([base, poll, poll + (b.skull * 0.9 + b.muzzle) * np.array([0.97, -0.26, 0.0])])


#: How each tail leaves the back, rad above level to the rear, and how it bends from joint to joint.
_TAILS = {"down": (-1.3, -0.1), "sabre": (-0.7, 0.35), "up": (1.0, 0.15), "curled": (1.1, 0.75), "docked": (0.3, 0.1)}


def _tail(b: Build, root: FloatArray) -> FloatArray:
    angle, bend = _TAILS[b.tail_shape]
    joints = [root]
    for _ in range(4):
        joints.append(joints[-1] + b.tail / 4 * np.array([-np.cos(angle), np.sin(angle), 0.0]))
        angle += bend
    return np.array(joints)


def build_skeleton(b: Build) -> Skeleton:
    """The standing dog of that build."""
    half = b.length / 2
    elbow_x = half - b.forechest
    withers_x, hip_x = elbow_x - 0.035, -half + b.hip_back
    crest_x, tail_x = hip_x + 0.12 * b.pelvis, -half + b.tail_set
    tail_edge_x = tail_x + b.tail_girths[0] * float(np.sin(_TAILS[b.tail_shape][0]))
    croup_x = (crest_x + tail_edge_x) / 2
    z = b.width * 0.72 * b.stance_width
    legs = (_fore(b, elbow_x, z), _fore(b, elbow_x, -z), _hind(b, hip_x, z), _hind(b, hip_x, -z))
    foot = np.array([leg[-1] + (b.paw * 0.55, -leg[-1, 1] + b.paw * _PAD, 0.0) for leg in legs])
    trunk = _trunk(b, withers_x, crest_x, hip_x)
    root = np.array([tail_x, b.croup - b.rump_fall * 0.9, 0.0])
    return Skeleton(b, trunk, _neck(b, withers_x), _tail(b, root), legs, foot, withers_x, croup_x)
