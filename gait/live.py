"""What can be said of the dog on the belt now: a thread that reads the newest pictures of a camera.

    reading = LiveReading(network, Trial(belt_m_s=1.2))
    for shot in camera.shots():
        reading.offer(shot)
        reading.now ...

Landmarks, topline and place are of the newest picture that the network saw, 0.05 to 0.1 s old on two idle cores.
The gait is that of the last hind stride, told when ``gait.stream`` tells it: about a second after its end.
When pictures come faster than they are read, older ones that wait are left out, and counted.
"""

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from gait.livenumbers import Back, Latency, LatencyLog, Trail
from gait.naming import STAND, UNCLEAR
from gait.stream import GAIT_CHANGED, STRIDE, Event, GaitStream, StreamSettings
from gait.trial import Trial
from pose.find import Reader
from pose.landmarks import CROUP, PAWS, WITHERS
from pose.stream import LandmarkStream
from pose.tracks import FloatArray, Tracks

Picture = NDArray[np.uint8]

#: s, age at which a picture is left out rather than read: its answer would come later than a quarter of a second.
MOST_AGE_S: Final = 0.12
#: Pictures that are kept until they have been read: two go through the network together.
KEPT: Final = 4
#: Pictures a second that are read at most; of a faster camera every second or third. Two idle cores read about 60 and
#: record, show and answer besides (measured, see README).
MOST_FPS: Final = 40.0
#: s without a hind stride after which nothing is said of the gait: two strides of a slow walk.
SILENT_S: Final = 3.0
#: Hind strides in a row that have to agree before a gait counts.
AGREE: Final = StreamSettings().agree
HINDS: Final = PAWS[2:]
NAN: Final = float("nan")


class ShotLike(Protocol):
    """One picture of a camera: s since its first, s of time.monotonic() at which it was there, (H, W, 3) uint8."""

    @property
    def t_s(self) -> float:
        """s."""
        ...

    @property
    def taken_s(self) -> float:
        """s."""
        ...

    @property
    def rgb(self) -> Picture:
        """(H, W, 3)."""
        ...


@dataclass(frozen=True, slots=True)
class Said:
    """A change of gait. t_s: s, when it began; told_s: s, when it was told; before: "" for the first gait."""

    t_s: float
    told_s: float
    gait: str
    before: str = ""

    @property
    def words(self) -> str:
        """One sentence; it tells what happened and not whether that is good."""
        if self.gait == STAND:
            return f"Stands from {self.t_s:.1f} s on."
        agree = f"{number_word(AGREE)} strides agree, from {self.t_s:.1f} s on."
        if self.before in ("", STAND):
            return f"{self.gait.capitalize()}: {agree}"
        return f"Slipped from {with_article(self.before)} into {with_article(self.gait)}: {agree}"


@dataclass(frozen=True, slots=True)
class Now:
    """What is known now.

    t_s          s since the first picture, of the newest picture that was read
    dog          whether withers and croup are seen in it
    gait         of the last hind stride: plain name, "unclear", "stand", or "" when nothing is known
    probability  0..1, of that name; NaN = not known
    agree        hind strides in a row that have this name, counted up to four; unclear ones between do not count
    candidates   of an unclear stride the two likeliest names, joined by "/"; else ""
    back         topline and place on the belt
    said         the last change of gait
    slow         whether too few pictures a second are read to say anything of the gait
    latency_ms   ms from the picture to this answer
    """

    t_s: float = NAN
    dog: bool = False
    gait: str = ""
    probability: float = NAN
    agree: int = 0
    candidates: str = ""
    back: Back = field(default_factory=Back)
    said: Said | None = None
    slow: bool = False
    latency_ms: float = NAN

    @property
    def sure(self) -> bool:
        """Whether enough strides agree on the gait."""
        return self.gait == STAND or (self.gait not in ("", UNCLEAR) and self.agree >= AGREE)


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """A picture with its landmarks. rgb (H, W, 3); xy_px (6, 2) px, NaN = not found; hidden (6,) bool."""

    t_s: float
    rgb: Picture
    xy_px: FloatArray
    hidden: NDArray[np.bool_]


