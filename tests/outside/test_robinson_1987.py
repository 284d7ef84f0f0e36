"""Symmetry index: Robinson, Herzog & Nigg 1987, J Manipulative Physiol Ther 10:172 (formula as quoted by others, paper
not opened): (XR - XL) / half of their sum, in percent. The values are exact by arithmetic (derived).
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gait.symmetry import symmetry_index

#: XL / XR, index in percent.
VALUES = [(1.00, 0.0), (0.99, 1.005), (0.97, 3.046), (0.95, 5.128), (0.90, 10.526), (0.80, 22.222), (0.50, 66.667)]
POSITIVE = st.floats(1e-3, 1e3)


@pytest.mark.parametrize(("ratio", "index"), VALUES, ids=[f"left {ratio} of right" for ratio, _ in VALUES])
@pytest.mark.parametrize("right", [1.0, 0.43, 250.0])
def test_published_formula(ratio: float, index: float, right: float) -> None:
    assert symmetry_index(right, ratio * right) == pytest.approx(index, abs=5e-4)


@given(near=POSITIVE, far=POSITIVE)
def test_exchanging_the_sides_turns_the_sign(near: float, far: float) -> None:
    assert symmetry_index(far, near) == pytest.approx(-symmetry_index(near, far), rel=1e-12, abs=1e-12)
    assert abs(symmetry_index(near, far)) < 200


@pytest.mark.parametrize(
    ("left", "right", "index"),
    [(198.35, 199.16, 0.41), (206.27, 205.08, -0.58)],
    ids=["Labradors, stride length", "German Shepherds, stride length"],
)
def test_sound_dogs_are_within_one_percent(left: float, right: float, index: float) -> None:
    # stride lengths of Humphries et al. 2020, PLOS ONE 15:e0239832 (as quoted by others, paper not opened)
    assert symmetry_index(right, left) == pytest.approx(index, abs=0.005)
