"""Landmarks of a live picture, frame by frame: the reading of a whole clip, done again and again on its last seconds.

    stream = LandmarkStream(Network.load(current_network()), facing="right")
    for frame in camera:
        landmarks = stream.push(frame.rgb, frame.t_s)

Delay: the landmarks of a frame come with the first push that is ``delay_s`` (0.4 s) later. They are decided on what
came before and on 0.2 to 0.4 s of what came after, given out once, and never changed. Nothing later is waited for.

Memory: at most ``most_frames`` (1200) frames are remembered, as places and not as pictures: below 2.5 MB, and below
20 MB more while near and far are decided. At most ``together`` (2) pictures are kept.

Time: the network once per frame, and 25 to 50 ms of one core every ``every_s`` (0.2 s) at 30 to 60 frames per second.

Answers differ from those of the whole clip in that near and far, gaps and smoothing are decided on ``span_s`` (4 s),
and in the first seconds on less; tests/gait/test_live_against_whole.py measures how much.
"""

import threading
from collections import deque
from dataclasses import dataclass, field

import numpy as np

from pose.clip import Frame
from pose.errors import ClipError
from pose.find import Reader, Sighting, seen_both_ways, vote
from pose.landmarks import LANDMARKS, PAIRS
from pose.newest import Heading, go_on, heading_of, trunk_length
from pose.read import Facing, Follower, FrameLike, ReadSettings, dog_found, tracks_of
from pose.sightings import Sightings, joined
from pose.tracks import Tracks, joined_tracks
from pose.window import Picture

#: s, rounding of time stamps, by which a frame may be given out early.
TICK_S = 1e-6


@dataclass(frozen=True, slots=True)
class StreamSettings:
    """How a live picture is read.

    delay_s      s, age at which the landmarks of a frame are given out: most of a stride of a trotting dog, so that
                 either paw of a pair is seen to stand or to swing again. On the demo clips half of it gave the same
    span_s       s, age of the oldest frames that are asked about near and far: four strides of a slow walk
    every_s      s between two decisions; each is about the frames that become due until the next
    most_frames  frames remembered at most, whatever the frame rate; 4 s at 300 frames per second
    together     pictures that go through the network at once, so that two cores share them; divides ``reading.batch``
    reading      as for a whole clip
    """

    delay_s: float = 0.4
    span_s: float = 4.0
    every_s: float = 0.2
    most_frames: int = 1200
    together: int = 2
    reading: ReadSettings = field(default_factory=ReadSettings)

    def __post_init__(self) -> None:
        if not 0 < self.every_s < self.delay_s < self.span_s:
            raise ClipError("every_s, delay_s and span_s have to be above 0 and rise in this order.")
        if self.together < 1 or self.reading.batch % self.together:
            raise ClipError(f"together is {self.together}; it has to divide the batch of {self.reading.batch}.")


