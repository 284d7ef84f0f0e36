"""What is wrong, or very likely wrong, in a file of marks: looked for before anything is trained on it.

Body axis of a dog: 0 at the croup, 1 at the withers; depth below that line, also in body lengths.
Near and far of a pair cannot be judged from one picture; nothing is said of them.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import cv2
import numpy as np

from pose.coco import Marks, read_marks
from pose.errors import ClipError
from pose.landmarks import CROUP, FAR_FORE, FAR_HIND, LANDMARKS, NEAR_FORE, NEAR_HIND, PAIRS, WITHERS
from pose.pictures import load_picture
from pose.tracks import FloatArray

FORE: Final = (NEAR_FORE, FAR_FORE)
HIND: Final = (NEAR_HIND, FAR_HIND)


@dataclass(frozen=True, slots=True)
class CheckSettings:
    """Limits of what a dog can look like, wide, so that what is reported is worth a look.

    Measured on the six demo clips: fore paws 0.3 to 1.6 along the body axis, hind paws -0.8 to 0.4, depth 0.5 to 1.5;
    on the mean the fore paws are always 0.8 before the hind paws. The limits are our own choice beyond that.

    behind        body lengths that a paw may lie beyond the other end of the dog: gathered gallops reach about it
    above         body lengths that a paw may lie above the line of the back
    exchanged     body lengths that the hind paws lie before the fore paws, on the mean, when they must be exchanged
    same_px       px within which two landmarks are one point
    shortest      of the picture's width: a shorter body cannot be marked well
    longest       of the picture's width: a longer one leaves no room for the dog
    odd_length    times longer or shorter than the median of its clip
    steepest_deg  deg of the line of the back against the picture
    """

    behind: float = 0.25
    above: float = 0.0
    exchanged: float = 0.4
    same_px: float = 0.5
    shortest: float = 0.04
    longest: float = 0.9
    odd_length: float = 1.5
    steepest_deg: float = 50.0


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing to look at. landmark: its name, or "" when it is about the whole picture."""

    file: str
    picture: str
    landmark: str
    what: str

    def __str__(self) -> str:
        where = f"{self.picture}, {self.landmark.replace('_', ' ')}" if self.landmark else self.picture
        return f"{self.file}: {where}: {self.what}"


Said = Iterator[tuple[str, str]]


def check_marks(path: str | Path, settings: CheckSettings = CheckSettings()) -> list[Fault]:
    """Everything in the file of marks at ``path`` that needs a look, in the order of the file.

    Raises MarksError when the file is not in the form of COCO keypoints.
    """
    path = Path(path)
    marks = read_marks(path)
    usual = _usual_lengths(marks)
    faults = []
    for row, name in enumerate(marks.files):
        said = [*_picture_faults(marks, row, path.parent)]
        for dog in marks.dogs_in(row).tolist():
            said += _dog_faults(marks, dog, usual[dog], settings)
        faults += [Fault(path.name, name, landmark, what) for landmark, what in said]
    return faults + [Fault(path.name, *twice) for twice in _copies(marks)]


def _picture_faults(marks: Marks, row: int, folder: Path) -> Said:
    file = folder / marks.files[row]
    if not file.is_file():
        yield "", "the picture is not there"
        return
    try:
        height, width = load_picture(file).shape[:2]
    except (ClipError, cv2.error):
        yield "", "the picture cannot be read"
        return
    wide, high = marks.size_px[row].tolist()
    if (width, height) != (wide, high):
        yield "", f"the picture has {width}x{height} px, its marks were made at {wide}x{high}"


def _dog_faults(marks: Marks, dog: int, usual_px: float, settings: CheckSettings) -> Said:
    xy = marks.xy_px[dog]
    size = marks.size_px[marks.picture[dog]]
    yield from _outside(xy, size)
    yield from _duplicates(xy, settings)
    if not marks.visibility[dog].any():
        yield "", "no landmark is placed; a picture without a dog takes no annotation at all"
    length = float(np.hypot(*(xy[WITHERS] - xy[CROUP])))
    if not np.isfinite(length):
        return
    yield from _body(marks, dog, length, usual_px, settings)
    yield from _paws(*_on_axis(xy, length), settings)


