"""`pawfall judge`: how far a network's landmarks lie from those that a person marked in single pictures."""

import csv
import json
import math
import os
import shutil
from dataclasses import asdict, dataclass, field
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any, Final

import click
import numpy as np

from gait.command.domains import change_words_of, compare_errors, dog_names
from gait.command.edge import EXPECTED, OUR_FAULT, exit_code, fault, message, say_error
from gait.command.show import progress_bar
from gait.placing import check_place, partial_of, put_in_place
from gait.reading import Progress
from gait.report.judging import judging_page
from pose.beside import draw_beside, write_picture
from pose.coco import Marks, picture_paths, read_marks
from pose.curves import calibration, curves, dog_by_dog
from pose.errors import MarksError
from pose.judging import LEFT, RIGHT, Answers, Judged, JudgingSettings, badness, best_overlap, judge, table
from pose.landmarks import LANDMARKS
from pose.misses import PAW_MISSES, TRUNK_MISSES, misses, offsets
from pose.network import Network
from pose.networks import current_network
from pose.pictures import load_picture
from pose.still import Still, StillReading, read_still
from pose.tracks import FloatArray, IntArray
from pose.window import Picture

COLUMNS: Final = ("file", "landmark", "x_px", "y_px", "score")
RESULTS: Final = ("predictions.csv", "judged.json", "judged.html", "worst")
SIDE: Final = {"right": RIGHT, "left": LEFT, None: math.nan}


@dataclass(frozen=True, slots=True)
class JudgeSettings:
    """How marked pictures are judged.

    worst    pictures that are drawn: as many as a person looks through in a few minutes
    judging  how errors are counted
    """

    worst: int = 12
    judging: JudgingSettings = field(default_factory=JudgingSettings)


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """What came of a file of marks.

    readings   one per picture
    dogs       (D,) rows in the marks of the dogs that were judged
    judged     of those dogs
    not_read   marked dogs in pictures with several that were not held against anything
    """

    marks: Marks
    readings: tuple[StillReading, ...]
    dogs: IntArray
    judged: Judged
    not_read: int


def judge_command(
    source: Path,
    out: Path,
    network: Path | None,
    settings: JudgeSettings = JudgeSettings(),
    against: Path | None = None,
) -> int:
    """Judge the network on the marks in ``source``, beside the one ``against`` which it is held, and leave the results
    in ``out``; returns the exit code."""
    out = out.resolve()
    try:
        marks = read_marks(source)
        paths = picture_paths(marks, source.parent)
        check_place(out, "judged.json", "judgement")
        check_writable(out)
        used = Network.load(network or current_network())
        other = Network.load(against) if against else None
        with progress_bar(source.name) as report:
            outcome = judge_marks(marks, paths, used, settings, report)
            beside = judge_marks(marks, paths, other, settings, report) if other else None
        facts = facts_of(outcome, settings) | {"marks": source.name, **network_facts(used)}
        if other and beside:
            facts |= {"against": side_facts(beside, settings) | network_facts(other)}
            facts |= {"change": compare_errors(source.name, marks, errors_of(beside), errors_of(outcome)).as_dict()}
        write_results(outcome, paths, facts, out, settings)
    except EXPECTED as error:
        say_error(message(error))
        return exit_code(error)
    except Exception as error:
        say_error(f"{source.name}: {fault(error)}")
        return OUR_FAULT
    show_table(facts, out)
    return 0


def judge_marks(
    marks: Marks, paths: list[Path], network: Network, settings: JudgeSettings, progress: Progress | None = None
) -> Outcome:
    """Read every picture whole and hold what was found against what was marked."""
    readings = []
    for row, path in enumerate(paths):
        readings.append(read_still(_still(marks, row, path), network))
        if progress:
            progress("reading", row + 1, len(paths))
    dogs = np.array([_dog_of(marks, row, reading) for row, reading in enumerate(readings)], np.int64)
    dogs = dogs[dogs >= 0]
    answers = answers_of(marks, dogs, readings)
    return Outcome(marks, tuple(readings), dogs, judge(answers, settings.judging), len(marks) - len(dogs))


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


