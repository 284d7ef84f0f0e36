"""Reads film files: exact time stamps, the turn that the camera noted, and where a file breaks off."""

import math
from collections.abc import Iterator
from datetime import date, datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
from av.sidedata.sidedata import Type as SideData
from numpy.typing import NDArray

from pose.errors import ClipError
from pose.tracks import FloatArray, IntArray

#: Only these are opened, and only as local files: a play list dressed up as a film must not fetch anything.
OPEN_OPTIONS = {"format_whitelist": "mov,mp4,matroska,webm,avi", "protocol_whitelist": "file"}
KINDS = "mp4, mov, avi, mkv or webm"

#: Names under which cameras note the rate at which they filmed (Android's media recorder writes this one).
CAPTURE_RATE_KEYS = ("com.android.capture.fps",)
#: Names under which cameras note when they filmed, the one with its own time zone first.
CREATED_KEYS = ("com.apple.quicktime.creationdate", "creation_time")
#: Year; a camera whose clock was never set says 1904 or 1970.
FIRST_YEAR = 2000

#: s; a film that ends this much before the end that it announces has been cut off. Audio may run on longer.
CUT_OFF_S = 0.25
CUT_OFF_WITH_AUDIO_S = 1.0

Picture = NDArray[np.uint8]
Upright = tuple[bool, bool, bool]


class FilmFile:
    """The pictures of one film file, with stamps counted from the packets before anything is decoded.

    stamps_s  (N,) s, rising; numbers (N,) the place of each frame in the file
    """

    def __init__(self, path: Path, stop_s: float | None = None) -> None:
        self._path = path
        self.capture_fps: float | None = None
        self.filmed_on: date | None = None
        if not path.stat().st_size:
            raise ClipError(f"{path.name} is empty (0 bytes). Copy the file from the camera again.")
        with _open(path) as container:
            stream = _stream(container, path)
            self._base = stream.time_base
            self._ticks_only = container.format.name == "avi"
            notes = container.metadata | stream.metadata
            self.capture_fps, self.filmed_on = _capture_rate(notes), _day_noted(notes)
            announced, slack = _announced_end(container, stream)
            ticks, self._keys, broken = _scan(container, stream, self._ticks_only)
        self._ticks = np.unique(ticks)
        self.repeated = len(ticks) - len(self._ticks)
        if not len(self._ticks):
            raise ClipError(f"{path.name} holds no readable picture. Copy the file from the camera again.")
        self.stamps_s: FloatArray = np.array([float(int(tick) * self._base) for tick in self._ticks])
        self.numbers: IntArray = np.arange(len(self._ticks))
        self._check_whole(announced, announced - slack, broken, stop_s)
        first = next(self.read(0, len(self._ticks) - 1), None)
        if first is None:
            raise ClipError(f"No frame of {path.name} can be decoded. Copy the file again, or save it as mp4 (H.264).")
        self.height, self.width = first[2].shape[:2]

    def read(self, first: int, last: int) -> Iterator[tuple[int, float, Picture]]:
        """Frames ``first`` to ``last`` inclusive: (number, s on the file's clock, upright rgb (H, W, 3))."""
        return self._read(first, last, None)

    def _read(self, first: int, last: int, wanted: set[int] | None) -> Iterator[tuple[int, float, Picture]]:
        """As ``read``; only ``wanted`` places are turned into pictures, the others are decoded and passed over."""
        with _open(self._path) as container:
            stream = _stream(container, self._path)
            if first and not self._ticks_only:
                self._seek(container, stream, first)
            turn: Upright | None = None
            for place, stamp_s, frame in self._placed(_decode(container, stream)):
                if place > last:
                    return
                if turn is None or frame.key_frame:  # a frame that was asked for notes stays until the next collection
                    turn = _display_turn(frame)
                if place >= first and (wanted is None or place in wanted):
                    yield place, stamp_s, _to_rgb(frame, stream.sample_aspect_ratio, turn)

    def pick(self, positions: list[int]) -> Iterator[tuple[int, float, Picture]]:
        """The frames at rising ``positions``; jumps over groups of pictures that hold none of them."""
        groups = np.searchsorted(self._keys, self._ticks[positions], side="right")
        for group in np.unique(groups):
            wanted = [place for place, its in zip(positions, groups, strict=True) if its == group]
            yield from self._read(wanted[0], wanted[-1], set(wanted))

    def _placed(self, frames: Iterator[Any]) -> Iterator[tuple[int, float, Any]]:
        """Give each decoded frame its place and stamp; leave out those whose stamp does not rise."""
        latest = -1
        for frame in frames:
            if self._ticks_only:  # AVI numbers its frames and stores no time: the n-th picture has the n-th tick
                latest += 1
                if latest < len(self._ticks):
                    yield latest, float(self.stamps_s[latest]), frame
                continue
            if frame.pts is None:
                continue
            place = min(int(np.searchsorted(self._ticks, frame.pts)), len(self._ticks) - 1)
            if place > latest:
                latest = place
                yield place, float(frame.pts * frame.time_base), frame

    def _seek(self, container: Any, stream: Any, first: int) -> None:
        key = int(np.searchsorted(self._keys, self._ticks[first], side="right")) - 1
        if key > 0:
            container.seek(int(self._keys[key]), stream=stream, backward=True)

    def _check_whole(self, announced_s: float, earliest_s: float, broken: bool, stop_s: float | None) -> None:
        end_s = float(self.stamps_s[-1])
        if not (broken or end_s < earliest_s) or (stop_s is not None and stop_s < end_s):
            return
        of = f" of {announced_s:.2f} s" if announced_s > end_s else ""
        raise ClipError(
            f"{self._path.name} breaks off: {len(self._ticks)} frames, up to {end_s:.2f} s{of}, can be read. "
            f"Copy the file from the camera again, or read only the intact part (stop at {0.95 * end_s:.2f} s)."
        )


