"""Live landmarks: given once, in time, without looking ahead, and as the whole clip is read."""

import threading
import tracemalloc
from collections.abc import Iterator

import numpy as np
import pytest
from fake_network import DiscClip, disc_clip, write_fake_network

from pose.errors import ClipError
from pose.network import Network
from pose.read import read_clip
from pose.stream import TICK_S, LandmarkStream, StreamSettings
from pose.tracks import Tracks, joined_tracks

#: Body lengths by which live landmarks may be off those of the whole clip, in one frame of a hundred.
SAME_BL = 0.02
#: Body lengths beyond which a landmark of the newest picture is somewhere else, and share of paws that may be.
ELSEWHERE_BL, ELSEWHERE = 0.1, 0.02
#: Bytes, as the docstring says.
REMEMBERED, DECIDING = 2_500_000, 20_000_000


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Network:
    return Network.load(write_fake_network(tmp_path_factory.mktemp("network")))


def live(clip: DiscClip, stream: LandmarkStream) -> Iterator[tuple[float, Tracks | None]]:
    """What comes back at every frame, with the time of that frame, and at the end."""
    last_s = 0.0
    for frame in clip.frames():
        last_s = frame.t_s
        yield last_s, stream.push(frame.rgb, last_s)
    yield last_s, stream.finish()


def all_of(clip: DiscClip, stream: LandmarkStream) -> Tracks:
    return joined_tracks([found for _, found in live(clip, stream) if found])


@pytest.mark.parametrize(
    "options",
    [{}, {"facing": "left"}, {"fps": 30.0}, {"drift_px_s": 30.0}],
    ids=["to the right", "to the left", "30 frames a second", "drifting"],
)
def test_live_landmarks_are_those_of_the_whole_clip(network: Network, options: dict[str, object]) -> None:
    clip = disc_clip(frames=90, **options)
    whole, report = read_clip(clip, network)
    stream = LandmarkStream(network)
    tracks = all_of(clip, stream)
    off = np.hypot(*np.moveaxis(tracks.xy_px - whole.xy_px, -1, 0)) / report.body_length_px
    assert stream.facing == options.get("facing", "right")
    assert tracks.frame.tolist() == whole.frame.tolist() and tracks.t_s.tolist() == whole.t_s.tolist()
    assert np.nanquantile(off, 0.99) < SAME_BL
    assert (np.isfinite(tracks.xy_px) == np.isfinite(whole.xy_px)).mean() > 0.99


@pytest.mark.parametrize("fps", [12.0, 30.0, 60.0, 120.0])
def test_every_frame_is_given_once_and_in_time(network: Network, fps: float) -> None:
    settings = StreamSettings()
    clip = disc_clip(frames=int(0.9 * fps) + 8, fps=fps)
    *pushed, (_, _) = live(clip, LandmarkStream(network, settings, facing="right"))
    given = [(now_s, t_s) for now_s, found in pushed if found for t_s in found.t_s]
    ages = np.array([now_s - t_s for now_s, t_s in given])
    assert [t_s for _, t_s in given] == [frame.t_s for frame in clip.frames()][: len(given)]
    assert ages.min() >= settings.delay_s - TICK_S
    assert ages.max() < settings.delay_s + 1 / fps + TICK_S
    assert sum(found is not None and len(found) > 1 for _, found in pushed) == 0


def test_what_comes_later_changes_nothing(network: Network) -> None:
    clip = disc_clip(frames=100)
    gone = disc_clip(frames=100, empty=frozenset(range(70, 100)))
    first, second = (list(live(one, LandmarkStream(network, facing="right")))[:70] for one in (clip, gone))
    assert sum(found is not None for _, found in first) > 40
    for (_, a), (_, b) in zip(first, second, strict=True):
        assert (a is None) == (b is None)
        if a and b:
            assert np.array_equal(a.xy_px, b.xy_px, equal_nan=True) and np.array_equal(a.score, b.score)


def test_a_dog_that_leaves_and_comes_back_the_other_way(network: Network) -> None:
    stream = LandmarkStream(network)
    there, back = disc_clip(frames=48), disc_clip(frames=64, facing="left")
    given, facings, number = [], [], 0
    for clip, frames in ((there, 48), (disc_clip(frames=32, empty=frozenset(range(32))), 32), (back, 64)):
        for frame in list(clip.frames())[:frames]:
            found = stream.push(frame.rgb, number / 60)
            given += [found] if found else []
            number += 1
        facings.append(stream.facing)
    assert facings[0] == "right" and facings[2] == "left"
    tracks = joined_tracks([*given, *filter(None, [stream.finish()])])
    assert np.isfinite(tracks.xy_px[:48]).mean() > 0.95
    assert np.isnan(tracks.xy_px[60:80]).all() and (tracks.score[60:80] == 0).all()
    off = np.hypot(*np.moveaxis(tracks.xy_px[110:] - back.truth_px[30:], -1, 0)) / 90
    assert np.nanmax(off) < 0.05 and np.isfinite(off).mean() > 0.95


class Still:
    """A network that costs nothing and sees the same each time."""

    def __init__(self, network: Network, clip: DiscClip) -> None:
        self.card, self.calibrated = network.card, network.calibrated
        self._heat = network.run(np.zeros((1, 3, 256, 320), np.float32))
        self._network, self._first = network, True

    def run(self, pictures: np.ndarray) -> object:
        """The heat of the picture that was seen when the dog was looked for."""
        if len(pictures) == 2 and not self._first:
            return self._heat
        heat = self._network.run(pictures)
        if len(pictures) == 2 and heat.absent.max() < 1:
            self._heat, self._first = heat, False
        return heat


