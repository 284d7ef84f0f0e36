"""A clip's landmarks in the form of COCO keypoints, in and out: one picture per frame, with its number and its time.

Every image carries the notes ``frame`` and ``time_s`` (s on the real clock). What COCO has no word for stands under
``attributes`` of the annotation: ``score`` (six) and ``side_score`` (fore and hind pair), both 0..1 or null.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from pose.coco import COVERED, NOT_MARKED, VISIBLE, Marks, read_marks, write_marks
from pose.errors import MarksError
from pose.landmarks import LANDMARKS, PAIRS
from pose.tracks import BoolArray, FloatArray, Tracks


def read_coco_clip(path: str | Path) -> Tracks:
    """The landmarks of the one clip in ``path`` (.json). A picture without a dog is a frame without places.

    Raises MarksError that names the picture which has no frame or time, or more than one dog.
    """
    path = Path(path)
    marks = read_marks(path)
    count = len(marks.files)
    if not len(marks):
        raise MarksError(f"{path.name} has no dog in any picture.")
    frame, t_s = np.empty(count, np.int64), np.empty(count)
    for row, notes in enumerate(marks.image_notes):
        frame[row], t_s[row] = _placed(path.name, marks.files[row], notes)
    _check_one_clip(path.name, marks)
    xy, hidden = np.full((count, len(LANDMARKS), 2), np.nan), np.zeros((count, len(LANDMARKS)), bool)
    score, sides = np.full((count, len(LANDMARKS)), np.nan), np.full((count, len(PAIRS)), np.nan)
    for dog, row in enumerate(marks.picture):
        xy[row], hidden[row] = marks.xy_px[dog], marks.visibility[dog] == COVERED
        told = marks.mark_notes[dog].get("attributes") or {}
        score[row] = _shares(told.get("score"), len(LANDMARKS), path.name)
        sides[row] = _shares(told.get("side_score"), len(PAIRS), path.name)
    order = np.argsort(t_s, kind="stable")
    return Tracks(frame[order], t_s[order], xy[order], score[order], hidden[order], sides[order])


def write_coco_clip(tracks: Tracks, path: str | Path, *, size_px: tuple[int, int] | None = None) -> None:
    """Write ``tracks`` to ``path`` (.json), which appears whole or not at all; reading it gives the same places.

    size_px  (width, height) of the pictures; None = just large enough for every place
    """
    path = Path(path)
    seen: BoolArray = np.asarray(np.isfinite(tracks.xy_px).all(axis=-1))
    largest = np.nanmax(np.where(seen[..., None], tracks.xy_px, 0.0), axis=(0, 1))
    size = np.array(size_px or np.ceil(largest).astype(int) + 1)
    dogs = np.flatnonzero(seen.any(axis=1))
    write_marks(
        Marks(
            files=tuple(f"{path.stem}-{number:06d}.png" for number in tracks.frame),
            image_id=np.arange(1, len(tracks) + 1),
            size_px=np.tile(size, (len(tracks), 1)),
            mark_id=np.arange(1, len(dogs) + 1),
            picture=dogs,
            xy_px=np.where(seen[..., None], tracks.xy_px, np.nan)[dogs],
            visibility=np.where(seen, np.where(tracks.hidden, COVERED, VISIBLE), NOT_MARKED)[dogs],
            image_notes=tuple(
                {"frame": int(number), "time_s": float(t_s)}
                for number, t_s in zip(tracks.frame, tracks.t_s, strict=True)
            ),
            mark_notes=tuple(
                {"attributes": {"score": _plain(tracks.score[row]), "side_score": _plain(tracks.side_score[row])}}
                for row in dogs
            ),
        ),
        path,
    )


def _plain(values: FloatArray) -> list[float | None]:
    return [float(value) if np.isfinite(value) else None for value in values]


def _placed(name: str, picture: str, notes: Mapping[str, Any]) -> tuple[int, float]:
    """Number and time of the frame that a picture shows."""
    number, t_s = notes.get("frame"), notes.get("time_s")
    if isinstance(number, int) and isinstance(t_s, int | float) and number >= 0 and np.isfinite(t_s):
        return int(number), float(t_s)
    raise MarksError(
        f"{name}: the image {picture} is no frame of a clip; give every image a whole number 'frame' and its "
        "'time_s' in seconds."
    )


def _check_one_clip(name: str, marks: Marks) -> None:
    clips = sorted({str(notes["clip"]) for notes in marks.image_notes if notes.get("clip")})
    if len(clips) > 1:
        raise MarksError(f"{name} holds {len(clips)} clips, {', '.join(clips[:3])}; give each its own file.")
    if len(np.unique(marks.picture)) < len(marks):
        row = int(next(row for row in marks.picture if len(marks.dogs_in(int(row))) > 1))
        raise MarksError(f"{name}: the image {marks.files[row]} has more than one dog; keep the one to be measured.")


def _shares(values: object, count: int, name: str) -> FloatArray:
    """(count,) 0..1, NaN where nothing was told."""
    if values is None:
        return np.full(count, np.nan)
    numbers = isinstance(values, list) and all(item is None or isinstance(item, int | float) for item in values)
    if not isinstance(values, list) or not numbers or len(values) != count:
        raise MarksError(f"{name}: scores under 'attributes' have to be lists of {len(LANDMARKS)} and {len(PAIRS)}.")
    shares = np.array([np.nan if item is None else item for item in values], np.float64)
    if np.any((shares < 0) | (shares > 1)):
        raise MarksError(f"{name}: a score under 'attributes' is not within 0 to 1.")
    return shares
