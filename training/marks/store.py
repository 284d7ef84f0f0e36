"""The folder that a person marks in: what was picked, what that person said of it, and every step on the way there.

    pictures/              lossless, upright
    picked.json            written by machines: the pictures and what a network found in them
    marks-<marker>.json    written by that person alone: the finished pictures, as COCO keypoints
    edits-<marker>.jsonl   every change in order, appended before the marks are written; drafts and undo live here

A step is on the disk before it is confirmed. Of another person's files nothing is read.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import numpy as np

from pose.coco import Entry, Marks, read_marks, write_marks
from pose.errors import MarksError
from pose.landmarks import LANDMARKS, PAIR_NAMES
from training.marks.edits import TAKEN, Edit, EditLog
from training.marks.state import BLANK, NETWORK, NOWHERE, STARTS, PictureMarks, Point, without_dog

PICKED: Final = "picked.json"
MARKER_NAME: Final = re.compile(r"[a-z0-9][a-z0-9_-]{0,39}")

States = dict[int, PictureMarks]


@dataclass(frozen=True, slots=True, eq=False)
class PickedPicture:
    """One picture to mark.

    image_id  its number in picked.json and in everybody's marks
    file      name relative to the folder
    size_px   width and height
    notes     what else is known of it: clip, source, frame, time_s, dog, date, condition, why
    start     what the page shows before the person does anything
    score     six, 0..1, of the network's answer, None where it was not judged; empty where there is no answer
    """

    image_id: int
    file: str
    size_px: tuple[int, int]
    notes: Entry
    start: PictureMarks
    score: tuple[float | None, ...] = ()


@dataclass(slots=True)
class _Written:
    """What is kept of a finished picture besides its marks: when, and what an imported file said of it."""

    marked_at: str | None
    notes: Entry = field(default_factory=dict)


class Marking:
    """One person's work on one folder. ``states`` holds every picture that the person has touched, by its number."""

    def __init__(self, folder: Path, marker: str, pictures: tuple[PickedPicture, ...], log: EditLog) -> None:
        self.folder, self.marker, self.pictures, self.log = folder, marker, pictures, log
        self.path = marks_path(folder, marker)
        self.states: States = {}
        self._by_id = {picture.image_id: picture for picture in pictures}
        self._written: dict[int, _Written] = {}
        self._about: Entry = {}
        self._behind = False  # whether the log holds what the marks do not hold yet

    def picture(self, image_id: int) -> PickedPicture:
        """The picture of that number. Raises MarksError when there is none."""
        if image_id not in self._by_id:
            raise MarksError(f"picture {image_id} is not among the {len(self.pictures)} of this folder.")
        return self._by_id[image_id]

    def apply(self, edit: Edit) -> bool:
        """Keep ``edit`` on the disk; False = it was kept before. Raises MarksError when it does not follow on."""
        self.picture(edit.image_id)
        if edit.op in self.log.ops:
            if self._behind:
                self.write()
            return False
        now = self.states.get(edit.image_id)
        if edit.before != now:
            raise OutOfStepError(
                f"picture {edit.image_id} was changed elsewhere, perhaps in another window; load the page again."
            )
        self.log.append(edit)
        self._take(edit)
        self._behind = True
        self.write()
        return True

    def write(self) -> None:
        """Write the finished pictures; with none there is no file."""
        finished = [picture for picture in self.pictures if picture.image_id in self._finished()]
        if finished:
            write_marks(self._as_marks(finished), self.path)
        else:
            self.path.unlink(missing_ok=True)
        self._behind = False

    def _finished(self) -> States:
        return {image_id: state for image_id, state in self.states.items() if state.finished}

    def _take(self, edit: Edit) -> None:
        if edit.after is None:
            self.states.pop(edit.image_id, None)
        else:
            self.states[edit.image_id] = edit.after
        self._written[edit.image_id] = _Written(edit.at)

    def _as_marks(self, finished: list[PickedPicture]) -> Marks:
        states = [self.states[picture.image_id] for picture in finished]
        dogs = [row for row, state in enumerate(states) if not state.no_dog]
        points = np.array([[point or NOWHERE for point in states[row].points] for row in dogs], np.float64)
        points = points.reshape(-1, len(LANDMARKS), 3)
        unplaced = (points[..., 2] == NOWHERE[2])[..., None]
        return Marks(
            files=tuple(picture.file for picture in finished),
            image_id=np.array([picture.image_id for picture in finished]),
            size_px=np.array([picture.size_px for picture in finished]),
            mark_id=np.array([finished[row].image_id for row in dogs], np.int64),
            picture=np.array(dogs, np.int64),
            xy_px=np.where(unplaced, np.nan, points[..., :2]),
            visibility=points[..., 2].astype(np.int64),
            image_notes=tuple(picture.notes for picture in finished),
            mark_notes=tuple(self._notes(finished[row].image_id, states[row]) for row in dogs),
            about={**self._about, "edits": len(self.log.edits)},
        )

    def _notes(self, image_id: int, state: PictureMarks) -> Entry:
        written = self._written[image_id]
        sure = dict(zip(PAIR_NAMES, state.sides_sure, strict=True))
        own = {"facing": state.facing, "sides_sure": sure, "marker": self.marker, "marked_at": written.marked_at}
        return {**written.notes, "attributes": {**own, "start": state.start}}

    def resume(self) -> None:
        """Take up what the log and the marks hold; where a person brought in other marks meanwhile, those count."""
        marks = read_marks(self.path) if self.path.is_file() else None
        self._about = marks.about if marks else {}
        steps = tuple(self.log.edits)
        told = self._about.get("edits")
        upto = told if isinstance(told, int) else len(steps)
        for edit in steps[:upto]:
            self._take(edit)
        changed = marks is not None and states_of(marks) != self._finished()
        for edit in steps[upto:]:
            self._take(edit)
        if marks is not None and changed:
            self._take_over(marks)
        elif len(steps) > upto or (marks is None and steps):
            self.write()

    def _take_over(self, marks: Marks) -> None:
        """The file of marks counts where it differs from the log, and the log is told."""
        told = states_of(marks)
        for image_id in sorted({*told, *self._finished()}):
            before, after = self.states.get(image_id), told.get(image_id)
            if before != after:
                edit = Edit(f"{TAKEN}-{len(self.log.edits)}", TAKEN, image_id, before, after, now_utc())
                self.log.append(edit)
                self._take(edit)
        for row, notes in enumerate(marks.mark_notes):
            at = (notes.get("attributes") or {}).get("marked_at")
            self._written[int(marks.image_id[marks.picture[row]])] = _Written(at, notes)


