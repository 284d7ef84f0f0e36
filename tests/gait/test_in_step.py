"""Two clips in step: the same paw lands at once in both, in the strides that compare best."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from generator import PACE, TROT, WALK, Pattern, Scene, Truth, dog

from gait.instep import StepMap, StepSettings, step_map
from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial
from pose.landmarks import PAWS

#: s, how exactly the paws of both clips land at once.
AT_ONCE_S = 0.001
#: s, errors of the touchdowns of both clips together, as read from exact tracks.
READ_S = 0.012
SLOWER_TROT = replace(TROT, stride_s=0.58)


@cache
def clip(pattern: Pattern | tuple[tuple[Pattern, int], ...], **scene: object) -> tuple[GaitRecord, Truth]:
    tracks, truth = dog(list(pattern) if isinstance(pattern, tuple) else pattern, Scene(**scene))
    return build_record(tracks, Trial()), truth


def record(pattern: Pattern | tuple[tuple[Pattern, int], ...] = TROT, **scene: object) -> GaitRecord:
    return clip(pattern, **scene)[0]


def numbered(record: GaitRecord, paw: str) -> np.ndarray:
    return np.flatnonzero(record.strides_of(paw) & record.strides.used)


def without(record: GaitRecord, paw: str, *numbers: int) -> GaitRecord:
    """``record`` with some of the used strides of ``paw`` dropped, counted from 0."""
    dropped = np.array(record.strides.dropped, dtype="U20")
    rows = numbered(record, paw)
    dropped[[rows[number] for number in numbers if number < len(rows)]] = "gap"
    return replace(record, strides=replace(record.strides, dropped=dropped))


def hind_only(pattern: Pattern = TROT) -> GaitRecord:
    """A clip in which no stride of the near fore paw is used."""
    return without(record(pattern), "near_fore", *range(40))


def renamed(record: GaitRecord, names: list[str]) -> GaitRecord:
    """``record`` whose used strides of every paw carry ``names`` in turn."""
    gait = np.array(record.strides.gait, dtype="U40")
    for paw in PAWS:
        rows = numbered(record, paw)
        gait[rows] = [names[number % len(names)] for number in range(len(rows))]
    return replace(record, strides=replace(record.strides, gait=gait))


def mapped(first: GaitRecord, second: GaitRecord, **settings: float) -> StepMap:
    steps = step_map(first, second, StepSettings(**settings))
    assert isinstance(steps, StepMap), steps
    return steps


PAIRS = {
    "equal clips": ({}, TROT, {}),
    "slower strides": ({}, SLOWER_TROT, {}),
    "another frame rate and start": ({}, TROT, {"fps": 120.0, "start_s": 3.21}),
    "facing left, uneven strides": ({}, SLOWER_TROT, {"facing": "left", "spread": 0.02}),
    "another gait": ({}, WALK, {}),
}


@pytest.mark.parametrize(("one", "pattern", "two"), PAIRS.values(), ids=PAIRS)
def test_the_paw_lands_at_once_in_both(one: dict, pattern: Pattern, two: dict) -> None:
    (first, first_truth), (second, second_truth) = clip(TROT, **one), clip(pattern, **two)
    steps = mapped(first, second, film_fps=1000.0)
    for which, (shown, truth) in enumerate([(first, first_truth), (second, second_truth)]):
        touchdowns = steps.touchdowns_s[:, which]
        assert np.isin(touchdowns, shown.contacts.touchdown_s[shown.contacts.paw == PAWS.index(steps.paw)]).all()
        true = truth.touchdown_s[PAWS.index(steps.paw)]
        assert np.abs(true[:, None] - touchdowns).min(axis=0).max() < READ_S / 2
    at = np.abs(steps.source_s[:, :1] - steps.touchdowns_s[:, 0]).argmin(axis=0)
    np.testing.assert_allclose(steps.source_s[at], steps.touchdowns_s, atol=AT_ONCE_S)
    assert steps.strides == 8


def test_between_touchdowns_both_clips_run_evenly() -> None:
    steps = mapped(record(), record(SLOWER_TROT), film_fps=1000.0)
    for number in range(steps.strides):
        start, stop = steps.touchdowns_s[number : number + 2]
        inside = (steps.source_s[:, 0] > start[0]) & (steps.source_s[:, 0] < stop[0])
        shares = (steps.source_s[inside] - start) / (stop - start)
        np.testing.assert_allclose(shares[:, 0], shares[:, 1], atol=1e-9)


@pytest.mark.parametrize("slower", [1.0, 4.0, 7.5])
def test_pictures_come_evenly_and_last_as_long_as_asked(slower: float) -> None:
    steps = mapped(record(), record(SLOWER_TROT), slower=slower)
    np.testing.assert_allclose(np.diff(steps.film_s), 1 / 30)
    assert steps.film_s[0] == 0
    lasts_s = slower * np.ptp(steps.touchdowns_s[:, 0])
    assert lasts_s - 1 / 30 <= steps.film_s[-1] <= lasts_s + 1e-6
    assert (np.diff(steps.source_s, axis=0) > 0).all()
    assert len(steps) == len(steps.film_s)


def test_a_clip_of_unknown_slowness_keeps_the_pace_of_its_file() -> None:
    first = record()
    steps = mapped(replace(first, trial=Trial(clock_known=False)), record())
    assert steps.slower == 1.0
    np.testing.assert_allclose(np.diff(steps.source_s[:, 0]), 1 / 30)


def test_the_longest_unbroken_strides_are_taken() -> None:
    second = without(hind_only(SLOWER_TROT), "near_hind", 2, 8)
    steps = mapped(hind_only(), second)
    starts_s = second.strides.start_s[numbered(second, "near_hind")]
    assert (steps.paw, steps.strides) == ("near_hind", 5)
    np.testing.assert_allclose(steps.touchdowns_s[:-1, 1], starts_s[2:7])


@pytest.mark.parametrize("most", [2, 3, 7])
def test_no_more_strides_than_asked_from_the_middle(most: int) -> None:
    every, few = (mapped(hind_only(), hind_only(), most_strides=count) for count in (99, most))
    first = (every.strides - most) // 2
    np.testing.assert_array_equal(few.touchdowns_s, every.touchdowns_s[first : first + most + 1])


def test_the_same_gait_is_preferred_to_more_strides() -> None:
    changing = record(((PACE, 8), (TROT, 5)))
    steps = mapped(record(), changing)
    assert steps.gaits == ("trot", "trot")
    assert steps.strides < 6


GAITS = {
    "two gaits": (["walk"], ["trot"], ("walk", "trot")),
    "it changes at every stride": (["walk", "trot"], ["trot"], ("", "trot")),
    "unclear strides": (["unclear"], ["trot"], ("", "trot")),
}


@pytest.mark.parametrize(("one", "two", "expected"), GAITS.values(), ids=GAITS)
def test_other_strides_still_make_a_film(one: list[str], two: list[str], expected: tuple[str, str]) -> None:
    steps = mapped(renamed(record(), one), renamed(record(SLOWER_TROT), two))
    assert steps.strides == 8
    assert steps.gaits == expected


def test_the_fore_paw_is_taken_where_it_has_more_strides() -> None:
    assert mapped(record(), record()).paw == "near_hind"
    assert mapped(without(record(), "near_hind", 3, 7), record()).paw == "near_fore"


FEW = "No film of both in step: it needs 2 used strides of the near hind paw in a row in either clip; "
SHORT = {
    "the first": (1, 0, "the first clip has 1."),
    "the second": (0, 1, "the second clip has 1."),
    "both": (1, 1, "the first clip has 1 and the second clip has 1."),
    "none at all": (2, 1, "the first clip has 0 and the second clip has 1."),
}
SPOILED = ((), tuple(range(0, 40, 2)), tuple(range(40)))


@pytest.mark.parametrize(("one", "two", "words"), SHORT.values(), ids=SHORT)
def test_too_few_strides_are_said_in_a_sentence(one: int, two: int, words: str) -> None:
    first, second = (without(hind_only(), "near_hind", *SPOILED[number]) for number in (one, two))
    assert step_map(first, second) == FEW + words


def test_no_paw_in_common_is_said_too() -> None:
    fore_only = without(record(), "near_hind", *range(40))
    assert step_map(hind_only(), fore_only) == f"{FEW}the second clip has 0."


def test_times_count_in_strides_of_their_own_clip() -> None:
    steps = mapped(record(), record(SLOWER_TROT))
    for side in (0, 1):
        touchdowns = steps.touchdowns_s[:, side]
        np.testing.assert_allclose(steps.strides_at(side, touchdowns), np.arange(9))
        middle = (touchdowns[2] + touchdowns[3]) / 2
        got = steps.strides_at(side, np.array([[touchdowns[0] - 1, middle], [touchdowns[-1] + 1, np.nan]]))
        np.testing.assert_allclose(got, [[0, 2.5], [8, np.nan]])


def test_a_map_cannot_be_changed() -> None:
    steps = mapped(record(), record())
    with pytest.raises(ValueError, match="read-only"):
        steps.source_s[0, 0] = 0.0
