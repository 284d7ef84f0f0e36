"""Two clips brought into step: which times of either are shown together, so that the same paw lands at once in both."""

from dataclasses import dataclass
from itertools import pairwise, product
from typing import Final

import numpy as np

from gait.naming import UNCLEAR
from gait.nouns import GaitRecord
from pose.tracks import FloatArray, frozen_array

#: Paws whose touchdowns may be brought together, the preferred one first.
PAWS_IN_STEP: Final = ("near_hind", "near_fore")


@dataclass(frozen=True, slots=True)
class StepSettings:
    """How two clips are brought into step. Common practice, no source, unless a reason is given.

    slower         seconds of film per real second of the first clip; a clip whose clock is not known keeps the pace of
                   its file, since it may be slow already
    film_fps       pictures per second of the film
    most_strides   strides shown, enough to see what repeats without scrubbing
    least_strides  strides in a row that either clip must have: one alone repeats nothing
    """

    slower: float = 4.0
    film_fps: float = 30.0
    most_strides: int = 8
    least_strides: int = 2


@dataclass(frozen=True, slots=True, eq=False)
class StepMap:
    """Which time of two clips each picture of a film shows.

    paw           the paw that lands at once in both
    gaits         name that the shown strides of the first and of the second clip share; "" = several names
    touchdowns_s  (K, 2) s, touchdowns of ``paw`` that are brought together, each on the clock of its clip
    film_s        (N,) s, times of the pictures in the film, from 0 and evenly spaced
    source_s      (N, 2) s, time in the first and in the second clip
    slower        seconds of film per second of the first clip
    """

    paw: str
    gaits: tuple[str, str]
    touchdowns_s: FloatArray
    film_s: FloatArray
    source_s: FloatArray
    slower: float

    def __post_init__(self) -> None:
        for name in ("touchdowns_s", "film_s", "source_s"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.float64))

    def __len__(self) -> int:
        return len(self.film_s)

    @property
    def strides(self) -> int:
        """How many strides are shown."""
        return len(self.touchdowns_s) - 1

    def strides_at(self, side: int, t_s: FloatArray) -> FloatArray:
        """Strides since the first touchdown shown at times ``t_s`` (any shape) s of clip ``side`` (0 or 1).

        Times before the first and after the last touchdown count as those; NaN stays NaN.
        """
        return np.asarray(np.interp(t_s, self.touchdowns_s[:, side], np.arange(self.strides + 1)))


@dataclass(frozen=True, slots=True, eq=False)
class _Row:
    """Strides without a break: gait "" = of several names; touchdowns_s (n + 1,) s."""

    gait: str
    touchdowns_s: FloatArray

    def __len__(self) -> int:
        return len(self.touchdowns_s) - 1

    def middle(self, count: int) -> FloatArray:
        """(count + 1,) s, touchdowns of the middle strides: away from where the dog or the clip changes."""
        first = (len(self) - count) // 2
        return self.touchdowns_s[first : first + count + 1]


def step_map(first: GaitRecord, second: GaitRecord, settings: StepSettings = StepSettings()) -> StepMap | str:
    """The times of two clips that belong together, or a plain sentence that says why there are none.

    Used strides in a row of one gait name, the same in both clips, are preferred, then most strides, then the hind paw.
    """
    best: tuple[tuple[int, int, int], str, _Row, _Row] | None = None
    for order, paw in enumerate(PAWS_IN_STEP):
        for one, two in product(_rows(first, paw), _rows(second, paw)):
            count = min(len(one), len(two), settings.most_strides)
            worth = (_likeness(one.gait, two.gait), count, -order)
            if count >= settings.least_strides and (best is None or worth > best[0]):
                best = worth, paw, one, two
    if best is None:
        return _why_not(first, second, settings)
    (_, count, _), paw, one, two = best
    touchdowns = np.stack([one.middle(count), two.middle(count)], axis=1)
    slower = settings.slower if first.trial.clock_known else 1.0
    # a hair more, so that a last touchdown that falls on a picture is not lost to rounding
    pictures = int(np.ptp(touchdowns[:, 0]) * slower * settings.film_fps + 1e-6) + 1
    film_s = np.arange(pictures) / settings.film_fps
    first_s = touchdowns[0, 0] + film_s / slower
    source_s = np.stack([first_s, np.interp(first_s, *touchdowns.T)], axis=1)
    return StepMap(paw, (one.gait, two.gait), touchdowns, film_s, source_s, slower)


def _likeness(one: str, two: str) -> int:
    """2 = the same clear gait, 1 = two clear ones, 0 = gait changes or is unclear within the strides."""
    return 0 if not one or not two else 2 if one == two else 1


def _rows(record: GaitRecord, paw: str) -> list[_Row]:
    """The used strides of ``paw`` that follow each other without a break: those of one clear name, and all."""
    strides = record.strides
    usable = record.strides_of(paw) & strides.used & np.isfinite(strides.start_s) & np.isfinite(strides.end_s)
    rows = np.flatnonzero(usable)
    broken = strides.end_s[rows[:-1]] != strides.start_s[rows[1:]]
    names = [str(name) if name != UNCLEAR else "" for name in strides.gait[rows]]
    changed = np.array([a != b for a, b in pairwise(names)], dtype=bool)
    found = []
    for by_name in (True, False):
        cuts = np.flatnonzero(broken | changed if by_name else broken) + 1
        for part in np.split(np.arange(len(rows)), cuts):
            if len(part):
                ends = np.append(strides.start_s[rows[part]], strides.end_s[rows[part[-1]]])
                found.append(_Row(names[part[0]] if by_name else "", ends))
    return found


def _why_not(first: GaitRecord, second: GaitRecord, settings: StepSettings) -> str:
    short = [
        f"the {which} clip has {most}"
        for which, record in (("first", first), ("second", second))
        if (most := max((len(row) for row in _rows(record, PAWS_IN_STEP[0])), default=0)) < settings.least_strides
    ]
    return (
        f"No film of both in step: it needs {settings.least_strides} used strides of the near hind paw in a row "
        f"in either clip; {' and '.join(short)}."
    )
