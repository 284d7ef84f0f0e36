"""How well two people agree who marked the same pictures without seeing each other's marks."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from pose.coco import Marks
from pose.errors import MarksError
from pose.judging import JudgingSettings, box
from pose.landmarks import CROUP, LANDMARKS, PAIRS, WITHERS
from pose.tracks import BoolArray, FloatArray, IntArray, frozen_array

#: Shared start of both people's pictures: what they left where a network had put it agrees by itself.
FROM_NETWORK: Final = "network"


@dataclass(frozen=True, slots=True, eq=False)
class Agreement:
    """Two people's marks of M dogs held against each other.

    files         M names of the pictures
    distance      (M, 6) body lengths between the two marks of a landmark, the body length being the mean of both
                  people's withers-croup lengths; the paws of a pair that one of the two exchanged are held against
                  those they mean; NaN = not placed by both
    box_distance  (M, 6) the same over the root of the area of the box around the landmarks, the mean of both people's
    alone         (6,) times that one of the two placed the landmark and the other did not
    exchanged     (2,) fore and hind pairs whose near and far the two took the other way round; told (2,) of how many
    shared_start  dogs that both people began from a network's answer
    same          (6,) marks of both that lie on one place to a hundredth of a px
    """

    files: tuple[str, ...]
    distance: FloatArray
    box_distance: FloatArray
    alone: IntArray
    exchanged: IntArray
    told: IntArray
    shared_start: int
    same: IntArray

    def __post_init__(self) -> None:
        for name in ("distance", "box_distance"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.float64))
        for name in ("alone", "exchanged", "told", "same"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.int64))

    @property
    def count(self) -> IntArray:
        """(6,) dogs in which both placed the landmark."""
        return np.asarray(np.isfinite(self.distance).sum(axis=0), np.int64)

    @property
    def mean_percent(self) -> FloatArray:
        """(6,) mean distance in % of body length; NaN = never placed by both."""
        return 100 * _mean(self.distance)

    @property
    def sigma(self) -> FloatArray:
        """(6,) body lengths: rms of d / s, as COCO defines the sigma of its similarity (k = 2 sigma; cocodataset.org,
        from memory, not read), with s the body length that ``pose.judging.similarity`` takes. NaN = never placed by
        both.
        """
        return np.asarray(np.sqrt(_mean(self.distance**2)))

    @property
    def sigma_box(self) -> FloatArray:
        """(6,) the same with COCO's own s, the root of an area: of the box around the landmarks."""
        return np.asarray(np.sqrt(_mean(self.box_distance**2)))

    @property
    def sigma_of_one(self) -> FloatArray:
        """(6,) body lengths: one person's spread about the place that both mean, ``sigma`` / root 2 (derived: two
        independent marks of one spread lie root 2 of it apart)."""
        return np.asarray(self.sigma / np.sqrt(2))


def agreement(one: Marks, other: Marks, settings: JudgingSettings | None = None) -> Agreement:
    """Hold two people's marks against each other, dog by dog, in the pictures that both marked.

    Raises MarksError when there is no dog that both marked.
    """
    pairs = _common(one, other)
    if not pairs:
        raise MarksError("the two have marked no dog in a common picture. Let both mark the same folder.")
    rows, others = (np.array(side) for side in zip(*pairs, strict=True))
    a, b = one.xy_px[rows], other.xy_px[others].copy()
    length = (_length(a) + _length(b)) / 2
    sure = np.array([one.sides_sure(x) & other.sides_sure(y) for x, y in pairs])
    turned, told = _turned(a, b, length, (settings or JudgingSettings()).apart)
    for pair, marks in enumerate(PAIRS):
        dogs = np.flatnonzero(turned[:, pair])[:, None]
        b[dogs, list(marks)] = b[dogs, list(marks[::-1])]
    off = np.hypot(*np.moveaxis(a - b, -1, 0))
    placed = np.isfinite(a).all(axis=-1), np.isfinite(b).all(axis=-1)
    root = np.array([(_box_root(x) + _box_root(y)) / 2 for x, y in zip(a, b, strict=True)])
    return Agreement(
        files=tuple(one.files[one.picture[row]] for row in rows),
        distance=off / length[:, None],
        box_distance=off / root[:, None],
        alone=(placed[0] != placed[1]).sum(axis=0),
        exchanged=(turned & sure).sum(axis=0),
        told=(told & sure).sum(axis=0),
        shared_start=sum(_start(one, x) == _start(other, y) == FROM_NETWORK for x, y in pairs),
        same=(off < 0.01).sum(axis=0),
    )