class LiveReading:
    """Reads what is offered on a thread of its own. All methods may be called from any thread.

    failed   one sentence when reading met an error and has ended, else ""
    dropped  pictures that were left out because they came faster than they could be read
    """

    def __init__(
        self, network: Reader, trial: Trial, *, tell: Callable[[Said], None] = lambda said: None
    ) -> None:
        """tell: called with every change of gait, from the thread of the reading."""
        self.failed, self.dropped, self.read = "", 0, 0
        self._landmarks = LandmarkStream(network, facing=trial.facing)
        self._gait, self._tell = GaitStream(trial), tell
        self._now, self._seen, self._said = Now(), None, list[Said]()
        self._last: Event | None = None
        self._row: list[Event] = []
        self._trail, self._log = Trail(), LatencyLog()
        self._shots: deque[ShotLike] = deque(maxlen=KEPT)
        self._waiting: deque[ShotLike] = deque()
        self._last_s = -np.inf
        self._ending = False
        self._change = threading.Condition()
        self._thread = threading.Thread(target=self._work, name="pawfall live", daemon=True)
        self._thread.start()

    _seen: Seen | None

    @property
    def now(self) -> Now:
        """The newest answer."""
        return self._now

    @property
    def seen(self) -> Seen | None:
        """The newest picture that was read; None before the first."""
        return self._seen

    @property
    def said(self) -> tuple[Said, ...]:
        """Every change of gait so far."""
        with self._change:
            return tuple(self._said)

    @property
    def latency(self) -> Latency:
        """How long answers took, of all pictures that were read."""
        with self._change:
            return self._log.summary()

    def offer(self, shot: ShotLike) -> None:
        """Bring a picture that nobody else will change; never waits."""
        with self._change:
            if self.failed or self._ending or shot.t_s < self._last_s + 1 / MOST_FPS:
                return
            self._last_s = shot.t_s
            self._waiting.append(shot)
            self._leave_out_old()
            self._change.notify_all()

    def finish(self) -> None:
        """Read what is waiting, tell what is still owed, and come back when that is done."""
        with self._change:
            self._ending = True
            self._change.notify_all()
        self._thread.join()

    def _work(self) -> None:
        try:
            while (shot := self._next()) is not None:
                self._read(shot)
            rest = self._landmarks.finish()
            self._hear([*(self._gait.push(rest) if rest else ()), *self._gait.finish()])
        except Exception as error:  # whatever a network of others raises: the recording goes on
            self.failed = f"Reading has stopped ({type(error).__name__}: {error}). The recording goes on."

    def _next(self) -> ShotLike | None:
        """The oldest picture that is fresh enough, waited for; None = the end."""
        with self._change:
            self._change.wait_for(lambda: bool(self._waiting) or self._ending)
            self._leave_out_old()
            return self._waiting.popleft() if self._waiting else None

    def _leave_out_old(self) -> None:
        """The newest picture always stays."""
        while len(self._waiting) > 1 and time.monotonic() - self._waiting[0].taken_s > MOST_AGE_S:
            self._waiting.popleft()
            self.dropped += 1

    def _read(self, shot: ShotLike) -> None:
        """Push a picture through both streams; what the network saw in it is told first."""
        before = self._landmarks.newest
        self._shots.append(shot)
        due = self._landmarks.push(shot.rgb, shot.t_s)
        newest = self._landmarks.newest
        if newest is not None and newest is not before:
            self._publish(newest)
        if due is not None:
            self._hear(list(self._gait.push(due)))

    def _publish(self, newest: Tracks) -> None:
        """A new answer, of the last picture of ``newest``."""
        by_time = {shot.t_s: shot for shot in self._shots}
        shots = [by_time[t_s] for t_s in newest.t_s.tolist() if t_s in by_time]
        last, xy = shots[-1], newest.xy_px[-1]
        self._trail.add(newest, last.rgb.shape[1])
        back = self._trail.back(self._gait.belt_deg, self._landmarks.facing)
        dog = bool(np.isfinite(xy[[WITHERS, CROUP]]).all())
        taken = [time.monotonic() - shot.taken_s for shot in shots]
        gait = self._gait_now(last.t_s)
        with self._change:
            self._log.add(taken)
            self.read += len(shots)
            self._seen = Seen(last.t_s, last.rgb, xy, newest.hidden[-1])
            said = self._said[-1] if self._said else None
            self._now = replace(gait, t_s=last.t_s, dog=dog, back=back, said=said, latency_ms=1e3 * taken[-1])

    def _gait_now(self, now_s: float) -> Now:
        """What is known of the gait, with nothing else."""
        if self._gait.sparse:
            return Now(slow=True)
        if self._gait.gait == STAND:
            return Now(gait=STAND)
        last = self._last
        if last is None or last.t_s < now_s - SILENT_S:
            return Now()
        agree = 0 if last.gait == UNCLEAR else len(self._row)
        return Now(gait=last.gait, probability=last.probability, agree=agree, candidates=last.candidates)

    def _hear(self, events: list[Event]) -> None:
        """Keep the hind strides that agree, of which unclear ones end no row, and tell changes of gait."""
        for event in events:
            if event.kind == STRIDE and event.paw in HINDS and event.gait:
                self._last = event
                if event.gait != UNCLEAR:
                    same = bool(self._row) and self._row[-1].gait == event.gait
                    self._row = [*self._row[-AGREE:], event] if same else [event]
            if event.kind == GAIT_CHANGED:
                if event.gait == STAND:
                    self._last, self._row = None, []
                if not self._gait.sparse:
                    self._say(event)

    def _say(self, event: Event) -> None:
        with self._change:
            before = self._said[-1].gait if self._said else ""
            said = Said(event.t_s, event.told_s, event.gait, before)
            self._said.append(said)
        self._tell(said)


def with_article(gait: str) -> str:
    """ "a pace", "an amble"."""
    return f"an {gait}" if gait[:1] in "aeiou" else f"a {gait}"


def number_word(count: int) -> str:
    """ "three" for 3."""
    return ("no", "one", "two", "three", "four", "five")[count] if count < 6 else str(count)
