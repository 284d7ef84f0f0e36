"""The marking surface within another local app: single frames that a person pointed at, and the page to mark them."""

from pathlib import Path
from threading import Lock
from typing import Any, Final

import numpy as np
from starlette.routing import Router

from pose.clip import open_clip
from pose.coco import Marks
from pose.errors import MarksError
from training.marks.frames import ClipFrames
from training.marks.gathering import clip_names, known_clips, picked_frame
from training.marks.picked import add_picked, read_picked
from training.marks.results import Result, read_result
from training.marks.server import MarkingApp, routes_of
from training.marks.store import open_marking

#: Why such a frame is there.
POINTED_AT: Final = "a person saw a wrong landmark"


class DeskMarking:
    """Puts frames into a folder of frames to mark, and gives the page of one person's work on it."""

    def __init__(self) -> None:
        self._made: tuple[Any, Router] | None = None
        self._lock = Lock()

    def add(self, result: Path, source: Path, frame: int, folder: Path) -> int:
        """Put the frame of that number into ``folder``, unless it is there; returns the number of its picture.

        result  folder of what `pawfall read` left of the clip ``source``

        Raises PoseError when there is no such frame, or either folder cannot be used.
        """
        read = read_result(result)
        with self._lock:
            earlier = read_picked(folder)
            number = _number(earlier, read.sha256, frame)
            if number is None:
                _put(read, source, frame, folder, earlier)
                number = _number(read_picked(folder), read.sha256, frame)
        assert number is not None
        return number

    def app(self, folder: Path, marker: str, token: str) -> Router:
        """The page of ``marker``'s work on ``folder``, the same one as long as no frame comes in."""
        with self._lock:
            state = folder, marker, token, (folder / "picked.json").stat().st_mtime_ns
            if self._made is None or self._made[0] != state:
                app = MarkingApp(open_marking(folder, marker), ClipFrames(folder, ()), token, home="/")
                self._made = state, Router(routes_of(app))
            return self._made[1]


def _number(marks: Marks | None, sha256: str, frame: int) -> int | None:
    """The number of the picture of that frame; None = not there."""
    for number, notes in zip(marks.image_id, marks.image_notes, strict=True) if marks else ():
        if (notes.get("source_sha256"), notes.get("frame")) == (sha256, frame):
            return int(number)
    return None


def _put(read: Result, source: Path, frame: int, folder: Path, earlier: Marks | None) -> None:
    at = np.flatnonzero(read.tracks.frame == frame)
    if not len(at):
        raise MarksError(f"{source.name} was read without a frame {frame}; it has {len(read.tracks)}.")
    row = int(at[0])
    name = clip_names([read], known_clips([read], earlier)[0], earlier)
    pictures = open_clip(source, **read.opening).at_times(read.tracks.t_s[row : row + 1])
    found = [one for one in pictures if one.index == frame]
    if not found:
        raise MarksError(f"{source.name} no longer gives frame {frame}; is it another film?")
    called = next(iter(name.values()))
    add_picked(folder, [picked_frame(read, source, row, found[0], reason=POINTED_AT, name=called, folder=folder)])
