"""Trotting dogs on the ground: Humphries et al. 2020, PLOS ONE 15:e0239832, supplement S3.

As quoted by others, paper not opened; phases and duty factors of ten Labradors as recomputed by others from markers.

12 Labradors, 2.19 m/s: stride 0.50 s, duty factor 0.432, stride length 198.75 % of the withers height; 12 German
Shepherds, 2.45 m/s: 0.53 s, 0.437, 205.7 %. Touchdowns after the left hind: LF 0.443, RH 0.488, RF 0.936.
Withers heights follow from speed x stride time / relative length (derived): 0.551 m, 0.631 m.
"""

import pytest
from generator import Pattern, Scene, dog, name_of
from squares import exact

from gait.record import build_record
from gait.trial import Trial
from pose.landmarks import NEAR_FORE, NEAR_HIND

LF, RH, RF = 0.443, 0.488, 0.936
DUTY_FORE, DUTY_HIND = 0.456, 0.417
LABRADOR = (2.19, 0.50, 0.432, 1.9875)
SHEPHERD = (2.45, 0.53, 0.437, 2.057)
BREEDS = pytest.mark.parametrize(
    ("speed", "stride_s", "duty", "relative"), [LABRADOR, SHEPHERD], ids=["Labrador", "German Shepherd"]
)
#: 1, withers height of the drawn dog in body lengths (generator).
WITHERS_BL = 0.95


def test_touchdowns_and_duty_factors_come_back() -> None:
    pattern = Pattern(0.5, DUTY_HIND, DUTY_FORE, LF, RH, RF - LF)
    found = exact(pattern)
    assert found["limb_phase_near"] == pytest.approx(LF)
    assert found["limb_phase_far"] == pytest.approx(RF - RH)
    assert found["hind_lag"] == pytest.approx(RH)
    assert found["duty_factor"] == pytest.approx(DUTY_HIND)
    assert exact(pattern, NEAR_FORE)["duty_factor"] == pytest.approx(DUTY_FORE)
    # the fore of each diagonal pair lands 4-6 % of the stride before its hind: LF before RH, RF before LH
    assert found["diagonal_advance"] == pytest.approx(1 - RF)
    assert 0.04 < RH - found["limb_phase_near"] < 0.065
    assert name_of(pattern) == "trot"


@BREEDS
def test_breed_comes_back_from_landmarks(speed: float, stride_s: float, duty: float, relative: float) -> None:
    withers_m = speed * stride_s / relative
    travel = speed * duty * stride_s / (withers_m / WITHERS_BL)
    tracks, _ = dog(Pattern(stride_s, duty, duty, 0.45, travel=travel), Scene(noise_bl=0.005, swing="hard"))
    record = build_record(tracks, Trial(belt_m_s=speed, withers_cm=100 * withers_m))
    mean = {s.measure: s.mean for s in record.summaries if s.paw == "near_hind"}
    assert mean["stride_time_s"] == pytest.approx(stride_s, abs=0.005)
    assert mean["duty_factor"] == pytest.approx(duty, abs=0.02)
    assert mean["stride_length_m"] / withers_m == pytest.approx(relative, rel=0.01)
    assert mean["froude"] == pytest.approx(speed**2 / (9.81 * withers_m), rel=0.02)
    assert {run.gait for run in record.runs} == {"trot"}
    assert not [notice for notice in record.notices if "disagree" in notice]


@BREEDS
def test_withers_heights_are_those_of_the_breeds(speed: float, stride_s: float, duty: float, relative: float) -> None:
    # sanity: Labradors 0.54-0.57 m, German Shepherds 0.55-0.65 m (breed standards, from memory, not read)
    assert 0.54 <= speed * stride_s / relative <= 0.65
    assert exact(Pattern(stride_s, duty, duty, 0.5), NEAR_HIND)["paws_down_0"] == pytest.approx(2 * (0.5 - duty))
