"""Stance or swing, frame by frame."""

import numpy as np
import pytest
from generator import TROT, WALK, Scene, dog, replaced

from gait.body import BodySettings, stand_up
from gait.phases import PhaseSettings, _best_path, _without_short, find_phases, judged, slope_sd
from gait.rhythm import with_motion


@pytest.mark.parametrize("gait", ["walk", "trot"])
def test_frames_agree_with_the_drawn_stances(gait: str) -> None:
    pattern = {"walk": WALK, "trot": TROT}[gait]
    tracks, truth = dog(pattern, Scene(noise_bl=0.01, swing="hard"))
    body = with_motion(stand_up(tracks, None, BodySettings()), 0.03 * pattern.stride_s)
    speed = np.ones((len(tracks), 2)) * truth.speed_px_s
    down, height, told = find_phases(body, speed, pattern.stride_s, PhaseSettings(), 0.03 * pattern.stride_s, 1.6)
    assert (told > 0.9).all()
    for paw in range(4):
        true = np.any(
            [
                (tracks.t_s >= a) & (tracks.t_s < b)
                for a, b in zip(truth.touchdown_s[paw], truth.liftoff_s[paw], strict=True)
            ],
            axis=0,
        )
        assert (down[:, paw] == true).mean() > 0.93
        assert np.median(height[true, paw]) == pytest.approx(0, abs=2)
        assert height[~true, paw].max() > 10


def test_best_path_ignores_a_lone_contrary_frame() -> None:
    odds = np.full((40, 1), 3.0)
    odds[20] = -4.0
    assert _best_path(odds, np.full(40, np.log(0.05))).all()
    odds[20:26] = -4.0
    path = _best_path(odds, np.full(40, np.log(0.05)))[:, 0]
    assert not path[20:26].any() and path[:20].all() and path[26:].all()


@pytest.mark.parametrize(
    ("frames", "expected"),
    [
        ("1110111", "1111111"),
        ("0001000", "0000000"),
        ("1000111", "0000111"),
        ("1110001", "1110000"),
        ("111000", "111000"),
        ("1111", "1111"),
    ],
    ids=["short swing", "short stance", "short start", "short end", "both long", "no change"],
)
def test_short_runs_are_joined(frames: str, expected: str) -> None:
    down = np.array([[c == "1"] for c in frames])
    assert "".join("1" if d else "0" for d in _without_short(down, 2)[:, 0]) == expected


def test_frames_beside_a_gap_are_not_judged() -> None:
    tracks, _ = dog(WALK, Scene(seconds=1))
    xy = tracks.xy_px.copy()
    xy[20:25, 0] = np.nan
    seen = judged(stand_up(replaced(tracks, xy_px=xy), None, BodySettings()))
    assert not seen[19:26, 0].any() and seen[18, 0] and seen[26, 0] and seen[:, 1].all()


def test_slope_noise_shrinks_with_the_window() -> None:
    rng = np.random.default_rng(0)
    from gait.rhythm import local_fit

    t = np.arange(4000) / 60
    for width in (0.02, 0.05):
        _, slope = local_fit(t, rng.standard_normal((4000, 1)), np.ones((4000, 1)), width)
        assert slope[10:-10].std() == pytest.approx(slope_sd(1.0, width, 1 / 60), rel=0.1)
