"""The film that the pages show: every frame of a clip once, upright, small, at an even pace, quick to jump in."""

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from gait.tables import write_whole
from pose.clip import Clip, Picture, open_clip
from pose.film import FilmSettings, write_film

#: Frames per second of the film that is shown, whatever the camera did: frame i begins at i / PACE s, and a page that
#: asks for (i + 0.5) / PACE s gets that frame and no other. Real times come beside it.
PACE: Final = 30
#: How many frames are written before it is told how far the film is.
TOLD_EVERY: Final = 15


@dataclass(frozen=True, slots=True)
class ProxySettings:
    """How the film is made. Common practice, no source, unless a reason is given.

    side_px    px, longer side of the picture; what a page has room for
    key_every  frames from one that stands for itself to the next: a jump then decodes 12 at most, at 720p some 30 ms
    """

    side_px: int = 1280
    key_every: int = 12


def make_proxy(source: str, target: str, fps: float | None = None, settings: ProxySettings = ProxySettings()) -> Any:
    """Write the film of ``source`` to ``target`` (mp4), which appears whole or not at all, and say what is in it.

    fps  pictures per second of a folder of pictures

    The answer also stands beside the film, in a file of its name with the ending .json:
    ``{"numbers": [number of each shown frame in its file], "size": [width, height] px, "of": [the same of the clip]}``.
    While it is made, a file with the ending .told says how far it is: "120 300". Raises ClipError when it cannot be.
    """
    clip, path = open_clip(Path(source), fps=fps), Path(target)
    numbers: list[int] = []
    told = path.with_suffix(".told")
    try:
        write_film(_evenly(clip, numbers, told), path, settings=_film_settings(clip, settings))
    finally:
        told.unlink(missing_ok=True)
    facts = {"numbers": numbers, "size": list(_size(clip, settings)), "of": [clip.width, clip.height]}
    write_whole(path.with_suffix(".json"), lambda file: file.write(json.dumps(facts)))
    return facts


def _evenly(clip: Clip, numbers: list[int], told: Path) -> Iterator[tuple[float, Picture]]:
    for place, frame in enumerate(clip.frames()):
        if place % TOLD_EVERY == 0:
            told.write_text(f"{place} {clip.frame_count}")
        numbers.append(frame.index)
        yield place / PACE, frame.rgb


def _film_settings(clip: Clip, settings: ProxySettings) -> FilmSettings:
    return replace(FilmSettings(), width_px=_size(clip, settings)[0], key_every=settings.key_every)


def _size(clip: Clip, settings: ProxySettings) -> tuple[int, int]:
    """(width, height) px, even, as write_film makes them."""
    scale = min(1.0, settings.side_px / max(clip.width, clip.height))
    width = max(2, round(clip.width * scale / 2) * 2)
    return width, max(2, round(clip.height * min(1.0, width / clip.width) / 2) * 2)
