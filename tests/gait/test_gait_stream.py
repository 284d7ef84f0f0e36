"""Live events: told once, in time, without looking ahead, and as the whole clip has them."""

import threading
import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from generator import PACE, TROT, WALK, Pattern, Scene, dog

from gait.errors import GaitError
from gait.record import build_record
from gait.stream import GAIT_CHANGED, LIFTOFF, STRIDE, TOUCHDOWN, Event, GaitStream, StreamSettings
from gait.trial import Trial
from pose.errors import TableError
from pose.landmarks import PAWS
from pose.tracks import Tracks, joined_tracks

SCENE = Scene(noise_bl=0.008, seconds=5.0)
SETTINGS = StreamSettings()
#: ms, median and largest difference of a touchdown or lift-off from that of the whole clip.
MEDIAN_MS, MOST_MS = 3.0, 25.0
#: s after the start from which everything is told: the first strides make the rhythm known.
KNOWN_S = 1.6
#: Bytes, as the docstring says.
REMEMBERED, ANALYSING = 500_000, 20_000_000


def live(tracks: Tracks, stream: GaitStream | None = None, *, step: int = 1) -> list[Event]:
    """All events of a film that is pushed ``step`` frames at a time."""
    stream = stream or GaitStream()
    told = [event for row in range(0, len(tracks), step) for event in stream.push(tracks.rows(slice(row, row + step)))]
    return [*told, *stream.finish()]


def times(events: list[Event], kind: str, paw: str) -> np.ndarray:
    return np.array([event.t_s for event in events if (event.kind, event.paw) == (kind, paw)])


@pytest.mark.parametrize(("pattern", "fps"), [(TROT, 60.0), (WALK, 30.0), (PACE, 30.0)], ids=["trot", "walk", "pace"])
def test_live_events_are_those_of_the_whole_clip(pattern: Pattern, fps: float) -> None:
    tracks = dog(pattern, replace(SCENE, fps=fps))[0]
    record, told = build_record(tracks, Trial()), live(tracks)
    contacts, strides = record.contacts, record.strides
    for kind, whole_s in ((TOUCHDOWN, contacts.touchdown_s), (LIFTOFF, contacts.liftoff_s)):
        for paw, name in enumerate(PAWS):
            wanted = whole_s[(contacts.paw == paw) & (whole_s > KNOWN_S)]
            found = times(told, kind, name)
            off = np.array([np.abs(found - t_s).min() for t_s in wanted]) * 1e3
            assert np.median(off) < MEDIAN_MS and off.max() < MOST_MS, (kind, name)
            assert np.diff(found).min() > 0.8 * pattern.stride_s
    for row in np.flatnonzero((strides.paw >= 2) & (strides.end_s > KNOWN_S)):
        mine = [one for one in told if one.kind == STRIDE and one.paw == PAWS[strides.paw[row]]]
        nearest = min(mine, key=lambda one: abs(one.t_s - strides.end_s[row]))
        assert nearest.gait == strides.gait[row] and abs(nearest.t_s - strides.end_s[row]) * 1e3 < MOST_MS


@pytest.mark.parametrize("fps", [24.0, 60.0])
def test_nothing_is_told_too_early_or_too_late(fps: float) -> None:
    told = live(dog(TROT, replace(SCENE, fps=fps))[0])
    ages = {kind: np.array([one.told_s - one.t_s for one in told if one.kind == kind]) for kind in (TOUCHDOWN, STRIDE)}
    assert len(ages[TOUCHDOWN]) > 20 and len(ages[STRIDE]) > 20
    assert ages[TOUCHDOWN].max() <= SETTINGS.contact_delay_s and ages[STRIDE].max() <= SETTINGS.stride_delay_s
    assert min(ages[TOUCHDOWN].min(), ages[STRIDE].min()) >= 0.0


def test_what_comes_later_changes_nothing() -> None:
    tracks = dog(TROT, SCENE)[0]
    other = joined_tracks([tracks.rows(slice(0, 200)), replace(tracks, xy_px=tracks.xy_px[::-1]).rows(slice(200, 300))])
    first, second = GaitStream(), GaitStream()
    told = [event for row in range(200) for event in first.push(tracks.rows(slice(row, row + 1)))]
    again = [event for row in range(300) for event in second.push(other.rows(slice(row, row + 1)))]
    assert len(told) > 20
    assert [repr(event) for event in told] == [repr(event) for event in again if event.told_s <= tracks.t_s[199]]


def test_one_at_a_time_is_as_all_at_once() -> None:
    tracks = dog(WALK, SCENE)[0]
    once, singly = live(tracks, step=len(tracks)), live(tracks)
    assert len(once) > 40
    assert [repr(event) for event in once] == [repr(event) for event in singly]


def test_a_change_of_gait_is_told_when_three_strides_agree() -> None:
    tracks, _ = dog([(PACE, 9), (TROT, 9)], Scene(noise_bl=0.005, seconds=9.0))
    stream = GaitStream()
    changes = [event for event in live(tracks, stream) if event.kind == GAIT_CHANGED]
    assert [event.gait for event in changes] == ["pace", "trot"] and stream.gait == "trot"
    assert changes[1].t_s == pytest.approx(build_record(tracks, Trial()).runs[1].start_s, abs=0.05)
    # three hind strides, near and far in turn, are two strides long
    assert changes[1].told_s - changes[1].t_s < 2 * TROT.stride_s + SETTINGS.stride_delay_s + SETTINGS.every_s
    assert all(event.probability > 0.7 and event.paw == "" for event in changes)


def test_more_strides_may_be_asked_to_agree() -> None:
    tracks = dog(TROT, SCENE)[0]
    streams = [GaitStream(settings=StreamSettings(agree=agree)) for agree in (1, 6)]
    early, late = (next(one for one in live(tracks, stream) if one.kind == GAIT_CHANGED) for stream in streams)
    assert late.told_s > early.told_s + TROT.stride_s


