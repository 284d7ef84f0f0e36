"""Skin: one smooth closed surface over the skeleton (a smooth union of rounded shapes), with weights per bone."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from skimage.measure import marching_cubes

from pose.tracks import BoolArray, FloatArray
from training.footage.build import Build
from training.footage.skeleton import BONES, HEAD, LEGS, LOIN, NECK, PELVIS, SIDES, TAIL, THORAX, Skeleton

_VOXEL = 0.0155  # share of withers height: three voxels across the thinnest pastern
_SOFT = 0.022  # how far weights of neighbouring bones mix, share of withers height
_FAR = 1.0


@dataclass(frozen=True, slots=True)
class Blob:
    """A rounded cone from a to b with radii ra, rb; flat > 1 thins it across Z; part = bone number it moves with."""

    a: FloatArray
    b: FloatArray
    ra: float
    rb: float
    bone: int
    soft: float = 0.03
    flat: float = 1.0


@dataclass(frozen=True, slots=True)
class Skin:
    """Surface of a standing dog, unit withers height.

    xyz, normal (V, 3); faces (F, 3) int; bone (V, 4) int; weight (V, 4) rows sum to 1;
    part (V,) 0 trunk, 1 leg, 2 head, 3 tail, 4 neck; hair (V,) factor on the coat's length;
    withers, croup: the vertices of the two topline landmarks (paws are read off the foot bones instead)
    """

    xyz: FloatArray
    normal: FloatArray
    faces: NDArray[np.int32]
    bone: NDArray[np.int64]
    weight: FloatArray
    part: FloatArray
    hair: FloatArray
    withers: int
    croup: int


def _leg_blobs(s: Skeleton, p: int) -> list[Blob]:
    b, joints, bones = s.build, s.legs[p], LEGS[p]
    g, paw, low = b.girth, b.paw, b.girth * b.cannon
    if p < 2:
        radii = [(0.050 * g, 0.085 * g), (0.080 * g, 0.052 * g), (0.048 * low, 0.030 * low), (0.031 * low, 0.028 * low)]
    else:
        radii = [(0.105 * g * b.thigh, 0.075 * g * b.thigh), (0.066 * g, 0.030 * low), (0.029 * low, 0.027 * low)]
    blobs = [
        Blob(joints[i], joints[i + 1], *r, bone=bones[i], soft=0.05 if i < 2 else 0.015) for i, r in enumerate(radii)
    ]
    if p >= 2:
        blobs.append(Blob(joints[2] + (-0.012, 0.02, 0), joints[2], 0.022 * low, 0.024 * low, bones[2], 0.015))
        blobs.append(_ham(s, joints, bones[0]))
    sole: FloatArray = s.foot[p] * (1, 0, 1)
    toe, heel = (sole + np.array([paw * x, 0.008 + paw * y, 0.0]) for x, y in ((0.35, 0.50), (-0.30, 0.62)))
    return [*blobs, Blob(heel, toe, paw * 0.66, paw * 0.58, bones[-1], 0.015)]


def _ham(s: Skeleton, joints: FloatArray, bone: int) -> Blob:
    """The back of the thigh, from the point of the rump down towards the calf."""
    girth = 0.062 * s.build.girth * s.build.thigh
    seat = np.array([s.trunk[1, 0] + girth, joints[0, 1] - 0.02, joints[0, 2]])
    calf = joints[1] + 0.30 * (joints[2] - joints[1])
    return Blob(seat, calf, girth, 0.75 * girth, bone, 0.06)


def _head_blobs(s: Skeleton) -> list[Blob]:
    b, (base, poll, nose) = s.build, s.neck
    skull = poll + np.array([b.skull * 0.35, b.skull * 0.1, 0])
    ahead = (nose - poll) / np.linalg.norm(nose - poll)
    blobs = [
        Blob(
            base - (0.10, 0.03, 0),
            base + 0.35 * (poll - base),
            b.neck_girth * 1.45,
            b.neck_girth * 1.1,
            NECK,
            b.neck_blend,
        ),
        Blob(base + 0.2 * (poll - base), poll, b.neck_girth * 1.12, b.neck_girth * 0.88, NECK, 0.05),
        Blob(skull, skull + ahead * b.skull * 0.3, b.skull, b.skull * 0.92, HEAD, 0.04),
        Blob(
            skull + ahead * b.skull * 0.6 - (0, b.skull * 0.25, 0),
            nose - (0, b.skull * 0.25, 0),
            b.muzzle_girth * 1.25,
            b.muzzle_girth * 0.85,
            HEAD,
            0.03,
        ),
    ]
    return [*blobs, *(_ear(b, skull, side) for side in (1.0, -1.0))]


def _ear(b: Build, skull: FloatArray, side: float) -> Blob:
    root = skull + np.array([-b.skull * 0.25, b.skull * 0.65, side * b.skull * 0.6])
    ways = {"pricked": (-0.25, 1.0, 0.35), "hanging": (-0.15, -1.0, 0.45), "folded": (0.6, 0.25, 0.7)}
    way = np.array(ways[b.ear_shape]) * (1, 1, side)
    return Blob(
        root, root + b.ear * way, b.ear * 0.38, b.ear * (0.12 if b.ear_shape == "pricked" else 0.32), HEAD, 0.012, 1.9
    )


def _blobs(s: Skeleton) -> list[Blob]:
    blobs = _head_blobs(s)
    girth = s.build.tail_girths
    for i, bone in enumerate(TAIL):
        blobs.append(Blob(s.tail[i], s.tail[i + 1], girth[i], girth[i + 1], bone, 0.02))
    for p in range(4):
        blobs += _leg_blobs(s, p)
    return blobs


def _distance(xyz: FloatArray, blob: Blob) -> FloatArray:
    """(...) distance of points (..., 3) from the blob's surface."""
    scale = np.array([1.0, 1.0, blob.flat])
    a, span = blob.a * scale, (blob.b - blob.a) * scale
    rel = xyz * scale - a
    along = np.clip(rel @ span / max(span @ span, 1e-9), 0.0, 1.0)
    away = np.linalg.norm(rel - along[..., None] * span, axis=-1)
    return np.asarray(away - (blob.ra + along * (blob.rb - blob.ra)))


