"""How far landmarks lie from where a person marked them, as shares of the marked withers-croup length.

PCK (Yang & Ramanan 2013, doi:10.1109/TPAMI.2012.261, from memory, not read): the share of landmarks within a limit.
A landmark that was marked and not found counts as missed at every limit.
"""

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from pose.coco import COVERED, NOT_MARKED, VISIBLE
from pose.landmarks import CROUP, LANDMARKS, PAIRS, PAWS, WITHERS
from pose.tracks import BoolArray, FloatArray, IntArray, frozen_array

#: Stands for the distance to a landmark that was not found when two orders of a pair are weighed; beyond any picture.
FAR_AWAY: Final = 1e6
RIGHT, LEFT = 1.0, -1.0


@dataclass(frozen=True, slots=True)
class JudgingSettings:
    """How found landmarks are held against marked ones.

    limits        body lengths, the limits of PCK
    apart         body lengths; a pair marked closer than this cannot be told to be exchanged. The same in training
    right_within  body lengths; a score is the probability of lying within this
    found_within  body lengths; both paws of a pair have to be this close, in whichever order, for a pair to count
                  as found, and a landmark further away is a miss; wider than the error of marks made by eye
    close_within  body lengths; a miss within this lies beside its place
    taken_within  body lengths; a miss this close to another marked paw was taken for it. About as long as a foot
    score_bins    of equal width, for the error of the scores
    sigma         body lengths, (6,) the spread of a person's marks; our own choice, half the finest of the limits,
                  until two people have marked the same pictures
    """

    limits: tuple[float, ...] = (0.05, 0.1, 0.2)
    apart: float = 0.1
    right_within: float = 0.05
    found_within: float = 0.1
    close_within: float = 0.2
    taken_within: float = 0.15
    score_bins: int = 10
    sigma: tuple[float, ...] = (0.025,) * len(LANDMARKS)


@dataclass(frozen=True, slots=True, eq=False)
class Answers:
    """N marked dogs and what was found of each.

    marked_px   (N, 6, 2) px; NaN = not marked
    visibility  (N, 6) 0 not marked, 1 covered, 2 visible
    sides_sure  (N, 2) bool, near and far of the pair were known when it was marked
    marked_facing, found_facing  (N,) 1 right, -1 left, NaN = not told, no dog found
    found_px    (N, 6, 2) px; NaN = not found
    score       (N, 6) 0..1
    """

    marked_px: FloatArray
    visibility: IntArray
    sides_sure: BoolArray
    marked_facing: FloatArray
    found_px: FloatArray
    score: FloatArray
    found_facing: FloatArray

    def __post_init__(self) -> None:
        put = object.__setattr__
        for name in ("marked_px", "marked_facing", "found_px", "score", "found_facing"):
            put(self, name, frozen_array(getattr(self, name), np.float64))
        put(self, "visibility", frozen_array(self.visibility, np.int64))
        put(self, "sides_sure", frozen_array(self.sides_sure, np.bool_))

    def __len__(self) -> int:
        return len(self.marked_px)


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """N dogs judged.

    answers    what was held against one another
    length_px  (N,) px, from the marked withers to the marked croup; NaN = not both are marked
    error      (N, 6) body lengths; NaN = not marked or no length, infinite = marked and not found
    free       (N, 6) the same, the paws of a pair in the order that fits better
    exchanged  (N, 2) 1 = the other order fits better, 0 = not, NaN = cannot be told
    """

    answers: Answers
    length_px: FloatArray
    error: FloatArray
    free: FloatArray
    exchanged: FloatArray


def judge(answers: Answers, settings: JudgingSettings = JudgingSettings()) -> Judged:
    """Errors of every landmark, as it is and with the sides of a pair free."""
    trunk = answers.marked_px[:, (WITHERS, CROUP)]
    length = np.hypot(*np.moveaxis(trunk[:, 0] - trunk[:, 1], -1, 0))
    error = distances_bl(answers.marked_px, answers.found_px, length)
    turned = error.copy()
    exchanged = np.full((len(answers), len(PAIRS)), np.nan)
    for pair, marks in enumerate(PAIRS):
        other = distances_bl(answers.marked_px[:, marks], answers.found_px[:, marks[::-1]], length)
        turn = _weight(other) < _weight(error[:, marks])
        turned[:, marks] = np.where(turn[:, None], other, error[:, marks])
        told = _can_be_told(answers, pair, length, settings)
        exchanged[told, pair] = turn[told]
    return Judged(answers, length, error, turned, exchanged)


