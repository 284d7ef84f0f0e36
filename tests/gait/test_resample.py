"""Resampled means against an independent library, against dependence, and against exact rules."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from gait.compare.resample import (
    LEAST_LIKENESS,
    MOST_LIKENESS,
    Doubt,
    Resampled,
    between_clips,
    block_length,
    gap_between,
    holm,
    likeness,
    resample,
    unseen_share,
)
from pose.tracks import FloatArray

DRAWS = 1000
#: Repetitions of each coverage; their own standard error is 0.011 at 0.95.
REPETITIONS = 400
#: Goal for how often an interval holds the truth, and the standard error of a share of REPETITIONS twice over.
LEAST, MOST, SLACK = 0.93, 0.97, 0.022
ALPHA = 0.05


def chain(rng: np.random.Generator, n: int, like: float) -> FloatArray:
    """(n,) values of SD 1 that resemble their neighbours by ``like``."""
    values = rng.standard_normal(n + 30)
    for k in range(1, n + 30):
        values[k] = like * values[k - 1] + np.sqrt(1 - like**2) * values[k]
    return values[30:]


def gap(rng: np.random.Generator, baseline: list[FloatArray], condition: list[FloatArray]):
    """What the comparison makes of two sets of clips."""
    sets = [baseline, condition]
    like = likeness(sets)
    between, freedom = between_clips(sets, like)
    old, new = (resample(clips, rng, DRAWS, between, like) for clips in sets)
    added = [between * sum(len(c) ** 2 for c in s) / sum(map(len, s)) ** 2 for s in sets]
    return gap_between(old, new, Doubt((added[0], added[1], freedom)), alpha=ALPHA)


@pytest.mark.parametrize(
    ("n", "clips", "strides"),
    [(1, 1, 1), (8, 1, 2), (12, 1, 3), (27, 1, 3), (28, 1, 4), (100, 1, 5), (8, 2, 1), (12, 3, 1), (60, 3, 4)],
)
def test_blocks_grow_with_the_cube_root_and_leave_a_clip_four(n: int, clips: int, strides: int) -> None:
    assert block_length(n, clips) == strides


def test_spread_of_independent_strides_is_that_of_scipys_bootstrap() -> None:
    rng = np.random.default_rng(1)
    ours, theirs = [], []
    for _ in range(30):
        values = rng.normal(10, 2, 60)
        ours.append(resample([values], rng, DRAWS).spread)
        reference = stats.bootstrap((values,), np.mean, n_resamples=DRAWS, rng=rng, method="basic")
        theirs.append(reference.standard_error * np.sqrt(60 / 59))
    error = np.std(np.array(ours) / theirs) / np.sqrt(30)
    assert np.mean(np.array(ours) / theirs) == pytest.approx(1, abs=3 * error)
    assert error < 0.04


def test_interval_of_many_independent_strides_is_that_of_welchs_test() -> None:
    rng = np.random.default_rng(2)
    widths = []
    for _ in range(30):
        old, new = rng.normal(10, 1, 150), rng.normal(10.3, 2, 80)
        ours = gap(rng, [old], [new])
        welch = stats.ttest_ind(new, old, equal_var=False).confidence_interval(0.95)
        assert (ours.low + ours.high) / 2 == pytest.approx((welch.low + welch.high) / 2)
        widths.append((ours.high - ours.low) / (welch.high - welch.low))
    assert np.mean(widths) == pytest.approx(1, abs=0.1)


def test_dependent_strides_make_the_interval_wider() -> None:
    rng = np.random.default_rng(3)
    widths = {
        like: np.mean([gap(rng, [chain(rng, 40, like)], [chain(rng, 40, like)]).resolution for _ in range(60)])
        for like in (0.0, 0.3, 0.5)
    }
    assert widths[0.3] > 1.2 * widths[0.0]
    assert widths[0.5] > 1.5 * widths[0.0]


@pytest.mark.parametrize("like", [0.0, 0.3, 0.5], ids=lambda like: f"neighbours alike by {like}")
@pytest.mark.parametrize("n", [10, 14, 30], ids=lambda n: f"{n} strides")
def test_interval_holds_the_truth(n: int, like: float) -> None:
    rng = np.random.default_rng((n, int(10 * like)))
    held = []
    for _ in range(REPETITIONS):
        found = gap(rng, [10 + chain(rng, n, like)], [10.5 + chain(rng, n, like)])
        held.append((found.low <= 0.5 <= found.high, found.percent_low <= 5 <= found.percent_high))
    assert np.all(np.mean(held, axis=0) >= LEAST - SLACK)
    assert np.all(np.mean(held, axis=0) <= MOST + SLACK)


@pytest.mark.parametrize("clip_sd", [0.0, 1.0], ids=["clips alike", "clips differ as much as strides"])
def test_several_clips_hold_the_truth(clip_sd: float) -> None:
    """Two clips a side hardly tell how much clips differ: the goal is missed by a few hundredths when they do."""
    rng = np.random.default_rng(5)

    def clips(mean: float) -> list[FloatArray]:
        """Three clips of a dozen strides."""
        return [mean + clip_sd * rng.standard_normal() + chain(rng, 12, 0.2) for _ in range(3)]

    held = []
    for _ in range(REPETITIONS):
        found = gap(rng, clips(10.0), clips(10.5))
        held.append(found.low <= 0.5 <= found.high)
    assert 0.90 <= np.mean(held) <= 0.99


def test_likeness_is_found_without_bias() -> None:
    rng = np.random.default_rng(6)
    for like in (0.0, 0.3):
        found = [likeness([[chain(rng, 25, like)], [chain(rng, 25, like)]]) for _ in range(300)]
        assert np.mean(found) == pytest.approx(like, abs=0.04)


@pytest.mark.parametrize(
    ("sets", "expected"),
    [
        ([[np.array([1.0, 2.0, 1.0])]], 0.0),
        ([[np.full(20, 3.0)]], 0.0),
        ([[np.arange(30.0)]], MOST_LIKENESS),
        ([[np.tile([0.0, 1.0], 15)]], LEAST_LIKENESS),
    ],
    ids=["too few strides", "all the same", "a drift", "every other stride"],
)
def test_likeness_has_bounds(sets: list[list[FloatArray]], expected: float) -> None:
    assert likeness(sets) == expected


def test_unlike_neighbours_need_nothing_back_from_blocks_of_one() -> None:
    assert unseen_share(0.0, 1, 0.1) == pytest.approx(1)
    # blocks of one see the variance of a stride; a mean of many that resemble by 0.5 varies three times as much
    assert unseen_share(0.5, 1, 0.0) == pytest.approx(3)


def test_variance_between_clips_is_found_on_average() -> None:
    rng = np.random.default_rng(7)
    found = []
    for _ in range(300):
        clips = [[rng.normal(0, 2) + rng.standard_normal(12) for _ in range(4)] for _ in range(2)]
        variance, freedom = between_clips(clips)
        assert freedom == 6
        found.append(variance)
    assert np.mean(found) == pytest.approx(4, abs=0.5)


def test_single_clips_say_nothing_about_clips() -> None:
    assert between_clips([[np.arange(9.0)], [np.arange(9.0)]]) == (0.0, 0.0)


def test_equal_strides_are_never_surer_than_tracking() -> None:
    same = resample([np.full(10, 3.0)], np.random.default_rng(0), DRAWS)
    other = resample([np.full(10, 3.1)], np.random.default_rng(0), DRAWS)
    found = gap_between(same, other, Doubt(floor=0.2), alpha=ALPHA)
    assert found.resolution == pytest.approx(1.96 * 0.2, rel=0.01)
    assert found.p == pytest.approx(2 * stats.norm.sf(0.5), rel=0.01)


def test_no_spread_and_no_doubt_at_all_tell_equal_from_different() -> None:
    same = Resampled(3.0, np.full(DRAWS, 3.0), 0.0, 9.0, 10)
    other = Resampled(4.0, np.full(DRAWS, 4.0), 0.0, 9.0, 10)
    assert gap_between(same, same, Doubt(), alpha=ALPHA).p == 1
    assert gap_between(same, other, Doubt(), alpha=ALPHA).p == 0


@given(st.floats(-50, 50), st.floats(0.1, 20))
def test_shift_and_unit_do_not_matter(shift: float, unit: float) -> None:
    rng = np.random.default_rng(8)
    old, new = chain(rng, 15, 0.2), 1 + chain(rng, 15, 0.2)
    plain = gap(np.random.default_rng(9), [old], [new])
    moved = gap(np.random.default_rng(9), [unit * (old + shift)], [unit * (new + shift)])
    assert moved.difference == pytest.approx(unit * plain.difference, rel=1e-6)
    assert moved.resolution == pytest.approx(unit * plain.resolution, rel=1e-6)
    assert moved.p == pytest.approx(plain.p, rel=1e-5)


def closed_test(p: list[float]) -> list[float]:
    """Holm's correction by its meaning: a hypothesis falls when every set that holds it falls by Bonferroni's rule."""
    worst = [0.0] * len(p)
    for size in range(1, len(p) + 1):
        for chosen in combinations(range(len(p)), size):
            whole = min(1.0, size * min(p[i] for i in chosen))
            for i in chosen:
                worst[i] = max(worst[i], whole)
    return worst


@given(st.lists(st.floats(0, 1), min_size=1, max_size=7))
def test_holm_is_the_closed_test_of_bonferroni(p: list[float]) -> None:
    assert holm(p) == pytest.approx(closed_test(p))


def test_holm_leaves_out_what_is_not_known() -> None:
    found = holm([0.01, float("nan"), 0.04])
    assert found[0] == pytest.approx(0.02)
    assert np.isnan(found[1])
    assert found[2] == pytest.approx(0.04)
    assert holm([]) == []
