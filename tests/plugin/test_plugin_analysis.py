"""The thread that reads pictures for the element, with streams that answer at once, late or not at all."""

import threading
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from gait.plugin.analysis import EASE_S, MOST_WAITING, STALE_S, THINNEST, Analysis, Found, Thinning, event_as_dict
from gait.plugin.host import MARK, SHIPPED, environment, install, installed_path
from gait.stream import Event
from pose.landmarks import LANDMARKS
from pose.tracks import Tracks

PICTURE = np.zeros((4, 4, 3), np.uint8)
#: s, longest that these tests wait for a thread.
PATIENCE_S = 10.0


def tracks(*times_s: float) -> Tracks:
    """Landmarks that lie where the time says."""
    count, marks = len(times_s), len(LANDMARKS)
    places = np.broadcast_to(np.array(times_s)[:, None, None], (count, marks, 2))
    none = np.zeros((count, marks))
    return Tracks(np.arange(count), np.array(times_s), places, none + 0.5, none.astype(bool))


class Landmarks:
    """Gives the landmarks of a picture with the next one; waits while ``gate`` is shut, fails at times in ``bad``."""

    def __init__(self, gate: threading.Event, bad: set[float]) -> None:
        self.gate, self.bad, self.owed = gate, bad, None

    def push(self, rgb: np.ndarray, t_s: float) -> Tracks | None:
        assert self.gate.wait(PATIENCE_S)
        if t_s in self.bad:
            raise ValueError(f"bad at {t_s}")
        owed, self.owed = self.owed, t_s
        return None if owed is None else tracks(owed)

    def finish(self) -> Tracks | None:
        return None if self.owed is None else tracks(self.owed)


class Gait:
    """Tells the time of every landmark as a touchdown."""

    def push(self, landmarks: Tracks) -> tuple[Event, ...]:
        return tuple(Event("touchdown", float(t_s), float(t_s), "near_fore") for t_s in landmarks.t_s)

    def finish(self) -> tuple[Event, ...]:
        return (Event("liftoff", 99.0, 99.0, "near_fore"),)


class Setting:
    """An analysis and what it told."""

    def __init__(self) -> None:
        self.gate, self.bad, self.pairs = threading.Event(), set[float](), 0
        self.told: list[float] = []
        self.events: list[Event] = []
        self.errors: list[Exception] = []
        self.gate.set()
        self.analysis = Analysis(self.new_pair, self.tell, self.errors.append)

    def new_pair(self) -> Any:
        self.pairs += 1
        return Landmarks(self.gate, self.bad), Gait()

    def tell(self, found: list[Found], events: tuple[Event, ...]) -> None:
        self.told += [one.t_s for one in found]
        self.events += events

    def offer(self, *times_s: float, wait: bool = True) -> list[bool]:
        return [self.analysis.offer(PICTURE, t_s, wait=wait) for t_s in times_s]


@pytest.fixture
def at() -> Iterator[Setting]:
    setting = Setting()
    yield setting
    setting.gate.set()
    setting.analysis.stop()


def test_all_is_told_in_order_by_the_end(at: Setting) -> None:
    at.offer(*np.arange(50.0))
    at.analysis.finish()
    assert at.told == list(range(50))
    assert [event.t_s for event in at.events] == [*range(50), 99.0]


def test_a_full_queue_turns_pictures_away(at: Setting) -> None:
    at.gate.clear()
    taken = at.offer(*np.arange(2.0 * MOST_WAITING), wait=False)
    # one more than may wait, when the thread had taken the first one up by then
    assert sum(taken) in (MOST_WAITING, MOST_WAITING + 1) and not at.analysis.has_room()
    at.gate.set()
    at.analysis.finish()
    assert len(at.told) == sum(taken) and at.analysis.has_room()


def test_waiting_ends_when_the_landmarks_are_known_or_cannot_be(at: Setting) -> None:
    at.offer(0.0, 1.0)
    at.analysis.wait_for(0.0)
    assert at.told == [0.0]
    at.analysis.wait_for(1.0)  # which nothing but another picture or the end can tell
    assert at.told == [0.0]


def test_the_landmarks_of_a_frame_or_of_the_last_before_it(at: Setting) -> None:
    at.offer(0.0, 0.2, 0.4)
    at.analysis.finish()
    found = {t_s: at.analysis.at(t_s) for t_s in (0.0, 0.1, 0.2, 0.3, 0.4, 0.4 + STALE_S, 0.5 + STALE_S, -1.0)}
    known = {t_s: None if one is None else one.t_s for t_s, one in found.items()}
    assert list(known.values()) == [0.0, 0.0, 0.2, 0.2, 0.4, 0.4, None, None]


