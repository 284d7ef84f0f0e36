"""What a desk remembers for itself, in ``desk/settings.json``: units, a name, its secret, the hash of a password."""

import json
import os
import secrets
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any, Final

from gait.desk.errors import DeskError
from gait.report.units import IMPERIAL, METRIC
from gait.report.writing import write_whole

FOLDER: Final = "desk"
FILE: Final = "settings.json"
UNITS: Final = (METRIC, IMPERIAL)
#: Letters of a person's name that are kept.
LONGEST_NAME: Final = 60
#: GiB that the largest film may have, set by judgement: less holds no film worth reading, more no disk.
LEAST_GIB, MOST_GIB = 0.01, 1e6


@dataclass(frozen=True, slots=True)
class Kept:
    """Settings of one desk.

    units          "metric" or "imperial": how lengths and speeds are shown; kept and exported they are always metric
    by             name or initials of the person at the desk, "" = not said; stands beside what was overruled or marked
    secret         signs sessions and forms; made once
    password_hash  argon2, "" = no password
    most_film_gib  GiB of one film that is added; set by judgement, and a person may set another
    """

    units: str = METRIC
    by: str = ""
    secret: str = field(default_factory=lambda: secrets.token_urlsafe(32), repr=False)
    password_hash: str = field(default="", repr=False)
    most_film_gib: float = 8.0

    def __post_init__(self) -> None:
        if not LEAST_GIB <= self.most_film_gib <= MOST_GIB:
            limits = f"from {LEAST_GIB:g} to {MOST_GIB:.0f}"
            raise ValueError(f"most_film_gib is {self.most_film_gib}; it has to be a number {limits}")


def read_kept(home: Path) -> Kept:
    """The settings of the desk in ``home``; new ones, written at once, when there are none.

    Raises DeskError when the file cannot be read.
    """
    path = home / FOLDER / FILE
    if not path.is_file():
        return write_kept(home, Kept())
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        known = {item.name for item in fields(Kept)}
        return Kept(**{name: value for name, value in told.items() if name in known})
    except (ValueError, AttributeError, TypeError) as error:
        raise DeskError(f"{path} is damaged ({error}); take it away, and the desk begins a new one.") from error


def write_kept(home: Path, kept: Kept) -> Kept:
    """Write the settings, for the eyes of this user alone."""
    path = home / FOLDER / FILE
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, (json.dumps(asdict(kept), indent=1) + "\n").encode())
    os.chmod(path, 0o600)
    return kept


def changed(kept: Kept, **said: Any) -> Kept:
    """``kept`` with what a person said. Raises DeskError when that cannot be."""
    if said.get("units", "metric") not in UNITS:
        raise DeskError(f"Units can be {' or '.join(UNITS)}, not {said['units']!r}.")
    if "by" in said:
        said["by"] = " ".join(str(said["by"]).split())[:LONGEST_NAME]
    if "most_film_gib" in said:
        said["most_film_gib"] = _gib(said["most_film_gib"])
    return replace(kept, **said)


def _gib(said: Any) -> float:
    try:
        gib = float(str(said).replace(",", ".", 1))
    except ValueError:
        gib = 0.0
    if not LEAST_GIB <= gib <= MOST_GIB:
        raise DeskError(f"The largest film that is taken is {str(said)[:40]!r}; it has to be a number of GiB from "
                        f"{LEAST_GIB:g} to {MOST_GIB:.0f}, such as 8. Nothing was changed.")  # fmt: skip
    return gib
