"""Dogs of two sizes on a walkway at 0.9-1.1 m/s: Kano et al. 2016, BMC Vet Res 12:2.

Design read in the abstract; values as quoted by others, paper not opened.

15 dogs of about 22 kg walk: stride 0.73 s (1.37 Hz) and 0.74 m, stance fore 0.46 s, hind 0.45 s, swing 0.28 s, 0.30 s.
14 dogs of about 6.5 kg trot at the same speed: stride 0.44 s. Limb phases are not given; those of Maes et al. 2008,
J Exp Biol 211:138 (as quoted by others, paper not opened), stand in.
"""

import pytest
from generator import Pattern, Scene, dog, name_of
from squares import exact

from gait.record import build_record
from gait.trial import Trial
from pose.landmarks import NEAR_FORE, NEAR_HIND

STRIDE_S, RATE_HZ, LENGTH_M = 0.73, 1.37, 0.74
STANCE_S = {NEAR_FORE: 0.46, NEAR_HIND: 0.45}
SWING_S = {NEAR_FORE: 0.28, NEAR_HIND: 0.30}
SPEED_M_S = (0.9, 1.1)
SMALL_STRIDE_S = 0.44
#: s, what the published means disagree by: stance + swing is 0.74 s (fore) and 0.75 s (hind), the stride 0.73 s.
OWN_GAP_S = 0.02 + 1e-9
WALK = Pattern(STRIDE_S, STANCE_S[NEAR_HIND] / STRIDE_S, STANCE_S[NEAR_FORE] / STRIDE_S, 0.16)


@pytest.mark.parametrize("paw", [NEAR_FORE, NEAR_HIND], ids=["fore", "hind"])
def test_times_of_a_paw_come_back(paw: int) -> None:
    found = exact(WALK, paw)
    assert found["stride_rate_hz"] == pytest.approx(RATE_HZ, abs=0.005)
    assert found["stance_s"] == pytest.approx(STANCE_S[paw], abs=1e-9)
    assert found["swing_s"] == pytest.approx(SWING_S[paw], abs=OWN_GAP_S)
    assert 0.60 <= found["duty_factor"] <= 0.64


def test_speed_and_length_come_back_from_landmarks() -> None:
    tracks, _ = dog(WALK, Scene(noise_bl=0.005, swing="hard"))
    record = build_record(tracks, Trial(belt_m_s=LENGTH_M / STRIDE_S))
    mean = {s.measure: s.mean for s in record.summaries if s.paw == "near_hind"}
    assert mean["stride_length_m"] == pytest.approx(LENGTH_M, abs=0.01)
    assert mean["stride_rate_hz"] == pytest.approx(RATE_HZ, abs=0.01)
    assert SPEED_M_S[0] <= mean["speed_m_s"] <= SPEED_M_S[1]
    assert [run.gait for run in record.runs] == ["walk"]


def test_small_dogs_trot_at_the_speed_at_which_larger_ones_walk() -> None:
    # duty factor and phase of a trot: not given there
    assert name_of(Pattern(SMALL_STRIDE_S, 0.43, 0.44, 0.48)) == "trot"
    assert name_of(WALK) == "walk"
