"""From drawn pictures to tracks, against the places at which the discs were drawn."""

import tracemalloc

import numpy as np
import pytest
from fake_network import disc_clip, dog_landmarks, write_fake_network

from pose.errors import NoDogError, TooShortError
from pose.network import Network
from pose.read import ReadSettings, read_clip, sides_in_pieces, trunk_path

#: Body lengths; a network cell is about 0.04 body lengths wide.
CLOSE_BL = 0.04


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Network:
    return Network.load(write_fake_network(tmp_path_factory.mktemp("network")))


@pytest.mark.parametrize(
    "options",
    [{}, {"facing": "left"}, {"facing": "left", "drift_px_s": 60.0}, {"fps": 24.0}, {"fps": 120.0}],
    ids=["to the right", "to the left", "drifting on the belt", "24 frames a second", "120 frames a second"],
)
def test_landmarks_are_where_they_were_drawn(network: Network, options: dict[str, object]) -> None:
    clip = disc_clip(frames=40, **options)
    tracks, report = read_clip(clip, network)
    off = np.hypot(*np.moveaxis(tracks.xy_px - clip.truth_px, -1, 0)) / report.body_length_px
    assert report.facing == options.get("facing", "right")
    assert report.body_length_px == pytest.approx(90, rel=0.02)
    assert np.nanmax(off) < CLOSE_BL and np.isfinite(off).mean() > 0.98
    assert tracks.t_s.tolist() == [frame.t_s for frame in clip.frames()]
    assert tracks.side_score[1:-1].min() > 0.9


def test_shifting_the_picture_shifts_the_tracks(network: Network) -> None:
    a, _ = read_clip(disc_clip(frames=16), network)
    b, _ = read_clip(disc_clip(frames=16, middle_px=(247.0, 255.0)), network)
    assert np.abs(b.xy_px - a.xy_px - [7, -5]).max() < 2.0


def test_a_gap_without_a_dog_is_empty_and_the_dog_is_found_again(network: Network) -> None:
    empty = frozenset(range(16, 32))
    clip = disc_clip(frames=64, empty=empty)
    tracks, report = read_clip(clip, network)
    gone = np.array(sorted(empty))
    assert np.isnan(tracks.xy_px[gone]).all() and (tracks.score[gone] == 0).all()
    assert np.isfinite(tracks.xy_px[40:]).all()
    assert report.searches >= 2 and report.frames_without_dog == len(empty)


def test_a_facing_that_was_said_is_kept(network: Network) -> None:
    _, report = read_clip(disc_clip(frames=10), network, facing="left")
    assert (report.facing, report.facing_probability) == ("left", 1.0)


def test_progress_ends_at_the_last_frame(network: Network) -> None:
    steps: list[tuple[int, int]] = []
    read_clip(disc_clip(frames=20), network, progress=lambda done, total: steps.append((done, total)))
    assert steps == [(8, 20), (16, 20), (20, 20)]


def test_a_room_without_a_dog(network: Network) -> None:
    with pytest.raises(NoDogError, match="No dog was found in discs"):
        read_clip(disc_clip(frames=12, empty=frozenset(range(12))), network)
    with pytest.raises(NoDogError):
        read_clip(disc_clip(frames=12, empty=frozenset(range(12))), network, facing="right")


def test_two_frames_are_too_few(network: Network) -> None:
    with pytest.raises(TooShortError, match="holds 2 frames; at least 8"):
        read_clip(disc_clip(frames=2), network)


def test_memory_does_not_grow_with_pictures(network: Network) -> None:
    settings = ReadSettings(ahead=1)  # at any time one batch is read, one waits, and one is being decoded, or fewer
    peaks = []
    for frames in (48, 192):
        tracemalloc.start()
        read_clip(disc_clip(frames=frames), network, settings, facing="right")
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    picture = 480 * 360 * 3
    assert peaks[1] - peaks[0] < 144 * picture / 8  # far less than the pictures between them


def test_the_path_of_the_trunk_ignores_wild_places_and_bridges_gaps() -> None:
    middle = np.stack([np.arange(40.0), np.full(40, 7.0)], axis=-1)
    single = middle[:, None] + np.array([[50.0, 0.0], [-50.0, 0.0]])
    mass = np.full((40, 2), 0.9)
    single[12, 0] += 300
    single[20:25], mass[20:25] = 999.0, 0.0
    assert np.abs(trunk_path(single, mass)[4:-4] - middle[4:-4]).max() <= 1.0


def test_the_longer_a_dog_is_away_the_rarer_the_searches(network: Network) -> None:
    away = range(8, 120)
    _, report = read_clip(disc_clip(frames=160, empty=frozenset(away)), network, facing="right")
    assert report.searches == 7  # before batches 0, 2, 3, 6, 10, 14, 18; without waiting it would be 15
    assert len(away) <= report.frames_without_dog <= len(away) + 32


@pytest.mark.parametrize("frames", [100, 149, 150, 151, 290, 400], ids=lambda n: f"{n} frames")
def test_pieces_of_a_long_clip_say_what_the_whole_says(frames: int) -> None:
    t_s = np.arange(frames) / 60
    xy = 100 * dog_landmarks(t_s)[:, :2]
    mass = np.tile(np.array([[0.8, 0.1], [0.15, 0.7]]), (frames, 1, 1))
    whole, pieces = (
        sides_in_pieces(t_s, xy, mass, length_px=100.0, settings=ReadSettings(side_frames=size, side_margin=50))
        for size in (1000, 100)
    )
    assert np.array_equal(whole.xy_px, pieces.xy_px, equal_nan=True)
    assert np.array_equal(whole.shared, pieces.shared)
    assert np.abs(whole.score - pieces.score).max() < 0.02