def _trunk_distance(s: Skeleton, xyz: FloatArray) -> FloatArray:
    top, low, wide = np.moveaxis(s.outline(xyz[..., 0]), -1, 0)
    tall = np.maximum((top - low) / 2, 0.008)
    over = np.maximum(xyz[..., 0] - s.trunk[-1, 0], s.trunk[0, 0] - xyz[..., 0])
    rise = (xyz[..., 1] - (top + low) / 2) / tall
    span = np.maximum(wide * (1.0 - 0.12 * rise), 0.008)
    reach = np.sqrt(rise**2 + (xyz[..., 2] / span) ** 2) - 1.0
    return np.asarray(np.maximum(reach * np.minimum(tall, span), over))


def _join(a: FloatArray, b: FloatArray, soft: float) -> FloatArray:
    """Smooth minimum of two distance fields (quadratic; rounds the joint over ``soft``)."""
    return np.minimum(a, b) - np.maximum(soft - np.abs(a - b), 0.0) ** 2 / (4 * soft)


def _axes(s: Skeleton, blobs: list[Blob]) -> list[FloatArray]:
    ends = np.array([p for blob in blobs for p in (blob.a, blob.b)] + [(x, y, w) for x, y, _, w in s.trunk])
    pad = np.array([0.16, 0.10, 0.12])
    low, high = ends.min(axis=0) - pad, ends.max(axis=0) + pad
    high[2] = max(high[2], s.build.width + 0.06)
    low[1], low[2] = -0.03, -high[2]
    return [np.arange(a, b + _VOXEL, _VOXEL) for a, b in zip(low, high, strict=True)]


def _field(s: Skeleton, blobs: list[Blob], axes: list[FloatArray]) -> FloatArray:
    field = np.full([len(a) for a in axes], _FAR)
    keep = [slice(*np.searchsorted(axes[0], (s.trunk[0, 0] - 0.06, s.trunk[-1, 0] + 0.06))), slice(None), slice(None)]
    field[tuple(keep)] = _trunk_distance(s, _grid(axes, keep))
    for blob in blobs:
        reach = max(blob.ra, blob.rb) + blob.soft + 0.03
        low, high = np.minimum(blob.a, blob.b) - reach, np.maximum(blob.a, blob.b) + reach
        part = [slice(*np.searchsorted(a, (x0, x1))) for a, x0, x1 in zip(axes, low, high, strict=True)]
        field[tuple(part)] = _join(field[tuple(part)], _distance(_grid(axes, part), blob), blob.soft)
    return field


def _grid(axes: list[FloatArray], part: list[slice]) -> FloatArray:
    return np.stack(np.meshgrid(*[a[p] for a, p in zip(axes, part, strict=True)], indexing="ij"), axis=-1)


def _trunk_shares(s: Skeleton, xyz: FloatArray) -> FloatArray:
    """(V, 3) how much of a trunk vertex moves with pelvis, loin and thorax."""
    along = np.clip((xyz[:, 0] - s.croup_x) / (s.withers_x - s.croup_x), 0.0, 1.0)
    pelvis, thorax = np.clip(1 - along / 0.55, 0, 1), np.clip((along - 0.45) / 0.55, 0, 1)
    return np.stack([pelvis, 1 - pelvis - thorax, thorax], axis=1)


