"""Frames per stride from paths in closed form: no clock, no sides, poor paths and none at all."""

import numpy as np
import pytest
from fake_network import dog_landmarks

from pose.rhythm import stride_frames

STRIDE_S = 0.5


def trot(fps: float, seconds: float = 3.0, noise_bl: float = 0.0) -> np.ndarray:
    xy = dog_landmarks(np.arange(int(fps * seconds)) / fps)
    return xy + np.random.default_rng(1).normal(0, noise_bl, xy.shape) if noise_bl else xy


@pytest.mark.parametrize("noise_bl", [0.0, 0.1], ids=["clean", "noise of a tenth of the body"])
@pytest.mark.parametrize("fps", [24.0, 30.0, 60.0, 240.0], ids=str)
def test_a_stride_is_counted_in_frames(fps: float, noise_bl: float) -> None:
    assert stride_frames(trot(fps, noise_bl=noise_bl)) == pytest.approx(STRIDE_S * fps, abs=max(1.0, 0.05 * fps))


@pytest.mark.parametrize("turn", [np.array([-1.0, 1.0]), np.array([50.0, 50.0])], ids=["mirrored", "enlarged"])
def test_neither_direction_nor_size_matters(turn: np.ndarray) -> None:
    assert stride_frames(trot(60.0) * turn) == stride_frames(trot(60.0))


def test_a_camera_that_follows_and_a_dog_that_drifts_do_not_matter() -> None:
    panned = trot(60.0) + np.linspace(0, 3, 180)[:, None, None]
    assert stride_frames(panned) == stride_frames(trot(60.0))


def test_gaps_and_a_paw_that_is_never_seen_do_not_matter() -> None:
    xy = trot(60.0)
    xy[20:26, 0], xy[:, 3] = np.nan, np.nan
    assert stride_frames(xy) == pytest.approx(30, abs=1)


def test_two_and_a_half_strides_are_enough_and_one_is_not() -> None:
    assert stride_frames(trot(60.0, 1.25)) == pytest.approx(30, abs=1)
    assert np.isnan(stride_frames(trot(60.0, 0.5)))


@pytest.mark.parametrize("paws", [0.0, np.nan], ids=["standing", "no paw seen"])
def test_nothing_that_repeats_gives_nothing(paws: float) -> None:
    xy = np.tile(trot(60.0)[:1], (120, 1, 1))
    xy[:, :4] += np.random.default_rng(0).normal(0, 0.01, (120, 4, 2)) + paws
    assert np.isnan(stride_frames(xy))
