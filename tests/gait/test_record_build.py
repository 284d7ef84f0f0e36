"""The record as a whole: rows, reasons, runs, summaries, checks, errors."""

import dataclasses

import numpy as np
import pytest
from generator import AMBLE, PACE, TROT, WALK, Scene, dog, replaced

from gait.errors import TooFewStridesError
from gait.measures import MEASURES, NAMES, measure
from gait.record import build_record
from gait.settings import GaitSettings
from gait.trial import Trial
from pose.tracks import Tracks

REASONS = {"", "gap", "truncated", "low_score", "sides_unsure", "belt_changing", "not_steady", "outlier"}
CLEAN = Scene(noise_bl=0.01, swing="hard")


def test_every_stride_is_a_row_with_a_name_or_a_reason() -> None:
    strides = build_record(dog(TROT, CLEAN)[0], Trial()).strides
    assert set(strides.dropped) <= REASONS
    assert ((strides.gait == "") == (strides.dropped != "")).all()
    assert (np.isnan(strides.gait_probability) == (strides.gait == "")).all()
    assert (np.diff(np.nan_to_num(strides.start_s, nan=-1.0)) >= 0).all()
    for paw in range(4):
        assert strides.used[strides.paw == paw].sum() >= 13


def test_columns_are_those_of_the_table_of_measures() -> None:
    strides = build_record(dog(TROT, CLEAN)[0], Trial()).strides
    assert set(strides.measures) == set(strides.measures_sd) == set(NAMES)


@pytest.mark.parametrize("entry", MEASURES, ids=NAMES)
def test_each_measure_is_on_the_rows_that_it_claims(entry: object) -> None:
    record = build_record(dog(WALK, CLEAN)[0], Trial(belt_m_s=1.2, withers_cm=55))
    used, column = record.strides.used, record.strides.measures[entry.name]  # type: ignore[attr-defined]
    fore = record.strides.paw < 2
    claimed = {"all": np.ones_like(fore), "fore": fore, "hind": ~fore}[entry.paws]  # type: ignore[attr-defined]
    leads = entry.name.endswith("_lead_near")  # type: ignore[attr-defined]
    assert np.isfinite(column[used & claimed]).mean() > 0.85 if not leads else np.isnan(column).all()
    assert np.isnan(column[used & ~claimed]).all()
    assert entry.label and entry.unit and entry.definition and entry.source  # type: ignore[attr-defined]


def test_known_values_come_back() -> None:
    record = build_record(dog(WALK, CLEAN)[0], Trial(belt_m_s=1.2))
    mean = {(s.measure, s.paw): s.mean for s in record.summaries}
    # hind print - fore print = (-0.5 - 0.45) bl - v x 0.2 T, and one stride length on; v T = 0.9 bl / 0.62;
    # near side scale 0.96 of the mean (derived from the generator)
    expected = {
        "stride_time_s": (0.7, 0.005),
        "duty_factor": (0.62, 0.02),
        "limb_phase_near": (0.2, 0.01),
        "limb_phase_far": (0.2, 0.01),
        "hind_lag": (0.5, 0.01),
        "fore_lag": (0.5, 0.01),
        "diagonal_advance": (0.3, 0.015),
        "topline_deg": (1.72, 0.3),
        "topline_range_deg": (0.0, 3.0),
        "reach_ratio": (1.0, 0.05),
        "speed_m_s": (1.2, 0.02),
        "paws_down_2": (0.52, 0.08),
        "paws_down_3": (0.48, 0.08),
        "drift_bl_s": (0.0, 0.02),
        "tracking_up_bl": (0.203, 0.03),
        "withers_second_share": (0.9, 0.15),
    }
    for name, (value, tolerance) in expected.items():
        assert mean[name, "near_hind"] == pytest.approx(value, abs=tolerance), name


def test_tracking_up_is_hind_print_minus_fore_print() -> None:
    record = build_record(dog(WALK, CLEAN)[0], Trial())
    c = record.contacts
    # the print of the near fore that the near hind comes to: the nearest on the belt
    fore, hind = c.print_px[c.paw == 0], c.print_px[c.paw == 2]
    gaps = np.array([h - fore[np.argmin(np.abs(fore - h))] for h in hind]) / record.body_length_px
    column = record.strides.measures["tracking_up_bl"][record.strides.used & (record.strides.paw == 2)]
    assert np.nanmedian(column) == pytest.approx(np.median(gaps), abs=0.05)


