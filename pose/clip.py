"""Opens a film or a folder of numbered pictures: upright frames, each with its own time stamp."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pose.container import FilmFile
from pose.errors import ClipError
from pose.pictures import PictureFolder
from pose.tracks import FloatArray, IntArray

Picture = NDArray[np.uint8]

QUARTER_TURNS = (0, 90, 180, 270)

#: A camera's own note of its rate has to exceed the file's rate by this factor to mean slow motion:
#: 30 against 29.97 is rounding, the slowest slow motion in use is 2:1. Common practice, no source.
SLOW_MOTION_FACTOR = 1.5


class Source(Protocol):
    """Where the frames of a clip come from: a film file or a folder of pictures."""

    width: int
    height: int
    stamps_s: FloatArray
    numbers: IntArray
    repeated: int
    capture_fps: float | None
    filmed_on: date | None

    def read(self, first: int, last: int) -> Iterator[tuple[int, float, Picture]]:
        """Frames of the positions ``first`` to ``last`` inclusive: (number, s on the file's clock, picture)."""
        ...

    def pick(self, positions: list[int]) -> Iterator[tuple[int, float, Picture]]:
        """The frames at rising ``positions`` in ``stamps_s``, in the same form."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One upright picture. index: number in its file, t_s: s on the real clock, rgb: (H, W, 3) uint8."""

    index: int
    t_s: float
    rgb: Picture


@dataclass(frozen=True, slots=True, eq=False)
class Clip:
    """A film whose frames can be gone through as often as needed.

    name          name of the file or folder without its ending
    width, height px of the upright picture
    stamps_s      (N,) s, time stamps of the frames as the file tells them, on the real clock, rising
    time_factor   real seconds per second of the file; below 1 when slow motion is baked into the file
    filmed_fps    frames per second of the camera when said by a person or by the camera itself, else None
    clock_source  "person", "camera" (a note in the file) or "file" (nobody said that it is not real time)
    repeated      frames of the file that were left out because their time stamp did not rise
    turn_deg      deg clockwise, turn asked for on top of the file's own
    """

    path: Path
    name: str
    width: int
    height: int
    stamps_s: FloatArray
    time_factor: float
    filmed_fps: float | None
    clock_source: str
    repeated: int
    turn_deg: int
    _source: Source = field(repr=False)
    _first: int = field(repr=False)

    @property
    def frame_count(self) -> int:
        """Number of frames, counted in the file without decoding it."""
        return len(self.stamps_s)

    @property
    def duration_s(self) -> float:
        """s, from the first time stamp to the last, and one mean frame more."""
        return 0.0 if self.frame_count < 2 else float(np.ptp(self.stamps_s)) * self.frame_count / (self.frame_count - 1)

    @property
    def fps(self) -> float:
        """Mean frames per second of the real clock; NaN when there is one frame only."""
        return float("nan") if self.frame_count < 2 else self.frame_count / self.duration_s

    @property
    def looks_slow_motion(self) -> bool:
        """Whether the camera itself noted a rate well above that of the file."""
        rate = self._source.capture_fps
        return rate is not None and rate > SLOW_MOTION_FACTOR * mean_rate(self._source.stamps_s)

    @property
    def filmed_on(self) -> date | None:
        """The day that the camera noted."""
        return self._source.filmed_on

    def part(self, start_s: float, stop_s: float) -> "Clip":
        """The frames from the one nearest to ``start_s`` to the one nearest to ``stop_s`` (s on the real clock) as a
        clip; the file is not looked through again."""
        first, last = (int(np.argmin(np.abs(self.stamps_s - t_s))) for t_s in (start_s, stop_s))
        return replace(self, stamps_s=self.stamps_s[first : last + 1], _first=self._first + first)

    def frames(self) -> Iterator[Frame]:
        """Every frame from first to last; may be called again.

        Raises ClipError when much less can be decoded than the file lists.
        """
        last = self._first + self.frame_count - 1
        seen, end_s = 0, float("nan")
        for number, file_s, picture in self._source.read(self._first, last):
            seen, end_s = seen + 1, file_s
            yield self._upright(number, file_s, picture)
        self._check_readable(seen, end_s)

    def sample(self, count: int) -> Iterator[Frame]:
        """``count`` frames (or all, if fewer) spread evenly over the clip, decoded as they are asked for."""
        spread = np.linspace(self._first, self._first + self.frame_count - 1, min(max(count, 1), self.frame_count))
        picked = self._source.pick([int(place) for place in spread.round()])
        return (self._upright(*frame) for frame in picked)

    def at_times(self, times_s: FloatArray) -> Iterator[Frame]:
        """The frames whose time stamps are nearest to rising ``times_s`` (N,) s on the real clock; one that cannot be
        decoded is left out. Quicker than asking for each."""
        places = [self._first + int(np.argmin(np.abs(self.stamps_s - t_s))) for t_s in times_s]
        yield from (self._upright(*frame) for frame in self._source.pick(places))

    def at(self, t_s: float) -> Frame:
        """The frame whose time stamp is nearest to ``t_s`` (s on the real clock), or the next that can be decoded."""
        place = self._first + int(np.argmin(np.abs(self.stamps_s - t_s)))
        frame = next(self._source.read(place, self._first + self.frame_count - 1), None)
        if frame is None:
            raise ClipError(f"{self.path.name} is damaged at {t_s:.2f} s. Copy the file from the camera again.")
        return self._upright(*frame)

    def between(self, start_s: float, stop_s: float) -> Iterator[Frame]:
        """The frames from the one nearest to ``start_s`` to the one nearest to ``stop_s`` (s on the real clock).

        Raises ClipError when none of them can be decoded.
        """
        first, last = (self._first + int(np.argmin(np.abs(self.stamps_s - t_s))) for t_s in (start_s, stop_s))
        frames = self._source.read(first, last)
        frame = next(frames, None)
        if frame is None:
            raise ClipError(f"{self.path.name} is damaged at {start_s:.2f} s. Copy the file from the camera again.")
        yield self._upright(*frame)
        yield from (self._upright(*frame) for frame in frames)

    def _upright(self, number: int, file_s: float, picture: Picture) -> Frame:
        turned = np.ascontiguousarray(np.rot90(picture, -self.turn_deg // 90)) if self.turn_deg else picture
        return Frame(number, file_s * self.time_factor, turned)

    def _check_readable(self, seen: int, end_s: float) -> None:
        # a film cut in the middle of a group of pictures loses some frames at both ends; more is damage
        if seen < 0.98 * self.frame_count - 3:
            until = f" (the last at {end_s:.2f} s)" if seen else ""
            raise ClipError(
                f"{self.path.name} is damaged: {seen} of {self.frame_count} frames could be decoded{until}. "
                "Copy the file from the camera again, or read an intact part of it with a start and a stop."
            )


def open_clip(
    path: str | Path,
    *,
    fps: float | None = None,
    rotate_deg: int = 0,
    filmed_fps: float | None = None,
    start_s: float | None = None,
    stop_s: float | None = None,
) -> Clip:
    """Open a film (mp4, mov, avi, mkv, webm) or a folder of numbered pictures.

    fps             frames per second of a folder of pictures (a film carries its own times)
    rotate_deg      deg clockwise (0, 90, 180, 270), on top of the turn that the film itself asks for
    filmed_fps      rate of the camera when slow motion is baked in; stretches the clock
    start_s, stop_s s on the clock of the file, as a player shows them

    Raises ClipError when it cannot be used.
    """
    path = Path(path)
    _check_numbers(fps, rotate_deg, filmed_fps, start_s, stop_s)
    if not path.exists():
        raise ClipError(f"{path} does not exist. Give a film, or a folder of numbered pictures.")
    source = _open_source(path, fps, stop_s)
    first, last = _window(path, source.stamps_s, start_s, stop_s)
    factor, filmed, clock_source = _clock(source, filmed_fps)
    turned = rotate_deg in (90, 270)
    return Clip(
        path=path,
        name=path.resolve().name if path.is_dir() else path.stem,
        width=source.height if turned else source.width,
        height=source.width if turned else source.height,
        stamps_s=source.stamps_s[first : last + 1] * factor,
        time_factor=factor,
        filmed_fps=filmed,
        clock_source=clock_source,
        repeated=source.repeated,
        turn_deg=rotate_deg,
        _source=source,
        _first=first,
    )


def mean_rate(stamps_s: FloatArray) -> float:
    """Mean frames per second of rising time stamps (N,) s; NaN for fewer than two."""
    return float("nan") if len(stamps_s) < 2 else (len(stamps_s) - 1) / float(stamps_s[-1] - stamps_s[0])


def _open_source(path: Path, fps: float | None, stop_s: float | None) -> Source:
    if not path.is_dir():
        return FilmFile(path, stop_s)
    if fps is None:
        raise ClipError(f"{path.name} is a folder of pictures without times. Say how many a second were taken (fps).")
    return PictureFolder(path, fps)


def _check_numbers(
    fps: float | None, rotate_deg: int, filmed_fps: float | None, start_s: float | None, stop_s: float | None
) -> None:
    for name, value in (("fps", fps), ("filmed fps", filmed_fps)):
        if value is not None and not (np.isfinite(value) and value > 0):
            raise ClipError(f"{name} is {value:g}; give a number of frames per second above 0.")
    for name, value in (("start", start_s), ("stop", stop_s)):
        if value is not None and not (np.isfinite(value) and value >= 0):
            raise ClipError(f"{name} is {value:g} s; give seconds from the beginning of the film, 0 or more.")
    if start_s is not None and stop_s is not None and start_s >= stop_s:
        raise ClipError(f"start is {start_s:g} s and stop is {stop_s:g} s; stop has to come after start.")
    if rotate_deg not in QUARTER_TURNS:
        raise ClipError(f"rotate is {rotate_deg}; it can be 0, 90, 180 or 270 (degrees clockwise).")


def _window(path: Path, stamps_s: FloatArray, start_s: float | None, stop_s: float | None) -> tuple[int, int]:
    """First and last position (inclusive) of the frames between ``start_s`` and ``stop_s``."""
    kept = np.ones(len(stamps_s), dtype=bool)
    kept &= stamps_s >= (-np.inf if start_s is None else start_s)
    kept &= stamps_s <= (np.inf if stop_s is None else stop_s)
    places = np.flatnonzero(kept)
    if not len(places):
        raise ClipError(
            f"{path.name} holds no frame between start and stop; "
            f"it runs from {stamps_s[0]:.2f} s to {stamps_s[-1]:.2f} s."
        )
    return int(places[0]), int(places[-1])


def _clock(source: Source, filmed_fps: float | None) -> tuple[float, float | None, str]:
    """Real seconds per second of the file, the rate of the camera, and who said so."""
    rate = mean_rate(source.stamps_s)
    if filmed_fps is not None:
        return (rate / filmed_fps if np.isfinite(rate) else 1.0), filmed_fps, "person"
    if source.capture_fps is not None and source.capture_fps > SLOW_MOTION_FACTOR * rate:
        return rate / source.capture_fps, source.capture_fps, "camera"
    return 1.0, None, "file"