class LandmarkStream:
    """Finds the dog in live pictures, follows it, and gives the landmarks of every frame once, ``delay_s`` later.

    May be used from several threads. After a jump in time or a change of camera start a new one.
    """

    def __init__(
        self, network: Reader, settings: StreamSettings = StreamSettings(), *, facing: Facing | None = None
    ) -> None:
        """facing: the side of the picture towards which the dog faces, when a person said it; None = found out."""
        self._network, self._settings = network, settings
        self._side = _Side(network, settings.reading, facing)
        self._follower = Follower(network, settings.reading, self._side.ask)
        self._waiting: list[FrameLike] = []
        self._parts: deque[Sightings] = deque()
        self._owed: deque[float] = deque()
        self._decided: Tracks | None = None
        self._heading: Heading | None = None
        self._length_px = np.nan
        self._newest: Tracks | None = None
        self._count = self._left_out = 0
        self._now_s = -np.inf
        self._lock = threading.RLock()

    @property
    def facing(self) -> Facing | None:
        """The side towards which the dog faces; None while no dog was found."""
        with self._lock:
            return self._side.facing

    @property
    def left_out(self) -> int:
        """Pictures that were left out: their time did not rise, or too many came within the delay."""
        return self._left_out

    @property
    def newest(self) -> Tracks | None:
        """The pictures that the network saw last, at most ``together``, long before their landmarks are due.

        Withers and croup are as the network saw them; near and far paw go on from where they were decided last and may
        still be decided otherwise (see pose.newest). Nothing is smoothed. None before the first.
        """
        with self._lock:
            return self._newest

    def push(self, rgb: Picture, time_s: float) -> Tracks | None:
        """The landmarks of the frames that became due: as a rule one, none at first, more after a pause.

        rgb     (H, W, 3) uint8, upright
        time_s  s on the real clock, rising

        ``frame`` of what comes back counts the pictures from 0, its ``t_s`` are the times that were given.
        Raises ClipError when this is no picture or no time.
        """
        if not isinstance(rgb, np.ndarray) or rgb.dtype != np.uint8 or rgb.ndim != 3 or rgb.shape[2] != 3:
            raise ClipError("A picture has to be an array (height, width, 3) of bytes, red first.")
        if not np.isfinite(time_s):
            raise ClipError(f"The time of a picture is {time_s}; give seconds on the real clock.")
        with self._lock:
            owed = len(self._owed) + len(self._waiting)
            if time_s <= self._now_s or owed >= self._settings.most_frames // 2:
                self._left_out += 1
                return None
            self._take(rgb, float(time_s))
            return self._due(self._now_s - self._settings.delay_s + TICK_S)

    def finish(self) -> Tracks | None:
        """The landmarks of all frames that are still owed, at the end of the picture."""
        with self._lock:
            self._read_waiting()
            return self._due(np.inf)

    def _take(self, rgb: Picture, time_s: float) -> None:
        """Read the picture, or keep a copy of it until enough have come."""
        self._now_s = time_s
        full = len(self._waiting) + 1 >= self._settings.together
        slow = bool(self._waiting) and time_s - self._waiting[0].t_s > self._settings.every_s
        picture = np.ascontiguousarray(rgb) if full or slow else rgb.copy(order="C")
        self._waiting.append(Frame(self._count, time_s, picture))
        self._count += 1
        if full or slow:
            self._read_waiting()

    def _read_waiting(self) -> None:
        frames, self._waiting = self._waiting, []
        if not frames:
            return
        if self._follower.begins and self._side.confirm(frames[0].rgb):
            self._follower.turn(self._side.facing == "left")
        self._parts.append(self._follower.read(frames))
        self._owed.extend(frame.t_s for frame in frames)
        self._forget()
        self._go_on(self._parts[-1])

    def _go_on(self, seen: Sightings) -> None:
        """Landmarks of the newest pictures, provisional."""
        xy, mass, self._heading = go_on(self._heading, seen, self._length_px)
        xy[~(mass > self._settings.reading.nothing_mass)] = np.nan
        score = np.where(np.isfinite(xy[..., 0]), self._network.calibrated(np.nan_to_num(mass)), 0.0)
        hidden = ~(mass >= self._settings.reading.hidden_mass)
        self._newest = Tracks(seen.frame, seen.t_s, xy, score, hidden)

    def _due(self, until_s: float) -> Tracks | None:
        """What is owed up to ``until_s``, decided together with what becomes due soon."""
        given = []
        while self._owed and self._owed[0] <= until_s:
            first = self._first_owed
            if self._decided is None or self._decided.frame[-1] < first:
                self._decided = self._decide(first, until_s + self._settings.every_s)
            due = self._decided.rows((self._decided.frame >= first) & (self._decided.t_s <= until_s))
            for _ in range(len(due)):
                self._owed.popleft()
            given.append(due)
        return joined_tracks(given) if given else None

    @property
    def _first_owed(self) -> int:
        """Number of the oldest frame that was read and not given out."""
        return self._count - len(self._waiting) - len(self._owed)

    def _decide(self, first: int, until_s: float) -> Tracks:
        """The frames from number ``first`` to ``until_s``, decided for good on all that is remembered."""
        reading = self._settings.reading
        seen = joined(self._parts, reading.peaks)
        enough = dog_found(seen, reading).sum() >= reading.least_frames
        tracks = tracks_of(seen, self._network, reading)[0] if enough else nothing_seen(seen)
        self._heading, self._length_px = heading_of(tracks), trunk_length(tracks.xy_px)
        return tracks.rows((tracks.frame >= first) & (tracks.t_s <= until_s))

    def _forget(self) -> None:
        """Let go of frames that were given out and are too old or too many."""
        parts, settings = self._parts, self._settings
        frames = sum(len(part.t_s) for part in parts)
        while parts[0].frame[-1] < self._first_owed and (
            frames > settings.most_frames or parts[0].t_s[-1] < self._now_s - settings.span_s
        ):
            frames -= len(parts.popleft().t_s)


def nothing_seen(seen: Sightings) -> Tracks:
    """Tracks of frames in which there is no dog."""
    count, marks = len(seen.t_s), len(LANDMARKS)
    empty, none = np.full((count, marks, 2), np.nan), np.zeros((count, marks))
    return Tracks(seen.frame, seen.t_s, empty, none, none.astype(bool), np.full((count, len(PAIRS)), 0.5))


class _Side:
    """Which way the dog faces: voted on anew whenever it is searched for, until the votes are enough."""

    def __init__(self, network: Reader, settings: ReadSettings, told: Facing | None) -> None:
        self.facing = told
        self._network, self._settings, self._told = network, settings, told
        self._seen: tuple[Sighting, Sighting] | None = None
        self._votes = 0.0

    def ask(self, rgb: Picture) -> bool | None:
        """At a search: whether the dog in ``rgb`` (H, W, 3) faces left; None = there is none."""
        if self._told is None:
            self._seen, self._votes, self.facing = None, 0.0, None
            self._vote(rgb)
        return None if self.facing is None else self.facing == "left"

    def confirm(self, rgb: Picture) -> bool:
        """Another vote while they are not enough; whether the answer is another now."""
        if self._told or self._seen is None or abs(self._votes) > self._settings.facing.enough:
            return False
        before = self.facing
        self._vote(rgb)
        return self.facing != before

    def _vote(self, rgb: Picture) -> None:
        self._seen = seen_both_ways(self._network, rgb, self._seen, self._settings.finding)
        if self._seen is not None:
            self._votes += vote(*self._seen, self._settings.facing)
            self.facing = "right" if self._votes >= 0 else "left"
