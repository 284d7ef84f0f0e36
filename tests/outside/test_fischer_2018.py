"""Four breeds on a treadmill: Fischer, Lehmann & Andrada 2018, Sci Rep 8:16982 (as quoted by others, paper not opened).

Duty factor of the hind paws, two days each. Limb phases are not given: 0.16 for a walk and 0.50 for a trot (Maes et al.
2008, J Exp Biol 211:138, as quoted by others, paper not opened) stand in.
"""

import pytest
from generator import Pattern, name_of
from squares import exact

#: breed, gait, speed m/s, hind duty factor, its spread.
ROWS = [
    ("Malinois", "walk", 1.3, 0.58, 0.02),
    ("Malinois, second day", "walk", 1.2, 0.64, 0.02),
    ("Malinois", "trot", 2.3, 0.42, 0.03),
    ("Malinois, second day", "trot", 2.5, 0.42, 0.04),
    ("Whippet", "walk", 0.9, 0.60, 0.03),
    ("Whippet, second day", "walk", 1.0, 0.56, 0.06),
    ("Whippet", "trot", 1.7, 0.42, 0.05),
    ("Whippet, second day", "trot", 1.8, 0.41, 0.03),
    ("French Bulldog", "walk", 0.7, 0.63, 0.05),
    ("French Bulldog, second day", "walk", 0.8, 0.56, 0.06),
    ("French Bulldog", "trot", 1.4, 0.47, 0.03),
    ("French Bulldog, second day", "trot", 1.5, 0.41, 0.02),
    ("Beagle", "walk", 0.8, 0.60, 0.03),
    ("Beagle, second day", "walk", 1.0, 0.61, 0.03),
    ("Beagle", "trot", 1.6, 0.42, 0.07),
    ("Beagle, second day", "trot", 2.2, 0.39, 0.03),
]
PHASE = {"walk": 0.16, "trot": 0.50}
STRIDE_S = {"walk": 0.7, "trot": 0.5}
each_row = pytest.mark.parametrize(
    ("breed", "gait", "speed", "duty", "spread"), ROWS, ids=[f"{row[0]} {row[1]}" for row in ROWS]
)


@each_row
def test_duty_factor_and_name_come_back(breed: str, gait: str, speed: float, duty: float, spread: float) -> None:
    pattern = Pattern(STRIDE_S[gait], duty, duty, PHASE[gait], travel=speed * duty * STRIDE_S[gait])
    found = exact(pattern)
    assert found["duty_factor"] == pytest.approx(duty, abs=1e-9)
    assert found["stance_s"] == pytest.approx(duty * STRIDE_S[gait], abs=1e-9)
    assert name_of(pattern) == gait


@each_row
def test_a_dog_one_spread_off_the_mean_is_not_called_another_gait(
    breed: str, gait: str, speed: float, duty: float, spread: float
) -> None:
    for own in (duty - spread, duty + spread):
        # two walks reach a duty factor of 0.50, where a walk ends: they may be left unnamed
        wide = {"walk": {"walk", "unclear"} if own <= 0.5 else {"walk"}, "trot": {"trot", "walking trot"}}[gait]
        assert name_of(Pattern(STRIDE_S[gait], own, own, PHASE[gait])) in wide
