"""Films that leave the caseload: everything outside the dog's own box made unrecognisable.

What lies inside the box stays as it is: a face that leans over the dog is in it.
"""

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from gait.caseload.listing import ClipLine, clips
from gait.caseload.store import Store
from gait.hashing import content_hash
from pose.clip import Clip, open_clip
from pose.errors import ClipError
from pose.film import write_film
from pose.landmarks import CROUP, WITHERS
from pose.table import read_table
from pose.tracks import FloatArray, Tracks

Films = Literal["dog-only", "whole"]
Picture = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class BlurSettings:
    """How much of a picture is left, in body lengths (withers to croup). Set by judgement on drawn dogs, no source.

    ahead_bl   around the landmarks to either side: the head reaches ahead of the withers, the tail behind the croup
    above_bl   over the highest landmark: the head of a dog that looks up
    below_bl   under the lowest one
    block_bl   size of the patches that everything else is reduced to; a human head is about half a body length of a
               middle-sized dog and becomes a handful of patches
    hold_s     s before and after, over which the box covers all places that the landmarks were in
    """

    ahead_bl: float = 0.9
    above_bl: float = 0.7
    below_bl: float = 0.15
    block_bl: float = 0.2
    hold_s: float = 0.25


DEFAULTS: Final = BlurSettings()


def export_films(store: Store, folder: Path, films: Films) -> list[tuple[str, str]]:
    """Write the films of all clips that have a record into the new ``folder``; (clip, why not) of those left out."""
    left_out: list[tuple[str, str]] = []
    folder.mkdir(parents=True)
    for line in (line for line in clips(store) if line.folder and line.kind != "table"):
        try:
            _export(store.home, line, folder, films)
        except (ClipError, OSError) as error:
            left_out.append((line.name, " ".join(str(error).split())))
    return left_out


def _export(home: Path, line: ClipLine, folder: Path, films: Films) -> None:
    source = Path(line.path)
    out = folder / f"{Path(line.name).stem}-{line.sha256[:8]}"
    if content_hash(source) != line.sha256:
        raise ClipError("it has changed since it was read.")
    if films == "whole":
        (shutil.copytree if source.is_dir() else shutil.copyfile)(source, out.with_name(out.name + source.suffix))
        return
    tracks = read_table(home / line.folder / "landmarks.csv")
    write_film(blurred(open_clip(source, fps=line.fps or None), tracks), out.with_name(f"{out.name}.mp4"))


def blurred(clip: Clip, tracks: Tracks, settings: BlurSettings = DEFAULTS) -> Iterator[tuple[float, Picture]]:
    """(s, rgb (H, W, 3)) of every frame, without sound; a frame in which no dog was found is blurred altogether."""
    boxes, length_px = boxes_of(tracks, settings), body_length_px(tracks)
    rows = {int(number): row for row, number in enumerate(tracks.frame)}
    for frame in clip.frames():
        row = rows.get(frame.index)
        box = np.full(4, np.nan) if row is None else boxes[row]
        yield frame.t_s / clip.time_factor, _blur(frame.rgb, box, settings.block_bl * length_px)


def body_length_px(tracks: Tracks) -> float:
    """px, median distance of withers and croup; NaN when they were never seen together."""
    apart = np.linalg.norm(tracks.xy_px[:, WITHERS] - tracks.xy_px[:, CROUP], axis=1)
    apart = apart[np.isfinite(apart)]
    return float(np.median(apart)) if len(apart) else float("nan")


def boxes_of(tracks: Tracks, settings: BlurSettings = DEFAULTS) -> FloatArray:
    """(T, 4) px, left, top, right and bottom of what is left of each frame; NaN where no dog was found nearby."""
    length_px = body_length_px(tracks)
    pad = np.array([settings.ahead_bl, settings.above_bl, settings.ahead_bl, settings.below_bl]) * length_px
    seen = np.asarray(np.isfinite(tracks.xy_px).all(axis=2))[..., None]
    low = np.where(seen, tracks.xy_px, np.inf).min(axis=1)
    high = np.where(seen, tracks.xy_px, -np.inf).max(axis=1)
    starts = np.searchsorted(tracks.t_s, tracks.t_s - settings.hold_s)
    stops = np.searchsorted(tracks.t_s, tracks.t_s + settings.hold_s, side="right")
    spans = [slice(start, stop) for start, stop in zip(starts, stops, strict=True)]
    boxes = np.array([[*low[span].min(axis=0), *high[span].max(axis=0)] for span in spans]).reshape(-1, 4)
    boxes[~np.isfinite(boxes).all(axis=1)] = np.nan
    padded: FloatArray = boxes + pad * np.array([-1.0, -1.0, 1.0, 1.0])
    return padded


def _blur(rgb: Picture, box: FloatArray, block_px: float) -> Picture:
    """The picture reduced to patches of ``block_px``, smoothed, with the inside of ``box`` as it was."""
    height, width = rgb.shape[:2]
    block = max(8, round(block_px)) if np.isfinite(block_px) else max(8, width // 16)
    small = cv2.resize(rgb, (max(1, width // block), max(1, height // block)), interpolation=cv2.INTER_AREA)
    out = cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR).astype(np.uint8)
    if np.isfinite(box).all():
        left, top, right, bottom = (int(v) for v in np.clip(np.round(box), 0, [width, height, width, height]))
        out[top:bottom, left:right] = rgb[top:bottom, left:right]
    return out