def facts_of(outcome: Outcome, settings: JudgeSettings) -> dict[str, Any]:
    """Everything that judged.json says but where the numbers come from."""
    marks, judged = outcome.marks, outcome.judged
    blind = [marks.files[row] for row, one in enumerate(outcome.readings) if one.facing is None]
    empty = [row for row in range(len(marks.files)) if not len(marks.dogs_in(row))]
    alarms = [marks.files[row] for row in empty if outcome.readings[row].facing is not None]
    unmeasured = ~np.isfinite(judged.length_px)
    return {
        "pictures": len(marks.files),
        "dogs_marked": len(marks),
        "dogs_judged": int((~unmeasured).sum()),
        "dogs_not_read": outcome.not_read,
        "dogs_without_length": [_file_of(outcome, int(row)) for row in np.flatnonzero(unmeasured)],
        "no_dog_found": [name for name in blind if marks.files.index(name) not in empty],
        "pictures_without_dog": {"pictures": len(empty), "dog_found": alarms},
        **side_facts(outcome, settings),
        "misses": misses(judged, settings.judging),
        "median_offset_percent": offsets(judged, settings.judging),
        "dogs": [_dog_facts(outcome, row) for row in range(len(outcome.dogs))],
        "settings": asdict(settings),
    }


def side_facts(outcome: Outcome, settings: JudgeSettings) -> dict[str, Any]:
    """What stands side by side for two networks: shares, exchanges, scores, curve, and errors over dogs."""
    names = dog_names(outcome.marks, "all")
    return {
        **table(outcome.judged, settings.judging),
        "curve": curves(outcome.judged),
        "calibration": calibration(outcome.judged, settings.judging),
        "over_dogs": dog_by_dog(outcome.judged, [names[dog] for dog in outcome.dogs]),
    }


def errors_of(outcome: Outcome) -> FloatArray:
    """(N,) body lengths, mean error of every marked dog, each landmark counting for one at most; NaN = not judged."""
    out = np.full(len(outcome.marks), math.nan)
    out[outcome.dogs] = badness(outcome.judged)
    return out


def _file_of(outcome: Outcome, row: int) -> str:
    return outcome.marks.files[int(outcome.marks.picture[outcome.dogs[row]])]


def _dog_facts(outcome: Outcome, row: int) -> dict[str, Any]:
    """One dog: errors in body lengths; None = not marked or not found."""
    errors = zip(LANDMARKS, outcome.judged.error[row], strict=True)
    facing = outcome.readings[outcome.marks.picture[outcome.dogs[row]]].facing
    return {
        "file": _file_of(outcome, row),
        "annotation": int(outcome.marks.mark_id[outcome.dogs[row]]),
        "found": facing is not None,
        "facing_found": facing,
        "facing_marked": outcome.marks.facing(int(outcome.dogs[row])),
        "error_bl": {name: round(float(error), 4) if np.isfinite(error) else None for name, error in errors},
    }


def network_facts(network: Network) -> dict[str, Any]:
    """Which network and which version of the tool the numbers belong to."""
    try:
        own = version("pawfall")
    except PackageNotFoundError:
        own = "unpacked"
    return {"network": network.name, "network_hash": network.sha256, "versions": {"pawfall": own}}


def check_writable(out: Path) -> None:
    """Raise OSError when nothing can be written beside ``out``, before hours of reading rather than after."""
    out.parent.mkdir(parents=True, exist_ok=True)
    trace = out.with_name(f".{out.name}.writable-{os.getpid()}")
    try:
        trace.touch()
    finally:
        trace.unlink(missing_ok=True)


def write_results(
    outcome: Outcome, paths: list[Path], facts: dict[str, Any], out: Path, settings: JudgeSettings
) -> None:
    """Write every result beside ``out`` and put it in its place when all is done."""
    partial = partial_of(out)
    shutil.rmtree(partial, ignore_errors=True)
    try:
        partial.mkdir(parents=True)
        _write_predictions(outcome, partial / "predictions.csv")
        words = json.dumps(facts, indent=1, allow_nan=False)
        (partial / "judged.json").write_text(words + "\n", encoding="utf-8")
        _draw_worst(outcome, paths, partial / "worst", settings)
        worst = [f"worst/{path.name}" for path in sorted((partial / "worst").iterdir())]
        (partial / "judged.html").write_text(judging_page(facts, change_words_of(facts), worst), encoding="utf-8")
        put_in_place(partial, out, RESULTS)
    finally:
        shutil.rmtree(partial, ignore_errors=True)


def _write_predictions(outcome: Outcome, path: Path) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        for name, reading in zip(outcome.marks.files, outcome.readings, strict=True):
            for mark, (place, score) in zip(LANDMARKS, zip(reading.xy_px, reading.score, strict=True), strict=True):
                writer.writerow([name, mark, *_place_words(place), f"{score:.4f}"])


def _place_words(place: FloatArray) -> list[str]:
    return [f"{value:.3f}" if np.isfinite(value) else "" for value in place]