def test_gait_change_is_told_with_its_stride() -> None:
    record = build_record(dog([(PACE, 6), (TROT, 8)], Scene(noise_bl=0.01, swing="hard"))[0], Trial())
    assert [run.gait for run in record.runs] == ["pace", "trot"]
    pace, trot = record.runs
    assert 4 <= pace.strides <= 6 and 5 <= trot.strides <= 8
    assert trot.first_stride > pace.first_stride + pace.strides - 1
    assert trot.steps_to <= 3
    assert trot.start_s >= pace.end_s - 1e-6


def test_runs_follow_the_far_hind_where_the_near_one_has_no_name() -> None:
    tracks, _ = dog(WALK, CLEAN)
    score = np.full((len(tracks), 6), 0.9)
    score[:, 2] = 0.3
    record = build_record(replaced(tracks, score=score), Trial())
    assert set(record.strides.gait[record.strides.paw == 2]) == {""}
    assert [run.gait for run in record.runs] == ["walk"]


def test_left_and_right_are_the_mean_of_the_used_strides() -> None:
    record = build_record(dog(TROT, CLEAN)[0], Trial())
    rows = record.strides.used & record.strides_of("far_fore")
    summary = next(s for s in record.summaries if s.measure == "duty_factor" and s.paw == "far_fore")
    values = record.strides.measures["duty_factor"][rows]
    assert summary.n == len(values)
    assert summary.mean == pytest.approx(values.mean())
    assert summary.sd == pytest.approx(values.std(ddof=1))
    assert summary.cv == pytest.approx(100 * summary.sd / summary.mean)
    assert summary.sem == pytest.approx(summary.sd / np.sqrt(summary.n))


def test_limb_phases_round_zero_are_averaged_on_the_circle() -> None:
    record = build_record(dog(dataclasses.replace(PACE, limb_phase=0.0), CLEAN)[0], Trial())
    summary = next(s for s in record.summaries if s.measure == "limb_phase" and s.paw == "near_hind")
    assert abs((summary.mean + 0.5) % 1 - 0.5) < 0.02 and summary.sd < 0.03


def test_a_good_clip_is_graded_good() -> None:
    record = build_record(dog(WALK, Scene(noise_bl=0.01, seconds=10))[0], Trial())
    assert [check.name for check in record.checks if not check.passed] == []
    assert record.grade == "good" and record.notices == ()
    assert all(check.advice == "" for check in record.checks)


CARE = {
    "frames per second": Scene(fps=30, seconds=10),
    "camera level": Scene(slope_deg=8, seconds=10),
    "strides used": Scene(seconds=4),
    "camera square-on": Scene(far_scale=0.7, seconds=10),
}


@pytest.mark.parametrize("check", CARE)
def test_what_is_wrong_is_named_with_advice(check: str) -> None:
    record = build_record(dog(WALK, CARE[check])[0], Trial())
    failed = {c.name: c for c in record.checks if not c.passed}
    assert check in failed and failed[check].advice
    assert record.grade == "usable with care"


@pytest.mark.parametrize("facing", ["left", "right"])
@pytest.mark.parametrize(("entered_deg", "level"), [(8.0, True), (-8.0, False), (None, False)])
def test_a_belt_incline_that_was_entered_is_no_tilt(facing: str, entered_deg: float | None, level: bool) -> None:
    """Uphill: what the dog walks up, whichever way it faces. The wrong way round it is a tilt of twice as much."""
    uphill = Scene(slope_deg=8, seconds=10, noise_bl=0.01, facing=facing)  # type: ignore[arg-type]
    record = build_record(dog(WALK, uphill)[0], Trial(incline_deg=entered_deg))
    assert ("camera level" not in [c.name for c in record.checks if not c.passed]) == level


