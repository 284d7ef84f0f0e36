"""Cleaning: what is thrown out, filled and smoothed, against paths in closed form."""

import numpy as np
import pytest
from fake_network import dog_landmarks

from pose.smooth import SmoothSettings, fill_gaps, find_wild, smooth
from pose.tracks import Tracks

LENGTH_PX = 100.0
STRIDE_S = 0.5


def tracks_of(xy_px: np.ndarray, fps: float) -> Tracks:
    count = len(xy_px)
    return Tracks(
        np.arange(count), np.arange(count) / fps, xy_px, np.full((count, 6), 0.9), np.zeros((count, 6), bool),
        np.ones((count, 2)),
    )  # fmt: skip


def trot(fps: float, seconds: float = 2.0) -> np.ndarray:
    return dog_landmarks(np.arange(int(fps * seconds)) / fps) * LENGTH_PX


@pytest.mark.parametrize("fps", [24.0, 30.0, 60.0, 120.0, 240.0], ids=str)
def test_a_clean_trot_loses_nothing(fps: float) -> None:
    cleaned, report = smooth(tracks_of(trot(fps), fps), length_px=LENGTH_PX)
    assert report.wild.sum() == report.filled.sum() == 0
    assert not cleaned.hidden.any()
    assert np.abs(cleaned.xy_px - trot(fps)).max() < 1.2  # px, at the corner of touchdown; 5 % of body length is 5 px


@pytest.mark.parametrize("fps", [24.0, 60.0, 240.0], ids=str)
@pytest.mark.parametrize("run", [1, 2], ids=["one frame", "two frames"])
def test_a_wild_place_goes_and_is_filled(fps: float, run: int) -> None:
    xy = trot(fps)
    xy[20 : 20 + run, 2] += [60, -30]
    cleaned, report = smooth(tracks_of(xy, fps), length_px=LENGTH_PX)
    assert report.wild.tolist() == [0, 0, run, 0, 0, 0] == report.filled.tolist()
    assert cleaned.hidden[20 : 20 + run, 2].all() and cleaned.hidden.sum() == run
    assert cleaned.score[20, 2] == pytest.approx(0.45)
    assert np.abs(cleaned.xy_px[20, 2] - trot(fps)[20, 2]).max() < 12


def test_a_long_gap_stays_empty_and_a_short_one_does_not() -> None:
    xy = trot(60.0)
    xy[10:18, 0] = np.nan  # 9 steps of 1/60 s
    xy[50:70, 1] = np.nan
    filled, which = fill_gaps(np.arange(len(xy)) / 60, xy, 0.2)
    assert which.sum(axis=0).tolist() == [8, 0, 0, 0, 0, 0]
    assert np.isfinite(filled[10:18, 0]).all() and np.isnan(filled[50:70, 1]).all()
    cleaned, _ = smooth(tracks_of(xy, 60.0), length_px=LENGTH_PX)
    assert (cleaned.score[50:70, 1] == 0).all()


def test_gaps_at_the_ends_are_not_guessed() -> None:
    xy = trot(60.0)
    xy[:3, 4], xy[-3:, 4] = np.nan, np.nan
    filled, which = fill_gaps(np.arange(len(xy)) / 60, xy, 0.2)
    assert not which.any() and np.isnan(filled[[0, -1], 4]).all()


def test_filling_does_not_overshoot() -> None:
    xy = np.full((20, 6, 2), 5.0)
    xy[10:] = 50.0
    xy[8:12] = np.nan
    filled, _ = fill_gaps(np.arange(20) / 60, xy, 0.2)
    assert filled.min() >= 5 and filled.max() <= 50


@pytest.mark.parametrize(("fps", "frames"), [(24.0, 1), (60.0, 1), (120.0, 7), (240.0, 13)], ids=str)
def test_smoothing_goes_by_the_frames_in_a_stride(fps: float, frames: int) -> None:
    noisy = trot(fps) + np.random.default_rng(0).normal(0, 1.0, trot(fps).shape)
    cleaned, report = smooth(tracks_of(noisy, fps), length_px=LENGTH_PX)
    assert report.window_frames == frames
    assert report.stride_frames == pytest.approx(STRIDE_S * fps, rel=0.1)
    left = np.std(cleaned.xy_px[:, 4] - trot(fps)[:, 4])
    assert left < (0.75 if frames > 1 else 1.1)


def test_slow_motion_is_cleaned_like_the_same_frames_on_a_true_clock() -> None:
    noisy = trot(240.0) + np.random.default_rng(0).normal(0, 1.0, trot(240.0).shape)
    noisy[100:115, 1] = np.nan
    true, _ = smooth(tracks_of(noisy, 240.0), length_px=LENGTH_PX)
    slow, _ = smooth(tracks_of(noisy, 24.0), length_px=LENGTH_PX)
    assert np.isfinite(slow.xy_px[100:115, 1]).all()
    np.testing.assert_allclose(slow.xy_px, true.xy_px, atol=1e-6)


def test_without_a_stride_the_clock_decides() -> None:
    still = np.tile(trot(240.0)[:1], (240, 1, 1)) + np.random.default_rng(0).normal(0, 0.5, (240, 6, 2))
    _, report = smooth(tracks_of(still, 240.0), length_px=LENGTH_PX)
    assert np.isnan(report.stride_frames) and report.window_frames == 13


def test_a_run_of_wild_places_does_not_bend_the_path() -> None:
    """Heat jumps to a blade of grass for a few frames of slow motion; half of a short window, little of a long one."""
    true = trot(240.0)
    spoilt = true + np.random.default_rng(0).normal(0, 0.5, true.shape)
    spoilt[200:204, 2, 1] += 30
    cleaned, _ = smooth(tracks_of(spoilt, 240.0), length_px=LENGTH_PX)
    assert np.abs(cleaned.xy_px[195:209, 2, 1] - true[195:209, 2, 1]).max() < 3.0  # px


def test_with_few_frames_nothing_is_called_wild() -> None:
    xy = np.random.default_rng(0).normal(0, 100, (4, 6, 2))
    assert not find_wild(xy, LENGTH_PX, SmoothSettings()).any()