def worst_rows(outcome: Outcome, count: int) -> list[int]:
    """Rows of the judged dogs with the largest mean errors, the worst first."""
    bad = np.nan_to_num(badness(outcome.judged), nan=-1.0)
    order = np.argsort(-bad, kind="stable")
    return [int(row) for row in order[:count] if bad[row] >= 0]


def _draw_worst(outcome: Outcome, paths: list[Path], folder: Path, settings: JudgeSettings) -> None:
    folder.mkdir()
    rows = worst_rows(outcome, settings.worst)
    digits = max(2, len(str(len(rows))))
    for place, row in enumerate(rows, start=1):
        path = paths[outcome.marks.picture[outcome.dogs[row]]]
        write_picture(_drawn(outcome, row, path, settings.judging), folder / f"{place:0{digits}}_{path.stem}.png")


def _drawn(outcome: Outcome, row: int, path: Path, settings: JudgingSettings) -> Picture:
    answers, errors = outcome.judged.answers, outcome.judged.error[row]
    facts = _dog_facts(outcome, row)
    right, known = int((errors <= settings.found_within).sum()), int((~np.isnan(errors)).sum())
    title = f"{facts['file']}: {right} of {known} within {settings.found_within:.0%} of withers-croup length; "
    title += f"faces {facts['facing_marked'] or '?'}, found {facts['facing_found'] or 'no dog'}"
    notes = tuple(_note(float(error)) for error in errors)
    return draw_beside(load_picture(path), answers.found_px[row], answers.marked_px[row], title=title, notes=notes)


def _note(error: float) -> str:
    if math.isnan(error):
        return "not marked"
    return "not found" if math.isinf(error) else f"{100 * error:.0f} % off"


def show_table(facts: dict[str, Any], out: Path) -> None:
    """The figures in a short table, and where the rest lies."""
    click.echo(f"{facts['marks']}: {facts['dogs_judged']} of {facts['dogs_marked']} marked dogs in "
               f"{facts['pictures']} pictures, read by {facts['network']} ({facts['network_hash'][:12]})")  # fmt: skip
    limits = facts["settings"]["judging"]["limits"]
    click.echo(
        f"{'share of landmarks within':<28}" + "".join(f"{100 * limit:>6g} %" for limit in limits) + f"{'of':>7}"
    )
    for name, shares in facts["landmarks"].items():
        values = "".join(f"{shares[f'within_{100 * limit:g}_percent']:>8.3f}" for limit in limits)
        click.echo(f"  {name.replace('_', ' '):<26}{values}{shares['count']:>7}")
    for line in _sentences(facts):
        click.echo(line)
    click.echo(f"  {out / 'judged.html'}")


def _sentences(facts: dict[str, Any]) -> list[str]:
    pairs, facing, empty = facts["exchanged_pairs"], facts["facing"], facts["pictures_without_dog"]
    lines = [change_words_of(facts)] if "change" in facts else []
    lines += [_miss_words(facts["misses"])] if any(facts["misses"].values()) else []
    lines += [
        f"near and far exchanged in {pairs['exchanged']} of {pairs['of']} pairs, "
        f"{pairs['exchanged_among_found']} of the {pairs['found']} whose paws were both found",
        f"facing right in {facing['right']} of {facing['right'] + facing['wrong']}; "
        f"no dog found in {len(facts['no_dog_found'])}",
    ]
    if empty["pictures"]:
        lines.append(f"a dog found in {len(empty['dog_found'])} of {empty['pictures']} pictures without a marked dog")
    if facts["dogs_not_read"]:
        lines.append(f"marked dogs not read: {facts['dogs_not_read']} (one is read in each picture)")
    if facts["dogs_without_length"]:
        lines.append(f"dogs not judged, withers and croup are not both marked: {len(facts['dogs_without_length'])}")
    return lines


def _miss_words(found: dict[str, dict[str, int]]) -> str:
    """Misses by kind: 'paws missed: 12 on partner, 3 elsewhere; withers and croup: 8 along back'."""
    words = []
    for what, kinds, marks in (("paws", PAW_MISSES, LANDMARKS[:4]), ("withers and croup", TRUNK_MISSES, LANDMARKS[4:])):
        sums = {kind: sum(found[mark].get(kind, 0) for mark in marks) for kind in kinds}
        told = ", ".join(f"{count} {kind.replace('_', ' ')}" for kind, count in sums.items() if count)
        words.append(f"{what} missed: {told or 'none'}")
    return "; ".join(words)
