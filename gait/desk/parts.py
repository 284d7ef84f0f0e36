"""Uploads on the disk: what has come of a film so far, and what is known of it, in ``desk/uploads`` of the home."""

import json
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any, Final

from gait.desk.errors import DeskError
from gait.desk.room import Desk
from gait.report.writing import write_whole

FOLDER: Final = "uploads"
ID: Final = re.compile(r"[0-9a-f]{32}")
GIB: Final = 2**30
#: Ending of what the last look at a film showed.
LOOK: Final = ".look"


@dataclass(frozen=True, slots=True)
class UploadSettings:
    """What may come. Set by judgement.

    most_bytes     bytes of one film; a desk has its own limit (gait.desk.kept)
    reserve_bytes  bytes that stay free on the disk: records, and the store, need room as well
    keep_s         s after which an upload that nobody went on with is swept away
    idle_s         s without a byte after which a connection is given up, so that another one may go on
    block_bytes    bytes that are held in memory at most before they are written
    """

    most_bytes: int = 8 * GIB
    reserve_bytes: int = GIB
    keep_s: float = 7 * 24 * 3600.0
    idle_s: float = 30.0
    block_bytes: int = 2**20


def settings_of(desk: Desk, settings: UploadSettings = UploadSettings()) -> UploadSettings:
    """``settings`` with what the desk remembers of them."""
    return replace(settings, most_bytes=int(desk.kept.most_film_gib * GIB))


@dataclass(frozen=True, slots=True)
class Part:
    """One upload. What has come of it is the size of its file.

    id       32 random hexadecimal digits; the only word of it that ever becomes part of a path
    name     of the file as the browser said it; never a path
    length   bytes of the whole film
    changed_ms  ms since 1970, when the film was last changed as the browser said it; 0 = not said
    begun_s  s since 1970
    film     name under which the whole film lies in the footage, "" = not yet
    facts    what was found in it (pose.facts) and how it may be told
    """

    id: str
    name: str
    length: int
    begun_s: float
    changed_ms: int = 0
    film: str = ""
    facts: dict[str, Any] = field(default_factory=dict)


def begin(desk: Desk, name: str, length: int, changed_ms: int, settings: UploadSettings) -> Part:
    """A new upload. Raises DeskError when the film is too large or the disk has no room for it."""
    if length > settings.most_bytes:
        raise DeskError(f"This film is too large: {_gib(length)}; at most {_gib(settings.most_bytes)} are taken.", 413)
    folder = desk.folder / FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    owed = sum(part.length - received(desk, part) for part in parts(desk) if not part.film)
    free = shutil.disk_usage(folder).free - owed - settings.reserve_bytes
    if length > free:
        words = f"it has {_gib(length)}, and {_gib(max(free, 0))} are free beside other films that are coming"
        raise DeskError(f"The disk has no room for this film: {words} and a reserve. Make room, then try again.", 507)
    part = Part(secrets.token_hex(16), name, length, time.time(), changed_ms)
    data_of(desk, part.id).touch(exist_ok=False)
    return keep(desk, part)


def keep(desk: Desk, part: Part, **changes: Any) -> Part:
    """Write down ``part`` with ``changes``."""
    part = replace(part, **changes)
    write_whole(_words_of(desk, part.id), json.dumps(asdict(part)).encode())
    return part


def part_of(desk: Desk, upload_id: str) -> Part:
    """The upload of that id. Raises DeskError (404) when there is none."""
    part = _read(_words_of(desk, upload_id)) if ID.fullmatch(upload_id) else None
    if part is None:
        raise DeskError("There is no such upload here; it may have been removed. Choose the film again.", 404)
    return part


def parts(desk: Desk) -> list[Part]:
    """All uploads, the oldest first; what cannot be read is none."""
    found = [part for path in (desk.folder / FOLDER).glob("*.json") if (part := _read(path))]
    return sorted(found, key=lambda part: (part.begun_s, part.id))


def data_of(desk: Desk, upload_id: str) -> Path:
    """Where the bytes of an upload lie. Raises DeskError (404) when it is no id at all."""
    if not ID.fullmatch(upload_id):
        raise DeskError("There is no such upload here.", 404)
    return desk.folder / FOLDER / f"{upload_id}.part"


def received(desk: Desk, part: Part) -> int:
    """Bytes that are here of an upload."""
    if part.film:
        return part.length
    try:
        return data_of(desk, part.id).stat().st_size
    except FileNotFoundError:
        return 0


def drop(desk: Desk, part: Part) -> None:
    """Remove an upload with what has come of it; a film that lies in the footage stays there."""
    for ending in (".part", LOOK, ".json"):
        data_of(desk, part.id).with_suffix(ending).unlink(missing_ok=True)


def looked(desk: Desk, part: Part, asked: dict[str, Any]) -> dict[str, Any] | None:
    """What came of the last look at the film, when the same was asked; None = nothing."""
    try:
        kept = json.loads(data_of(desk, part.id).with_suffix(LOOK).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return dict(kept["seen"]) if kept.get("asked") == asked else None


def keep_look(desk: Desk, part: Part, asked: dict[str, Any], seen: dict[str, Any]) -> dict[str, Any]:
    """Keep what came of a look at the film; gives it back."""
    text = json.dumps({"asked": asked, "seen": seen})
    write_whole(data_of(desk, part.id).with_suffix(LOOK), text.encode())
    return seen


def sweep(desk: Desk, settings: UploadSettings) -> int:
    """Remove uploads that nobody went on with, and files that belong to none; returns how many."""
    oldest = time.time() - settings.keep_s
    gone = list(_forsaken(desk, oldest))
    for path in gone:
        path.unlink(missing_ok=True)
        if path.suffix == ".part":
            path.with_suffix(".json").unlink(missing_ok=True)
    return len(gone)


def _forsaken(desk: Desk, oldest_s: float) -> Iterator[Path]:
    """Files that have not been touched since; a whole film that waits to be described is none."""
    for path in (desk.folder / FOLDER).glob("*"):
        part = _read(path.with_suffix(".json"))
        if part and part.film and (desk.footage / part.film).is_file():
            continue
        data = path.with_suffix(".part")
        with suppress(FileNotFoundError):
            if (data if data.exists() else path).stat().st_mtime < oldest_s:
                yield path


def _words_of(desk: Desk, upload_id: str) -> Path:
    return data_of(desk, upload_id).with_suffix(".json")


def _read(path: Path) -> Part | None:
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        known = {item.name for item in fields(Part)}
        return Part(**{name: value for name, value in told.items() if name in known})
    except (OSError, ValueError, TypeError, AttributeError):
        return None


def _gib(count: int) -> str:
    return f"{count / GIB:.2f} GiB" if count >= GIB / 100 else f"{count / 2**20:.1f} MiB"
