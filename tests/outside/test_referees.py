"""Libraries as referees: circular means and bootstraps of scipy, metrics of scikit-learn."""

from dataclasses import replace

import numpy as np
import pytest
from generator import (
    AMBLE,
    BOUND,
    CANTER,
    HALF_BOUND,
    PACE,
    ROTARY,
    TRANSVERSE,
    TROT,
    WALK,
    WALKING_TROT,
    square_contacts,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from marked import DOG_PX
from scipy import stats
from sklearn.calibration import calibration_curve
from sklearn.metrics import accuracy_score, confusion_matrix
from walker import trotting

from gait.footfalls import footfalls_of, mean_phase
from gait.measures import MEASURES, measure
from gait.naming import NamingSettings, name_strides
from gait.nouns import Summary
from gait.report.words import half_interval
from gait.rows import list_rows
from gait.summaries import mean_of
from gait.wholeline import FIGURES, Compared
from pose.judging import Answers, judge, score_error

CIRCLES = [item for item in MEASURES if item.circle is not None]
PATTERNS = {
    "walk": WALK, "amble": AMBLE, "pace": PACE, "trot": TROT, "walking trot": WALKING_TROT, "canter": CANTER,
    "transverse gallop": TRANSVERSE, "rotary gallop": ROTARY, "half-bound": HALF_BOUND, "bound": BOUND,
}  # fmt: skip


@pytest.mark.parametrize("item", CIRCLES, ids=[item.name for item in CIRCLES])
@settings(max_examples=40, deadline=None)
@given(middle=st.integers(0, 999), off=st.lists(st.integers(-200, 200), min_size=1, max_size=20))
def test_means_of_phases_are_circular(item: object, middle: int, off: list[int]) -> None:
    low = item.circle  # type: ignore[attr-defined]
    values = ((middle + np.array(off)) / 1000 - low) % 1 + low
    found = mean_of(item, values)  # type: ignore[arg-type]
    wanted = stats.circmean(values, high=low + 1, low=low)
    assert abs((found - wanted + 0.5) % 1 - 0.5) < 1e-9
    assert low <= found <= low + 1


@settings(max_examples=60, deadline=None)
@given(thousandths=st.integers(0, 999), apart=st.integers(-450, 450))
def test_mean_of_two_sides_is_circular(thousandths: int, apart: int) -> None:
    a, b = thousandths / 1000, (thousandths + apart) / 1000 % 1
    found = float(mean_phase(np.array([a]), np.array([b]))[0])
    wanted = stats.circmean([a, b], high=1, low=0)
    assert abs((found - wanted + 0.5) % 1 - 0.5) < 1e-9


def test_a_plain_measure_has_a_plain_mean() -> None:
    assert mean_of(measure("duty_factor"), np.array([0.9, 0.1])) == pytest.approx(0.5)


@pytest.mark.parametrize("seed", range(3))
def test_standard_error_and_interval_of_a_mean_agree_with_a_bootstrap(seed: int) -> None:
    values = np.random.default_rng(seed).normal(0.42, 0.02, 40)
    sd = float(values.std(ddof=1))
    ours = Summary("duty_factor", "near_hind", "1", float(values.mean()), sd, sd / np.sqrt(40), 100 * sd / 0.42, 40)
    drawn = stats.bootstrap((values,), np.mean, n_resamples=4000, rng=np.random.default_rng(seed))
    assert ours.sem == pytest.approx(drawn.standard_error, rel=0.06)
    low, high = drawn.confidence_interval
    assert half_interval(ours) == pytest.approx((high - low) / 2, rel=0.08)


def test_half_interval_holds_the_mean_in_95_of_100_cases() -> None:
    rng = np.random.default_rng(4)
    draws = rng.normal(0.0, 1.0, (4000, 8))
    sd = draws.std(axis=1, ddof=1)
    half = [half_interval(Summary("duty_factor", "", "1", 0.0, s, s / np.sqrt(8), np.nan, 8)) for s in sd]
    held = float(np.mean(np.abs(draws.mean(axis=1)) <= half))
    assert held == pytest.approx(0.95, abs=3 * np.sqrt(0.95 * 0.05 / 4000))


def _named(sd_ms: float, draws: int) -> tuple[list[str], list[str]]:
    """True and found names of strides whose events are off by sd_ms, the doubt that is said of them."""
    true, found = [], []
    for number, (name, pattern) in enumerate(PATTERNS.items()):
        rng = np.random.default_rng(number)
        clean = square_contacts(pattern, strides=draws, sd_ms=sd_ms)
        off = rng.normal(0, sd_ms / 1e3, (2, len(clean)))
        contacts = replace(clean, touchdown_s=clean.touchdown_s + off[0], liftoff_s=clean.liftoff_s + off[1])
        rows = list_rows(contacts)
        hind = np.flatnonzero((rows.paw == 2) & np.isfinite(rows.end_s))[1:-1]
        names = name_strides(footfalls_of(contacts, rows, hind), NamingSettings(), seed=number).gait
        true += [name] * len(names)
        found += names.tolist()
    return true, found


@pytest.mark.parametrize("sd_ms", [2.0, 5.0, 8.0], ids=["2 ms", "5 ms", "8 ms"])
def test_named_strides_are_named_right(sd_ms: float) -> None:
    true, found = _named(sd_ms, 60)
    kept = [(t, f) for t, f in zip(true, found, strict=True) if f != "unclear"]
    assert len(kept) > 0.6 * len(true)
    assert accuracy_score(*zip(*kept, strict=True)) >= 0.99
    if sd_ms == 2.0:
        table = confusion_matrix(true, found, labels=list(PATTERNS), normalize="true")
        assert np.diag(table).min() > 0.95


#: One dog marked where it was found.
ONE, FULL = np.ones(1), np.ones((1, 6))
RIGHT = judge(Answers(DOG_PX[None], 2 * FULL, np.ones((1, 2), bool), ONE, DOG_PX[None], FULL, ONE))


def test_share_named_right_is_the_accuracy() -> None:
    rng = np.random.default_rng(1)
    clips, true, found = [], [], []
    for n in range(5):
        right, wrong = int(rng.integers(1, 9)), int(rng.integers(0, 4))
        names = {"right": right, "wrong": wrong, "unclear": 1, "dropped": 2}
        clips.append(Compared(str(n), "Ash", trotting(0.5), RIGHT, ONE, ONE, 2, names, 0.0))
        true += ["trot"] * (right + wrong)
        found += ["trot"] * right + ["pace"] * wrong
    assert FIGURES["names_right_percent"](clips) / 100 == pytest.approx(accuracy_score(true, found))


def test_error_of_scores_is_that_of_the_calibration_curve() -> None:
    rng = np.random.default_rng(2)
    marked = rng.uniform(0, 100, (300, 6, 2))
    marked[:, 4], marked[:, 5] = [150.0, 0.0], [50.0, 0.0]
    found = marked + rng.normal(0, 4, marked.shape)
    score = rng.uniform(0, 1, (300, 6))
    sure, facing = np.ones((300, 2), bool), np.ones(300)
    judged = judge(Answers(marked, np.full((300, 6), 2), sure, facing, found, score, facing))
    right = (judged.error <= 0.05).ravel()
    true_share, mean_score = calibration_curve(right, score.ravel(), n_bins=10)
    count = np.histogram(score, np.linspace(0, 1, 11))[0]
    wanted = (np.abs(true_share - mean_score) * count).sum() / count.sum()
    assert score_error(judged)["expected_error"] == pytest.approx(wanted, abs=1e-4)
