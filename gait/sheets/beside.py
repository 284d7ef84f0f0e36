"""Writes the sheet of a single clip: the .toml that stands beside it."""

import datetime
import json
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from gait.report.writing import write_whole
from gait.sheets.keys import KEYS, Place, checked


def write_beside(clip: Path, found: Mapping[str, Any]) -> Path:
    """Write what is said of ``clip`` into the .toml of its name; values that are None are left out.

    found  values by the keys of a trial sheet, without ``clip``. Raises TrialError that names the key of a bad one.
    """
    path = clip.with_suffix(".toml")
    checked(found, Place(path.name))
    lines = [f"{key} = {_value(found[key])}" for key in KEYS if found.get(key) is not None]
    write_whole(path, ("\n".join(lines) + "\n").encode())
    return path


def _value(value: Any) -> str:
    """``value`` in TOML, whose strings, numbers and booleans are written as those of JSON, but for dates."""
    return value.isoformat() if isinstance(value, datetime.date) else json.dumps(value, ensure_ascii=False)


def lists_clips(path: Path) -> bool:
    """Whether the .toml at ``path`` is a sheet of several clips rather than of the one beside it."""
    try:
        return isinstance(tomllib.loads(path.read_text(encoding="utf-8-sig")).get("clip"), list)
    except (OSError, ValueError, RecursionError):
        return False
