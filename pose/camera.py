"""Opens what gives pictures now: a camera of this machine, a stream, or a film that is played as if it were one.

    with open_camera("0") as camera:
        for shot in camera.shots():
            ...

A name is a number or a name as ``cameras()`` lists them, an address (rtsp, rtsps, http, https), or, only where
``films`` allows it, the path of a film, which then comes at the speed of life and ends where the film ends.
"""

import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Final
from urllib.parse import urlsplit

import av
import numpy as np
from numpy.typing import NDArray

from pose.clip import open_clip
from pose.errors import ClipError

Picture = NDArray[np.uint8]

#: How FFmpeg calls the cameras of this system, and how their names begin.
DEVICES: Final = {"linux": ("v4l2", "/dev/video"), "darwin": ("avfoundation", ""), "win32": ("dshow", "video=")}
SCHEMES: Final = ("rtsp", "rtsps", "http", "https")
#: A stream may fetch nothing from this machine's disk, whatever is written in it.
STREAM_OPTIONS: Final = {
    "protocol_whitelist": "rtsp,rtp,udp,tcp,tls,crypto,http,https,httpproxy",
    "format_whitelist": "rtsp,mpjpeg,mjpeg,mpegts,flv,hls,matroska,webm,mov,mp4",
    "rtsp_transport": "tcp",
    "fflags": "nobuffer",
}
#: What a camera is asked for, until one of them is to be had: as many pictures of a good size as it has.
WISHES: Final[tuple[dict[str, str], ...]] = (
    {"framerate": "60", "video_size": "1280x720", "input_format": "mjpeg"},
    {"framerate": "30", "video_size": "1280x720", "input_format": "mjpeg"},
    {"framerate": "30", "video_size": "1280x720"},
    {"framerate": "30"},
    {},
)
#: s, longest wait for the first picture and for the next one.
OPEN_S: Final = 10.0
NEXT_S: Final = 5.0
#: s, by which a camera's clock may be off the time at which its pictures come before that time is taken instead.
STRAY_S: Final = 1.0
#: s, least time between two pictures: a clock that stands still is pushed on.
LEAST_S: Final = 0.001


@dataclass(frozen=True, slots=True, eq=False)
class Shot:
    """One picture of a camera.

    t_s      s since the first picture, by the camera's own clock, rising
    taken_s  s of time.monotonic() at which the picture was there: when it came in, or was due in a film
    rgb      (H, W, 3) uint8, upright, the receiver's own
    """

    t_s: float
    taken_s: float
    rgb: Picture


def cameras() -> list[tuple[str, str]]:
    """Cameras of this machine: what to open them by, and what they call themselves."""
    kind = DEVICES.get(sys.platform, ("", ""))[0]
    try:
        found = av.enumerate_input_devices(kind)
    except (ValueError, OSError, av.FFmpegError):  # this FFmpeg was made without cameras
        return []
    seen = [one for one in found if not one.media_types or "video" in one.media_types]
    return [(one.name, one.description or one.name) for one in seen]


def is_address(name: str) -> bool:
    """Whether ``name`` is the address of a stream."""
    return urlsplit(name).scheme.lower() in SCHEMES


def plain_address(name: str) -> str:
    """``name`` without user, password and query, as it may be shown and written down."""
    if not is_address(name):
        return name
    parts = urlsplit(name)
    port = f":{parts.port}" if parts.port else ""
    return f"{parts.scheme}://{parts.hostname or ''}{port}{parts.path}"


class Camera:
    """Something that gives pictures now. ``ending`` says in one sentence why there are no more, "" = there are."""

    def __init__(self, name: str) -> None:
        self.name, self.ending = plain_address(name), ""
        self._stop = threading.Event()

    def shots(self) -> Iterator[Shot]:
        """Every picture once, waited for; ends when there are no more or after ``stop``. To be gone through once."""
        raise NotImplementedError

    def stop(self) -> None:
        """No more pictures; from any thread."""
        self._stop.set()

    def __enter__(self) -> "Camera":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.stop()


class FilmCamera(Camera):
    """A film that is played at the speed of life."""

    def __init__(self, path: Path) -> None:
        super().__init__(path.name)
        self._clip = open_clip(path)

    def shots(self) -> Iterator[Shot]:
        """Every frame when it is due."""
        begin_s, first_s = time.monotonic(), float(self._clip.stamps_s[0])
        for frame in self._clip.frames():
            t_s = frame.t_s - first_s
            if self._stop.wait(max(begin_s + t_s - time.monotonic(), 0.0)):
                return
            yield Shot(t_s, begin_s + t_s, frame.rgb)
        self.ending = f"The film {self.name} is at its end."


