"""The belt as standing paws show it."""

import numpy as np
import pytest
from generator import ROTARY, TROT, WALK, Pattern, Scene, dog

from gait.belt import _course, stances_of
from gait.record import build_record
from gait.trial import Trial

SPEED_TOLERANCE = 0.02  # share of the speed, at 1.5 % noise


@pytest.mark.parametrize("far_scale", [0.8, 0.92, 1.0])
@pytest.mark.parametrize("pattern", [WALK, TROT], ids=["walk", "trot"])
def test_near_and_far_speed(pattern: Pattern, far_scale: float) -> None:
    tracks, truth = dog(pattern, Scene(noise_bl=0.015, far_scale=far_scale))
    belt = build_record(tracks, Trial()).belt
    assert belt.speed_px_s == pytest.approx(truth.speed_px_s, rel=SPEED_TOLERANCE)
    assert (belt.speed_sd_px_s < 0.02 * belt.speed_px_s).all()
    assert belt.steady


def test_a_gallop_has_short_stances() -> None:
    tracks, truth = dog(ROTARY, Scene(noise_bl=0.015))
    assert build_record(tracks, Trial()).belt.speed_px_s == pytest.approx(truth.speed_px_s, rel=SPEED_TOLERANCE)


@pytest.mark.parametrize("facing", ["left", "right"])
@pytest.mark.parametrize("slope", [-6.0, 0.0, 4.0])
def test_slope_is_told_in_the_picture(slope: float, facing: str) -> None:
    belt = build_record(dog(WALK, Scene(noise_bl=0.01, slope_deg=slope, facing=facing))[0], Trial()).belt
    rising_right = slope if facing == "right" else -slope
    assert belt.angle_deg == pytest.approx(rising_right, abs=0.7)


def test_an_absurd_slope_is_not_taken_out() -> None:
    belt = build_record(dog(WALK, Scene(noise_bl=0.01, slope_deg=25.0))[0], Trial()).belt
    assert abs(belt.angle_deg) <= 15.0


def test_scale_from_the_belt() -> None:
    tracks, truth = dog(TROT, Scene(noise_bl=0.01))
    belt = build_record(tracks, Trial(belt_m_s=2.4)).belt
    assert belt.scale_source == "belt"
    assert belt.m_per_px == pytest.approx(2.4 / truth.speed_px_s, rel=SPEED_TOLERANCE)


def test_scale_from_the_withers() -> None:
    # withers stand 0.95 body lengths over the ground, 160 px per body length
    belt = build_record(dog(TROT, Scene(noise_bl=0.01, far_scale=1.0, far_rise_bl=0.0))[0], Trial(withers_cm=57.0)).belt
    assert belt.scale_source == "length"
    assert belt.m_per_px == pytest.approx(0.57 / (0.95 * 160), rel=0.03)


def test_no_scale_means_no_metres() -> None:
    record = build_record(dog(TROT, Scene(noise_bl=0.01))[0], Trial())
    assert record.belt.scale_source == "" and np.isnan(record.belt.m_per_px).all()
    assert np.isnan(record.strides.measures["stride_length_m"]).all()
    assert np.isfinite(record.strides.measures["stride_length_bl"][record.strides.used]).all()


@pytest.mark.parametrize(("withers_cm", "said"), [(57.0, False), (75.0, True)], ids=["they agree", "they do not"])
def test_two_scales_that_disagree_are_said(withers_cm: float, said: bool) -> None:
    tracks, truth = dog(TROT, Scene(noise_bl=0.01, far_scale=1.0, far_rise_bl=0.0))
    belt_m_s = 0.57 / (0.95 * 160) * truth.speed_px_s[0]
    notices = build_record(tracks, Trial(belt_m_s=belt_m_s, withers_cm=withers_cm)).notices
    assert any("disagree" in notice for notice in notices) == said


def test_an_unknown_clock_gives_no_metres() -> None:
    belt = build_record(dog(TROT, Scene(noise_bl=0.01))[0], Trial(belt_m_s=2.0, clock_known=False)).belt
    assert np.isnan(belt.m_per_px).all()


def test_stances_are_runs_of_frames() -> None:
    down = np.zeros((10, 4), dtype=bool)
    down[0:3, 0] = down[5:10, 0] = down[4, 2] = True
    stances = stances_of(down)
    assert stances.paw.tolist() == [0, 0, 2]
    assert stances.first.tolist() == [0, 5, 4]
    assert stances.last.tolist() == [2, 9, 4]


@pytest.mark.parametrize(("apart", "followed"), [(0.0, True), (0.3, False)], ids=["paws agree", "paws disagree"])
def test_a_belt_changes_only_where_its_paws_agree(apart: float, followed: bool) -> None:
    """The belt speeds up by a quarter. Paws that stand at the same time, each sure to 3 %, stand on the same belt:
    where they differ by far more, what they are sure of counts for little."""
    mid_s = np.repeat(np.arange(0.0, 9.0, 1.5), 2)
    share = 0.9 + 0.25 * mid_s / 9 + np.tile([apart, -apart], 6)
    course = _course(np.arange(0, 9, 0.05), mid_s, share, np.full(12, 0.03), 2.0)
    assert (np.ptp(course) > 0.05) == followed
