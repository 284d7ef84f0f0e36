"""Near against far: told only above the error of the two sides."""

import numpy as np
import pytest
from generator import TROT, WALK, Scene, dog

from gait.measures import NAMES, measure
from gait.nouns import Strides
from gait.record import build_record
from gait.symmetry import COMPARED, compare_sides, symmetry_angle, symmetry_index
from gait.trial import Trial


def _strides(near: list[float], far: list[float], doubt: float, *, dropped: str = "") -> Strides:
    """Strides of the hind pair with these duty factors; every other measure unknown."""
    count = len(near) + len(far)
    measures = {name: np.full(count, np.nan) for name in NAMES}
    sds = {name: np.full(count, np.nan) for name in NAMES}
    measures["duty_factor"], sds["duty_factor"] = np.array([*near, *far]), np.full(count, doubt)
    start, words = np.arange(count, dtype=float), np.full(count, "trot")
    paw = np.array([2] * len(near) + [3] * len(far))
    reason = np.full(count, dropped)
    return Strides(paw, start, start + 1, words, np.ones(count), np.full(count, ""), reason, measures, sds)


def test_a_difference_above_the_error_is_told_with_both_indices() -> None:
    (found,) = compare_sides(_strides([0.50, 0.50, 0.50], [0.40, 0.40, 0.40], 0.01))
    assert (found.measure, found.pair, found.unit) == ("duty_factor", "hind", "1")
    assert (found.near, found.far) == pytest.approx((0.5, 0.4))
    assert found.error == pytest.approx(1.96 * 0.01 * np.sqrt(2))
    assert found.symmetry_index == pytest.approx(symmetry_index(0.5, 0.4))
    assert found.symmetry_angle == pytest.approx(symmetry_angle(0.5, 0.4))


@pytest.mark.parametrize(
    ("near", "far", "doubt"),
    [
        ([0.50, 0.50], [0.48, 0.48], 0.01),
        ([0.40, 0.60], [0.30, 0.50], 0.001),
        ([0.50, 0.50], [0.30, 0.30], np.nan),
    ],
    ids=["within the doubt of events", "within the scatter of strides", "doubt not known"],
)
def test_a_difference_that_the_footage_cannot_show_is_not_told(
    near: list[float], far: list[float], doubt: float
) -> None:
    (found,) = compare_sides(_strides(near, far, doubt))
    assert np.isnan(found.symmetry_index) and np.isnan(found.symmetry_angle)
    assert found.near == pytest.approx(np.mean(near)) and found.far == pytest.approx(np.mean(far))


@pytest.mark.parametrize(
    ("near", "far", "dropped"),
    [([0.5], [0.4, 0.4], ""), ([0.5, 0.5], [], ""), ([0.5, 0.5], [0.4, 0.4], "gap")],
    ids=["one stride on one side", "one side not seen", "all dropped"],
)
def test_too_few_strides_are_not_compared(near: list[float], far: list[float], dropped: str) -> None:
    assert compare_sides(_strides(near, far, 0.01, dropped=dropped)) == ()


def test_exchanging_near_and_far_turns_every_sign() -> None:
    (one,) = compare_sides(_strides([0.50, 0.51], [0.40, 0.41], 0.01))
    (other,) = compare_sides(_strides([0.40, 0.41], [0.50, 0.51], 0.01))
    assert (other.symmetry_index, other.symmetry_angle) == pytest.approx((-one.symmetry_index, -one.symmetry_angle))
    assert other.error == pytest.approx(one.error)


def test_nothing_against_nothing_is_not_known() -> None:
    assert np.isnan(symmetry_index(0.0, 0.0)) and np.isnan(symmetry_angle(0.0, 0.0))


def test_only_measures_with_a_zero_are_compared() -> None:
    assert all(measure(name).zero for name in COMPARED)


@pytest.mark.parametrize("pattern", [WALK, TROT], ids=["walk", "trot"])
def test_an_even_dog_shows_no_asymmetry(pattern: object) -> None:
    record = build_record(dog(pattern, Scene(noise_bl=0.015, seed=3))[0], Trial())  # type: ignore[arg-type]
    timed = [item for item in record.sides if np.isfinite(item.error)]
    assert len(timed) >= 8
    assert not [item for item in timed if np.isfinite(item.symmetry_index)]
