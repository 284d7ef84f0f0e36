"""The same dog filmed otherwise must give the same record."""

from collections.abc import Callable

import numpy as np
import pytest
from generator import PACE, ROTARY, TROT, WALK, Pattern, Scene, dog, replaced

from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial
from pose.table import read_table, write_table
from pose.tracks import Tracks

SCENE = Scene(noise_bl=0.012, spread=0.01, seconds=6)
GAITS = {"walk": WALK, "trot": TROT, "pace": PACE, "rotary gallop": ROTARY}


def _mirrored(tracks: Tracks) -> Tracks:
    return replaced(tracks, xy_px=tracks.xy_px * np.array([-1.0, 1.0]) + np.array([640.0, 0.0]))


CHANGES: dict[str, Callable[[Tracks], Tracks]] = {
    "mirrored": _mirrored,
    "shifted": lambda t: replaced(t, xy_px=t.xy_px + np.array([217.0, -41.0])),
    "three times as large": lambda t: replaced(t, xy_px=t.xy_px * 3.0),
    "a third as large": lambda t: replaced(t, xy_px=t.xy_px / 3.0),
    "an hour later": lambda t: replaced(t, t_s=t.t_s + 3600.0),
}


@pytest.mark.parametrize("change", CHANGES)
@pytest.mark.parametrize("gait", GAITS)
def test_nothing_changes(gait: str, change: str) -> None:
    tracks, _ = dog(GAITS[gait], SCENE)
    first, second = build_record(tracks, Trial()), build_record(CHANGES[change](tracks), Trial())
    later = 3600.0 if change == "an hour later" else 0.0
    assert second.contacts.touchdown_s - later == pytest.approx(first.contacts.touchdown_s, abs=2e-4, nan_ok=True)
    assert list(second.strides.gait) == list(first.strides.gait)
    assert list(second.strides.dropped) == list(first.strides.dropped)
    for name in ("duty_factor", "limb_phase", "stride_length_bl", "reach_bl", "tracking_up_bl", "topline_deg"):
        assert second.strides.measures[name] == pytest.approx(first.strides.measures[name], abs=2e-3, nan_ok=True)


@pytest.mark.parametrize("gait", GAITS)
def test_facing_is_found(gait: str) -> None:
    tracks, _ = dog(GAITS[gait], SCENE)
    assert build_record(tracks, Trial()).facing == "right"
    assert build_record(_mirrored(tracks), Trial()).facing == "left"


@pytest.mark.parametrize("gait", GAITS)
def test_the_table_on_disk_gives_the_same_record(gait: str, tmp_path: object) -> None:
    tracks, _ = dog(GAITS[gait], SCENE)
    path = f"{tmp_path}/landmarks.csv"
    write_table(tracks, path)
    again = build_record(read_table(path), Trial())
    first = build_record(tracks, Trial())
    assert again.contacts.touchdown_s == pytest.approx(first.contacts.touchdown_s, abs=1e-4, nan_ok=True)
    assert list(again.strides.gait) == list(first.strides.gait)
    assert list(again.strides.dropped) == list(first.strides.dropped)


def test_the_same_input_gives_the_same_record() -> None:
    tracks, _ = dog(TROT, SCENE)
    a, b = (build_record(tracks, Trial(), seed=3) for _ in range(2))
    assert np.array_equal(a.strides.gait_probability, b.strides.gait_probability, equal_nan=True)


@pytest.mark.parametrize("fps", [30, 50, 100, 240])
def test_measures_hardly_depend_on_the_frame_rate(fps: int) -> None:
    base = _means(build_record(dog(WALK, Scene(noise_bl=0.01, swing="hard"))[0], Trial()))
    other = _means(build_record(dog(WALK, Scene(noise_bl=0.01, swing="hard", fps=fps))[0], Trial()))
    for name, tolerance in {
        "stride_time_s": 0.005,
        "duty_factor": 0.02,
        "limb_phase": 0.015,
        "stride_length_bl": 0.02,
        "reach_bl": 0.03,
    }.items():
        assert other[name] == pytest.approx(base[name], abs=tolerance), name


def _means(record: GaitRecord) -> dict[str, float]:
    return {s.measure: s.mean for s in record.summaries if s.paw == "near_hind"}


@pytest.mark.parametrize("factor", [4.0, 8.0], ids=["four times slower", "eight times slower"])
def test_slow_motion_changes_times_and_nothing_else(factor: float) -> None:
    tracks, _ = dog(TROT, Scene(fps=120, noise_bl=0.012))
    real, slow = (
        build_record(tracks, Trial()),
        build_record(replaced(tracks, t_s=tracks.t_s * factor), Trial(clock_known=False)),
    )
    assert list(slow.strides.gait) == list(real.strides.gait)
    assert slow.contacts.touchdown_s / factor == pytest.approx(real.contacts.touchdown_s, abs=2e-4, nan_ok=True)
    assert any("clock" in notice for notice in slow.notices)


def test_slow_motion_that_nobody_mentioned_is_noticed() -> None:
    tracks, _ = dog(Pattern(), Scene(fps=120))
    record = build_record(replaced(tracks, t_s=tracks.t_s * 5), Trial(belt_m_s=1.0))
    assert any("slow motion" in notice for notice in record.notices)
    assert not record.trial.clock_known and np.isnan(record.belt.m_per_px).all()
