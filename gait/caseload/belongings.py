"""Everything that belongs to one dog: rows of the store, folders of results, films and their copies, marked frames."""

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path
from typing import Any

from sqlalchemy import func, select

from gait.caseload.errors import CaseloadError
from gait.caseload.scanning import stamp_of
from gait.caseload.store import Store
from gait.caseload.tables import Clip, Dog, Place, RecordRow, TrialRow, Visit, folded
from gait.hashing import content_hash
from gait.sheets.finding import FILMS
from pose.table import ENDINGS as TABLES


@dataclass(frozen=True, slots=True)
class Belongings:
    """What belongs to a dog.

    sha256    of its clips' contents -> bytes of each
    records   rows of readings in the store
    results   folders of results, in the caseload and elsewhere, and what people said against them
    films     its clips wherever they lie, and the sheets and tables that stand beside them under their names
    frames    file of marked pictures (COCO keypoints) -> numbers of its pictures of this dog
    """

    dog_id: int
    dog: str
    sha256: Mapping[str, int]
    records: int
    results: tuple[Path, ...]
    films: tuple[Path, ...]
    frames: Mapping[Path, tuple[int, ...]] = field(default_factory=dict)


def belongings(store: Store, dog: str, also: Iterable[Path] = ()) -> Belongings:
    """What belongs to ``dog`` in the store, in the places where its clips lie, and below the folders ``also``.

    Raises CaseloadError when the caseload has no such dog.
    """
    dog_id, name = _dog(store, dog)
    hashes, places, records = _rows(store, dog_id)
    elsewhere = [folder.resolve() for folder in also]
    copies = chain.from_iterable(_copies(folder, hashes) for folder in elsewhere)
    films = dict.fromkeys(chain.from_iterable(map(_with_beside, chain(places, copies))))
    results = chain(kept_in(store.home, hashes), *(_results(at, name, hashes) for at in elsewhere))
    frames = {file: ids for folder in elsewhere for file, ids in _frames(folder, name, hashes)}
    return Belongings(dog_id, name, hashes, records, tuple(dict.fromkeys(results)), tuple(films), frames)


def kept_in(home: Path, sha256: Iterable[str]) -> tuple[Path, ...]:
    """Everything in the caseload that is named after one of these contents: results of readings, what people said
    against them, pages and films made for looking at them."""
    contents = set(sha256)
    own = (home / "clips" / digest[:16] for digest in contents)
    named = (path for path in home.rglob("*") if path.name[:64] in contents)
    return tuple(sorted({*(path for path in own if path.exists()), *named}))


def _dog(store: Store, dog: str) -> tuple[int, str]:
    with store.reading() as connection:
        row = connection.execute(select(Dog.id, Dog.name).where(Dog.folded == folded(dog))).first()
        if row is None:
            names = ", ".join(connection.scalars(select(Dog.name).order_by(Dog.name).limit(20))) or "none"
            raise CaseloadError(f"The caseload has no dog {dog!r}. It has: {names}.")
        return int(row[0]), str(row[1])


def _rows(store: Store, dog_id: int) -> tuple[dict[str, int], list[Path], int]:
    """Contents with their sizes, the places where they lie, and how many records they have."""
    own = select(TrialRow.clip_id).join(Visit).where(Visit.dog_id == dog_id)
    with store.reading() as connection:
        found = connection.execute(select(Clip.sha256, Clip.bytes).where(Clip.id.in_(own)))
        hashes = dict(found.all())
        paths = connection.scalars(select(Place.path).where(Place.clip_id.in_(own)).order_by(Place.id)).all()
        records = connection.scalar(select(func.count()).select_from(RecordRow).where(RecordRow.clip_id.in_(own)))
    return hashes, [Path(path) for path in paths], int(records or 0)


def _with_beside(clip: Path) -> Iterator[Path]:
    """A clip that is still there, and what stands beside it under its name: its sheet, tables of its landmarks."""
    if clip.exists():
        yield clip
    if clip.parent.is_dir():
        for item in clip.parent.iterdir():
            named = item.name.startswith(f"{clip.stem}.") and item.suffix.lower() in (".toml", ".json", *TABLES)
            if named and item != clip:
                yield item


def _copies(folder: Path, hashes: Mapping[str, int]) -> Iterator[Path]:
    """Files and folders of pictures below ``folder`` with one of these contents."""
    sizes = set(hashes.values())
    for item in sorted(folder.rglob("*")) if folder.is_dir() else ():
        if item.is_dir() or item.suffix.lower() in (*FILMS, *TABLES):
            if stamp_of(item).bytes in sizes and content_hash(item) in hashes:
                yield item


def _results(folder: Path, dog: str, hashes: Mapping[str, int]) -> Iterator[Path]:
    """Folders below ``folder`` with results of reading this dog."""
    for file in sorted(folder.rglob("record.json")) if folder.is_dir() else ():
        told = told_in(file)
        reading = told.get("settings", {}).get("reading", {})
        if reading.get("source_sha256") in hashes or folded(str(told.get("trial", {}).get("dog", ""))) == folded(dog):
            yield file.parent


def _frames(folder: Path, dog: str, hashes: Mapping[str, int]) -> Iterator[tuple[Path, tuple[int, ...]]]:
    """Files of marked pictures below ``folder``, each with the numbers of its pictures of this dog."""
    for file in sorted(folder.rglob("*.json")) if folder.is_dir() else ():
        images = told_in(file).get("images")
        entries = [entry for entry in images if isinstance(entry, dict)] if isinstance(images, list) else []
        own = [
            int(entry["id"])
            for entry in entries
            if entry.get("source_sha256") in hashes or folded(str(entry.get("dog", ""))) == folded(dog)
        ]
        if own:
            yield file, tuple(own)


def told_in(file: Path) -> dict[str, Any]:
    """What a JSON file says; nothing when it cannot be read."""
    try:
        told = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return told if isinstance(told, dict) else {}
