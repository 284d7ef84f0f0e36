"""How far paws travel, against the drawn dog's own path: reach, limb angles, tracking up, prints, harmonics."""

import numpy as np
import pytest
from generator import AMBLE, PACE, TROT, WALK, Pattern, Scene, dog

from gait.body import FORWARD
from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial
from pose.landmarks import CROUP, PAWS, WITHERS

CLEAN = Scene(swing="hard", bounce_bl=0.0, seconds=6)
#: Body lengths, where the generator's paws stand at mid-stance and its topline points lie.
PLACE = {"fore": 0.45, "hind": -0.5}
TOP = {"fore": (0.5, 0.95), "hind": (-0.5, 0.98)}
#: Body lengths of the trunk, which lies between the sides, per body length of the near side.
TRUNK = (1 + CLEAN.far_scale) / 2
each_gait = pytest.mark.parametrize("pattern", [WALK, AMBLE, PACE, TROT], ids=["walk", "amble", "pace", "trot"])


def _mean(record: GaitRecord, name: str, paw: str) -> float:
    return next(s.mean for s in record.summaries if (s.measure, s.paw) == (name, paw))


def _speed(pattern: Pattern) -> float:
    """Body lengths per s."""
    return pattern.travel / (pattern.duty_hind * pattern.stride_s)


@each_gait
@pytest.mark.parametrize("paw", ["near_fore", "near_hind"])
def test_reach_is_that_of_the_drawn_path(pattern: Pattern, paw: str) -> None:
    fine, _ = dog(pattern, Scene(swing="hard", bounce_bl=0.0, seconds=3, fps=1000))
    middle = (fine.xy_px[:, WITHERS, FORWARD] + fine.xy_px[:, CROUP, FORWARD]) / 2
    wanted = np.ptp(fine.xy_px[:, PAWS.index(paw), FORWARD] - middle) / CLEAN.length_px
    record = build_record(dog(pattern, CLEAN)[0], Trial())
    assert _mean(record, "reach_bl", paw) == pytest.approx(wanted * TRUNK, rel=0.03)


@each_gait
@pytest.mark.parametrize("pair", ["fore", "hind"])
def test_limb_angles_at_touchdown_and_lift_off(pattern: Pattern, pair: str) -> None:
    half = _speed(pattern) * pattern.stride_s * (pattern.duty_fore if pair == "fore" else pattern.duty_hind) / 2
    (x, height), place = TOP[pair], PLACE[pair]
    landing = np.degrees(np.arctan((place + half - x) / height))
    leaving = np.degrees(np.arctan((place - half - x) / height))
    record = build_record(dog(pattern, CLEAN)[0], Trial())
    paw = f"near_{pair}"
    assert _mean(record, "protraction_deg", paw) == pytest.approx(landing, abs=1.0)
    assert _mean(record, "retraction_deg", paw) == pytest.approx(-leaving, abs=1.0)
    assert _mean(record, "sweep_deg", paw) == pytest.approx(landing - leaving, abs=1.5)


PACES = [Pattern(0.55, 0.44, 0.45, phase) for phase in (-0.04, -0.01, 0.01, 0.04)]
STEPS = {"walk": WALK, "amble": AMBLE, "trot": TROT} | {f"pace, fore {p.limb_phase:+} of a stride": p for p in PACES}


@pytest.mark.parametrize("pattern", STEPS.values(), ids=STEPS.keys())
def test_tracking_up_is_hind_print_minus_the_fore_print_before_it(pattern: Pattern) -> None:
    """Prints lie under mid-stance; a pace does not jump where fore and hind land together."""
    stride = _speed(pattern) * pattern.stride_s
    hind = PLACE["hind"] + stride * pattern.duty_hind / 2
    fore = PLACE["fore"] + stride * (pattern.limb_phase - 1 + pattern.duty_fore / 2)
    record = build_record(dog(pattern, CLEAN)[0], Trial())
    column = record.strides.measures["tracking_up_bl"][record.strides.used & (record.strides.paw == 2)]
    known = column[np.isfinite(column)]
    assert len(known) >= len(column) - 1
    assert known == pytest.approx(np.full(len(known), (hind - fore) * TRUNK), abs=0.03)


@each_gait
def test_all_four_paws_have_one_stride_length(pattern: Pattern) -> None:
    record = build_record(dog(pattern, CLEAN)[0], Trial())
    lengths = [_mean(record, "stride_length_bl", paw) for paw in PAWS]
    assert lengths == pytest.approx([_speed(pattern) * pattern.stride_s * TRUNK] * 4, rel=0.015)
    check = next(c for c in record.checks if c.name == "fore and hind stride length agree")
    assert check.passed and check.value < 0.03


@pytest.mark.parametrize("bounce_bl", [0.02, 0.05])
def test_a_back_that_rises_twice_a_stride_has_all_its_movement_there(bounce_bl: float) -> None:
    record = build_record(dog(TROT, Scene(bounce_bl=bounce_bl))[0], Trial())
    for top in ("withers", "croup"):
        assert _mean(record, f"{top}_second_share", "near_hind") > 0.97
        assert _mean(record, f"{top}_excursion_bl", "near_hind") == pytest.approx(2 * bounce_bl, rel=0.1)
