"""What went wrong where a landmark missed its mark: on the wrong leg, beside its place, along the back, elsewhere."""

from collections import Counter
from typing import Any, Final

import numpy as np

from pose.judging import Judged, JudgingSettings
from pose.landmarks import CROUP, LANDMARKS, PAIRS, WITHERS
from pose.tracks import FloatArray

DEFAULTS = JudgingSettings()

#: Why a paw is a miss. The first that holds is the one.
PAW_MISSES: Final = {
    "not_found": "marked, but nothing was found",
    "close": "beside its place",
    "exchanged": "near and far the wrong way round, both paws found",
    "on_partner": "on the other paw of the pair",
    "on_other_pair": "on a paw of the other pair",
    "elsewhere": "on no marked paw: ground, tail, muzzle, things around",
}
#: Why withers or croup are a miss.
TRUNK_MISSES: Final = {
    "not_found": "marked, but nothing was found",
    "along_back": "more along the marked topline than across it",
    "across_back": "more across the marked topline than along it",
}


def misses(judged: Judged, settings: JudgingSettings = DEFAULTS) -> dict[str, dict[str, int]]:
    """For each landmark how many of its misses were of which kind; a miss is beyond ``found_within``."""
    counts = {name: Counter[str]() for name in LANDMARKS}
    for dog, mark in np.argwhere(judged.error > settings.found_within):
        counts[LANDMARKS[mark]][kind_of_miss(judged, int(dog), int(mark), settings)] += 1
    return {name: dict(count.most_common()) for name, count in counts.items()}


def kind_of_miss(judged: Judged, dog: int, mark: int, settings: JudgingSettings = DEFAULTS) -> str:
    """Which kind of miss a landmark is that is known to be one: a key of PAW_MISSES or TRUNK_MISSES."""
    if np.isinf(judged.error[dog, mark]):
        return "not_found"
    return _trunk_miss(judged, dog, mark) if mark in (WITHERS, CROUP) else _paw_miss(judged, dog, mark, settings)


def _trunk_miss(judged: Judged, dog: int, mark: int) -> str:
    marked = judged.answers.marked_px[dog]
    off = judged.answers.found_px[dog, mark] - marked[mark]
    along = abs(float(off @ (marked[WITHERS] - marked[CROUP]))) / judged.length_px[dog]
    return "along_back" if 2 * along**2 >= float(off @ off) else "across_back"


def _paw_miss(judged: Judged, dog: int, mark: int, settings: JudgingSettings) -> str:
    pair = next(marks for marks in PAIRS if mark in marks)
    if judged.error[dog, mark] <= settings.close_within:
        return "close"
    if (judged.free[dog, pair] <= settings.found_within).all():
        return "exchanged"
    off = judged.answers.marked_px[dog] - judged.answers.found_px[dog, mark]
    near = np.hypot(*off.T) / judged.length_px[dog] <= settings.taken_within
    if near[list(pair)].any():
        return "on_partner"
    return "on_other_pair" if near[: 2 * len(PAIRS)].any() else "elsewhere"


def offsets(judged: Judged, settings: JudgingSettings = DEFAULTS) -> dict[str, Any]:
    """For each landmark the median offset from its mark, % of body length: one that lies to the same side in every
    dog speaks of another idea of the landmark rather than of a network that cannot see it.

    Over landmarks within ``close_within`` of dogs whose facing was marked; forward is where the dog faces.
    """
    answers = judged.answers
    off = (answers.found_px - answers.marked_px) / judged.length_px[:, None, None]
    off[..., 0] *= answers.marked_facing[:, None]
    return {
        name: _middle(off[judged.error[:, mark] <= settings.close_within, mark]) for mark, name in enumerate(LANDMARKS)
    }


def _middle(off: FloatArray) -> dict[str, Any]:
    """Median of (M, 2) body lengths, in %."""
    off = off[np.isfinite(off).all(axis=1)]
    forward, down = (round(100 * float(value), 1) for value in np.median(off, axis=0)) if len(off) else (None, None)
    return {"forward": forward, "down": down, "count": len(off)}