def test_a_dog_that_stops_is_told_to_stand() -> None:
    trot = dog(TROT, SCENE)[0]
    still = np.repeat(trot.xy_px[-1:], 150, axis=0) + np.random.default_rng(1).normal(0, 0.3, (150, 6, 2))
    after_s = trot.t_s[-1] + np.arange(1, 151) / 60
    stand = Tracks(np.arange(150) + 1000, after_s, still, trot.score[:150], trot.hidden[:150], trot.side_score[:150])
    changes = [event for event in live(joined_tracks([trot, stand])) if event.kind == GAIT_CHANGED]
    assert [event.gait for event in changes] == ["trot", "stand"]
    assert changes[1].t_s == pytest.approx(trot.t_s[-1], abs=0.3)


def test_strides_carry_topline_place_and_metres() -> None:
    tracks = dog(TROT, SCENE)[0]
    hind = [one for one in live(tracks, GaitStream(Trial(belt_m_s=2.0))) if one.kind == STRIDE and "hind" in one.paw]
    good = [one for one in hind if not one.dropped]
    assert len(good) > 10
    assert all({"topline_deg", "place_bl", "duty_factor"} <= set(one.measures) for one in good)
    assert np.median([one.measures["speed_m_s"] for one in good]) == pytest.approx(2.0, rel=0.02)
    assert all(one.duration_s == pytest.approx(one.measures["stride_time_s"]) for one in good)


@pytest.mark.parametrize(("every", "sparse"), [(2, False), (3, False), (4, True)], ids=["30/s", "20/s", "15/s"])
def test_of_too_few_frames_nothing_is_told(every: int, sparse: bool) -> None:
    stream = GaitStream()
    told = live(dog(WALK, replace(SCENE, fps=59.94))[0].rows(slice(None, None, every)), stream)
    assert stream.sparse == sparse and bool(told) != sparse


def test_nothing_is_made_up_around_holes() -> None:
    tracks = dog(TROT, replace(SCENE, seconds=8.0))[0]
    spoilt = tracks.rows((tracks.t_s % 2.0 < 1.7) | (tracks.t_s < 2.0))  # 0.3 s are missing every 2 s
    whole = live(tracks)
    told = live(spoilt)
    for event in told:
        if event.kind in (TOUCHDOWN, LIFTOFF):
            assert np.abs(times(whole, event.kind, event.paw) - event.t_s).min() * 1e3 < MOST_MS
            assert not any(hole - 0.1 < event.t_s < hole + 0.4 for hole in (3.7, 5.7))
        elif event.kind == STRIDE and any(event.t_s - event.duration_s < hole < event.t_s for hole in (3.75, 5.75)):
            assert event.dropped and not event.gait
    assert sum(event.kind == TOUCHDOWN for event in told) > 0.4 * sum(event.kind == TOUCHDOWN for event in whole)


@pytest.mark.slow
def test_memory_is_bounded_as_stated() -> None:
    tracks = dog(TROT, Scene(noise_bl=0.008, seconds=7.5, fps=240.0))[0]
    stream = GaitStream()
    stream.push(tracks.rows(slice(0, 60)))
    tracemalloc.start()
    try:
        for row in range(60, 1300, 10):
            stream.push(tracks.rows(slice(row, row + 10)))
        held, _ = tracemalloc.get_traced_memory()
        tracemalloc.reset_peak()
        for row in range(1300, len(tracks), 10):
            stream.push(tracks.rows(slice(row, row + 10)))
        later, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert max(held, later) < REMEMBERED
    assert peak < REMEMBERED + ANALYSING


def test_several_threads_may_push() -> None:
    tracks = dog(TROT, SCENE)[0]
    stream, told = GaitStream(), []
    waiting, order = iter(range(len(tracks))), threading.Lock()

    def feed() -> None:
        while True:
            with order:
                row = next(waiting, None)
                if row is None:
                    return
                new = stream.push(tracks.rows(slice(row, row + 1)))
            told.extend(new)
            assert stream.gait in ("", "trot")

    threads = [threading.Thread(target=feed) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert {repr(event) for event in (*told, *stream.finish())} == {repr(event) for event in live(tracks)}


@pytest.mark.parametrize("kept", [0, 5, 200], ids=["never seen", "five frames", "gone half way"])
def test_a_dog_that_is_not_there_is_no_event(kept: int) -> None:
    tracks = dog(TROT, replace(SCENE, seconds=7.0))[0]
    xy, score = np.array(tracks.xy_px), np.array(tracks.score)
    xy[kept:], score[kept:] = np.nan, 0.0
    told = live(replace(tracks, xy_px=xy, score=score))
    assert all(event.t_s <= tracks.t_s[max(kept - 1, 0)] for event in told if event.kind in (TOUCHDOWN, LIFTOFF))
    assert (len(told) > 0) == (kept > 100)


def test_frames_that_come_twice_are_refused_and_no_frames_are_nothing() -> None:
    tracks, stream = dog(TROT, SCENE)[0], GaitStream()
    assert stream.finish() == () and stream.push(tracks.rows(slice(0, 0))) == ()
    stream.push(tracks.rows(slice(0, 10)))
    with pytest.raises(TableError):
        stream.push(tracks.rows(slice(5, 15)))


@pytest.mark.parametrize(
    "wrong",
    [{"every_s": 0.0}, {"agree": 0}, {"contact_delay_s": 0.2}, {"stride_settle_s": 0.1}],
    ids=["every", "agree", "delay", "settling"],
)
def test_settings_that_cannot_be_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(GaitError):
        StreamSettings(**wrong)  # type: ignore[arg-type]
