"""Removes a dog from a caseload: its files first, then its rows, so that what was begun can always be ended."""

import json
import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

from sqlalchemy import delete, select, text

from gait.caseload.belongings import Belongings, kept_in, told_in
from gait.caseload.clock import now_s
from gait.caseload.store import Store, told
from gait.caseload.tables import Base, Clip, Dog, Forgotten, TrialRow, Visit
from gait.tables import write_whole

#: Pages that are made of all dogs together; the next list makes them anew.
PAGES: Final = ("morning.html", "morning")


def forget(store: Store, own: Belongings, *, keep_films: bool = False) -> int:
    """Remove everything in ``own``; returns the number of the row that says so (hashes and counts, no name).

    keep_films  leave the clips and what stands beside them where they are

    Files are removed from their folders; the disk may hold their bytes until it needs the room. Raises OSError when a
    file cannot be removed and StoreError when the store cannot be written; then the dog is still in the store, and
    doing it again ends it.
    """
    frames = sum(_remove_frames(file, ids) for file, ids in own.frames.items())
    for path in (*own.results, *(() if keep_films else own.films), *(store.home / page for page in PAGES)):
        _remove(path)
    counts = {
        "clips": len(own.sha256),
        "records": own.records,
        "results": len(own.results),
        "films": 0 if keep_films else len(own.films),
        "frames": frames,
    }
    number = _remove_rows(store, own, counts)
    for path in kept_in(store.home, own.sha256):  # a worker may have been reading one of them
        _remove(path)
    _overwrite(store)
    return number


def _remove_rows(store: Store, own: Belongings, counts: dict[str, int]) -> int:
    with store.writing() as session:
        clips = select(TrialRow.clip_id).join(Visit).where(Visit.dog_id == own.dog_id)
        ids = session.scalars(clips).all()
        for start in range(0, len(ids), 500):
            session.execute(delete(Clip).where(Clip.id.in_(ids[start : start + 500])))
        session.execute(delete(Dog).where(Dog.id == own.dog_id))
        row = Forgotten(at=now_s(), what={**counts, "sha256": sorted(own.sha256)})
        session.add(row)
        session.flush()
        return row.id


def note_proof(store: Store, number: int, proof: dict[str, Any]) -> None:
    """Put what was looked through afterwards, and what was left, into the row that tells of the removal."""
    with store.writing() as session:
        row = session.get_one(Forgotten, number)
        row.what = {**row.what, "proof": proof}


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def _remove_frames(file: Path, ids: Iterable[int]) -> int:
    """Take pictures out of a file of marks, with their marks, the pictures themselves, and all edits of them."""
    gone, words = set(ids), told_in(file)
    for entry in (entry for entry in words["images"] if entry.get("id") in gone):
        name = str(entry.get("file_name", ""))
        if name and (file.parent / name).resolve().is_relative_to(file.parent.resolve()):
            _remove(file.parent / name)
    for log in file.parent.glob("edits-*.jsonl"):
        kept = [line for line in log.read_text(encoding="utf-8").splitlines(True) if _picture_of(line) not in gone]
        write_whole(log, lambda out, kept=kept: out.writelines(kept))  # type: ignore[misc]
    words["images"] = [entry for entry in words["images"] if entry.get("id") not in gone]
    words["annotations"] = [entry for entry in words.get("annotations", ()) if entry.get("image_id") not in gone]
    write_whole(file, lambda out: out.write(json.dumps(words, indent=1, allow_nan=False) + "\n"))
    return len(gone)


def _picture_of(line: str) -> Any:
    try:
        return json.loads(line).get("image_id")
    except (ValueError, AttributeError):
        return None


def _overwrite(store: Store) -> None:
    """Let nothing of removed rows stay in the files of the database."""
    with told(store), store.engine.connect() as connection:
        if store.is_file:
            raw = connection.connection.driver_connection
            assert raw is not None
            connection.rollback()
            raw.execute("VACUUM")
            raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        else:
            plain = connection.execution_options(isolation_level="AUTOCOMMIT")
            for table in Base.metadata.sorted_tables:
                plain.execute(text(f"VACUUM (FULL) {table.name}"))