@pytest.mark.slow
def test_memory_is_bounded_as_stated(network: Network) -> None:
    settings = StreamSettings()
    picture = next(iter(disc_clip(frames=1).frames())).rgb
    stream = LandmarkStream(Still(network, disc_clip(frames=1)), settings, facing="right")  # type: ignore[arg-type]
    tracemalloc.start()
    try:
        for number in range(1300):
            stream.push(picture, number / 310)
        held, _ = tracemalloc.get_traced_memory()
        tracemalloc.reset_peak()
        for number in range(1300, 1400):
            stream.push(picture, number / 310)
        later, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert max(held, later) < REMEMBERED
    assert abs(later - held) < 0.1 * held
    assert peak < REMEMBERED + DECIDING


def test_times_that_do_not_rise_and_a_flood_are_left_out(network: Network) -> None:
    stream = LandmarkStream(network, StreamSettings(most_frames=40), facing="right")
    picture = next(iter(disc_clip(frames=1).frames())).rgb
    for t_s in (0.0, 0.02, 0.02, 0.01):
        stream.push(picture, t_s)
    assert stream.left_out == 2
    for number in range(40):
        stream.push(picture, 0.03 + number * 1e-4)
    assert stream.left_out == 2 + 40 - 18
    found = stream.push(picture, 1.0)
    assert found is None and stream.left_out == 25
    assert len(stream.finish() or ()) == 20


def test_several_threads_may_push(network: Network) -> None:
    frames = list(disc_clip(frames=96).frames())
    stream = LandmarkStream(network, facing="right")
    given: list[Tracks] = []
    waiting, taking = iter(frames), threading.Lock()

    def feed() -> None:
        while True:
            with taking:
                frame = next(waiting, None)
            if frame is None:
                return
            found = stream.push(frame.rgb, frame.t_s)
            given.extend([found] if found else [])

    threads = [threading.Thread(target=feed) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    rest = stream.finish()
    times = sorted(t_s for found in (*given, rest) if found for t_s in found.t_s)
    assert len(set(times)) == len(times) == 96 - stream.left_out
    assert len(times) > 20 and all((np.diff(found.t_s) > 0).all() for found in given)


def test_a_picture_may_be_a_view_of_one_with_blue_first(network: Network) -> None:
    clip = disc_clip(frames=40)
    first, second = (LandmarkStream(network, facing="right") for _ in range(2))
    for frame in clip.frames():
        bgr = frame.rgb[..., ::-1].copy()
        a, b = first.push(frame.rgb, frame.t_s), second.push(bgr[..., ::-1], frame.t_s)
        bgr[:] = 0  # a camera may use its memory again
        assert (a is None) == (b is None)
        assert a is None or b is None or np.array_equal(a.xy_px, b.xy_px, equal_nan=True)


@pytest.mark.parametrize(
    ("picture", "t_s"),
    [
        (np.zeros((4, 4), np.uint8), 0.0),
        (np.zeros((4, 4, 3), np.float32), 0.0),
        (np.zeros((4, 4, 4), np.uint8), 0.0),
        (np.zeros((4, 4, 3), np.uint8), float("nan")),
    ],
    ids=["grey", "not bytes", "four channels", "no time"],
)
def test_what_is_no_picture_is_refused(network: Network, picture: np.ndarray, t_s: float) -> None:
    with pytest.raises(ClipError):
        LandmarkStream(network).push(picture, t_s)


@pytest.mark.parametrize(
    "wrong", [{"delay_s": 0.1}, {"span_s": 0.3}, {"together": 3}], ids=["delay", "span", "together"]
)
def test_settings_that_cannot_be_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ClipError):
        StreamSettings(**wrong)  # type: ignore[arg-type]


def test_no_dog_at_all_gives_empty_landmarks(network: Network) -> None:
    clip = disc_clip(frames=40, empty=frozenset(range(40)))
    tracks = all_of(clip, LandmarkStream(network))
    assert len(tracks) == 40 and np.isnan(tracks.xy_px).all() and (tracks.score == 0).all()
    assert LandmarkStream(network).finish() is None


def test_the_newest_picture_has_landmarks_long_before_they_are_due(network: Network) -> None:
    clip, stream = disc_clip(frames=90, fps=30.0), LandmarkStream(network, facing="right")
    assert stream.newest is None
    seen = []
    for frame in clip.frames():
        stream.push(frame.rgb, frame.t_s)
        newest = stream.newest
        if newest is not None and newest.frame[-1] > (seen[-1].frame[-1] if seen else -1):
            seen.append(newest)
            assert frame.t_s - newest.t_s[0] <= (StreamSettings().together - 1) / 30 + TICK_S
    tracks = joined_tracks(seen)
    assert tracks.frame.tolist() == list(range(90))
    off = np.hypot(*np.moveaxis(tracks.xy_px - clip.truth_px, -1, 0)) / 90
    later = tracks.t_s > 1.0
    assert np.nanmax(off[:, 4:]) < ELSEWHERE_BL
    assert (off[later][:, :4] > ELSEWHERE_BL).mean() < ELSEWHERE and np.isfinite(off[later]).mean() > 0.95


def test_without_a_dog_the_newest_picture_shows_none(network: Network) -> None:
    stream = LandmarkStream(network, facing="right")
    for frame in disc_clip(frames=12, empty=frozenset(range(12))).frames():
        stream.push(frame.rgb, frame.t_s)
    newest = stream.newest
    assert newest is not None and np.isnan(newest.xy_px).all() and not newest.score.any()
