"""What a trial sheet may say: its keys, and the one check of every value, whatever file it came from."""

import datetime
import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from gait.errors import TrialError
from gait.trial import KMH_PER_M_S

Kind = Literal["text", "date", "yes or no", "number", "side"]

#: Every key with what it holds, in the order in which a new sheet shows them.
KEYS: Final[dict[str, Kind]] = {
    "clip": "text",
    "dog": "text",
    "date": "date",
    "condition": "text",
    "baseline": "yes or no",
    "belt_m_s": "number",
    "belt_kmh": "number",
    "filmed_fps": "number",
    "facing": "side",
    "lead_tension_n": "number",
    "incline_deg": "number",
    "withers_cm": "number",
    "mass_kg": "number",
    "notes": "text",
    "fps": "number",
}
#: Without these there is nothing to compare.
NEEDED: Final = ("clip", "dog", "date", "condition", "baseline")
#: The camera does not note the rate of a folder of pictures; no other clip needs it.
PICTURE_KEY: Final = "fps"

#: Beyond any number that a sheet means; TOML writes integers of any length.
LARGEST: Final = 1e300
DATE_FORM: Final = "YYYY-MM-DD, such as 2026-03-02"


@dataclass(frozen=True, slots=True)
class Place:
    """Where in a sheet something stands: 'sheet.csv, row 3' (as the spreadsheet counts), or 'sheet.toml, clip 2'.

    word  what the file calls a key: "column" or "key", or "entry" on a page
    """

    file: str
    part: str = ""
    word: Literal["column", "key", "entry"] = "key"

    def __str__(self) -> str:
        return f"{self.file}, {self.part}" if self.part else self.file

    def at(self, key: str) -> str:
        """The place of one value: 'sheet.csv, row 3, column date'."""
        return f"{self}, {self.word} {key}"


def check_names(names: Iterable[str], place: Place) -> None:
    """Raise TrialError for a name that is no key; it tells the nearest one."""
    for name in names:
        if name not in KEYS:
            near = difflib.get_close_matches(name, KEYS, n=1, cutoff=0.0)[0]
            known = ", ".join(KEYS)
            raise TrialError(f"{place}: unknown {place.word} {name!r}; did you mean {near}? Allowed: {known}.")


def checked(found: Mapping[str, Any], place: Place) -> dict[str, Any]:
    """Fields of Trial (and ``fps``) from the values that stand at ``place``; empty ones are left out."""
    check_names(found, place)
    told = {key: _value(key, value, place) for key, value in found.items()}
    told = {key: value for key, value in told.items() if value is not None}
    try:
        speed = belt_speed(told.pop("belt_m_s", None), told.pop("belt_kmh", None))
    except TrialError as error:
        raise TrialError(f"{place}: {error}") from error
    return told if speed is None else told | {"belt_m_s": speed}


def belt_speed(m_s: float | None, kmh: float | None) -> float | None:
    """m/s from either unit; both at once, or a speed that is not above 0, is an error."""
    if m_s is not None and kmh is not None:
        raise TrialError("The belt speed came both in m/s and in km/h; give one of them.")
    speed = kmh / KMH_PER_M_S if kmh is not None else m_s
    if speed is not None and not 0 < speed < float("inf"):
        given = f"{kmh:g} km/h" if kmh is not None else f"{m_s:g} m/s"
        raise TrialError(f"The belt speed is {given}; give a speed above 0, or leave it out.")
    return speed


def _value(key: str, value: Any, place: Place) -> Any:
    """``value`` as Trial wants it, or None when nothing was said."""
    if value is None:
        return None
    kind = KEYS[key]
    if kind == "number":
        return _number(key, value, place)
    if kind == "yes or no":
        return value if isinstance(value, bool) else _refuse(key, value, place)
    if kind == "date" and isinstance(value, datetime.date):
        return _day(value).isoformat()
    if not isinstance(value, str):
        return _refuse(key, value, place)
    words = _one_line(key, value, place)
    if kind == "date":
        return _iso_date(key, words, place)
    return _side(words) if kind == "side" else words


def _number(key: str, value: Any, place: Place) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= LARGEST:
        _refuse(key, value, place)
    if key == PICTURE_KEY and value <= 0:
        raise TrialError(f"{place.at(key)} is {value:g}; give a number of pictures per second above 0.")
    return float(value)


def _one_line(key: str, value: str, place: Place) -> str:
    words = value.strip()
    broken = [sign for sign in words if not sign.isprintable() and not (key == "notes" and sign in "\n\r\t")]
    if broken:
        raise TrialError(f"{place.at(key)} holds a sign that cannot be shown ({broken[0]!r}); write it anew.")
    return words


def _day(value: datetime.date) -> datetime.date:
    return value.date() if isinstance(value, datetime.datetime) else value


def _iso_date(key: str, words: str, place: Place) -> str | None:
    if not words:
        return None
    try:
        return datetime.datetime.strptime(words, "%Y-%m-%d").date().isoformat()
    except ValueError as error:
        raise TrialError(f"{place.at(key)} is {words!r}; it has to be a date as {DATE_FORM}.") from error


def _side(words: str) -> str | None:
    """'auto' and nothing both mean that it is found from the landmarks; Trial knows which other words it takes."""
    side = words.lower()
    return None if side in ("", "auto") else side


def _refuse(key: str, value: Any, place: Place) -> Any:
    in_toml = place.word == "key"
    wanted = {
        "text": "text in quotes" if in_toml else "text",
        "date": f"a date as {DATE_FORM}",
        "yes or no": "true or false" if in_toml else "yes or no (or left empty for no)",
        "number": "a number",
        "side": "left or right",
    }[KEYS[key]]
    raise TrialError(f"{place.at(key)} is {value!r}; it has to be {wanted}.")
