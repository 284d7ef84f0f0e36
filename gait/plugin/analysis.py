"""Pictures in, landmarks and events out, on a thread of its own; knows nothing of GStreamer.

The thread that brings pictures is never held up longer than it asks for: a full queue either turns a picture away or
makes its bringer wait.
"""

import threading
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gait.stream import Event, GaitStream
from pose.landmarks import LANDMARKS
from pose.stream import LandmarkStream
from pose.tracks import BoolArray, FloatArray, Tracks

#: Pictures that may wait: as many as a search for the dog holds up at 60 frames per second. Our own choice.
MOST_WAITING: Final = 8
#: Landmarks that are kept for frames that are still to leave; 20 s at 60 frames per second.
MOST_KEPT: Final = 1200
#: s, age beyond which landmarks are nobody's any more. Our own choice.
STALE_S: Final = 1.0
#: s, rounding of time stamps.
TICK_S: Final = 1e-6
#: s that a thinning is given to show whether it is enough, and s after which less is tried. Our own choices.
HOLD_S, EASE_S = 1.0, 10.0
#: Every so many-th picture at the thinnest, so that it does not take minutes to come back. Our own choice.
THINNEST: Final = 8

Picture = NDArray[np.uint8]
Pair = tuple[LandmarkStream, GaitStream]


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """The landmarks of one picture. t_s: s; xy_px (6, 2) px, NaN = not found; score (6,) 0..1; hidden (6,) bool."""

    t_s: float
    xy_px: FloatArray
    score: FloatArray
    hidden: BoolArray

    def as_dict(self) -> dict[str, float | bool]:
        """``t_s``, and of every landmark that was found NAME_x_px, NAME_y_px, NAME_score and NAME_hidden."""
        words: dict[str, float | bool] = {"t_s": self.t_s}
        for row in np.flatnonzero(np.isfinite(self.xy_px).all(axis=1)):
            name, (x, y) = LANDMARKS[row], self.xy_px[row].tolist()
            words |= {f"{name}_x_px": x, f"{name}_y_px": y, f"{name}_hidden": bool(self.hidden[row])}
            if np.isfinite(self.score[row]):
                words[f"{name}_score"] = float(self.score[row])
        return words


def event_as_dict(event: Event) -> dict[str, float | str]:
    """What is known of ``event``, its measures among the rest; what is empty or NaN is left out."""
    words: dict[str, float | str] = {
        name: getattr(event, name) for name in Event.__dataclass_fields__ if name != "measures"
    }
    words |= dict(event.measures)
    return {name: value for name, value in words.items() if value != "" and value == value}


class Thinning:
    """Every how many-th picture is read while there is no time for all: evenly, as holes would hide contacts."""

    def __init__(self) -> None:
        self.every = 1
        self._count, self._changed_s = 0, -np.inf

    def wants(self, t_s: float) -> bool:
        """Whether the picture of ``t_s`` is to be read."""
        if self.every > 1 and t_s - self._changed_s >= EASE_S:
            self._change(self.every - 1, t_s)
        self._count += 1
        return (self._count - 1) % self.every == 0

    def turned_away(self, t_s: float) -> None:
        """The picture of ``t_s`` was wanted and there was no room for it."""
        if t_s - self._changed_s >= HOLD_S:
            self._change(min(self.every + 1, THINNEST), t_s)

    def _change(self, every: int, t_s: float) -> None:
        self.every, self._changed_s = every, t_s


