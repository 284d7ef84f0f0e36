"""What people said against the reading of one content, in a file that only grows: one line of JSON for each step.

``overruled/<sha256>.jsonl`` in the home of a caseload. Every step is appended in one write and is on the disk when it
is confirmed, so that two workstations may write at once; a line that a crash cut off was never confirmed and counts
for nothing. Taking back and bringing back are steps too, and have no end.
"""

import errno
import json
import os
import secrets
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from gait.errors import OverrulingError
from gait.overruling import Overruling
from gait.placing import settle_one

#: Folder in the home of a caseload.
FOLDER: Final = "overruled"
OVERRULE, UNDO, REDO = "overrule", "undo", "redo"
#: How many folders above a folder of results the home of its caseload may lie: clips/<content>/<reading>.
DEPTH: Final = 3


@dataclass(frozen=True, slots=True)
class Said:
    """What was said of one content.

    in_force  what counts, in the order in which it was said first
    latest    the same in the order in which it came into force: the last is taken back first
    undone    what was taken back since the last new word: the last is brought back first
    """

    in_force: tuple[Overruling, ...] = ()
    latest: tuple[Overruling, ...] = ()
    undone: tuple[Overruling, ...] = ()


def path_of(home: Path, sha256: str) -> Path:
    """The file of a content."""
    return home / FOLDER / f"{sha256}.jsonl"


def page_of(home: Path, sha256: str) -> Path:
    """The report of a content with what people said, beside the machine's own, which stays where it is."""
    return home / FOLDER / sha256 / "report.html"


def now_words() -> str:
    """This moment, ISO 8601, UTC."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def new_id() -> str:
    """A number that no other overruling has."""
    return secrets.token_hex(8)


def overrule(home: Path, sha256: str, overruling: Overruling) -> None:
    """Add a word. Raises OSError when it cannot be kept."""
    _append(path_of(home, sha256), {"op": OVERRULE, **asdict(overruling)})


def undo(home: Path, sha256: str, by: str = "", only: str = "") -> Overruling:
    """Take back the last word that counts, or that of number ``only``. Raises OverrulingError when there is none."""
    said = read_said(home, sha256)
    return _step(home, sha256, UNDO, [one for one in said.latest if only in ("", one.id)], by)


def redo(home: Path, sha256: str, by: str = "") -> Overruling:
    """Bring back what was taken back last. Raises OverrulingError when nothing was, or something new was said since."""
    return _step(home, sha256, REDO, read_said(home, sha256).undone, by)


def _step(home: Path, sha256: str, op: str, of: Iterable[Overruling], by: str) -> Overruling:
    *_, one = (None, *of)
    if one is None:
        raise OverrulingError(f"There is nothing to {op}.")
    _append(path_of(home, sha256), {"op": op, "id": one.id, "by": by, "at": now_words()})
    return one


def read_said(home: Path, sha256: str) -> Said:
    """What was said of a content. Raises OverrulingError when a whole line of the file cannot be used."""
    path = path_of(home, sha256)
    known: dict[str, Overruling] = {}
    latest: list[str] = []
    undone: list[str] = []
    for number, told in _lines(path):
        try:
            _take(told, known, latest, undone)
        except (KeyError, TypeError, OverrulingError) as error:
            raise OverrulingError(f"{path}, line {number}, cannot be used: {error}. Is this pawfall older?") from error
    in_force = tuple(one for name, one in known.items() if name in latest)
    return Said(in_force, tuple(known[name] for name in latest), tuple(known[name] for name in undone))


def _take(told: dict[str, Any], known: dict[str, Overruling], latest: list[str], undone: list[str]) -> None:
    """One step. Two workstations may take back the same word: the second of these steps finds it done."""
    op, name = told["op"], told["id"]
    if op == OVERRULE and name not in known:
        known[name] = Overruling(**{key: value for key, value in told.items() if key != "op"})
        latest.append(name)
        undone.clear()
    elif op == UNDO and name in latest:
        latest.remove(name)
        undone.append(name)
    elif op == REDO and name in undone:
        undone.remove(name)
        latest.append(name)
    elif op not in (OVERRULE, UNDO, REDO):
        raise OverrulingError(f"{op!r} is no step")


def said_near(folders: Iterable[Path], sha256: str) -> tuple[Overruling, ...]:
    """What counts for a content in the first caseload that knows it: one of ``folders``, or one above them."""
    for folder in folders:
        at = folder.resolve()
        for home in (at, *at.parents[:DEPTH]):
            if path_of(home, sha256).is_file():
                return read_said(home, sha256).in_force
    return ()


def _lines(path: Path) -> Iterator[tuple[int, dict[str, Any]]]:
    data = path.read_bytes() if path.is_file() else b""
    for number, line in enumerate(data.splitlines(), 1):
        try:
            told = json.loads(line)
        except ValueError:  # cut off by a crash
            continue
        if isinstance(told, dict):
            yield number, told


def _append(path: Path, told: dict[str, Any]) -> None:
    new = not path.is_file()
    path.parent.mkdir(parents=True, exist_ok=True)
    line = (json.dumps(told, allow_nan=False) + "\n").encode()
    with path.open("a+b", buffering=0) as file:
        size = file.seek(0, os.SEEK_END)
        if size and _at(file, size - 1) != b"\n":
            line = b"\n" + line  # what a crash cut off stays a line of its own
        if file.write(line) != len(line):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))
        os.fsync(file.fileno())
    if new:
        settle_one(path.parent)


def _at(file: Any, place: int) -> bytes:
    file.seek(place)
    found: bytes = file.read(1)
    return found
