"""Reads trial sheets: a spreadsheet or one TOML file for many clips, or a TOML file beside each."""

import tomllib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path
from typing import Any, Final

from gait.errors import TrialError
from gait.hashing import content_hash
from gait.sheets.cells import plain_value, read_cells
from gait.sheets.finding import find_clips
from gait.sheets.keys import KEYS, NEEDED, PICTURE_KEY, Place, check_names, checked
from gait.trial import Trial

SPREADSHEETS: Final = (".csv", ".xlsx")

Progress = Callable[[int, int], None]
#: Is told what is wrong with one row.
OnFault = Callable[[TrialError], None]


@dataclass(frozen=True, slots=True)
class Row:
    """One clip of a sheet.

    source  where the clip lies
    trial   what the sheet says of it; ``trial.clip`` is its path as the sheet gives it
    fps     pictures per second of a folder of pictures; None for films and tables, which carry times
    sha256  of its content
    """

    place: Place
    source: Path
    trial: Trial
    fps: float | None = None
    sha256: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A checked trial sheet. notes: plain sentences about what was left out."""

    name: str
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()


def read_trial(path: Path) -> dict[str, Any]:
    """The fields of Trial (and ``fps``) that the sheet of a single clip gives. Raises TrialError that names the key."""
    return checked(_toml(path), Place(path.name))


def read_sheet(path: Path, progress: Progress | None = None) -> Sheet:
    """The trial sheet at ``path``: .csv, .xlsx or .toml, or a folder whose clips have a .toml each beside them.

    Raises TrialError that names the file, the row and the column.
    """
    rows, notes = _from_folder(path) if path.is_dir() else (_rows_of(path, _give_up), ())
    check_rows(rows, path.name)
    return Sheet(path.resolve().name, tuple(_hashed(rows, progress)), notes)


def read_rows(path: Path, on_fault: OnFault) -> tuple[Row, ...]:
    """The rows of the sheet at ``path`` (.csv, .xlsx or .toml), without the hash of their clips.

    A row that cannot be used is told to ``on_fault`` and left out. Raises TrialError when the sheet as a whole cannot.
    """
    faults: list[TrialError] = []
    rows = _rows_of(path, faults.append)
    for fault in faults:
        on_fault(fault)
    if rows or not faults:
        check_rows(rows, path.name)
    return tuple(rows)


def read_told(path: Path, on_fault: OnFault) -> tuple[tuple[Place, dict[str, Any]], ...]:
    """What the rows of the sheet at ``path`` say (.csv, .xlsx or .toml), as ``row_of`` takes it; clips may be missing.

    A row that cannot be used is told to ``on_fault`` and left out. Raises TrialError when the sheet as a whole cannot.
    """
    return tuple(_told_of(path, on_fault))


def check_rows(rows: Sequence[Row], name: str) -> None:
    """What can be said of all rows of the sheet ``name`` together. Raises TrialError."""
    if not rows:
        raise TrialError(f"{name} names no clip; it needs one row for each, below the names of the columns.")
    _check_spelling(rows, "dog")
    _check_spelling(rows, "condition")
    _check_baselines(rows)


def _give_up(fault: TrialError) -> None:
    raise fault


def _rows_of(path: Path, on_fault: OnFault) -> list[Row]:
    rows = []
    for place, found in _told_of(path, on_fault):
        try:
            rows.append(row_of(found, place, path.parent))
        except TrialError as error:
            on_fault(error)
    return rows


def _told_of(path: Path, on_fault: OnFault) -> Iterator[tuple[Place, dict[str, Any]]]:
    if path.suffix.lower() == ".toml":
        return _from_toml(path)
    if path.suffix.lower() in SPREADSHEETS:
        return _from_spreadsheet(path, on_fault)
    raise TrialError(f"{path.name} is no trial sheet. Give a .csv, .xlsx or .toml file, or a folder of clips.")


def _from_spreadsheet(path: Path, on_fault: OnFault) -> Iterator[tuple[Place, dict[str, Any]]]:
    cells, comma = read_cells(path)
    names = _column_names(cells[0] if cells else [], path.name)
    for number, row in enumerate(cells[1:], start=2):
        place = Place(path.name, f"row {number}", "column")
        values = _trimmed(row)
        if not values:
            continue
        try:
            yield place, _from_cells(names, values, comma, place)
        except TrialError as error:
            on_fault(error)


def _from_cells(names: Sequence[str], values: Sequence[Any], comma: bool, place: Place) -> dict[str, Any]:
    if len(values) > len(names):
        more = f"has {len(values)} cells, the first row names {len(names)} columns"
        raise TrialError(f"{place} {more}; put quotes around a text with the column separator in it.")
    return {name: plain_value(name, cell, comma) for name, cell in zip(names, values, strict=False)}


def _column_names(head: Sequence[Any], file: str) -> list[str]:
    names = ["" if cell is None else str(cell).strip().lower() for cell in _trimmed(head)]
    place = Place(file, "row 1", "column")
    if not names or "" in names:
        raise TrialError(f"{place} has to name the columns without a gap: {', '.join(KEYS)}.")
    check_names(names, place)
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise TrialError(f"{place}: column {twice[0]} comes twice; keep one.")
    missing = [name for name in NEEDED if name not in names]
    if missing:
        raise TrialError(f"{place}: column {missing[0]} is missing. Needed are {', '.join(NEEDED)}; what came is "
                         f"{', '.join(names)}.")  # fmt: skip
    return names


def _trimmed(row: Sequence[Any]) -> list[Any]:
    """``row`` without the empty cells at its end."""
    filled = [at for at, cell in enumerate(row) if cell is not None and str(cell).strip()]
    return list(row[: filled[-1] + 1]) if filled else []


def _from_toml(path: Path) -> Iterator[tuple[Place, dict[str, Any]]]:
    found = _toml(path)
    clips = found.pop("clip", None)
    if not isinstance(clips, list) or not all(isinstance(clip, dict) for clip in clips):
        raise TrialError(f"{path.name} has no [[clip]] table. Give one for each clip, or the folder of clips with a "
                         ".toml beside each.")  # fmt: skip
    check_names(found, Place(path.name))
    if found:
        raise TrialError(f"{path.name}: {next(iter(found))} stands outside a [[clip]] table; put it into each.")
    yield from ((Place(path.name, f"clip {number}"), clip) for number, clip in enumerate(clips, start=1))


def _from_folder(folder: Path) -> tuple[list[Row], tuple[str, ...]]:
    clips = find_clips(folder)
    beside = {clip: clip.with_suffix(".toml") for clip in clips}
    bare = [clip.relative_to(folder).as_posix() for clip in clips if not beside[clip].is_file()]
    if len(bare) == len(clips):
        raise TrialError(f"{folder} holds no clip with a .toml of its name beside it. Start a sheet with: "
                         f"pawfall sheet {folder}")  # fmt: skip
    rows = []
    for clip, sheet in beside.items():
        if sheet.is_file():
            name = sheet.relative_to(folder).as_posix()
            rows.append(row_of(_toml(sheet) | {"clip": clip.relative_to(folder).as_posix()}, Place(name), folder))
    left_out = (f"left out, since no .toml of their name lies beside them: {', '.join(bare)}",) if bare else ()
    return rows, left_out


def trial_of(found: dict[str, Any], place: Place) -> tuple[Trial, float | None]:
    """What one row says, and the rate of a folder of pictures; everything that can be said without its clip is checked.

    found  values as TOML holds them. Raises TrialError that names the place and the column.
    """
    told = checked(found, place)
    for key in NEEDED:
        if key != "baseline" and not told.get(key):
            raise TrialError(f"{place.at(key)} is empty; every clip needs {', '.join(NEEDED[:-1])}.")
    fps = told.pop(PICTURE_KEY, None)
    try:
        return Trial(**told), fps
    except TrialError as error:
        raise TrialError(f"{place}: {error}") from error


def row_of(found: dict[str, Any], place: Place, folder: Path) -> Row:
    """One row from values as TOML holds them, its clip as seen from ``folder``. Raises TrialError."""
    trial, fps = trial_of(found, place)
    source = _source(trial.clip, folder, place)
    check_rate(source, fps, place)
    return Row(place, source, trial, fps)


def check_rate(source: Path, fps: float | None, place: Place) -> None:
    """A folder of pictures needs their rate, and nothing else may have one. Raises TrialError."""
    if source.is_dir() != (fps is not None):
        wrong = ("the clip is a folder of pictures, which carries no times; give the number of pictures per second"
                 if source.is_dir() else "the clip carries its own times; leave fps empty")  # fmt: skip
        raise TrialError(f"{place.at(PICTURE_KEY)}: {wrong}.")


def _source(clip: str, folder: Path, place: Place) -> Path:
    """Where the clip lies; a sheet may come from a system that writes paths with backslashes."""
    for words in (clip, clip.replace("\\", "/")):
        if (folder / words).exists():
            return folder / words
    raise TrialError(f"{place.at('clip')}: {clip} does not exist; write the path as seen from the folder of the sheet.")


def _toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError, RecursionError) as error:  # TOMLDecodeError, UnicodeDecodeError, numbers without end
        raise TrialError(f"The trial sheet {path} cannot be read: {str(error).splitlines()[0]}") from error


def _check_spelling(rows: Sequence[Row], key: str) -> None:
    """One dog, one spelling: two that differ in case or spaces alone are one dog, written carelessly."""
    seen: dict[str, Row] = {}
    for row in rows:
        words = getattr(row.trial, key)
        first = seen.setdefault("".join(words.casefold().split()), row)
        before = getattr(first.trial, key)
        if before != words:
            raise TrialError(f"{row.place.at(key)} is {words!r}, and {_other(first)} says {before!r}; "
                             f"write one {key} one way.")  # fmt: skip


def _check_baselines(rows: Sequence[Row]) -> None:
    for first, second in combinations(rows, 2):
        one, two = first.trial, second.trial
        if (one.dog, one.date) != (two.dog, two.date):
            continue
        if one.condition == two.condition and one.baseline != two.baseline:
            yes, no = (first, second) if one.baseline else (second, first)
            raise TrialError(f"{second.place.at('baseline')}: on {one.date} {one.condition!r} of {one.dog} is the "
                             f"baseline in {_other(yes)} and not in {_other(no)}; say the same in both.")  # fmt: skip
        if one.baseline and two.baseline and one.condition != two.condition:
            raise TrialError(f"{second.place.at('condition')} is {two.condition!r}, in {_other(first)} it is "
                             f"{one.condition!r}, and both are the baseline of {one.dog} on {one.date}; there can be "
                             "one.")  # fmt: skip


def _other(row: Row) -> str:
    return row.place.part or row.place.file


def _hashed(rows: list[Row], progress: Progress | None) -> Iterator[Row]:
    """The rows with the hash of their content; the same clip twice would count its strides twice."""
    seen: dict[str, Row] = {}
    for count, row in enumerate(rows, start=1):
        digest = content_hash(row.source)
        first = seen.setdefault(digest, row)
        if first is not row:
            raise TrialError(f"{row.place.at('clip')}: {row.trial.clip} is the very same clip as {first.trial.clip} in "
                             f"{_other(first)}; keep one of them.")  # fmt: skip
        if progress:
            progress(count, len(rows))
        yield replace(row, sha256=digest)