def test_a_facing_that_the_landmarks_deny_is_said() -> None:
    record = build_record(dog(WALK, Scene(facing="left", pan_px_s=0))[0], Trial(facing="left"))
    assert not any("faces" in notice for notice in record.notices)
    with pytest.raises(TooFewStridesError):
        build_record(dog(WALK, Scene(facing="left"))[0], Trial(facing="right"))


def _standing(seconds: float = 4.0, seed: int = 0) -> Tracks:
    tracks, _ = dog(WALK, Scene(seconds=seconds))
    still = np.repeat(tracks.xy_px[5:6], len(tracks), axis=0)
    return replaced(tracks, xy_px=still + 0.5 * np.random.default_rng(seed).standard_normal(still.shape))


def test_a_standing_dog_stands() -> None:
    record = build_record(_standing(), Trial())
    assert [run.gait for run in record.runs] == ["stand"]
    assert record.runs[0].end_s - record.runs[0].start_s > 3
    assert len(record.strides) == 0 and record.grade == "film again"
    assert np.isfinite(record.topline_deg).all()
    assert any("stands" in notice for notice in record.notices)


def test_a_standing_dog_with_a_paw_never_seen() -> None:
    tracks = _standing()
    xy = tracks.xy_px.copy()
    xy[:, 3] = np.nan
    record = build_record(replaced(tracks, xy_px=xy), Trial())
    assert np.isnan(record.ground_px[:, 3]).all() and record.runs[0].gait == "stand"


def test_a_dog_that_stands_and_then_walks() -> None:
    walk, _ = dog(WALK, Scene(noise_bl=0.005, seconds=5))
    still = np.repeat(walk.xy_px[:1], 150, axis=0) + 0.5 * np.random.default_rng(0).standard_normal((150, 6, 2))
    xy = np.concatenate([still, walk.xy_px])
    t = np.arange(len(xy)) / 60
    tracks = Tracks(np.arange(len(xy)), t, xy, np.full((len(xy), 6), np.nan), np.zeros((len(xy), 6), dtype=bool))
    assert [run.gait for run in build_record(tracks, Trial()).runs] == ["stand", "walk"]


def _few(tracks: Tracks, count: int) -> Tracks:
    return Tracks(*(getattr(tracks, n)[:count] for n in ("frame", "t_s", "xy_px", "score", "hidden", "side_score")))


def _paws_gone(tracks: Tracks) -> Tracks:
    xy = tracks.xy_px.copy()
    xy[:, :4] = np.nan
    return replaced(tracks, xy_px=xy)


NOTHING = {
    "two frames": (lambda t: _few(t, 2), "2 frames"),
    "a quarter of a stride": (lambda t: _few(t, 14), "rhythm"),
    "no paw": (_paws_gone, "rhythm"),
    "no landmark": (lambda t: replaced(t, xy_px=np.full_like(t.xy_px, np.nan)), "withers and croup"),
}


@pytest.mark.parametrize("case", NOTHING)
def test_nothing_to_say_is_an_error_that_says_so(case: str) -> None:
    spoil, words = NOTHING[case]
    with pytest.raises(TooFewStridesError, match=words):
        build_record(spoil(dog(WALK, Scene())[0]), Trial())


def test_settings_and_versions_travel_with_the_record() -> None:
    settings = dataclasses.replace(GaitSettings(), passes=2)
    record = build_record(dog(AMBLE, CLEAN)[0], Trial(), settings, network_hash="abc")
    assert record.settings["passes"] == 2 and record.settings["naming"]["draws"] == 256
    assert {"pawfall", "numpy", "scipy"} <= set(record.versions)
    assert record.network_hash == "abc"


def test_arrays_for_figures_have_one_row_per_frame() -> None:
    tracks, _ = dog(TROT, CLEAN)
    record = build_record(tracks, Trial())
    assert record.ground_px.shape == record.forward_bl.shape == (len(tracks), 4)
    assert record.topline_deg.shape == (len(tracks),)
    assert np.nanmax(record.forward_bl[:, 0]) == pytest.approx(0.45 + TROT.travel / 2, abs=0.08)


def test_an_unknown_measure_is_named() -> None:
    assert measure("duty_factor").label == "duty factor"
    with pytest.raises(KeyError, match="paw_count"):
        measure("paw_count")
