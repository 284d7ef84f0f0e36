"""Writes pictures as an H.264 film that any player shows, each picture at its own time."""

import os
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, Final

import av
import cv2
import numpy as np
from av.video.frame import PictureType
from numpy.typing import NDArray

from pose.errors import PoseError

Picture = NDArray[np.uint8]

#: Ticks per second of the film's clock: 90 kHz, the clock of MPEG system streams (ISO/IEC 13818-1).
TICKS_PER_S = 90_000


@dataclass(frozen=True, slots=True)
class FilmSettings:
    """How a film is written. Common practice, no source, unless a reason is given.

    width_px  px, wider pictures are made smaller; enough for a report, small enough to send
    quality   x264's constant rate factor: 18 cannot be told from the original, 28 shows blocks
    effort    x264's preset; film writing must not take longer than reading
    key_every pictures from one that stands for itself to the next, which is what a jump has to decode at most, and none
              waits for a later one; 0 = as x264 chooses, for films that are played through
    """

    width_px: int = 1280
    quality: int = 21
    effort: str = "veryfast"
    key_every: int = 0


#: How a camera is recorded: as large as it is, with next to no processor time.
GROWING: Final = FilmSettings(width_px=8192, quality=20, effort="superfast")
#: s, what is lost at most when the writing breaks off.
PART_S: Final = 1.0
#: A new part of the file begins with every key picture, and goes to the disk at once.
IN_PARTS: Final = {"movflags": "frag_keyframe+empty_moov+default_base_moof", "flush_packets": "1"}


def write_film(
    pictures: Iterable[tuple[float, Picture]], path: str | Path, *, settings: FilmSettings = FilmSettings()
) -> int:
    """Write (s, rgb (H, W, 3)) pairs, times rising, to ``path`` (mp4) and say how many there were.

    The file appears whole or not at all. Raises PoseError when there is no picture.
    """
    path = Path(path)
    beside = path.with_name(f".{path.stem}.partial-{os.getpid()}.mp4")
    try:
        count = _encode(pictures, beside, settings)
        if not count:
            raise PoseError(f"{path.name}: no picture came to write; a film needs at least one.")
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)
    return count


class _Sink:
    """What FFmpeg writes, kept until ``put`` hands all of it to the disk at once, so that no part is ever cut in two.

    FFmpeg itself never meets a full disk, as it may crash then.
    """

    def __init__(self, path: Path) -> None:
        self._file = path.open("wb", buffering=0)
        self._kept = bytearray()

    def write(self, data: bytes) -> int:
        """Keep ``data``."""
        self._kept += data
        return len(data)

    def put(self) -> None:
        """Write what was kept. Raises OSError."""
        kept, self._kept = memoryview(bytes(self._kept)), bytearray()
        while kept:
            kept = kept[self._file.write(kept) :]

    def close(self) -> None:
        """Nothing more is written."""
        self._file.close()


class GrowingFilm:
    """An mp4 of what happens now: whatever ends the writing, all but its last second can be played.

    Pictures keep their size (but for an odd row or column) and every one is written, in parts of a second each.
    """

    def __init__(self, path: Path, settings: FilmSettings = GROWING) -> None:
        """Raises OSError when the file cannot be made."""
        self.count = 0
        self._settings, self._start_s, self._key_s = settings, 0.0, -np.inf
        self._stream: Any = None
        self._sink = _Sink(path)
        self._film = av.open(self._sink, "w", format="mp4", options=IN_PARTS)

    def add(self, t_s: float, rgb: Picture) -> None:
        """One more picture (H, W, 3) of ``t_s`` s, later than the one before.

        Raises PoseError when it has another size than the first, OSError when it cannot be written.
        """
        size = _even_size(rgb, self._settings.width_px)
        if self._stream is None:
            self._stream, self._start_s = _add_stream(self._film, size, self._settings), t_s
            self._stream.codec_context.thread_count = 1
        if size != (self._stream.width, self._stream.height):
            raise PoseError("The camera changed the size of its pictures; a film needs pictures of one size.")
        frame = _frame(rgb, size, round((t_s - self._start_s) * TICKS_PER_S))
        if t_s - self._key_s >= PART_S:
            frame.pict_type, self._key_s = PictureType.I, t_s
        self._film.mux(self._stream.encode(frame))
        self._sink.put()
        self.count += 1

    def close(self) -> None:
        """Write what is still to be written. Raises OSError when it cannot be."""
        try:
            if self._stream is not None:
                self._film.mux(self._stream.encode(None))
            self._film.close()
            self._sink.put()
        finally:
            self._sink.close()


def _encode(pictures: Iterable[tuple[float, Picture]], path: Path, settings: FilmSettings) -> int:
    count, start_s, stream = 0, 0.0, None
    with av.open(str(path), "w", options={"movflags": "faststart"}) as film:
        for t_s, rgb in pictures:
            size = _even_size(rgb, settings.width_px)
            if stream is None:
                stream, start_s = _add_stream(film, size, settings), t_s
            if size != (stream.width, stream.height):
                raise PoseError(f"Picture {count} has another size than the first; a film needs pictures of one size.")
            film.mux(stream.encode(_frame(rgb, size, round((t_s - start_s) * TICKS_PER_S))))
            count += 1
        if stream is not None:
            film.mux(stream.encode(None))
    return count


def _add_stream(film: Any, size: tuple[int, int], settings: FilmSettings) -> Any:
    stream = film.add_stream("libx264", options={"crf": str(settings.quality), "preset": settings.effort})
    stream.width, stream.height = size
    stream.pix_fmt = "yuv420p"
    stream.time_base = stream.codec_context.time_base = Fraction(1, TICKS_PER_S)
    if settings.key_every:
        stream.codec_context.gop_size, stream.codec_context.max_b_frames = settings.key_every, 0
    return stream


def _frame(rgb: Picture, size: tuple[int, int], ticks: int) -> Any:
    if size != (rgb.shape[1], rgb.shape[0]):
        rgb = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA).astype(np.uint8)
    frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(rgb), format="rgb24")
    frame.pts, frame.time_base = ticks, Fraction(1, TICKS_PER_S)
    return frame


def _even_size(rgb: Picture, width_px: int) -> tuple[int, int]:
    """(width, height) px, even because the colour planes have half the size."""
    height, width = rgb.shape[:2]
    scale = min(1.0, width_px / width)
    return max(2, round(width * scale / 2) * 2), max(2, round(height * scale / 2) * 2)