def distances_bl(marked_px: FloatArray, found_px: FloatArray, length_px: FloatArray) -> FloatArray:
    """(N, K) body lengths between (N, K, 2) px; infinite = marked and not found, NaN = not marked or no length (N,)."""
    off = np.hypot(*np.moveaxis(found_px - marked_px, -1, 0)) / length_px[:, None]
    there = np.isfinite(marked_px).all(axis=-1) & np.isfinite(length_px)[:, None]
    missed = there & ~np.isfinite(found_px).all(axis=-1)
    return np.asarray(np.where(missed, np.inf, np.where(there, off, np.nan)))


def _weight(error: FloatArray) -> FloatArray:
    """(N,) sum over a pair (N, 2) of what is marked; not found weighs more than anything."""
    return np.asarray(np.nan_to_num(np.minimum(error, FAR_AWAY), nan=0.0).sum(axis=1))


def _can_be_told(answers: Answers, pair: int, length_px: FloatArray, settings: JudgingSettings) -> BoolArray:
    """(N,) both paws marked, sides known, apart, and something was found of them."""
    marks = PAIRS[pair]
    apart = np.hypot(*(answers.marked_px[:, marks[0]] - answers.marked_px[:, marks[1]]).T) / length_px
    found = np.isfinite(answers.found_px[:, marks]).any(axis=(1, 2))
    return np.asarray((np.nan_to_num(apart) > settings.apart) & answers.sides_sure[:, pair] & found)


def table(judged: Judged, settings: JudgingSettings = JudgingSettings()) -> dict[str, Any]:
    """The figures as plain values: PCK by group, exchanged pairs, facing, error of the scores; None = none to count."""
    facing = judged.answers.marked_facing * judged.answers.found_facing
    facing = facing[np.isfinite(facing)]
    return {
        "landmarks": {
            name: _shares(error[rows], settings) for name, (error, rows) in _groups(judged).items() if rows.any()
        },
        "similarity": _similarity(judged, settings),
        "exchanged_pairs": _exchanges(judged, settings),
        "facing": {"right": int((facing > 0).sum()), "wrong": int((facing < 0).sum())},
        "scores": score_error(judged, settings),
    }


def similarity(error: FloatArray, sigma: FloatArray) -> FloatArray:
    """(N,) 0..1, object keypoint similarity of COCO: mean over the marked of exp(-d^2 / 2 s^2 k^2), k = 2 sigma.

    error (N, 6) d / s with s the marked withers-croup length, not the root of an area as in COCO; NaN = not marked,
    infinite = not found, counts 0. sigma (6,) in the same unit. NaN for a dog without a marked landmark.
    """
    near = np.exp(-0.5 * np.minimum(error / (2 * sigma), 30.0) ** 2)
    known = ~np.isnan(error)
    count = known.sum(axis=1)
    return np.where(count > 0, np.where(known, near, 0.0).sum(axis=1) / np.maximum(count, 1), np.nan)


def _similarity(judged: Judged, settings: JudgingSettings) -> float | None:
    """Mean over the dogs; None = no dog to judge."""
    each = similarity(judged.error, np.array(settings.sigma))
    return _rounded(np.nanmean(each)) if np.isfinite(each).any() else None


def _groups(judged: Judged) -> dict[str, tuple[FloatArray, BoolArray]]:
    """Named selections (N, 6) of errors."""
    visibility = judged.answers.visibility
    there = ~np.isnan(judged.error) & (visibility > NOT_MARKED)
    paws = np.isin(np.arange(len(LANDMARKS)), range(len(PAWS)))
    each = {name: (judged.error, there & (np.arange(len(LANDMARKS)) == mark)) for mark, name in enumerate(LANDMARKS)}
    return {
        "all": (judged.error, there),
        "all_sides_free": (judged.free, there),
        "visible": (judged.error, there & (visibility == VISIBLE)),
        "covered": (judged.error, there & (visibility == COVERED)),
        "paws": (judged.error, there & paws),
        "paws_sides_free": (judged.free, there & paws),
        "visible_paws_sides_free": (judged.free, there & paws & (visibility == VISIBLE)),
        **each,
    }


