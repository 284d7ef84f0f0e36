"""Average precision over keypoint similarity (OKS-AP), as the interface of COCO counts it (pycocotools, cocoeval.py):
a found dog is right when its similarity to a marked one reaches a threshold; precision is read at 101 recalls and
averaged over the thresholds 0.50, 0.55 ... 0.95."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from pose.bydog import REDRAWN, redrawn
from pose.tracks import FloatArray, IntArray, frozen_array

THRESHOLDS: Final = np.linspace(0.5, 0.95, 10)
RECALLS: Final = np.linspace(0.0, 1.0, 101)


@dataclass(frozen=True, slots=True, eq=False)
class Finds:
    """P pictures, in each of which one dog or none is found.

    score       (P,) 0..1 of the dog that was found; NaN = none was
    similarity  (P,) 0..1, largest similarity to a dog that is marked in the picture, 0 where none is
    marked      (P,) int, dogs marked in the picture; those that nobody read count as missed
    """

    score: FloatArray
    similarity: FloatArray
    marked: IntArray

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "score", frozen_array(self.score, np.float64))
        put(self, "similarity", frozen_array(self.similarity, np.float64))
        put(self, "marked", frozen_array(self.marked, np.int64))

    def __len__(self) -> int:
        return len(self.score)


def precisions(finds: Finds, rows: IntArray | None = None) -> FloatArray:
    """(10,) average precision at each threshold, of the pictures ``rows`` (all unless told; one may come again); NaN
    when no dog is marked in them."""
    rows = np.arange(len(finds)) if rows is None else rows
    marked = finds.marked[rows].sum()
    if not marked:
        return np.full(len(THRESHOLDS), np.nan)
    found = rows[np.isfinite(finds.score[rows])]
    ranked = found[np.argsort(-finds.score[found], kind="stable")]
    right = (finds.similarity[ranked] >= THRESHOLDS[:, None]).cumsum(axis=1)
    precision = right / np.arange(1, len(ranked) + 1)
    # the best precision at this recall or a larger one; none at recalls that are never reached
    best = np.pad(np.maximum.accumulate(precision[:, ::-1], axis=1)[:, ::-1], ((0, 0), (0, 1)))
    places = [np.searchsorted(recall, RECALLS) for recall in right / marked]
    return np.array([row[place].mean() for row, place in zip(best, places, strict=True)])


def precision_facts(finds: Finds, dogs: Sequence[str]) -> dict[str, Any]:
    """OKS-AP with its interval over dogs, named for each of P pictures, and the precision at 0.50 and 0.75 alone; {}
    when no dog is marked."""
    each = precisions(finds)
    if np.isnan(each).any():
        return {}
    whole = redrawn(lambda rows: float(precisions(finds, rows).mean()), dogs, REDRAWN)
    at = {f"{THRESHOLDS[place]:.2f}": round(float(each[place]), 4) for place in (0, 5)}
    return {"average_precision": whole.as_dict(), "at_similarity": at}
