"""What a person says of films on the page, or pastes from a spreadsheet, as trial sheets know it."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from gait.errors import TrialError
from gait.sheets.cells import plain_value
from gait.sheets.keys import KEYS, NEEDED, PICTURE_KEY, Place, checked
from gait.sheets.trial_sheet import Row, check_rate, check_rows, read_told, trial_of
from gait.trial import Trial

#: Keys that the page asks for, beside the speed of the belt.
ASKED: Final = tuple(key for key in KEYS if key not in ("clip", "belt_m_s", "belt_kmh"))
#: Unit of a speed -> key of a trial sheet, factor. International agreement of 1959: 1 mile = 1609.344 m.
SPEEDS: Final = {"km/h": ("belt_kmh", 1.0), "m/s": ("belt_m_s", 1.0), "mph": ("belt_m_s", 1609.344 / 3600)}
#: Entries of the page with nothing entered; ``pace`` and ``slow`` lead to filmed_fps, ``more`` opens what is seldom
#: said.
BLANK: Final = dict.fromkeys((*ASKED, "belt", "belt_unit", "pace", "slow", "more"), "")
#: Letters of one entry.
LONGEST: Final = 2000
#: Rows of one sheet that a page can show.
MOST_ROWS: Final = 2000

Said = dict[str, dict[str, Any]]
Faults = list[dict[str, str]]


def described(films: Mapping[str, tuple[Path, Mapping[str, Any]]]) -> tuple[Said, Faults]:
    """What is said of each film by the keys of a trial sheet, and what is wrong with it:
    [{"id", "words", "key"}], ``key`` being the entry that is wrong, "" = none alone.

    films  id -> (where it lies, entries of the page: texts, and ``belt`` with ``belt_unit``)
    """
    said: Said = {}
    faults: Faults = []
    rows: dict[str, Row] = {}
    for upload, (path, entries) in films.items():
        place = Place(path.name, "", "entry")
        found: dict[str, Any] = {}
        try:
            found = _found(entries, place)
            trial, fps = trial_of(found | {"clip": path.name}, place)
            check_rate(path, fps, place)
            said[upload] = found
            rows[upload] = Row(place, path, trial, fps)
        except TrialError as error:
            faults.append({"id": upload, "words": str(error), "key": _wrong_in(found, place)})
    return said, faults or _together(rows)


def _together(rows: Mapping[str, Row]) -> Faults:
    """What is wrong with all rows together, at the first that does not go with those before it."""
    ids, all_rows = list(rows), list(rows.values())
    try:
        check_rows(all_rows, "")
    except TrialError:
        for count, upload in enumerate(ids, start=1):
            try:
                check_rows(all_rows[:count], "")
            except TrialError as error:
                return [{"id": upload, "words": str(error), "key": ""}]
    return []


def _wrong_in(found: Mapping[str, Any], place: Place) -> str:
    """The entry of ``found``, of which something is wrong, that cannot be used; "" when nothing was found."""
    for key, value in found.items():
        try:
            told = checked({key: value}, place)
            told.pop(PICTURE_KEY, None)
            Trial(**told)
        except TrialError:
            return "belt" if key.startswith("belt") else key
    missing = (key for key in NEEDED if key not in ("clip", "baseline") and not found.get(key))
    return next(missing, PICTURE_KEY) if found else ""


def _found(entries: Mapping[str, Any], place: Place) -> dict[str, Any]:
    """Entries of the page as values of a trial sheet. Raises TrialError."""
    found = {key: plain_value(key, _entry(entries, key, place), True) for key in ASKED}
    belt, unit = _entry(entries, "belt", place), _entry(entries, "belt_unit", place) or "km/h"
    if unit not in SPEEDS:
        raise TrialError(f"{place}: the speed of the belt can be in {', '.join(SPEEDS)}, not in {unit!r}.")
    key, factor = SPEEDS[unit]
    speed = plain_value(key, belt, True)
    found[key] = round(speed * factor, 4) if isinstance(speed, float) and factor != 1 else speed
    return {key: value for key, value in found.items() if value is not None}


def _entry(entries: Mapping[str, Any], key: str, place: Place) -> Any:
    """One entry: text, yes or no, or nothing; numbers count as they are written."""
    value = entries.get(key)
    if value is None or isinstance(value, bool):
        return value
    words = str(value)
    if len(words) > LONGEST:
        raise TrialError(f"{place.at(key)} has {len(words)} letters; at most {LONGEST} are kept.")
    return words


def sheet_json(path: str, name: str) -> dict[str, Any]:
    """The rows of the trial sheet at ``path`` as the page takes them, and its faults by row and column, for a process
    of its own: {"rows": [{"clip", ...}], "faults": [words]}. ``name`` is what the sheet is called.

    Raises TrialError when the sheet as a whole cannot be used.
    """
    rows: list[dict[str, Any]] = []
    faults: list[str] = []
    told = Path(path).name
    try:
        for place, found in read_told(Path(path), lambda error: faults.append(str(error))):
            try:
                trial_of(found, place)
                rows.append(_entries(found, place))
            except TrialError as error:
                faults.append(str(error))
    except TrialError as error:
        raise TrialError(str(error).replace(path, name).replace(told, name)) from error
    if len(rows) > MOST_ROWS:
        raise TrialError(f"{name} has {len(rows)} rows; at most {MOST_ROWS} are taken at a time.")
    return {"rows": rows, "faults": [words.replace(told, name) for words in faults]}


def _entries(found: Mapping[str, Any], place: Place) -> dict[str, Any]:
    """Values of a row as entries of the page."""
    values = checked(found, place)
    speed = values.pop("belt_m_s", None)
    entries = {key: value for key, value in values.items() if key != PICTURE_KEY}
    if found.get("belt_kmh") is not None:
        return entries | {"belt": found["belt_kmh"], "belt_unit": "km/h"}
    return entries if speed is None else entries | {"belt": speed, "belt_unit": "m/s"}
