"""A dog held in place: the same size, the same facing and a level belt, so that clips can be compared by eye."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gait.nouns import GaitRecord
from gait.trial import Facing
from pose.landmarks import CROUP, PAWS, WITHERS
from pose.tracks import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class BoxSettings:
    """What is shown around the middle of the trunk, in body lengths. Our own choice, from five drawn dogs.

    ahead   room for a stretched neck and head
    behind  room for a tail
    above   room for a raised head
    spare   beyond the landmarks, where nothing else asks for more: a paw or the edge of the belt
    wild    1, share of landmarks at either end that may be faults and ask for no room
    """

    ahead: float = 1.75
    behind: float = 1.25
    above: float = 0.95
    spare: float = 0.25
    wild: float = 0.005


@dataclass(frozen=True, slots=True)
class Box:
    """What is shown around the middle of the trunk, in body lengths; ``ground`` = how far below it the paws stand."""

    ahead: float
    behind: float
    above: float
    below: float
    ground: float


@dataclass(frozen=True, slots=True)
class Framing:
    """How a box lies in a picture.

    size_px    px, width and height of the picture
    px_per_bl  px per body length
    middle_px  px, where the middle of the trunk is held (x, y); the middle of pixel 0 lies at 0
    facing     the side towards which the dog walks in the picture
    """

    size_px: tuple[int, int]
    px_per_bl: float
    middle_px: tuple[float, float]
    facing: Facing


def held_middle(record: GaitRecord) -> FloatArray:
    """(T, 2) px, where the trunk is but for its movement within a stride: means over one stride of its middle."""
    t_s, xy = record.tracks.t_s, record.tracks.xy_px
    middle = (xy[:, WITHERS] + xy[:, CROUP]) / 2
    seen = np.isfinite(middle).all(axis=1)
    bridged = np.stack([np.interp(t_s, t_s[seen], middle[seen, axis]) for axis in (0, 1)], axis=1)
    width = _frames_per_stride(record) | 1
    padded = np.pad(bridged, ((width // 2, width // 2), (0, 0)), mode="reflect", reflect_type="odd")
    return np.stack([np.convolve(column, np.full(width, 1 / width), "valid") for column in padded.T], axis=1)


def box_of(shown: Sequence[tuple[GaitRecord, IntArray]], settings: BoxSettings = BoxSettings()) -> Box:
    """The box that holds every dog of ``shown``: records, each with the rows (n,) of its tracks that are shown."""
    places = np.concatenate([_dog_axes(record, rows) for record, rows in shown])
    paws = places[:, : len(PAWS)]
    back, front = _ends(places[..., 0], settings.wild)
    low, high = _ends(places[..., 1], settings.wild)
    ground = -_ends(paws[..., 1], settings.wild)[0]
    return Box(
        ahead=max(settings.ahead, front + settings.spare),
        behind=max(settings.behind, settings.spare - back),
        above=max(settings.above, high + settings.spare),
        below=settings.spare - low,
        ground=ground,
    )


def frame_box(box: Box, size_px: tuple[int, int], facing: Facing = "right") -> Framing:
    """The box in the middle of a picture of ``size_px`` (width, height), as large as it can be."""
    width, height = size_px
    scale = min(width / (box.ahead + box.behind), height / (box.above + box.below))
    ahead = 1 if facing == "right" else -1
    x = (width - 1) / 2 - ahead * (box.ahead - box.behind) / 2 * scale
    y = (height - 1) / 2 + (box.above - box.below) / 2 * scale
    return Framing(size_px, scale, (x, y), facing)


def matrix_of(framing: Framing, record: GaitRecord, middle_px: FloatArray) -> FloatArray:
    """(2, 3), from px of the clip's picture to px of the framed one; ``middle_px`` (2,) px goes to its middle."""
    turn = _turn(record) * framing.px_per_bl / record.body_length_px
    if record.facing != framing.facing:
        turn = np.array([[-1.0], [1.0]]) * turn
    return np.column_stack([turn, np.array(framing.middle_px) - turn @ middle_px])


def _turn(record: GaitRecord) -> FloatArray:
    """(2, 2), lays the belt line level in px with y down; a slope that is not known is left alone."""
    angle = np.deg2rad(np.nan_to_num(record.belt.angle_deg))
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def _dog_axes(record: GaitRecord, rows: IntArray) -> FloatArray:
    """(n, 6, 2) body lengths ahead of and above the held middle of the trunk."""
    away = record.tracks.xy_px[rows] - held_middle(record)[rows, None]
    ahead = 1.0 if record.facing == "right" else -1.0
    return np.asarray(away @ _turn(record).T * np.array([ahead, -1.0]) / record.body_length_px)


def _ends(values: FloatArray, wild: float) -> tuple[float, float]:
    low, high = np.nanquantile(values, [wild, 1 - wild])
    return float(low), float(high)


def _frames_per_stride(record: GaitRecord) -> int:
    times = record.strides.end_s - record.strides.start_s
    times = times[np.isfinite(times)]
    if not len(times):
        return 1
    return max(1, round(float(np.median(times) / np.median(np.diff(record.tracks.t_s)))))