def _common(one: Marks, other: Marks) -> list[tuple[int, int]]:
    """Rows of the dogs in pictures of one name in which each of the two marked a single dog."""
    found = []
    for row, name in enumerate(one.files):
        if name in other.files:
            dogs, others = one.dogs_in(row), other.dogs_in(other.files.index(name))
            if len(dogs) == len(others) == 1:
                found.append((int(dogs[0]), int(others[0])))
    return found


def _turned(a: FloatArray, b: FloatArray, length: FloatArray, apart: float) -> tuple[BoolArray, BoolArray]:
    """(M, 2) whether a pair fits better the other way round; and whether it can be told, apart in both (M, 6, 2) px."""
    turned, told = [], []
    for near, far in PAIRS:
        gaps = [np.hypot(*(xy[:, near] - xy[:, far]).T) / length for xy in (a, b)]
        clear = np.nan_to_num(np.minimum(*gaps)) > apart
        straight, crossed = (
            sum(np.hypot(*(a[:, mark] - b[:, mate]).T) for mark, mate in zip((near, far), mates, strict=True))
            for mates in ((near, far), (far, near))
        )
        turned.append(clear & (np.nan_to_num(crossed) < np.nan_to_num(straight)))
        told.append(clear)
    return np.stack(turned, axis=1), np.stack(told, axis=1)


def _length(xy_px: FloatArray) -> FloatArray:
    """(M,) px from withers to croup of (M, 6, 2) px."""
    return np.asarray(np.hypot(*(xy_px[:, WITHERS] - xy_px[:, CROUP]).T))


def _box_root(xy_px: FloatArray) -> float:
    """px, root of the area of the box around the placed landmarks (6, 2) px; NaN = none."""
    corners = box(xy_px)
    area = 0.0 if corners is None else float(np.prod(corners[1] - corners[0]))
    return float(np.sqrt(area)) if area > 0 else float("nan")


def _start(marks: Marks, dog: int) -> object:
    return (marks.mark_notes[dog].get("attributes") or {}).get("start")


def _mean(values: FloatArray) -> FloatArray:
    """(6,) means of (M, 6) over what is known; NaN = nothing is."""
    known = np.isfinite(values)
    count = known.sum(axis=0)
    return np.asarray(np.where(count > 0, np.where(known, values, 0).sum(axis=0) / np.maximum(count, 1), np.nan))


def agreement_as_dict(found: Agreement) -> dict[str, object]:
    """The figures as plain values, by landmark; None = never placed by both."""
    each = {
        name: {
            "pictures": int(found.count[mark]), "mean_percent": _plain(found.mean_percent[mark], 3),
            "sigma": _plain(found.sigma[mark]), "sigma_of_one": _plain(found.sigma_of_one[mark]),
            "sigma_box": _plain(found.sigma_box[mark]), "placed_by_one_alone": int(found.alone[mark]),
            "on_one_place": int(found.same[mark]),
        }
        for mark, name in enumerate(LANDMARKS)
    }  # fmt: skip
    pairs = {"exchanged": found.exchanged.tolist(), "of": found.told.tolist()}
    return {"dogs": len(found.files), "begun_from_network": found.shared_start, "landmarks": each, "pairs": pairs}


def _plain(value: float, digits: int = 5) -> float | None:
    return round(float(value), digits) if np.isfinite(value) else None
