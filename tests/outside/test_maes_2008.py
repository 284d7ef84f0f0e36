"""Maes et al. 2008, J Exp Biol 211:138 (as quoted by others, paper not opened).

Lateral walk: pair lag 0.807 + 0.030 u of the cycle at u m/s (appendix 1); limb phase = 1 - pair lag. Pace: pair lag
96 +/- 3 %, trot 50 +/- 4 %.
"""

import pytest
from generator import Pattern, name_of


@pytest.mark.parametrize("speed_m_s", [0.5, 1.0, 1.5])
def test_lateral_walk_is_a_walk(speed_m_s: float) -> None:
    pair_lag = 0.807 + 0.030 * speed_m_s
    assert name_of(Pattern(0.8, 0.63, 0.63, 1 - pair_lag)) == "walk"


@pytest.mark.parametrize("pair_lag", [0.93, 0.96, 0.99])
def test_pace(pair_lag: float) -> None:
    assert name_of(Pattern(0.5, 0.45, 0.45, 1 - pair_lag)) == "pace"


@pytest.mark.parametrize("pair_lag", [0.46, 0.50, 0.54])
def test_trot(pair_lag: float) -> None:
    assert name_of(Pattern(0.5, 0.45, 0.45, 1 - pair_lag)) == "trot"
