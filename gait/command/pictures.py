"""Pictures that a person marked, read one by one by a network."""

import math
from collections.abc import Collection
from pathlib import Path
from typing import Any, Final

import numpy as np

from gait.command.outcome import PICTURES, JudgeSettings, Outcome, place_words
from gait.reading import Progress
from pose.coco import Marks, picture_paths, read_marks
from pose.errors import MarksError
from pose.judging import LEFT, RIGHT, Answers, Judged, badness, best_overlap, judge, similarity
from pose.landmarks import LANDMARKS
from pose.network import Network
from pose.pictures import load_picture
from pose.precision import Finds
from pose.still import Still, StillReading, read_still
from pose.tracks import FloatArray, IntArray

SIDE: Final = {"right": RIGHT, "left": LEFT, None: math.nan}
FACING: Final = {RIGHT: "right", LEFT: "left"}


def judge_pictures(
    source: Path,
    network: Network,
    *,
    settings: JudgeSettings,
    trained: frozenset[str] = frozenset(),
    progress: Progress | None = None,
) -> Outcome:
    """Read every picture of the marks in ``source`` whole and hold what was found against what was marked.

    Pictures that do not say whose they are count as one dog, called after the file. Those of dogs that a network was
    ``trained`` on are left out; MarksError when there are no others.
    """
    whole, nameless = read_marks(source), source.stem
    left_out = tuple(sorted(trained & set(_owners(whole, nameless))))
    marks = _without(whole, left_out, nameless)
    if left_out and not marks.files:
        raise MarksError(f"{source.name} shows no dog that was not trained on; give marks of dogs that played no part.")
    paths = picture_paths(marks, source.parent)
    readings = _read(marks, paths, network, progress)
    chosen = np.array([_dog_of(marks, row, reading) for row, reading in enumerate(readings)], np.int64)
    chosen = chosen[chosen >= 0]
    judged = judge(answers_of(marks, chosen, readings), settings.judging)
    names, owners = dog_names(marks, nameless), _owners(marks, nameless)
    files = [marks.files[picture] for picture in marks.picture[chosen]]
    facts = _facts(marks, chosen, readings, judged)
    return Outcome(
        kind=PICTURES,
        judged=judged,
        dogs=[names[dog] for dog in chosen],
        titles=files,
        finds=_finds(marks, readings, settings),
        find_dogs=owners,
        whole=_whole(marks, chosen, judged),
        whole_dogs=names,
        facts=facts,
        beside={},
        left_out=left_out,
        rows=lambda: _prediction_rows(marks, readings),
        moment=([str(row) for row in range(len(files))], np.zeros(len(files))),
        picture=lambda row: load_picture(paths[marks.picture[chosen[row]]]),
    )


def _read(marks: Marks, paths: list[Path], network: Network, progress: Progress | None) -> list[StillReading]:
    readings = []
    for row, path in enumerate(paths):
        readings.append(read_still(_still(marks, row, path), network))
        if progress:
            progress("reading", row + 1, len(paths))
    return readings


def _still(marks: Marks, row: int, path: Path) -> Still:
    rgb = load_picture(path)
    width, height = (int(side) for side in marks.size_px[row])
    if rgb.shape[:2] != (height, width):
        raise MarksError(
            f"{marks.files[row]} has {rgb.shape[1]}x{rgb.shape[0]} px, its entry (image {marks.image_id[row]}) says "
            f"{width}x{height}. Take the picture that was marked, or mark this one."
        )
    return Still(marks.files[row], rgb)


def _dog_of(marks: Marks, picture: int, reading: StillReading) -> int:
    """Row of the marked dog that a reading is held against; -1 = the picture has none."""
    dogs = marks.dogs_in(picture)
    return int(dogs[best_overlap(reading.xy_px, marks.xy_px[dogs])]) if len(dogs) else -1


def dog_names(marks: Marks, nameless: str) -> list[str]:
    """N names, one per marked dog; pictures that do not say whose they are count as one dog, ``nameless``."""
    owners = _owners(marks, nameless)
    return [owners[picture] for picture in marks.picture]


def _owners(marks: Marks, nameless: str) -> list[str]:
    """P names, whose each picture is, also when nobody is marked in it."""
    return [str(notes.get("dog") or nameless) for notes in marks.image_notes]


