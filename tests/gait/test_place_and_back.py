"""Place on the belt, excursions in both units, and means that go round a circle."""

import numpy as np
import pytest
from generator import BOUND, PACE, TROT, WALK, Scene, dog, replaced

from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial

CLEAN = Scene(noise_bl=0.005, swing="hard")
#: px, where the generator puts the middle of the picture; its dogs stand there.
MIDDLE_PX, LENGTH_PX = 320.0, 160.0


def _mean(record: GaitRecord, name: str, paw: str = "near_hind") -> float:
    return next(s.mean for s in record.summaries if (s.measure, s.paw) == (name, paw))


@pytest.mark.parametrize("ahead_px", [0.0, 120.0, -120.0], ids=["middle", "in front", "behind"])
@pytest.mark.parametrize("facing", ["right", "left"])
def test_place_is_that_in_the_picture(facing: str, ahead_px: float) -> None:
    sign = 1.0 if facing == "right" else -1.0
    tracks, _ = dog(TROT, Scene(noise_bl=0.005, swing="hard", facing=facing))
    moved = replaced(tracks, xy_px=tracks.xy_px + np.array([sign * ahead_px, 0.0]))
    wanted = (sign * MIDDLE_PX + ahead_px) / LENGTH_PX
    assert _mean(build_record(moved, Trial()), "place_bl") == pytest.approx(wanted, abs=0.02)


def test_two_places_differ_by_how_far_the_dog_moved_up() -> None:
    tracks, _ = dog(WALK, CLEAN)
    ahead = replaced(tracks, xy_px=tracks.xy_px + np.array([80.0, 0.0]))
    places = [_mean(build_record(t, Trial()), "place_bl") for t in (tracks, ahead)]
    assert places[1] - places[0] == pytest.approx(80.0 / LENGTH_PX, abs=0.01)


def test_a_camera_that_follows_leaves_place_and_drift_unknown() -> None:
    record = build_record(dog(WALK, Scene(noise_bl=0.005, pan_px_s=-60.0))[0], Trial())
    assert any("travels" in notice for notice in record.notices)
    for name in ("place_bl", "drift_bl_s"):
        assert np.isnan(record.strides.measures[name]).all()
    assert np.isfinite(record.strides.measures["topline_deg"]).any()


@pytest.mark.parametrize("top", ["withers", "croup"])
def test_excursion_in_metres_and_body_lengths(top: str) -> None:
    # a sine of amplitude a rises and falls by 2 a; the mean of near and far scale is 0.96 of the near one
    record = build_record(dog(TROT, Scene(noise_bl=0.0, swing="hard", bounce_bl=0.03))[0], Trial(belt_m_s=2.0))
    assert _mean(record, f"{top}_excursion_bl") == pytest.approx(0.06, abs=0.006)
    ratio = _mean(record, f"{top}_excursion_m") / _mean(record, f"{top}_excursion_bl")
    belt_bl_s = 0.96 * TROT.travel / (TROT.duty_hind * TROT.stride_s)
    assert ratio == pytest.approx(2.0 / belt_bl_s, rel=0.02)


def test_metres_are_unknown_without_a_scale() -> None:
    record = build_record(dog(TROT, CLEAN)[0], Trial())
    assert np.isnan(record.strides.measures["withers_excursion_m"]).all()


def test_a_pace_lands_each_fore_half_a_stride_from_the_other_hind() -> None:
    # diagonal advance of a pace lies about -0.5 and 0.5 in turn, which is one place on the circle
    record = build_record(dog(PACE, Scene(noise_bl=0.01, spread=0.02))[0], Trial())
    assert abs(_mean(record, "diagonal_advance")) == pytest.approx(0.5 - PACE.limb_phase, abs=0.02)
    summary = next(s for s in record.summaries if (s.measure, s.paw) == ("diagonal_advance", "near_hind"))
    assert summary.sd < 0.06


def test_a_bound_lands_its_pairs_together_however_lags_scatter_about_nought() -> None:
    record = build_record(dog(BOUND, Scene(noise_bl=0.01, spread=0.03))[0], Trial())
    column = record.strides.measures["hind_lag"][record.strides.used & (record.strides.paw == 2)]
    assert (column > 0.9).any() and (column < 0.1).any()
    assert abs((_mean(record, "hind_lag") + 0.5) % 1 - 0.5) < 0.05


def test_steadiness_is_told_of_measures_with_a_zero_alone() -> None:
    record = build_record(dog(TROT, CLEAN)[0], Trial())
    steady = {s.measure for s in record.summaries if np.isfinite(s.cv)}
    assert {"stride_time_s", "duty_factor", "stride_length_bl", "reach_bl"} <= steady
    assert not steady & {"topline_deg", "limb_phase", "place_bl", "protraction_deg", "drift_bl_s", "paws_down_2"}
