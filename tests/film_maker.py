"""Makes small films whose every frame shows its own number, so that order, time and turn can be checked."""

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

WIDTH, HEIGHT = 96, 64
BITS = 6
CODECS = {".webm": "libvpx", ".avi": "mpeg4"}

Picture = NDArray[np.uint8]


def numbered_picture(number: int, width: int = WIDTH, height: int = HEIGHT) -> Picture:
    """A grey picture (H, W, 3) with ``number`` as six black or white fields below and a red top left corner."""
    picture = np.full((height, width, 3), 128, dtype=np.uint8)
    step = width // BITS
    for bit in range(BITS):
        picture[height // 2 :, bit * step : (bit + 1) * step] = 255 if number >> bit & 1 else 0
    picture[: height // 4, : width // 4] = (255, 0, 0)
    return picture


def number_in(picture: Picture) -> int:
    """The number that an upright ``numbered_picture`` shows."""
    height, width = picture.shape[:2]
    step = width // BITS
    row = picture[3 * height // 4].astype(float).mean(axis=1)
    return sum(1 << bit for bit in range(BITS) if row[bit * step + step // 2] > 128)


def red_corner(picture: Picture) -> str:
    """Where the red field lies: 'top left' and so on."""
    redness = picture[..., 0].astype(float) - picture[..., 1]
    y, x = np.argwhere(redness > 60).mean(axis=0)
    return f"{'top' if y < picture.shape[0] / 2 else 'bottom'} {'left' if x < picture.shape[1] / 2 else 'right'}"


def write_numbered(
    path: Path,
    times: Sequence[Fraction | float],
    *,
    time_base: Fraction = Fraction(1, 90_000),
    rate: Fraction | None = None,
    turn_deg: int = 0,
    mirrored: bool = False,
    aspect: Fraction | None = None,
    notes: dict[str, str] | None = None,
    key_every: int = 8,
    sound_s: float = 0.0,
) -> Path:
    """Write one numbered picture at each of ``times`` (s); ``turn_deg`` is written as the display matrix."""
    options = {"movflags": "use_metadata_tags"} if notes else {}
    with av.open(str(path), "w", options=options) as film:
        film.metadata.update(notes or {})
        stream: Any = film.add_stream(CODECS.get(path.suffix, "libx264"), rate=rate)
        stream.width, stream.height, stream.pix_fmt = WIDTH, HEIGHT, "yuv420p"
        base = 1 / rate if rate else time_base
        stream.time_base = stream.codec_context.time_base = base
        stream.codec_context.gop_size = key_every
        if aspect:
            stream.codec_context.sample_aspect_ratio = aspect
        if turn_deg or mirrored:
            stream.set_display_rotation(turn_deg, hflip=mirrored)
        if sound_s:
            _add_sound(film, sound_s)
        for number, time in enumerate(times):
            frame = av.VideoFrame.from_ndarray(numbered_picture(number), format="rgb24")
            frame.pts, frame.time_base = round(time / base), base
            film.mux(stream.encode(frame))
        film.mux(stream.encode(None))
    return path


def write_sound(path: Path, seconds: float = 0.5) -> Path:
    """Write a film file that holds sound only."""
    with av.open(str(path), "w") as film:
        _add_sound(film, seconds)
    return path


def _add_sound(film: Any, seconds: float) -> None:
    stream = film.add_stream("aac", rate=8000, layout="mono")
    tone = np.sin(np.arange(round(seconds * 8000)) / 5).astype(np.float32)[None]
    frame = av.AudioFrame.from_ndarray(tone, format="fltp", layout="mono")
    frame.sample_rate, frame.pts = 8000, 0
    film.mux(stream.encode(frame))
    film.mux(stream.encode(None))
