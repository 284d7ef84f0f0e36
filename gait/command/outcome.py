"""What came of one domain under one network: marked pictures or clips with truth, told in the same words."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from pose.curves import calibration, curves, dog_by_dog
from pose.judging import Judged, JudgingSettings, badness, table
from pose.misses import misses, offsets
from pose.precision import Finds, precision_facts
from pose.tracks import FloatArray, IntArray
from pose.window import Picture

PICTURES, CLIPS = "pictures", "clips"
PREDICTION_COLUMNS: Final = ("domain", "file", "frame", "landmark", "x_px", "y_px", "score")


@dataclass(frozen=True, slots=True)
class JudgeSettings:
    """How a network is judged.

    worst    pictures that are drawn of every domain: as many as a person looks through in a few minutes
    apart_s  s, least time between two of them in one clip, which would show the same moment; the same as for choosing
             frames to mark
    judging  how errors are counted
    """

    worst: int = 12
    apart_s: float = 0.5
    judging: JudgingSettings = field(default_factory=JudgingSettings)


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """One domain under one network.

    kind      PICTURES or CLIPS
    judged    N marked dogs that were held against what was found; of clips the dog of every frame
    dogs      N names, whose they are
    titles    N words for each, a file or a clip and its time
    finds     of P pictures or frames, for the average precision; find_dogs: P names, whose they are
    whole     (M,) body lengths, mean error of all that is marked, in an order that no network changes; NaN = not
              judged. whole_dogs: M names
    facts     what only this kind of domain has to tell, as plain values
    beside    of that what stands side by side for two networks
    left_out  names of the dogs that are not judged, since a network was trained on them
    rows      rows of predictions.csv, without the domain
    moment    N words and (N,) s: the clip of each and when; two of one clip that lie too near show the same
    picture   the picture of one of the N
    """

    kind: str
    judged: Judged
    dogs: Sequence[str]
    titles: Sequence[str]
    finds: Finds
    find_dogs: Sequence[str]
    whole: FloatArray
    whole_dogs: Sequence[str]
    facts: dict[str, Any]
    beside: dict[str, Any]
    left_out: tuple[str, ...]
    rows: Callable[[], list[list[str]]]
    moment: tuple[Sequence[str], FloatArray]
    picture: Callable[[int], Picture]


def domain_facts(outcome: Outcome, settings: JudgeSettings) -> dict[str, Any]:
    """Everything that judged.json says of a domain but its name."""
    return {
        "kind": outcome.kind,
        "dogs_left_out": list(outcome.left_out),
        **outcome.facts,
        **side_facts(outcome, settings),
        "misses": misses(outcome.judged, settings.judging),
        "median_offset_percent": offsets(outcome.judged, settings.judging),
    }


def side_facts(outcome: Outcome, settings: JudgeSettings) -> dict[str, Any]:
    """What stands side by side for two networks: shares, exchanges, scores, curve, precision, errors over dogs."""
    return {
        **table(outcome.judged, settings.judging),
        "curve": curves(outcome.judged),
        "calibration": calibration(outcome.judged, settings.judging),
        "precision": precision_facts(outcome.finds, outcome.find_dogs),
        "over_dogs": dog_by_dog(outcome.judged, outcome.dogs),
        **outcome.beside,
    }


def worst_rows(outcome: Outcome, settings: JudgeSettings) -> IntArray:
    """Rows of the judged dogs with the largest mean errors, the worst first, no two of one moment."""
    bad = np.nan_to_num(badness(outcome.judged), nan=-1.0)
    clips, times = np.array(outcome.moment[0], dtype=str), outcome.moment[1]
    taken: list[int] = []
    for row in np.argsort(-bad, kind="stable"):
        if len(taken) == settings.worst or bad[row] < 0:
            break
        same = [other for other in taken if clips[other] == clips[row]]
        if all(abs(times[other] - times[row]) >= settings.apart_s for other in same):
            taken.append(int(row))
    return np.array(taken, np.int64)


def place_words(place: FloatArray) -> list[str]:
    """x and y of a landmark for a table, px; empty where it was not found."""
    return [f"{value:.3f}" if np.isfinite(value) else "" for value in place]