def _shares(error: FloatArray, settings: JudgingSettings) -> dict[str, Any]:
    """PCK at every limit, the median error, and of how many landmarks; ``error`` (M,) body lengths."""
    shares = {f"within_{limit * 100:g}_percent": _rounded(np.mean(error <= limit)) for limit in settings.limits}
    found = np.isfinite(error)
    middle = _rounded(100 * np.median(error[found])) if found.any() else None
    return {**shares, "median_error_percent": middle, "count": len(error), "not_found": int((~found).sum())}


def _exchanges(judged: Judged, settings: JudgingSettings) -> dict[str, int]:
    """How many pairs fit better the other way round, of those in which it can be told; and of those found well."""
    told = np.isfinite(judged.exchanged)
    found = [(judged.free[:, marks] <= settings.found_within).all(axis=1) for marks in PAIRS]
    well = told & np.stack(found, axis=1)
    turned = judged.exchanged == 1
    return {
        "exchanged": int((turned & told).sum()), "of": int(told.sum()),
        "exchanged_among_found": int((turned & well).sum()), "found": int(well.sum()),
    }  # fmt: skip


def score_error(judged: Judged, settings: JudgingSettings = JudgingSettings()) -> dict[str, Any]:
    """What the scores promise against what came true, over the landmarks that were marked and found.

    expected_error  mean over bins, weighted by count, of |mean score - share right| (Naeini 2015, from memory,
                    not read)
    """
    known = np.isfinite(judged.error)
    if not known.any():
        return {"count": 0, "mean_score": None, "share_right": None, "expected_error": None}
    score, right = judged.answers.score[known], judged.error[known] <= settings.right_within
    place = np.minimum((score * settings.score_bins).astype(int), settings.score_bins - 1)
    gaps = [abs(float((score - right)[place == each].sum())) for each in range(settings.score_bins)]
    return {
        "count": int(known.sum()), "mean_score": _rounded(score.mean()), "share_right": _rounded(right.mean()),
        "expected_error": _rounded(sum(gaps) / known.sum()),
    }  # fmt: skip


def badness(judged: Judged) -> FloatArray:
    """(N,) 0..1, mean error of a dog's landmarks, none counting for more than one body length; NaN = not judged."""
    capped = np.minimum(judged.error, 1.0)
    known = ~np.isnan(capped)
    count = known.sum(axis=1)
    return np.asarray(np.where(count > 0, np.nan_to_num(capped).sum(axis=1) / np.maximum(count, 1), np.nan))


def best_overlap(found_px: FloatArray, marked_px: FloatArray) -> int:
    """Which of D marked dogs (D, 6, 2) px a found one (6, 2) px is: the most common area of the boxes around the
    landmarks over their joint area, then the nearest middle; when nothing was found, the dog with the largest box."""
    boxes = [box(dog) for dog in marked_px]
    own = box(found_px)
    if own is None:
        return int(np.argmax([_area(one) if one is not None else -1.0 for one in boxes]))
    ranks = [(_overlap(own, one), -_apart(own, one)) if one is not None else (-1.0, -math.inf) for one in boxes]
    return max(range(len(ranks)), key=ranks.__getitem__)


def box(xy_px: FloatArray) -> FloatArray | None:
    """(2, 2) px, upper left and lower right corner around the known landmarks (6, 2) px; None = none is known."""
    known = xy_px[np.isfinite(xy_px).all(axis=1)]
    return np.stack([known.min(axis=0), known.max(axis=0)]) if len(known) else None


def _area(corners: FloatArray) -> float:
    return float(np.prod(np.maximum(corners[1] - corners[0], 0)))


def _overlap(a: FloatArray, b: FloatArray) -> float:
    common = _area(np.stack([np.maximum(a[0], b[0]), np.minimum(a[1], b[1])]))
    joint = _area(a) + _area(b) - common
    return common / joint if joint > 0 else 0.0


def _apart(a: FloatArray, b: FloatArray) -> float:
    return float(np.hypot(*(a.mean(axis=0) - b.mean(axis=0))))


def _rounded(value: Any) -> float:
    return round(float(value), 4)
