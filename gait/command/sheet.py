"""Trial sheets: a TOML file that says what was filmed."""

import datetime
import difflib
import tomllib
import types
import typing
from dataclasses import fields
from pathlib import Path
from typing import Any

from gait.errors import TrialError
from gait.trial import KMH_PER_M_S, Trial

#: A sheet may give the belt speed in km/h instead of m/s.
KMH_KEY = "belt_kmh"


def read_sheet(path: Path) -> dict[str, Any]:
    """The fields of Trial that the sheet at ``path`` gives. Raises TrialError that names the key."""
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise TrialError(f"The trial sheet {path} cannot be read: {str(error).splitlines()[0]}") from error
    return _checked(found, path.name)


def belt_speed(m_s: float | None, kmh: float | None) -> float | None:
    """m/s from either unit; both at once, or a speed that is not above 0, is an error."""
    if m_s is not None and kmh is not None:
        raise TrialError("The belt speed came both in m/s and in km/h; give one of them.")
    speed = kmh / KMH_PER_M_S if kmh is not None else m_s
    if speed is not None and not 0 < speed < float("inf"):
        given = f"{kmh:g} km/h" if kmh is not None else f"{m_s:g} m/s"
        raise TrialError(f"The belt speed is {given}; give a speed above 0, or leave it out.")
    return speed


def _checked(found: dict[str, Any], sheet: str) -> dict[str, Any]:
    kinds = _kinds()
    given = {key: _value(key, value, kinds, sheet) for key, value in found.items()}
    speed = belt_speed(given.pop("belt_m_s", None), given.pop(KMH_KEY, None))
    return given if speed is None else given | {"belt_m_s": speed}


def _kinds() -> dict[str, tuple[type, ...]]:
    """Name of each key -> the Python types that its value may have."""
    hints = typing.get_type_hints(Trial)
    kinds = {item.name: _plain_types(hints[item.name]) for item in fields(Trial)}
    return kinds | {KMH_KEY: (float,)}


def _plain_types(hint: Any) -> tuple[type, ...]:
    if isinstance(hint, types.UnionType) or typing.get_origin(hint) is typing.Union:
        return tuple(kind for part in typing.get_args(hint) for kind in _plain_types(part))
    if typing.get_origin(hint) is typing.Literal:
        return (str,)
    return () if hint is type(None) else (hint,)


def _value(key: str, value: Any, kinds: dict[str, tuple[type, ...]], sheet: str) -> Any:
    if key not in kinds:
        near = difflib.get_close_matches(key, kinds, n=1, cutoff=0.0)[0]
        raise TrialError(f"{sheet}: unknown key {key!r}; did you mean {near}? Allowed: {', '.join(kinds)}.")
    wanted = kinds[key]
    if isinstance(value, datetime.date) and key == "date":
        return value.isoformat()
    if float in wanted and isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    if type(value) not in wanted:
        words = {str: "text in quotes", float: "a number", bool: "true or false"}
        raise TrialError(f"{sheet}: {key} is {value!r}; it has to be {words[wanted[0]]}.")
    return value
