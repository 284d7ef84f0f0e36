"""Films between their upload and their reading: looked into, put into the footage of the home, described or removed."""

import os
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from threading import Lock
from typing import Any, Final

from sqlalchemy import select

from gait.caseload.adding import add_chosen, forgotten_hashes
from gait.caseload.listing import clip_of
from gait.caseload.tables import Clip, Place
from gait.desk.described import described
from gait.desk.errors import DeskError
from gait.desk.limited import Limits, run_limited
from gait.desk.names import clean_name, numbered
from gait.desk.parts import Part, data_of, drop, keep, keep_look, looked, part_of, parts, received
from gait.desk.room import Desk
from gait.hashing import content_hash
from gait.sheets.beside import write_beside

#: A film of hours is gone through once before anything is known of it.
OPENING: Final = Limits(time_s=300.0)
LOOKING: Final = Limits(time_s=120.0)

#: One film is put in place at a time, so that two never get one name.
_PLACING: Final = Lock()


def coming(desk: Desk) -> list[dict[str, Any]]:
    """Every film that is on its way, or here and not read yet, as the page knows it; the oldest first."""
    return [told_of(desk, part) for part in parts(desk) if not part.film or _settled(desk, part)]


def told_of(desk: Desk, part: Part) -> dict[str, Any]:
    """One upload as the page knows it."""
    told = {"id": part.id, "name": part.name, "film": part.film, "changed_ms": part.changed_ms}
    return told | {"length": part.length, "received": received(desk, part), "facts": part.facts}


def take_in(desk: Desk, upload_id: str) -> dict[str, Any]:
    """Put a whole upload into the footage, unless its content is here already ({"already": words}).

    Raises DeskError when it is not whole, or no film that can be read; what is no film is removed.
    """
    with _PLACING:
        part = part_of(desk, upload_id)
        if part.film and _settled(desk, part):
            return told_of(desk, part)
        data = data_of(desk, part.id)
        if received(desk, part) < part.length:
            raise DeskError("This upload is not whole yet.", 409)
        digest = content_hash(data)
        if here := _here_already(desk, digest):
            drop(desk, part)
            return {"already": here, "name": part.name}
        facts = _facts(desk, part) | {"sha256": digest, "removed_before": digest in forgotten_hashes(desk.store)}
        part = keep(desk, part, film=_free_name(desk, part.name), facts=facts)
        _settled(desk, part)
        return told_of(desk, part)


def preview_of(desk: Desk, upload_id: str, filmed_fps: float | None, facing: str | None) -> dict[str, Any]:
    """A look into the film (gait.preview), in a process of its own. Raises DeskError when it cannot be had."""
    part = part_of(desk, upload_id)
    asked = {
        "path": str(film_of(desk, part)),
        "network": str(desk.wanted.network),
        "precision": desk.wanted.precision,
        "filmed_fps": filmed_fps,
        "facing": facing,
    }
    kept = looked(desk, part, asked)
    return kept or keep_look(desk, part, asked, run_limited("gait.preview:preview_json", asked, LOOKING))


def film_of(desk: Desk, part: Part) -> Path:
    """Where the film of an upload lies. Raises DeskError when it is not whole, or was taken away."""
    if not part.film:
        raise DeskError("This upload is not whole yet.", 409)
    if not _settled(desk, part):
        raise DeskError(f"{part.film} is not here any more; choose the film again.", 404)
    return desk.footage / part.film


def remove(desk: Desk, upload_id: str) -> None:
    """Remove a film that was not read yet, or what has come of it, with what was said of it. Raises DeskError."""
    with _PLACING:
        part = part_of(desk, upload_id)
        if part.film:
            path = desk.footage / part.film
            path.unlink(missing_ok=True)
            path.with_suffix(".toml").unlink(missing_ok=True)
        drop(desk, part)
    what = "film removed before it was read" if part.film else "upload given up"
    desk.audit(what, bytes=part.length, sha256=str(part.facts.get("sha256", ""))[:16])


def read_these(desk: Desk, rows: Any) -> dict[str, Any]:
    """Write what was said of each film beside it, add them to the caseload, and have them read.

    rows  list of {"id": of the upload, ...entries of the page...}

    Gives {"added": films, "faults": [{"id", "words"}]}; with a fault in what was said nothing is done.
    """
    films = _films_of(desk, rows)
    said, faults = described(films)
    if faults:
        return {"added": 0, "faults": faults}
    for upload, found in said.items():
        write_beside(films[upload][0], found)
    added = add_chosen(desk.store, [path for path, _ in films.values()])
    wrong = {fault.path.with_suffix(""): fault.reason for fault in added.faults}
    for upload, (path, _) in films.items():
        if reason := wrong.get(path.resolve().with_suffix("")):
            faults.append({"id": upload, "words": f"{path.name}: {reason}"})
        else:
            drop(desk, part_of(desk, upload))
    desk.night.plan()
    return {"added": len(films) - len(faults), "faults": faults}


def _films_of(desk: Desk, rows: Any) -> dict[str, tuple[Path, Mapping[str, Any]]]:
    """Upload -> where its film lies, and what is said of it. Raises DeskError when that is no list of such."""
    if not isinstance(rows, list) or not all(isinstance(row, dict) and isinstance(row.get("id"), str) for row in rows):
        raise DeskError("What was said of the films cannot be understood; load the page again.")
    if not rows:
        raise DeskError("There is no film to read. Add one first.")
    return {row["id"]: (film_of(desk, part_of(desk, row["id"])), row) for row in rows}


def _settled(desk: Desk, part: Part) -> bool:
    """Whether the film lies in the footage; one whose move was cut off is moved now."""
    data, film = data_of(desk, part.id), desk.footage / part.film
    if data.is_file() and not film.exists():
        desk.footage.mkdir(parents=True, exist_ok=True)
        with suppress(FileNotFoundError):  # another hand has just done it
            os.replace(data, film)
    return film.is_file()


def _free_name(desk: Desk, said: str) -> str:
    """A clean name that no other film in the footage has."""
    names = [*(item.name for item in desk.footage.glob("*")), *(part.film for part in parts(desk) if part.film)]
    return next(numbered(clean_name(said), {Path(name).stem.casefold() for name in names}))


def _facts(desk: Desk, part: Part) -> dict[str, Any]:
    """What the file says of itself. Raises DeskError when it is no film; then it is removed."""
    data = data_of(desk, part.id)
    try:
        return run_limited("pose.facts:facts_json", {"path": str(data)}, OPENING)
    except DeskError as error:
        if error.status < 500:  # not a fault of ours, and no lack of room
            drop(desk, part)
        raise DeskError(str(error).replace(data.name, part.name), error.status) from error


def _here_already(desk: Desk, digest: str) -> str:
    """Words about the film with this content that is here already; "" = there is none."""
    for part in parts(desk):
        if part.film and part.facts.get("sha256") == digest and _settled(desk, part):
            return f"This film is here already, as {part.film}; it waits to be described."
    with desk.store.reading() as connection:
        found = select(Clip.id, Clip.name, Place.path).join(Place).where(Clip.sha256 == digest)
        row = next((row for row in connection.execute(found) if os.path.exists(row.path)), None)
    if row is None:
        return ""
    line = clip_of(desk.store, row.id)
    told = ", ".join(filter(None, (line.dog, line.date, line.condition))) if line else ""
    return f"This film is here already, as {row.name}{f' ({told})' if told else ''}; it is not read twice."
