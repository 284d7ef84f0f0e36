"""Who removed or overruled what, and when: lines of ``desk/audit.jsonl``, a file that only grows."""

import json
import os
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from gait.desk.kept import FOLDER

FILE: Final = "audit.jsonl"


def write_audit(home: Path, what: str, by: str = "", **facts: Any) -> None:
    """Add a line; it is on the disk when this returns. ``facts`` are what JSON knows; no dog's name in a deletion."""
    line = json.dumps({"at": datetime.now(UTC).isoformat(timespec="seconds"), "what": what, "by": by, **facts})
    path = home / FOLDER / FILE
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a", encoding="utf-8") as file:
        file.write(line + "\n")
        file.flush()
        os.fsync(file.fileno())


def read_audit(home: Path, most: int = 200) -> list[dict[str, Any]]:
    """The last ``most`` lines, the newest first; a line that was cut off in the middle is left out."""
    path = home / FOLDER / FILE
    lines = path.read_text(encoding="utf-8").splitlines()[-most:] if path.is_file() else []
    found = []
    for line in reversed(lines):
        try:
            found.append(json.loads(line))
        except ValueError:
            continue
    return found
