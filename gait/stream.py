"""Contacts, strides and the gait of a dog that is being filmed, as they happen.

The reading of a whole clip, done again and again on its last seconds:

    stream = GaitStream(Trial(belt_m_s=1.2))
    for event in stream.push(landmarks):
        ...

``landmarks`` are what ``pose.stream`` gives, or any tracks of one or more frames, on the real clock. "Now" is the time
of the last frame that was pushed.

Delay: a touchdown or lift-off is told at most ``contact_delay_s`` (0.4 s) after it, a stride at most ``stride_delay_s``
(0.8 s) after its end, or never; the gait after ``agree`` (3) hind strides of one name. What was told is never changed.
Nothing later than "now" is known to it, so that is also the longest look ahead.

Frames: of fewer than 20 per second nothing is told, as no clip is read at fewer, and ``sparse`` says so. No contact is
told within ``hole_s`` (0.1 s) of a longer time without frames, and a stride with such a hole is told as dropped.

Memory: at most ``most_frames`` (1200) frames of landmarks, 0.5 MB, and below 20 MB more while they are analysed.

Time: 60 to 70 ms of one core every ``every_s`` (0.2 s) of film, whatever the frame rate.

Answers differ from those of the whole clip, which learns from all its swings at once, by some milliseconds; and a
stride is named by itself, where the whole clip leaves a single odd name unclear. How much both are is measured by
tests/gait/test_live_against_whole.py.
"""

import threading
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from gait.errors import GaitError, TooFewStridesError
from gait.footfalls import HIND
from gait.naming import STAND, UNCLEAR, NamingSettings
from gait.nouns import Contacts, GaitRecord, Strides
from gait.record import build_record
from gait.settings import GaitSettings
from gait.trial import Trial
from pose.landmarks import PAWS
from pose.tracks import FloatArray, Tracks, joined_tracks

#: s between frames at 20 per second, fewer than which no clip is read at; and rounding of sums of seconds.
SLOWEST_FRAME_S, TICK_S = 0.05, 1e-6
#: Factor for every third frame of 59.94 per second and for rounded stamps; and s after which a rate is believed.
SLOWER, RATE_S = 1.01, 1.0
TOUCHDOWN, LIFTOFF, STRIDE, GAIT_CHANGED = "touchdown", "liftoff", "stride", "gait changed"