def test_nothing_of_before_is_told_after_a_new_beginning(at: Setting) -> None:
    at.gate.clear()
    at.offer(0.0, 1.0, 2.0)
    at.analysis.renew()
    at.gate.set()
    at.offer(7.0, 8.0)
    at.analysis.finish()
    assert at.told == [7.0, 8.0]
    assert at.analysis.at(1.0) is None


def test_an_error_is_told_and_reading_goes_on(at: Setting) -> None:
    at.bad |= {2.0}
    at.offer(0.0, 1.0, 2.0, 3.0, 4.0)
    at.analysis.finish()
    assert [str(error) for error in at.errors] == ["bad at 2.0"]
    assert at.told == [0.0, 3.0, 4.0] and at.pairs == 2


def test_stopping_does_not_wait_for_what_is_queued(at: Setting) -> None:
    at.gate.clear()
    at.offer(*np.arange(5.0))
    threading.Timer(0.2, at.gate.set).start()
    at.analysis.stop()
    assert len(at.told) <= 1
    assert at.offer(9.0) == [False]


def thinned(seconds: float, room: float, rate: int = 60) -> tuple[list[float], list[int]]:
    """Times that are read when there is room for so many pictures a second, and every how many-th was wanted."""
    thinning, waiting = Thinning(), 0.0
    read, every = [], []
    for t_s in np.arange(seconds * rate) / rate:
        waiting = max(waiting - room / rate, 0.0)
        if thinning.wants(t_s):
            if waiting < MOST_WAITING:
                waiting += 1
                read.append(t_s)
            else:
                thinning.turned_away(t_s)
        every.append(thinning.every)
    return read, every


def test_all_pictures_are_read_while_there_is_room() -> None:
    read, every = thinned(20.0, 70.0)
    assert len(read) == 1200 and set(every) == {1}


@pytest.mark.parametrize(("room", "thin"), [(40.0, 2), (25.0, 3), (1.0, THINNEST)])
def test_a_slow_machine_reads_evenly(room: float, thin: int) -> None:
    read, every = thinned(15.0, room)
    assert max(every) == thin
    settled = np.array([t_s for t_s in read if 5.0 < t_s < EASE_S])
    if thin < THINNEST:
        assert np.diff(settled) == pytest.approx(thin / 60)


def test_after_a_while_more_is_tried_again() -> None:
    thinning = Thinning()
    thinning.turned_away(0.0)
    thinning.turned_away(0.5)  # within the time that it is given
    assert thinning.every == 2
    wanted = [thinning.wants(t_s) for t_s in (1.0, 1.1, EASE_S, EASE_S + 0.1, EASE_S + 0.2)]
    assert wanted == [True, False, True, True, True] and thinning.every == 1


def test_what_an_event_and_landmarks_are_in_words() -> None:
    event = Event("stride", 1.5, 1.6, "far_hind", gait="trot", measures={"topline_deg": 2.0})
    assert event_as_dict(event) == {
        "kind": "stride", "t_s": 1.5, "told_s": 1.6, "paw": "far_hind", "gait": "trot", "topline_deg": 2.0
    }  # fmt: skip
    places = np.full((6, 2), np.nan)
    nobody = Found(3.0, places, np.full(6, np.nan), np.zeros(6, bool))
    assert nobody.as_dict() == {"t_s": 3.0}
    places[1], places[5] = (10.4, 20.5), (30.0, 5.0)
    found = Found(3.0, places, np.full(6, 0.5), np.zeros(6, bool))
    assert found.as_dict() == {
        "t_s": 3.0, "far_fore_x_px": 10.4, "far_fore_y_px": 20.5, "far_fore_score": 0.5, "far_fore_hidden": False,
        "croup_x_px": 30.0, "croup_y_px": 5.0, "croup_score": 0.5, "croup_hidden": False,
    }  # fmt: skip


def test_an_installed_file_names_the_places_of_its_packages(tmp_path: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    words, shipped = install().read_text(), SHIPPED.read_text()
    [line] = set(words.splitlines()) - set(shipped.splitlines())
    assert shipped.count(MARK) == 1 and installed_path().is_file()
    assert all(repr(place) in line for place in environment()["PYTHONPATH"].split(":"))
