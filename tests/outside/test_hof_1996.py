"""Scaling to body size: Hof 1996, Gait Posture 4:222 (from memory, not read): length / l, time / sqrt(l / g),
speed / sqrt(g l). Two dogs of the same shape whose times go with the root of their size are the same dog.
"""

import numpy as np
import pytest
from generator import Pattern, Scene, dog

from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial

SMALL_M = 0.2
#: 1, withers height of the drawn dog in body lengths (generator).
WITHERS_BL = 0.95


def _record(size: float) -> GaitRecord:
    """A trotting dog ``size`` times as large, its stride sqrt(size) times as long."""
    pattern = Pattern(0.32 * np.sqrt(size), 0.43, 0.45, 0.46)
    speed = pattern.travel * size * SMALL_M / WITHERS_BL / (pattern.duty_hind * pattern.stride_s)
    scene = Scene(noise_bl=0.005, swing="hard", fps=120 / np.sqrt(size), seconds=6 * np.sqrt(size))
    return build_record(dog(pattern, scene)[0], Trial(belt_m_s=speed, withers_cm=100 * size * SMALL_M))


@pytest.mark.parametrize("size", [2.0, 4.0], ids=["twice as large", "four times as large"])
def test_similar_dogs_have_equal_dimensionless_numbers(size: float) -> None:
    small, large = ({s.measure: s.mean for s in r.summaries if s.paw == "near_hind"} for r in map(_record, (1, size)))
    for name in ("speed_dimensionless", "froude", "duty_factor", "limb_phase", "stride_length_bl", "reach_bl"):
        assert large[name] == pytest.approx(small[name], rel=0.01), name
    for name, power in {"stride_length_m": 1.0, "speed_m_s": 0.5, "stride_time_s": 0.5, "stride_rate_hz": -0.5}.items():
        assert large[name] == pytest.approx(small[name] * size**power, rel=0.01), name


def test_walking_trials_of_dogs_lie_where_they_were_found() -> None:
    # Piazza et al. 2017, Am J Vet Res 78:500 (abstract; formula from memory): walking at 0.33-0.46 of sqrt(g x withers)
    height_m, speed = 0.58, 1.0
    pattern = Pattern(0.72, 0.62, 0.62, 0.16, travel=speed * 0.62 * 0.72 / (height_m / WITHERS_BL))
    record = build_record(
        dog(pattern, Scene(noise_bl=0.005, swing="hard"))[0], Trial(belt_m_s=speed, withers_cm=100 * height_m)
    )
    found = next(s.mean for s in record.summaries if s.measure == "speed_dimensionless" and s.paw == "near_hind")
    assert found == pytest.approx(1.0 / np.sqrt(9.81 * 0.58), rel=0.02)
    assert 0.33 <= found <= 0.46
