"""Folders to mark in: pictures of a film, what a network would have found in them, a third without an answer."""

from pathlib import Path
from typing import Any

import numpy as np

from pose.beside import write_picture
from pose.clip import open_clip
from pose.coco import Marks, write_marks

#: A dog that faces right: near and far fore, near and far hind, withers, croup; px of a 96x64 picture.
DOG_PX = np.array([[66.0, 50], [58, 49], [34, 50], [26, 49], [62, 20], [32, 22]])
FRAMES = (2, 5, 9)


def make_folder(folder: Path, film: Path, frames: tuple[int, ...] = FRAMES, dog_px: np.ndarray = DOG_PX) -> Path:
    """A folder of marks with a picture of each of ``frames`` of ``film``; the last has no answer of a network."""
    (folder / "pictures").mkdir(parents=True)
    clip, files, notes = open_clip(film), [], []
    for frame in clip.frames():
        if frame.index in frames:
            files.append(f"pictures/{clip.name}-{frame.index:06d}.png")
            write_picture(frame.rgb, folder / files[-1])
            notes.append(note_of(clip.name, film, frame.index, frame.t_s))
    answers = len(frames) - 1
    attributes = {"attributes": {"facing": "right", "score": [0.9, 0.8, 0.7, 0.6, 0.95, None]}}
    picked = Marks(
        files=tuple(files), image_id=np.arange(1, len(frames) + 1),
        size_px=np.tile([clip.width, clip.height], (len(frames), 1)),
        mark_id=np.arange(1, answers + 1), picture=np.arange(answers), xy_px=np.tile(dog_px, (answers, 1, 1)),
        visibility=np.full((answers, 6), 2), image_notes=tuple(notes), mark_notes=(attributes,) * answers,
    )  # fmt: skip
    write_marks(picked, folder / "picked.json")
    return folder


def note_of(clip: str, film: Path, frame: int, time_s: float) -> dict[str, Any]:
    return {
        "clip": clip, "source": f"../{film.name}", "frame": frame, "time_s": time_s, "dog": "Tansy",
        "date": "2026-03-02", "condition": "bare", "why": "score low, near and far unsure",
    }  # fmt: skip