def _open(path: Path) -> Any:
    try:
        return av.open(str(path), options=OPEN_OPTIONS)
    except (av.FFmpegError, OSError, ValueError) as error:
        begins = path.read_bytes()[:64] if path.stat().st_size < 1 << 16 else b"\0"
        text = all(9 <= byte < 127 for byte in begins)
        what = "it holds text" if text else "it has been cut off or is of another kind"
        raise ClipError(
            f"{path.name} cannot be opened as a film; {what}. Copy it from the camera again, or save it as {KINDS}."
        ) from error


def _stream(container: Any, path: Path) -> Any:
    """The first moving picture of the container (a cover picture of an audio file is none)."""
    for stream in container.streams.video:
        if not stream.disposition & av.stream.Disposition.attached_pic:
            stream.thread_type = "AUTO"
            return stream
    what = "sound only" if container.streams.audio else "no pictures"
    raise ClipError(f"{path.name} holds {what}. Give a film with a picture of the dog.")


def _scan(container: Any, stream: Any, decode_order: bool) -> tuple[IntArray, IntArray, bool]:
    """Stamps of all pictures and of the key pictures in ticks (rising), and whether the file breaks off."""
    ticks, keys, broken = [], [], False
    try:
        for packet in container.demux(stream):
            broken = broken or packet.is_corrupt
            tick = packet.dts if decode_order or packet.pts is None else packet.pts
            if tick is None or not packet.size or packet.is_discard:
                continue
            ticks.append(tick)
            if packet.is_keyframe:
                keys.append(tick)
    except av.FFmpegError:
        broken = True
    return np.array(sorted(ticks), dtype=np.int64), np.array(sorted(keys), dtype=np.int64), broken


def _decode(container: Any, stream: Any) -> Iterator[Any]:
    """All frames that can be decoded; a packet that cannot be is a gap, counted by the caller."""
    try:
        for packet in container.demux(stream):
            try:
                yield from packet.decode()
            except av.error.InvalidDataError:
                continue
    except av.FFmpegError:
        return


def _announced_end(container: Any, stream: Any) -> tuple[float, float]:
    """s, where the film ends by its own account (-inf: it gives none), and how much less is no fault."""
    slack_s = CUT_OFF_S
    if stream.duration:
        end_s = float((stream.duration + (stream.start_time or 0)) * stream.time_base)
    elif container.duration:
        end_s = container.duration / av.time_base
        slack_s = CUT_OFF_WITH_AUDIO_S if container.streams.audio else CUT_OFF_S
    else:
        return -math.inf, 0.0
    return end_s, max(slack_s, 3 / float(stream.average_rate or 25))


def _capture_rate(notes: dict[str, str]) -> float | None:
    for key in CAPTURE_RATE_KEYS:
        try:
            rate = float(notes.get(key, ""))
        except ValueError:
            continue
        if math.isfinite(rate) and rate > 0:
            return rate
    return None


def _day_noted(notes: dict[str, str]) -> date | None:
    """The day on which it was filmed, where it was filmed if the camera knew, else on the clock of this machine."""
    for key in CREATED_KEYS:
        try:
            moment = datetime.fromisoformat(notes.get(key, ""))
            day = moment.date() if moment.utcoffset() else moment.astimezone().date()
        except (ValueError, OverflowError, OSError):
            continue
        if day.year >= FIRST_YEAR:
            return day
    return None


def _to_rgb(frame: Any, aspect: Fraction | None, turn: Upright) -> Picture:
    """Upright rgb (H, W, 3) with square pixels."""
    rgb: Picture = frame.to_ndarray(format="rgb24")
    if aspect and aspect != 1:
        wide = round(rgb.shape[1] * float(aspect))
        rgb = cv2.resize(rgb, (wide, rgb.shape[0]), interpolation=cv2.INTER_LINEAR).astype(np.uint8)
    transpose, flip_x, flip_y = turn
    rgb = rgb.transpose(1, 0, 2) if transpose else rgb
    rgb = rgb[:, ::-1] if flip_x else rgb
    rgb = rgb[::-1] if flip_y else rgb
    return np.ascontiguousarray(rgb)


def _display_turn(frame: Any) -> Upright:
    """Whether to swap the axes, then mirror x, then mirror y, to show the frame as the camera was held.

    The display matrix of FFmpeg (libavutil/display.h) maps a point (p, q) to (a p + c q, b p + d q).
    """
    for note in frame.side_data:
        if note.type == SideData.DISPLAYMATRIX:
            a, b, _, c, d = (int(value) for value in np.frombuffer(note, dtype=np.int32)[:5])
            if abs(b) + abs(c) > abs(a) + abs(d):
                return True, c < 0, b < 0
            return False, a < 0, d < 0
    return False, False, False