def _weights(s: Skeleton, blobs: list[Blob], xyz: FloatArray) -> FloatArray:
    weight = np.zeros((len(xyz), BONES))
    for blob in blobs:
        near = np.exp(-np.maximum(_distance(xyz, blob), 0.0) / _SOFT)
        for p, bones in enumerate(LEGS):
            if blob.bone in bones:  # never across the midline between left and right legs
                near = near * np.clip(xyz[:, 2] * SIDES[p] / 0.04, 0.0, 1.0)
        weight[:, blob.bone] = np.maximum(weight[:, blob.bone], near)
    trunk = np.exp(-np.maximum(_trunk_distance(s, xyz), 0.0) / _SOFT) * 1.2 + 1e-6
    weight[:, [PELVIS, LOIN, THORAX]] = trunk[:, None] * _trunk_shares(s, xyz)
    return weight


def _hair(s: Skeleton, xyz: FloatArray, normal: FloatArray, main: NDArray[np.int64]) -> FloatArray:
    """(V,) factor on the coat's length: fringes below the tail, belly and behind the legs; short on feet, and mostly on
    the face; breeches from the loins back and down to the stifles."""
    b = s.build
    under, back = np.clip(-normal[:, 1], 0, 1), np.clip(-normal[:, 0], 0, 1)
    factor = 1.0 + 0.5 * under
    leg = np.isin(main, np.concatenate(LEGS))
    factor[leg] = b.feather * (0.35 + 0.75 * back[leg]) * np.clip(xyz[leg, 1] / 0.25, 0.12 * b.feather**2, 1.0)
    factor[main == HEAD] = b.beard
    factor[main == NECK] = b.mane
    tail = np.isin(main, TAIL)
    factor[tail] = b.feather * (0.7 + 1.2 * under[tail])
    loins, stifle = 0.3 * s.withers_x + 0.7 * s.croup_x, s.legs[2][1][1]
    rump = np.clip((loins - xyz[:, 0]) / 0.12, 0, 1) * np.clip((xyz[:, 1] - stifle) / 0.15, 0, 1) * ~tail
    return np.asarray(factor * (1.0 + (b.breeches - 1.0) * rump))


def _surface(field: FloatArray, axes: list[FloatArray]) -> tuple[FloatArray, NDArray[np.int32], FloatArray]:
    """Corners (V, 3), triangles (F, 3) and outward normals (V, 3) of the surface where ``field`` (X, Y, Z) is 0."""
    found: Any = marching_cubes(field, 0.0, spacing=(_VOXEL,) * 3, gradient_direction="descent")  # type: ignore[no-untyped-call]
    xyz, faces, normal, _ = found
    faces = _largest(faces, len(xyz))
    return xyz + [a[0] for a in axes], faces, -normal  # outward: away from where the field is negative


def _largest(faces: NDArray[np.int32], count: int) -> NDArray[np.int32]:
    """The faces (F, 3) of the largest piece; specks where a tail tip is thinner than the grid are left out."""
    edges = np.concatenate([faces[:, :2], faces[:, 1:]])
    _, piece = connected_components(coo_matrix((np.ones(len(edges)), edges.T), shape=(count, count)), directed=False)
    return np.asarray(faces[piece[faces[:, 0]] == np.argmax(np.bincount(piece))])


def build_skin(s: Skeleton) -> Skin:
    """The surface of that dog; takes about 0.3 s."""
    blobs = _blobs(s)
    axes = _axes(s, blobs)
    xyz, faces, normal = _surface(_field(s, blobs, axes), axes)
    weight = _weights(s, blobs, xyz)
    bone = np.argsort(-weight, axis=1)[:, :4]
    top = np.take_along_axis(weight, bone, axis=1)
    main = bone[:, 0]
    part = np.select(
        [np.isin(main, np.concatenate(LEGS)), main == HEAD, np.isin(main, TAIL), main == NECK], [1, 2, 3, 4], 0
    )
    back = (part != 2) & (part != 3)
    return Skin(
        xyz,
        normal,
        faces,
        bone,
        top / top.sum(axis=1, keepdims=True),
        part.astype(float),
        _hair(s, xyz, normal, main),
        _on_back(xyz, back, s.withers_x),
        _on_back(xyz, back, s.croup_x),
    )


def _on_back(xyz: FloatArray, back: BoolArray, x: float) -> int:
    """The highest vertex of the trunk's midline at ``x``."""
    close = np.flatnonzero(back & (np.abs(xyz[:, 0] - x) < 0.02) & (np.abs(xyz[:, 2]) < 0.03))
    return int(close[np.argmax(xyz[close, 1])])
