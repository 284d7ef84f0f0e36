"""Body axes: mirrored once, levelled, cleaned, never guessed."""

import numpy as np
import pytest
from generator import TROT, WALK, Scene, dog, replaced

from gait.body import BodySettings, drop_spikes, found_facing, hold_station, level, noise_of, stand_up
from gait.errors import TooFewStridesError

SETTINGS = BodySettings()


def test_forward_is_positive_whichever_way_the_dog_faces() -> None:
    for facing in ("left", "right"):
        tracks, _ = dog(WALK, Scene(facing=facing))
        body = stand_up(tracks, None, SETTINGS)
        assert body.facing == facing == found_facing(tracks)
        assert np.median(body.xy_px[:, 4, 0] - body.xy_px[:, 5, 0]) > 0
        assert np.median(body.xy_px[:, 4, 1] - body.xy_px[:, 0, 1]) > 0  # up is up


def test_a_person_knows_better_than_the_landmarks() -> None:
    tracks, _ = dog(WALK, Scene(facing="left"))
    assert stand_up(tracks, "right", SETTINGS).facing == "right"


def test_body_length_is_the_distance_from_withers_to_croup() -> None:
    tracks, _ = dog(WALK, Scene(length_px=140, croup_high_bl=0.0))
    assert stand_up(tracks, None, SETTINGS).length_px == pytest.approx(140)


@pytest.mark.parametrize("angle", [-8.0, 0.0, 5.0])
def test_levelling_takes_the_slope_out(angle: float) -> None:
    flat = stand_up(dog(WALK, Scene())[0], None, SETTINGS)
    sloping = level(stand_up(dog(WALK, Scene(slope_deg=angle))[0], None, SETTINGS), angle)
    heights = sloping.xy_px[:, 0, 1] - sloping.xy_px[:, 4, 1]
    assert heights == pytest.approx(flat.xy_px[:, 0, 1] - flat.xy_px[:, 4, 1], abs=1e-6)
    assert sloping.angle_deg == angle


def test_low_scores_are_missing_and_hidden_points_count_less() -> None:
    tracks, _ = dog(WALK, Scene())
    score, hidden = np.full((len(tracks), 6), 0.9), np.zeros((len(tracks), 6), dtype=bool)
    score[10, 0], hidden[20, 1] = 0.1, True
    body = stand_up(replaced(tracks, score=score, hidden=hidden), None, SETTINGS)
    assert body.weight[10, 0] == 0 and np.isnan(body.xy_px[10, 0]).all()
    assert 0 < body.weight[20, 1] < body.weight[21, 1] == 0.9


def test_a_lone_spike_goes_and_a_step_stays() -> None:
    tracks, _ = dog(TROT, Scene(noise_bl=0.005))
    xy = tracks.xy_px.copy()
    xy[100, 0] += 60.0
    xy[200:, 1] += 60.0
    body = stand_up(replaced(tracks, xy_px=xy), None, SETTINGS)
    clean = drop_spikes(body, 0.8, TROT.stride_s, SETTINGS)
    assert np.isnan(clean.xy_px[100, 0]).all() and clean.weight[100, 0] == 0
    assert np.isfinite(clean.xy_px[198:203, 1]).all()


@pytest.mark.parametrize("noise_bl", [0.0, 0.01, 0.03])
def test_noise_is_measured_from_the_tracks_themselves(noise_bl: float) -> None:
    body = stand_up(dog(WALK, Scene(noise_bl=noise_bl))[0], None, SETTINGS)
    assert noise_of(body) == pytest.approx(noise_bl * 160, rel=0.15, abs=0.15)


def test_noise_of_tracks_in_scraps_is_assumed() -> None:
    tracks, _ = dog(WALK, Scene())
    scraps = replaced(tracks, xy_px=np.where((np.arange(len(tracks)) % 2 == 0)[:, None, None], np.nan, tracks.xy_px))
    assert noise_of(stand_up(scraps, None, SETTINGS)) == pytest.approx(0.02 * 160, rel=0.01)


@pytest.mark.parametrize(
    ("speed", "travels"), [(0.0, False), (10.0, False), (-80.0, True)], ids=["on the spot", "slowly", "through"]
)
def test_travel_through_the_picture_is_taken_out(speed: float, travels: bool) -> None:
    body = stand_up(dog(WALK, Scene(pan_px_s=speed))[0], None, SETTINGS)
    held, moved = hold_station(body, WALK.stride_s, SETTINGS)
    assert moved == travels
    assert np.ptp(held.trunk_px[:, 0]) < 1.6 * 160


def _never_together(xy: np.ndarray) -> np.ndarray:
    xy[::2, 4], xy[1::2, 5] = np.nan, np.nan
    return xy


def _on_one_point(xy: np.ndarray) -> np.ndarray:
    xy[:, 4] = xy[:, 5]
    return xy


@pytest.mark.parametrize(
    ("spoil", "words"),
    [(_never_together, "both withers and croup"), (_on_one_point, "one point")],
    ids=["never seen together", "on one point"],
)
def test_no_body_length_means_nothing_to_say(spoil: object, words: str) -> None:
    tracks, _ = dog(WALK, Scene())
    with pytest.raises(TooFewStridesError, match=words):
        stand_up(replaced(tracks, xy_px=spoil(tracks.xy_px.copy())), None, SETTINGS)  # type: ignore[operator]


def test_facing_of_an_empty_table_is_not_known() -> None:
    tracks, _ = dog(WALK, Scene(seconds=1))
    assert found_facing(replaced(tracks, xy_px=np.full_like(tracks.xy_px, np.nan))) is None
