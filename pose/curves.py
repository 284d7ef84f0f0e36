"""What a share within one limit hides: the whole curve, the scores against what came true, and dogs one by one."""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from pose.bydog import means_of_dogs, over_dogs
from pose.judging import Judged, JudgingSettings, badness
from pose.landmarks import LANDMARKS
from pose.tracks import FloatArray

#: Body lengths at which the curve is read; beyond a third nothing is near anything.
LIMITS: Final = tuple(round(0.01 * step, 2) for step in range(1, 31))
DEFAULTS: Final = JudgingSettings()


def curves(judged: Judged, limits: Sequence[float] = LIMITS) -> dict[str, list[float]]:
    """Share of marked landmarks within each limit (PCK), as they are and with the sides of a pair free."""
    out: dict[str, list[float]] = {"limits_percent": [round(100 * limit, 1) for limit in limits]}
    for name, error in (("all", judged.error), ("sides_free", judged.free)):
        known = error[~np.isnan(error)]
        out[name] = [round(float(np.mean(known <= limit)), 4) for limit in limits] if len(known) else []
    return out


def calibration(judged: Judged, settings: JudgingSettings = DEFAULTS) -> list[dict[str, Any]]:
    """For each bin of scores that holds landmarks: their mean score, the share that was right, and how many."""
    known = np.isfinite(judged.error)
    score, right = judged.answers.score[known], judged.error[known] <= settings.right_within
    place = np.minimum((score * settings.score_bins).astype(int), settings.score_bins - 1)
    return [
        {
            "score": round(float(score[place == each].mean()), 4),
            "right": round(float(right[place == each].mean()), 4),
            "count": int((place == each).sum()),
        }
        for each in np.unique(place)
    ]


def dog_by_dog(judged: Judged, dogs: Sequence[str]) -> dict[str, Any]:
    """Mean errors in % of body length over the dogs, named for each of N rows, with intervals: all landmarks, each
    landmark, each dog. None counts for more than one body length."""
    capped: FloatArray = 100 * np.minimum(judged.error, 1.0)
    whole = 100 * badness(judged)
    each = {name: over_dogs(capped[:, mark], dogs).as_dict() for mark, name in enumerate(LANDMARKS)}
    single = {dog: round(mean, 2) for dog, mean in means_of_dogs(whole, dogs).items()}
    return {"error_percent": over_dogs(whole, dogs).as_dict(), "landmarks": each, "dogs": single}