@dataclass(frozen=True, slots=True)
class StreamSettings:
    """When what is told. Our own choices; the first four were tried on the demo clips.

    contact_settle_s, contact_delay_s  s, ages between which a touchdown or lift-off is told: younger ones still move by
                some milliseconds with every frame, and what is not there in time is never told
    stride_settle_s, stride_delay_s    s, the same for strides, by their end: the name asks for the paws that land next
    every_s     s between two analyses
    span_s      s that are analysed: eight strides of a trot, four of a slow walk
    most_frames frames remembered at most, whatever the frame rate
    apart       share of the usual stride by which two touchdowns (lift-offs, strides) of a paw lie apart at least
    agree       hind strides, near and far in turn, that have to share a name for the gait to be told as changed
    hole_s      s, a longer time between two frames hides what happened: two frames at the lowest rate
    gait        as for a whole clip, but that a single odd name is told as it is
    """

    contact_settle_s: float = 0.15
    contact_delay_s: float = 0.4
    stride_settle_s: float = 0.45
    stride_delay_s: float = 0.8
    every_s: float = 0.2
    span_s: float = 6.0
    most_frames: int = 1200
    apart: float = 0.4
    agree: int = 3
    hole_s: float = 2 * SLOWEST_FRAME_S
    gait: GaitSettings = field(default_factory=lambda: GaitSettings(naming=NamingSettings(least_in_a_row=1)))

    def __post_init__(self) -> None:
        if min(self.every_s, self.contact_settle_s, self.agree) <= 0:
            raise GaitError("every_s, contact_settle_s and agree have to be above 0.")
        late = min(self.contact_delay_s - self.contact_settle_s, self.stride_delay_s - self.stride_settle_s)
        if late < self.every_s + SLOWEST_FRAME_S - TICK_S or self.stride_settle_s < self.contact_settle_s:
            raise GaitError(
                f"A delay has to exceed its settling by every_s and {SLOWEST_FRAME_S} s, or events are lost between "
                "two analyses; and strides settle no sooner than contacts."
            )


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened.

    kind        "touchdown", "liftoff", "stride" or "gait changed"
    t_s         s, when; of a stride its end, of a change of gait the start of the first stride of the new one
    told_s      s, time of the last frame that was known when it was told
    paw         name of the landmark; "" for a change of gait
    sd_ms       ms, stated spread of a touchdown or lift-off; NaN for others
    duration_s  s, of a stride; NaN for others
    gait        of a stride or a change: plain name, "unclear", "stand", or "" for a stride that was dropped
    probability 0..1, of that name; NaN where no name was tried
    candidates  of an unclear stride the two likeliest names, joined by "/"; else ""
    dropped     why a stride was dropped, or ""
    measures    of a stride, by the names in gait.measures: topline_deg, place_bl (place on the belt) and all others
                that are known
    """

    kind: str
    t_s: float
    told_s: float
    paw: str = ""
    sd_ms: float = float("nan")
    duration_s: float = float("nan")
    gait: str = ""
    probability: float = float("nan")
    candidates: str = ""
    dropped: str = ""
    measures: Mapping[str, float] = field(default_factory=dict)


NO_TRIAL = Trial()


class GaitStream:
    """Tells events as landmarks come in. May be used from several threads; after a jump in time start a new one."""

    def __init__(self, trial: Trial = NO_TRIAL, settings: StreamSettings = StreamSettings()) -> None:
        self._trial, self._settings = trial, settings
        self._known: Tracks | None = None
        self._last: dict[tuple[str, str], float] = {}
        self._due_s = -np.inf
        self._gait = ""
        self._belt_deg = float("nan")
        self._sparse = False
        self._row: list[Event] = []
        self._lock = threading.Lock()

    @property
    def gait(self) -> str:
        """The gait that was told last; "" before the first."""
        return self._gait

    @property
    def belt_deg(self) -> float:
        """deg, slope of the belt line in the picture at the last analysis, + rising to the right; NaN before it."""
        return self._belt_deg

    @property
    def sparse(self) -> bool:
        """Whether fewer than 20 frames per second come, so that nothing is told."""
        return self._sparse

    def push(self, landmarks: Tracks) -> tuple[Event, ...]:
        """Events that are told now, earlier ones first, a change of gait last; as a rule none.

        Raises TableError when the landmarks are not later than those before.
        """
        with self._lock:
            told: list[Event] = []
            for part, due in self._pieces(landmarks):
                self._known = self._remember(part)
                told += self._tell(self._known, finished=False) if due else ()
            return tuple(told)

    def finish(self) -> tuple[Event, ...]:
        """What is still to be told at the end of the film, settled or not."""
        with self._lock:
            return () if self._known is None else tuple(self._tell(self._known, finished=True))

    def _pieces(self, landmarks: Tracks) -> Iterator[tuple[Tracks, bool]]:
        """``landmarks`` cut after every frame at which an analysis is due, and whether it is."""
        start = 0
        for row, t_s in enumerate(landmarks.t_s.tolist()):
            if t_s >= self._due_s:
                self._due_s = t_s + self._settings.every_s
                yield landmarks.rows(slice(start, row + 1)), True
                start = row + 1
        if start < len(landmarks):
            yield landmarks.rows(slice(start, None)), False

    def _remember(self, landmarks: Tracks) -> Tracks:
        known = landmarks if self._known is None else joined_tracks([self._known, landmarks])
        known = known.rows(slice(-self._settings.most_frames, None))
        return known.rows(known.t_s >= known.t_s[-1] - self._settings.span_s)

    def _tell(self, known: Tracks, *, finished: bool) -> list[Event]:
        span_s = float(known.t_s[-1] - known.t_s[0])
        self._sparse = span_s > max(RATE_S, (len(known) - 1) * SLOWEST_FRAME_S * SLOWER)
        if self._sparse:
            return []
        try:
            record = build_record(known, self._trial, self._settings.gait)
        except TooFewStridesError:
            return []
        now_s, self._belt_deg = float(known.t_s[-1]), record.belt.angle_deg
        new = self._new(record, now_s, finished)
        return [*new, *self._changes(new, now_s), *self._stands(record, now_s)]

    def _new(self, record: GaitRecord, now_s: float, finished: bool) -> list[Event]:
        """Contacts and strides of the right age that were not told yet."""
        settings = self._settings
        ages = dict.fromkeys((TOUCHDOWN, LIFTOFF), (settings.contact_settle_s, settings.contact_delay_s))
        ages[STRIDE] = (settings.stride_settle_s, settings.stride_delay_s)
        apart_s = settings.apart * _usual_s(record.strides)
        contacts, strides = _contact_events(record.contacts, now_s), _stride_events(record.strides, now_s)
        found = _without_holes([*contacts, *strides], record.tracks.t_s, settings.hole_s)
        new = []
        for event in sorted(found, key=lambda event: event.t_s):
            youngest, oldest = ages[event.kind]
            ripe = (0.0 if finished else youngest) <= now_s - event.t_s <= oldest
            if ripe and event.t_s > self._last.get((event.kind, event.paw), -np.inf) + apart_s:
                self._last[event.kind, event.paw] = event.t_s
                new.append(event)
        return new

    def _changes(self, new: list[Event], now_s: float) -> Iterator[Event]:
        """The gait, when enough hind strides in a row have a name that was not told last; unclear ones end no row."""
        for event in new:
            if event.kind != STRIDE or PAWS.index(event.paw) < HIND or event.gait in ("", UNCLEAR):
                continue
            row = self._row if self._row and self._row[-1].gait == event.gait else []
            self._row = [*row, event][-self._settings.agree :]
            if len(self._row) == self._settings.agree and event.gait != self._gait:
                self._gait, first = event.gait, self._row[0]
                sure = float(np.mean([one.probability for one in self._row]))
                yield Event(GAIT_CHANGED, first.t_s - first.duration_s, now_s, gait=event.gait, probability=sure)

    def _stands(self, record: GaitRecord, now_s: float) -> Iterator[Event]:
        """A stand that goes on."""
        for run in record.runs:
            if run.gait == STAND and run.end_s >= now_s - self._settings.stride_settle_s and self._gait != STAND:
                self._gait, self._row = STAND, []
                yield Event(GAIT_CHANGED, run.start_s, now_s, gait=STAND)


#: s, least time between two touchdowns of a paw while no stride is known; half the shortest stride (RhythmSettings).
SHORTEST_S = 0.06


def _usual_s(strides: Strides) -> float:
    """s, median time of the strides that are known."""
    time = strides.end_s - strides.start_s
    return float(np.median(time[np.isfinite(time)])) if np.isfinite(time).any() else SHORTEST_S


def _contact_events(c: Contacts, now_s: float) -> Iterator[Event]:
    for kind, t_s, sd_ms in ((TOUCHDOWN, c.touchdown_s, c.touchdown_sd_ms), (LIFTOFF, c.liftoff_s, c.liftoff_sd_ms)):
        for row in np.flatnonzero(np.isfinite(t_s)):
            yield Event(kind, float(t_s[row]), now_s, PAWS[c.paw[row]], sd_ms=float(sd_ms[row]))


def _without_holes(events: list[Event], t_s: FloatArray, hole_s: float) -> Iterator[Event]:
    """``events`` without contacts next to a hole in t_s (T,) s, strides with a hole in them as dropped."""
    row = np.flatnonzero(np.diff(t_s) > hole_s + TICK_S)
    start, end = t_s[row], t_s[row + 1]
    for event in events:
        before_s, after_s = (event.duration_s, 0.0) if event.kind == STRIDE else (hole_s, hole_s)
        if not np.any((start < event.t_s + after_s) & (end > event.t_s - before_s)):
            yield event
        elif event.kind == STRIDE:
            yield replace(event, gait="", probability=float("nan"), candidates="", dropped=event.dropped or "gap")


def _stride_events(s: Strides, now_s: float) -> Iterator[Event]:
    time: FloatArray = s.end_s - s.start_s
    for row in np.flatnonzero(np.isfinite(time)):
        known = {name: float(column[row]) for name, column in s.measures.items() if np.isfinite(column[row])}
        yield Event(
            STRIDE,
            float(s.end_s[row]),
            now_s,
            PAWS[s.paw[row]],
            duration_s=float(time[row]),
            gait=str(s.gait[row]),
            probability=float(s.gait_probability[row]),
            candidates=str(s.candidates[row]),
            dropped=str(s.dropped[row]),
            measures=known,
        )