def _outside(xy_px: FloatArray, size_px: FloatArray) -> Said:
    for name, place in zip(LANDMARKS, xy_px, strict=True):
        if np.any(place < 0) or np.any(place > size_px - 1):
            yield name, f"lies at ({place[0]:g}, {place[1]:g}), outside the picture of {size_px[0]}x{size_px[1]} px"


def _duplicates(xy_px: FloatArray, settings: CheckSettings) -> Said:
    for first in range(len(LANDMARKS)):
        for second in range(first):
            if np.hypot(*(xy_px[first] - xy_px[second])) < settings.same_px:
                yield LANDMARKS[first], f"lies on the same point as {LANDMARKS[second].replace('_', ' ')}"


def _body(marks: Marks, dog: int, length_px: float, usual_px: float, settings: CheckSettings) -> Said:
    along, up = marks.xy_px[dog, WITHERS] - marks.xy_px[dog, CROUP]
    share = length_px / float(marks.size_px[marks.picture[dog], 0])
    if not settings.shortest <= share <= settings.longest:
        yield "", f"withers to croup is {share:.0%} of the picture's width ({length_px:.0f} px)"
    elif not 1 / settings.odd_length <= length_px / usual_px <= settings.odd_length:
        yield "", f"withers to croup is {length_px:.0f} px, in this clip it is {usual_px:.0f} px as a rule"
    slope = float(np.degrees(np.arctan2(abs(up), abs(along))))
    if slope > settings.steepest_deg:
        yield "withers", f"the line of the back stands {slope:.0f} degrees steep"
    said = (marks.mark_notes[dog].get("attributes") or {}).get("facing")
    if said and along and said != ("right" if along > 0 else "left"):
        yield "withers", f"lies behind the croup of a dog that faces {said}; are withers and croup exchanged?"


def _on_axis(xy_px: FloatArray, length_px: float) -> tuple[FloatArray, FloatArray]:
    """(6,) along the body axis and (6,) depth below it, body lengths."""
    along = (xy_px[WITHERS] - xy_px[CROUP]) / length_px
    down = np.array([-along[1], along[0]]) * (1 if along[0] >= 0 else -1)
    apart = (xy_px - xy_px[CROUP]) / length_px
    return apart @ along, apart @ down


def _paws(along: FloatArray, depth: FloatArray, settings: CheckSettings) -> Said:
    """Faults of paws at ``along`` and ``depth``, (6,) body lengths each."""
    means = [_mean(along[list(pair)]) for pair in PAIRS]
    if means[1] - means[0] > settings.exchanged:
        yield "", "the hind paws lie before the fore paws; are fore and hind exchanged?"
    else:
        for mark in FORE:
            if along[mark] < -settings.behind:
                yield LANDMARKS[mark], f"lies {-along[mark]:.2f} body lengths behind the croup"
        for mark in HIND:
            if along[mark] > 1 + settings.behind:
                yield LANDMARKS[mark], f"lies {along[mark] - 1:.2f} body lengths before the withers"
    for mark in (*FORE, *HIND):
        if depth[mark] < -settings.above:
            yield LANDMARKS[mark], "lies above the line from withers to croup"


def _mean(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else float("nan")


def _usual_lengths(marks: Marks) -> FloatArray:
    """(N,) px, for each dog the median body length in its clip."""
    length = np.hypot(*(marks.xy_px[:, WITHERS] - marks.xy_px[:, CROUP]).T)
    clips = np.array([str(marks.image_notes[row].get("clip", marks.files[row])) for row in marks.picture.tolist()])
    usual = length.copy()
    for clip in np.unique(clips):
        known = length[(clips == clip) & np.isfinite(length)]
        usual[clips == clip] = np.median(known) if len(known) else np.nan
    return np.asarray(usual)


def _copies(marks: Marks) -> Iterator[tuple[str, str, str]]:
    """Dogs whose every point is that of another picture: copied, or the wrong picture."""
    seen: dict[bytes, str] = {}
    for dog, places in enumerate(marks.xy_px):
        name = marks.files[marks.picture[dog]]
        if marks.visibility[dog].sum() and places.tobytes() in seen and seen[places.tobytes()] != name:
            yield name, "", f"has the very same marks as {seen[places.tobytes()]}"
        seen.setdefault(places.tobytes(), name)
