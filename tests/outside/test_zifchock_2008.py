"""Symmetry angle: Zifchock et al. 2008, Gait Posture 27:622: (45 degrees - atan(XL / XR)) / 90 degrees, in percent,
brought back by 180 degrees when above 90 (formula from memory, not read; that it needs no reference value and gives
smaller numbers than the symmetry index was read there). The values are exact by arithmetic (derived).
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gait.symmetry import symmetry_angle, symmetry_index

#: XL / XR, angle in percent.
VALUES = [(1.00, 0.0), (0.99, 0.320), (0.97, 0.969), (0.95, 1.632), (0.90, 3.348), (0.80, 7.045), (0.50, 20.483)]
POSITIVE = st.floats(1e-3, 1e3)


@pytest.mark.parametrize(("ratio", "angle"), VALUES, ids=[f"left {ratio} of right" for ratio, _ in VALUES])
@pytest.mark.parametrize("right", [1.0, 0.43, 250.0])
def test_published_formula(ratio: float, angle: float, right: float) -> None:
    assert symmetry_angle(right, ratio * right) == pytest.approx(angle, abs=5e-4)


@given(near=POSITIVE, far=POSITIVE)
def test_it_goes_with_the_index_is_smaller_and_turns_sign_with_the_sides(near: float, far: float) -> None:
    angle, index = symmetry_angle(near, far), symmetry_index(near, far)
    assert abs(angle) <= abs(index) + 1e-9
    assert angle * index >= 0
    assert symmetry_angle(far, near) == pytest.approx(-angle, abs=1e-9)
    assert abs(angle) <= 50


@pytest.mark.parametrize(
    ("right", "left", "angle"),
    [(-1.0, 1.0, 100.0), (-1.0, 10.0, -56.345), (0.0, 1.0, -50.0), (1.0, 0.0, 50.0), (1.0, -1.0, 100.0)],
    ids=["opposite", "above 90 degrees", "nothing right", "nothing left", "opposite, left below 0"],
)
def test_values_that_differ_in_sign(right: float, left: float, angle: float) -> None:
    # 45 - atan(-10) = 45 + 84.289 = 129.289 degrees, above 90, less 180 = -50.711 degrees, over 90 = -56.345 %
    assert symmetry_angle(right, left) == pytest.approx(angle, abs=5e-4)