class Analysis:
    """One thread that reads pictures. All methods may be called from any other thread.

    new_pair  makes the two streams, at the start and after every jump
    tell      gets what was found, from the thread of the analysis: landmarks of pictures, then events
    fail      gets an error that reading met; it then goes on with a new pair
    """

    def __init__(
        self,
        new_pair: Callable[[], Pair],
        tell: Callable[[list[Found], tuple[Event, ...]], None],
        fail: Callable[[Exception], None],
    ) -> None:
        self._new_pair, self._tell, self._fail = new_pair, tell, fail
        self._change = threading.Condition()
        self._waiting: deque[tuple[Picture, float] | None] = deque()
        self._kept: deque[Found] = deque(maxlen=MOST_KEPT)
        self._pair: Pair | None = None
        self._busy = self._stopped = False
        self._turn = 0
        self._thread = threading.Thread(target=self._work, name="pawfall", daemon=True)
        self._thread.start()

    def offer(self, rgb: Picture, t_s: float, *, wait: bool) -> bool:
        """Bring a picture (H, W, 3) that nobody else will change; False = turned away, as too many are waiting."""
        with self._change:
            if wait:
                self._change.wait_for(self._has_room)
            if not self._has_room() or self._stopped:
                return False
            self._waiting.append((rgb, t_s))
            self._change.notify_all()
            return True

    def has_room(self) -> bool:
        """Whether a picture would be taken now."""
        with self._change:
            return self._has_room()

    def wait_for(self, t_s: float) -> None:
        """Wait until the landmarks of a picture of ``t_s`` are known, or nothing is left that could tell them."""
        with self._change:
            self._change.wait_for(lambda: self._idle() or (bool(self._kept) and self._kept[-1].t_s >= t_s - TICK_S))

    def at(self, t_s: float) -> Found | None:
        """The landmarks of the picture of ``t_s``, or of the last one before it; None = none, or too old."""
        with self._change:
            for found in reversed(self._kept):
                if found.t_s <= t_s + TICK_S:
                    return found if found.t_s >= t_s - STALE_S else None
        return None

    def finish(self) -> None:
        """Read all that is waiting, tell what is still owed, and come back when that is done."""
        with self._change:
            self._waiting.append(None)
            self._change.notify_all()
            self._change.wait_for(self._idle)

    def renew(self) -> None:
        """Forget everything: what comes next has nothing to do with what came before."""
        with self._change:
            self._turn += 1
            self._waiting.clear()
            self._kept.clear()
            self._pair = None
            self._change.notify_all()

    def stop(self) -> None:
        """End the thread; what is waiting is not read."""
        with self._change:
            self._stopped = True
            self._waiting.clear()
            self._change.notify_all()
        self._thread.join()

    def _has_room(self) -> bool:
        return self._stopped or len(self._waiting) < MOST_WAITING

    def _idle(self) -> bool:
        return self._stopped or not (self._waiting or self._busy)

    def _work(self) -> None:
        while True:
            with self._change:
                self._busy = False
                self._change.notify_all()
                self._change.wait_for(lambda: bool(self._waiting) or self._stopped)
                if self._stopped:
                    return
                item, turn, self._busy = self._waiting.popleft(), self._turn, True
                self._pair = pair = self._pair or self._new_pair()
                self._change.notify_all()
            try:
                found, events = _read(pair, item)
            except Exception as error:  # whatever a network of others raises: the frames go on
                self._fail(error)
                found, events = [], ()
                self._drop(turn)
            self._keep(found, events, turn)

    def _drop(self, turn: int) -> None:
        """Begin with a new pair, unless that was done meanwhile."""
        with self._change:
            self._pair = self._pair if turn != self._turn else None

    def _keep(self, found: list[Found], events: tuple[Event, ...], turn: int) -> None:
        """Tell what was found, then let frames have it, unless all was forgotten meanwhile."""
        if turn != self._turn:
            return
        if found or events:
            self._tell(found, events)
        with self._change:
            if turn == self._turn:
                self._kept.extend(found)


def _read(pair: Pair, item: tuple[Picture, float] | None) -> tuple[list[Found], tuple[Event, ...]]:
    """Push a picture through both streams; None = the end."""
    landmarks, gait = pair
    tracks = landmarks.push(*item) if item else landmarks.finish()
    events = gait.push(tracks) if tracks else ()
    return list(_rows(tracks)), events if item else (*events, *gait.finish())


def _rows(tracks: Tracks | None) -> Iterator[Found]:
    for row in range(len(tracks) if tracks else 0):
        assert tracks is not None
        yield Found(float(tracks.t_s[row]), tracks.xy_px[row], tracks.score[row], tracks.hidden[row])