def _without(marks: Marks, dogs: Collection[str], nameless: str) -> Marks:
    """The marks without the pictures of ``dogs``."""
    kept = [row for row, owner in enumerate(_owners(marks, nameless)) if owner not in dogs]
    place = {row: number for number, row in enumerate(kept)}
    there = [dog for dog in range(len(marks)) if marks.picture[dog] in place]
    return Marks(
        tuple(marks.files[row] for row in kept), marks.image_id[kept], marks.size_px[kept], marks.mark_id[there],
        np.array([place[int(marks.picture[dog])] for dog in there], np.int64), marks.xy_px[there],
        marks.visibility[there], tuple(marks.image_notes[row] for row in kept),
        tuple(marks.mark_notes[dog] for dog in there), marks.about,
    )  # fmt: skip


def answers_of(marks: Marks, dogs: IntArray, readings: list[StillReading]) -> Answers:
    """Marked and found, one row per dog of ``dogs`` (D,)."""
    found = [readings[row] for row in marks.picture[dogs]]
    marks_count = len(LANDMARKS)
    return Answers(
        marked_px=marks.xy_px[dogs],
        visibility=marks.visibility[dogs],
        sides_sure=np.array([marks.sides_sure(int(dog)) for dog in dogs], bool).reshape(-1, 2),
        marked_facing=np.array([SIDE[marks.facing(int(dog))] for dog in dogs], np.float64),
        found_px=np.array([one.xy_px for one in found], np.float64).reshape(-1, marks_count, 2),
        score=np.array([one.score for one in found], np.float64).reshape(-1, marks_count),
        found_facing=np.array([SIDE[one.facing] for one in found], np.float64),
    )


def _finds(marks: Marks, readings: list[StillReading], settings: JudgeSettings) -> Finds:
    """Of every picture; one in which only dogs without a length are marked is left out, as COCO leaves out what it
    cannot measure."""
    every = judge(answers_of(marks, np.arange(len(marks)), readings), settings.judging)
    near = similarity(every.error, np.array(settings.judging.sigma))
    measured = np.isfinite(every.length_px)
    score = np.array([one.score.mean() if one.facing else np.nan for one in readings])
    best, count = np.zeros(len(readings)), np.zeros(len(readings), np.int64)
    np.maximum.at(best, marks.picture[measured], near[measured])
    np.add.at(count, marks.picture[measured], 1)
    score[np.isin(np.arange(len(readings)), marks.picture[~measured]) & (count == 0)] = np.nan
    return Finds(score, best, count)


def _whole(marks: Marks, chosen: IntArray, judged: Judged) -> FloatArray:
    out = np.full(len(marks), math.nan)
    out[chosen] = badness(judged)
    return out


def _facts(marks: Marks, chosen: IntArray, readings: list[StillReading], judged: Judged) -> dict[str, Any]:
    files = marks.files
    blind = [files[row] for row, one in enumerate(readings) if one.facing is None]
    empty = [row for row in range(len(files)) if not len(marks.dogs_in(row))]
    alarms = [files[row] for row in empty if readings[row].facing is not None]
    unmeasured = ~np.isfinite(judged.length_px)
    return {
        "pictures": len(files),
        "dog_not_told": sum(not notes.get("dog") for notes in marks.image_notes),
        "dogs_marked": len(marks),
        "dogs_judged": int((~unmeasured).sum()),
        "dogs_not_read": len(marks) - len(chosen),
        "dogs_without_length": [files[marks.picture[chosen[row]]] for row in np.flatnonzero(unmeasured)],
        "no_dog_found": [name for name in blind if files.index(name) not in empty],
        "pictures_without_dog": {"pictures": len(empty), "dog_found": alarms},
        "dogs": [_dog_facts(marks, int(dog), judged, row) for row, dog in enumerate(chosen)],
    }


def _dog_facts(marks: Marks, dog: int, judged: Judged, row: int) -> dict[str, Any]:
    """One dog: errors in body lengths; None = not marked or not found."""
    errors = zip(LANDMARKS, judged.error[row], strict=True)
    facing = FACING.get(float(judged.answers.found_facing[row]))
    return {
        "file": marks.files[int(marks.picture[dog])],
        "annotation": int(marks.mark_id[dog]),
        "found": facing is not None,
        "facing_found": facing,
        "facing_marked": marks.facing(dog),
        "error_bl": {name: round(float(error), 4) if np.isfinite(error) else None for name, error in errors},
    }


def _prediction_rows(marks: Marks, readings: list[StillReading]) -> list[list[str]]:
    return [
        [name, "", mark, *place_words(place), f"{score:.4f}"]
        for name, reading in zip(marks.files, readings, strict=True)
        for mark, place, score in zip(LANDMARKS, reading.xy_px, reading.score, strict=True)
    ]