class LiveCamera(Camera):
    """A camera or a stream, through FFmpeg."""

    def __init__(self, name: str) -> None:
        """Raises ClipError when it cannot be opened."""
        super().__init__(name)
        self._container = _open_stream(name) if is_address(name) else _open_device(name)
        if not self._container.streams.video:
            self._container.close()
            raise ClipError(f"{self.name} gives no pictures. Choose another camera.")

    def shots(self) -> Iterator[Shot]:
        """Every picture as it comes in."""
        stream = self._container.streams.video[0]
        stream.thread_type = "SLICE"  # threads that work on several pictures at once hold each of them back
        clock = CameraClock()
        try:
            for frame in self._frames(stream):
                taken_s = time.monotonic()
                rgb = frame.to_ndarray(format="rgb24")
                yield Shot(clock.time_s(frame.time, taken_s), taken_s, rgb)
                if self._stop.is_set():
                    return
            self.ending = f"{self.name} has stopped giving pictures."
        except (av.FFmpegError, OSError) as error:
            self.ending = f"{self.name} has stopped giving pictures ({_why(error)})."
        finally:
            self._container.close()

    def _frames(self, stream: Any) -> Iterator[Any]:
        """Pictures; a packet that cannot be decoded is passed over, as a stream begins in the midst of a film."""
        for packet in self._container.demux(stream):
            try:
                yield from packet.decode()
            except av.error.InvalidDataError:
                continue


class CameraClock:
    """The camera's own times, counted from its first picture, as long as they keep to those of this machine."""

    def __init__(self) -> None:
        self._first_s: float | None = None
        self._offset_s = 0.0
        self._last_s = -LEAST_S

    def time_s(self, stamp_s: float | None, taken_s: float) -> float:
        """s since the first picture of one that says ``stamp_s`` of itself (None = nothing) and came at ``taken_s``."""
        if self._first_s is None:
            self._first_s = taken_s
            self._offset_s = -(stamp_s or 0.0)
        came_s = taken_s - self._first_s
        t_s = came_s if stamp_s is None else stamp_s + self._offset_s
        if abs(t_s - came_s) > STRAY_S:  # stamps began anew, or mean nothing
            self._offset_s += came_s - t_s
            t_s = came_s
        self._last_s = max(t_s, self._last_s + LEAST_S)
        return self._last_s


def open_camera(name: str, *, films: bool = False) -> Camera:
    """Open a camera, a stream, or, where ``films`` allows it, a film that is played as a camera.

    Raises ClipError when it cannot be opened.
    """
    if films and Path(name).is_file():
        return FilmCamera(Path(name))
    return LiveCamera(name)


def _open_stream(address: str) -> Any:
    try:
        return av.open(address, options=dict(STREAM_OPTIONS), timeout=(OPEN_S, NEXT_S))
    except (av.FFmpegError, OSError, ValueError) as error:
        raise ClipError(
            f"No picture comes from {plain_address(address)} ({_why(error)}). "
            "Is the camera switched on, in the same network, and the address as its maker tells it?"
        ) from error


def _open_device(name: str) -> Any:
    kind = DEVICES.get(sys.platform, ("", ""))[0]
    device = device_name(name)
    error: Exception | None = None
    for wish in WISHES:
        try:
            return av.open(device, format=kind, options=dict(wish), timeout=(OPEN_S, NEXT_S))
        except (av.FFmpegError, OSError, ValueError) as failed:
            error = failed
    known = ", ".join(name for name, _ in cameras()) or "none is there"
    raise ClipError(
        f"The camera {name} cannot be opened ({_why(error)}). Cameras of this machine: {known}. "
        "Is it plugged in, and does no other program use it?"
    ) from error


def device_name(name: str) -> str:
    """What FFmpeg on this system calls the camera ``name``. Raises ClipError for what can be none."""
    begins = DEVICES.get(sys.platform, ("", ""))[1]
    if sys.platform == "linux" and name.isdecimal():
        return f"{begins}{name}"
    if sys.platform == "linux" and not (name.startswith(begins) and name[len(begins) :].isdecimal()):
        raise ClipError(f"{name} is no camera. Give its number, {begins}0, or an address such as rtsp://... or http://...")
    return name if name.startswith(begins) else f"{begins}{name}"


def _why(error: Exception | None) -> str:
    """The system's own words for ``error``, without addresses."""
    words = getattr(error, "strerror", None) or type(error).__name__
    return str(words).lower()
