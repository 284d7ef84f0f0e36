"""Neighbours of a picked picture in the clip that it came from, where that clip can be reached."""

from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path
from typing import Final

import cv2
import numpy as np

from pose.clip import Clip, Frame, Picture, open_clip
from pose.errors import ClipError
from pose.pictures import load_picture
from training.marks.store import PickedPicture

#: Frames that are decoded in one go: a film is decoded from its last key picture on, so that single ones cost as much.
TOGETHER: Final = 16
KEPT_BLOCKS: Final = 12
JPEG_QUALITY: Final = 92

#: Mean difference, grey values of 255, up to which a frame is the picked picture: one decoder gives 0, another 1 or 2.
#: Neighbouring frames of a dog that moves differ by more as a rule; the number of the frame decides between them.
SAME_PICTURE: Final = 4.0

#: A folder of pictures has no times; here only their order counts.
ANY_RATE: Final = 25.0

TURNS: Final = (0, 90, 180, 270)


class ClipFrames:
    """Frames around picked pictures. ``folders`` are places in which clips are looked for by their name."""

    def __init__(self, marks_folder: Path, folders: Iterable[Path] = ()) -> None:
        self._marks_folder = marks_folder
        self._folders = tuple(folders)
        self._anchors: dict[int, tuple[Clip, int]] = {}
        self._block = lru_cache(KEPT_BLOCKS)(_block)
        self._open = lru_cache(None)(_open)

    def jpeg(self, picture: PickedPicture, offset: int) -> bytes:
        """The frame ``offset`` after the picked one (before it when negative) as JPEG. Raises ClipError with the reason
        when it cannot be shown."""
        clip, place = self._anchor(picture)
        wanted = place + offset
        if not 0 <= wanted < clip.frame_count:
            raise ClipError(f"{clip.path.name} {'begins' if wanted < 0 else 'ends'} here.")
        block = self._block(clip, wanted // TOGETHER)
        if wanted not in block:
            raise ClipError(f"this frame of {clip.path.name} cannot be decoded.")
        return block[wanted]

    def _anchor(self, picture: PickedPicture) -> tuple[Clip, int]:
        """The clip of a picture and the picture's place in it."""
        known = self._anchors.get(picture.image_id)
        if known is None or not known[0].path.exists():
            known = self._anchors[picture.image_id] = self._found(picture)
        return known

    def _found(self, picture: PickedPicture) -> tuple[Clip, int]:
        path, number = self._source(picture), picture.notes.get("frame")
        if not isinstance(number, int):
            raise ClipError(f"nothing says which frame of {path.name} this picture is.")
        marked = load_picture(self._marks_folder / picture.file)
        for turn_deg in TURNS:
            clip = self._open(path, turn_deg)
            if (clip.height, clip.width) == marked.shape[:2]:
                place, frame = place_of(clip, number)
                if frame.index == number and _difference(frame.rgb, marked) <= SAME_PICTURE:
                    return clip, place
        raise ClipError(f"frame {number} of {path.name} is not this picture; the clip was changed, or is another one.")

    def _source(self, picture: PickedPicture) -> Path:
        source = picture.notes.get("source")
        if not isinstance(source, str) or not source:
            raise ClipError("nothing says which clip this picture came from.")
        places = [self._marks_folder / source, *(folder / Path(source).name for folder in self._folders)]
        for path in places:
            if path.exists():
                return path
        raise ClipError(f"the clip {Path(source).name} is not where it was; say where with --clips FOLDER.")


def place_of(clip: Clip, number: int) -> tuple[int, Frame]:
    """Where the frame of that number in its file stands in the clip, or the nearest to it, and the frame itself.

    Frames that were left out for their times make a place smaller than the number.
    """
    place = min(max(number, 0), clip.frame_count - 1)
    frame = clip.at(float(clip.stamps_s[place]))
    if frame.index != number:
        place = min(max(place - (frame.index - number), 0), clip.frame_count - 1)
        frame = clip.at(float(clip.stamps_s[place]))
    return place, frame


def _open(path: Path, turn_deg: int) -> Clip:
    return open_clip(path, rotate_deg=turn_deg, fps=ANY_RATE if path.is_dir() else None)


def _block(clip: Clip, block: int) -> dict[int, bytes]:
    """TOGETHER frames as JPEG by their place in the clip."""
    first = block * TOGETHER
    last = min(first + TOGETHER, clip.frame_count) - 1
    places = {float(stamp): first + row for row, stamp in enumerate(clip.stamps_s[first : last + 1])}
    frames = clip.between(float(clip.stamps_s[first]), float(clip.stamps_s[last]))
    return {places[frame.t_s]: _as_jpeg(frame.rgb) for frame in frames if frame.t_s in places}


def _as_jpeg(rgb: Picture) -> bytes:
    done, data = cv2.imencode(".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    if not done:
        raise ClipError("a frame could not be turned into a JPEG.")
    return data.tobytes()


def _difference(one: Picture, other: Picture) -> float:
    return float(np.mean(cv2.absdiff(one, other)))