class OutOfStepError(MarksError):
    """A change that does not follow on what is kept."""


def open_marking(folder: str | Path, marker: str, *, blank: bool = False) -> Marking:
    """The work of ``marker`` on a folder of marks, where it was left; ``blank`` hides what the network found.

    Raises MarksError when the folder holds nothing to mark or a file in it cannot be used.
    """
    folder = Path(folder)
    check_marker(marker)
    if not (folder / PICKED).is_file():
        raise MarksError(f"{folder} holds no {PICKED}. Pick frames into it (pawfall pick), or import marks first.")
    pictures = list(_pictures_of(read_marks(folder / PICKED), blank))
    own = marks_path(folder, marker)
    if own.is_file():
        pictures += _only_in(read_marks(own), pictures, own.name)
    sizes = {picture.image_id: picture.size_px for picture in pictures}
    marking = Marking(folder, marker, tuple(pictures), EditLog.read(folder / f"edits-{marker}.jsonl", sizes))
    marking.resume()
    return marking


def check_marker(marker: str) -> None:
    """Raise MarksError when a name cannot stand in the name of a file."""
    if not MARKER_NAME.fullmatch(marker):
        raise MarksError(f"the marker {marker!r} cannot be used: up to 40 small letters a-z, digits, - and _.")


def marks_path(folder: Path, marker: str) -> Path:
    """Where a person's marks lie."""
    check_marker(marker)
    return folder / f"marks-{marker}.json"


def now_utc() -> str:
    """This moment, ISO 8601, whole seconds."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def states_of(marks: Marks) -> States:
    """What a file of finished marks says, by number of the picture."""
    found = {}
    for row, image_id in enumerate(marks.image_id.tolist()):
        dogs = marks.dogs_in(row)
        if len(dogs) > 1:
            raise MarksError(f"{marks.files[row]} has {len(dogs)} dogs marked; the page marks one in each picture.")
        found[image_id] = _dog_state(marks, int(dogs[0])) if len(dogs) else without_dog(finished=True)
    return found


def _dog_state(marks: Marks, dog: int) -> PictureMarks:
    fore, hind = (bool(value) for value in marks.sides_sure(dog))
    start = (marks.mark_notes[dog].get("attributes") or {}).get("start")
    return PictureMarks(
        points=_points(marks, dog, NOWHERE),
        facing=marks.facing(dog),
        sides_sure=(fore, hind),
        finished=True,
        start=start if start in STARTS else BLANK,
    )


def _points(marks: Marks, dog: int, unplaced: Point | None) -> tuple[Point | None, ...]:
    limit = marks.size_px[marks.picture[dog]] - 1
    placed = np.clip(np.nan_to_num(marks.xy_px[dog]), 0, limit).round(2).tolist()
    seen = marks.visibility[dog].tolist()
    return tuple((x, y, v) if v else unplaced for (x, y), v in zip(placed, seen, strict=True))


def _pictures_of(picked: Marks, blank: bool) -> list[PickedPicture]:
    return [_picture(picked, row, blank) for row in range(len(picked.files))]


def _picture(picked: Marks, row: int, blank: bool) -> PickedPicture:
    dogs = picked.dogs_in(row)
    start = PictureMarks((None,) * len(LANDMARKS), start=BLANK)
    score: tuple[float | None, ...] = ()
    if len(dogs) and not blank:
        dog = int(dogs[0])
        attributes: Mapping[str, Any] = picked.mark_notes[dog].get("attributes") or {}
        start = PictureMarks(_points(picked, dog, None), picked.facing(dog), start=NETWORK)
        score = tuple(attributes.get("score") or ())
    width, height = picked.size_px[row].tolist()
    return PickedPicture(
        int(picked.image_id[row]), picked.files[row], (width, height), picked.image_notes[row], start, score
    )


def _only_in(own: Marks, pictures: list[PickedPicture], name: str) -> list[PickedPicture]:
    """Pictures that the person marked and that are picked no more: they stay. One number has to mean one picture."""
    known = {picture.image_id: picture.file for picture in pictures}
    for image_id, file in zip(own.image_id.tolist(), own.files, strict=True):
        if known.get(image_id, file) != file:
            raise MarksError(
                f"image {image_id} is {file} in {name} and {known[image_id]} in {PICKED}; mend the number."
            )
    return [one for one in _pictures_of(own, True) if one.image_id not in known]
