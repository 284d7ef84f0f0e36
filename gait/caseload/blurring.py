"""Films that leave the caseload: everything outside the dog's own boxes made unrecognisable.

What lies inside stays as it is: a face that leans over the dog, or beside its head, is in it.
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
from pose.landmarks import CROUP, LANDMARKS, WITHERS
from pose.table import read_table
from pose.tracks import FloatArray, Tracks

Films = Literal["dog-only", "whole"]
Picture = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class BlurSettings:
    """How much of a picture is left, in body lengths (withers to croup). Set by judgement on drawn dogs, no source.

    head_bl, poll_bl  ahead of the withers and above them: the head of a dog that stretches or looks up
    tail_bl, back_bl  behind the croup and above the back
    side_bl           around all landmarks to either side, and under the lowest one: feet and legs
    block_bl          size of the patches that everything else is reduced to; a human head is about half a body length
                      of a middle-sized dog and becomes a handful of patches
    hold_s            s before and after, over which the boxes cover all places that the landmarks were in
    """

    head_bl: float = 1.4
    poll_bl: float = 0.7
    tail_bl: float = 0.7
    back_bl: float = 0.25
    side_bl: float = 0.2
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
        kept = np.full((2, 4), np.nan) if row is None else boxes[row]
        yield frame.t_s / clip.time_factor, _blur(frame.rgb, kept, settings.block_bl * length_px)


def body_length_px(tracks: Tracks) -> float:
    """px, median distance of withers and croup; NaN when they were never seen together."""
    apart = np.linalg.norm(tracks.xy_px[:, WITHERS] - tracks.xy_px[:, CROUP], axis=1)
    apart = apart[np.isfinite(apart)]
    return float(np.median(apart)) if len(apart) else float("nan")


def boxes_of(tracks: Tracks, settings: BlurSettings = DEFAULTS) -> FloatArray:
    """(T, 2, 4) px, left, top, right and bottom of what is left of each frame: about trunk and legs, about the head;
    NaN where no dog was found nearby."""
    length_px = body_length_px(tracks)
    withers, croup = tracks.xy_px[:, WITHERS], tracks.xy_px[:, CROUP]
    ahead = np.nan_to_num(np.sign(np.nanmedian([*(withers - croup)[:, 0], 0.0])))
    side, below = (np.array(way) * settings.side_bl * length_px for way in ([1.0, 0.0], [0.0, 1.0]))
    back = np.array([0.0, -settings.back_bl * length_px])
    tail, head = (np.array([ahead * bl * length_px, 0.0]) for bl in (-settings.tail_bl, settings.head_bl))
    poll = np.array([0.0, -settings.poll_bl * length_px])
    all_of = [tracks.xy_px[:, mark] for mark in range(len(LANDMARKS))]
    trunk = [*(place + sign * side for place in all_of for sign in (-1, 1)), withers + back, croup + back + tail]
    neck = [withers, withers + head + poll, withers + poll - head / 4]
    low = [place + below for place in all_of]
    boxes = np.stack([_around(np.stack(points, axis=1)) for points in ([*trunk, *low], neck)], axis=1)
    boxes[:, 1, 3] = boxes[:, 0, 3]  # a head may hang down to the belt
    return _held(boxes, tracks.t_s, settings.hold_s)


def _around(points: FloatArray) -> FloatArray:
    """(T, 4) boxes around the known of ``points`` (T, P, 2); empty ones (+inf to -inf) where none is known."""
    known = np.isfinite(points)
    low, high = np.where(known, points, np.inf).min(axis=1), np.where(known, points, -np.inf).max(axis=1)
    return np.concatenate([low, high], axis=1)


def _held(boxes: FloatArray, t_s: FloatArray, hold_s: float) -> FloatArray:
    """Each box widened to all boxes (T, B, 4) within ``hold_s`` s of it; NaN where all are empty."""
    starts, stops = np.searchsorted(t_s, t_s - hold_s), np.searchsorted(t_s, t_s + hold_s, side="right")
    spans = [boxes[start:stop] for start, stop in zip(starts, stops, strict=True)]
    held = [np.concatenate([span[..., :2].min(axis=0), span[..., 2:].max(axis=0)], axis=-1) for span in spans]
    found = np.array(held).reshape(boxes.shape)
    found[~np.isfinite(found).all(axis=-1)] = np.nan
    return found


def _blur(rgb: Picture, boxes: FloatArray, block_px: float) -> Picture:
    """The picture reduced to patches of ``block_px``, smoothed, with the inside of ``boxes`` (B, 4) as it was."""
    height, width = rgb.shape[:2]
    block = max(8, round(block_px)) if np.isfinite(block_px) else max(8, width // 16)
    small = cv2.resize(rgb, (max(1, width // block), max(1, height // block)), interpolation=cv2.INTER_AREA)
    out = cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR).astype(np.uint8)
    for box in boxes[np.isfinite(boxes).all(axis=-1)]:
        left, top, right, bottom = (int(v) for v in np.clip(np.round(box), 0, [width, height, width, height]))
        out[top:bottom, left:right] = rgb[top:bottom, left:right]
    return out
