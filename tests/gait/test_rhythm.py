"""The stride period and the local fits."""

import numpy as np
import pytest
from generator import BOUND, CANTER, PACE, ROTARY, TROT, WALK, Pattern, Scene, dog, replaced

from gait.body import BodySettings, stand_up
from gait.rhythm import RhythmSettings, local_fit, stride_period, with_motion

PATTERNS = {"walk": WALK, "trot": TROT, "pace": PACE, "canter": CANTER, "rotary gallop": ROTARY, "bound": BOUND}


def _period(tracks: object, clock_known: bool = True) -> float:
    return stride_period(stand_up(tracks, None, BodySettings()), clock_known, RhythmSettings())  # type: ignore[arg-type]


@pytest.mark.parametrize("fps", [24, 60, 240])
@pytest.mark.parametrize("gait", PATTERNS)
def test_period_is_found(gait: str, fps: int) -> None:
    tracks, _ = dog(PATTERNS[gait], Scene(fps=fps, noise_bl=0.015, spread=0.01, seconds=5))
    assert _period(tracks) == pytest.approx(PATTERNS[gait].stride_s, rel=0.03)


@pytest.mark.parametrize("strides", [2.2, 3.0, 5.0])
def test_a_short_clip_is_enough(strides: float) -> None:
    tracks, _ = dog(WALK, Scene(noise_bl=0.01, seconds=strides * WALK.stride_s))
    assert _period(tracks) == pytest.approx(WALK.stride_s, rel=0.06)


def test_a_standing_dog_has_none() -> None:
    tracks, _ = dog(WALK, Scene(seconds=3))
    rng = np.random.default_rng(0)
    still = np.repeat(tracks.xy_px[:1], len(tracks), axis=0) + rng.standard_normal(tracks.xy_px.shape)
    assert np.isnan(_period(replaced(tracks, xy_px=still)))


def test_one_step_is_no_rhythm() -> None:
    tracks, _ = dog(Pattern(2.0), Scene(seconds=1.0))
    assert np.isnan(_period(tracks, clock_known=False)) or _period(tracks, clock_known=False) < 0.7


def test_paws_that_are_hardly_seen_do_not_count() -> None:
    tracks, _ = dog(TROT, Scene(noise_bl=0.01))
    xy = tracks.xy_px.copy()
    xy[50:, :3] = np.nan
    assert _period(replaced(tracks, xy_px=xy)) == pytest.approx(TROT.stride_s, rel=0.03)
    xy[50:, 3] = np.nan
    assert np.isnan(_period(replaced(tracks, xy_px=xy)))


@pytest.mark.parametrize("lost", [(0, 1), (2, 3)], ids=["fore pair", "hind pair"])
def test_a_pair_that_misses_a_swing_does_not_hide_the_stride_of_the_other(lost: tuple[int, int]) -> None:
    tracks, _ = dog(WALK, Scene(noise_bl=0.01, seconds=2.5 * WALK.stride_s))
    xy = tracks.xy_px.copy()
    turn = 2 * np.pi * tracks.t_s / (2.4 * WALK.stride_s)
    for paw in lost:
        xy[:, paw, 0] = xy[:, 4:6, 0].mean(axis=1) + 0.5 * np.ptp(xy[:, paw, 0]) * np.sin(turn + np.pi * paw)
    assert _period(replaced(tracks, xy_px=xy)) == pytest.approx(WALK.stride_s, rel=0.06)


def test_paws_that_are_all_lost_seldom_have_a_rhythm() -> None:
    """Paws found now here, now there, twelve places each in three strides: all four together agree in one of ten."""
    tracks, _ = dog(WALK, Scene(noise_bl=0.01, seconds=3 * WALK.stride_s))
    found = []
    for seed in range(100):
        xy, rng = tracks.xy_px.copy(), np.random.default_rng(seed)
        for paw in range(4):
            places = np.repeat(rng.uniform(-1, 1, 12), -(-len(xy) // 12))[: len(xy)]
            xy[:, paw, 0] = xy[:, 4:6, 0].mean(axis=1) + 0.5 * np.ptp(xy[:, paw, 0]) * places
        found.append(_period(replaced(tracks, xy_px=xy)))
    assert np.isnan(found).mean() >= 0.85


def test_local_fit_is_exact_on_a_parabola_through_gaps() -> None:
    t = np.sort(np.random.default_rng(1).uniform(0, 1, 120))
    y = (3 * t**2 - 2 * t + 1)[:, None]
    weight = np.ones_like(y)
    weight[40:44] = 0.0
    value, slope = local_fit(t, y, weight, 0.03)
    assert value == pytest.approx(y, abs=2e-3)
    assert slope == pytest.approx((6 * t - 2)[:, None], abs=0.08)


def test_local_fit_says_nothing_where_nothing_was_seen() -> None:
    t = np.arange(100) / 100
    weight = np.ones((100, 1))
    weight[30:70] = 0.0
    value, slope = local_fit(t, np.ones((100, 1)), weight, 0.02)
    assert np.isnan(value[45:55]).all() and np.isnan(slope[45:55]).all()
    assert np.isfinite(value[:28]).all()


def test_motion_has_the_shape_of_the_landmarks() -> None:
    body = with_motion(stand_up(dog(WALK, Scene(seconds=2))[0], None, BodySettings()), 0.03)
    assert body.smooth_px.shape == body.slope_px_s.shape == body.xy_px.shape
