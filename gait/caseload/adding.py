"""Takes clips into the store: known by their content, with what a sheet says of them."""

import os
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from sqlalchemy import ColumnElement, delete, or_, select
from sqlalchemy.orm import Session

from gait.caseload.clock import now_s
from gait.caseload.errors import StoreError
from gait.caseload.known import Known, known_files, same_said
from gait.caseload.scanning import Fault, Found, Scan, Stamp, kind_of, scan, scan_clips, stamp_of, unreadable
from gait.caseload.store import Store
from gait.caseload.tables import Clip, Dog, Forgotten, Place, TrialRow, Unusable, Visit
from gait.caseload.trials import put_trial
from gait.hashing import content_hash
from gait.trial import Trial

#: s for which size and time of change must stay as they are before a file counts as copied; set by judgement: a copy
#: over a busy network may pause for a second or two
SETTLE_S: Final = 3.0
STILL_COPIED: Final = "it is still being written; it is taken in when that has ended, or by adding again"

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Added:
    """What came of adding a folder or a sheet.

    new, known   contents that were not in the store, and those that were
    changed      clips of which a sheet now says something else
    copies       (path, path of the same content that was there first)
    faults       files that cannot be used, and why; they are listed in the store
    forgotten    files that were left out because their dog was removed
    """

    new: int = 0
    known: int = 0
    changed: int = 0
    copies: tuple[tuple[Path, Path], ...] = ()
    faults: tuple[Fault, ...] = ()
    forgotten: int = 0


@dataclass(slots=True)
class _Tally:
    """What is being added up. said: clip -> the first place of this time that says something of it."""

    new: set[int] = field(default_factory=set)
    known: set[int] = field(default_factory=set)
    changed: set[int] = field(default_factory=set)
    copies: dict[Path, Path] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    said: dict[int, Found] = field(default_factory=dict)
    forgotten: int = 0


def add(
    store: Store,
    source: Path,
    *,
    settle_s: float = SETTLE_S,
    again: bool = False,
    progress: Progress | None = None,
) -> Added:
    """Take in all clips of the folder or the sheet ``source``. Doing it again adds what is new and nothing twice.

    settle_s  s; files that changed within them are looked at once more after that time, and left if they still change
    again     whether to take in what was forgotten

    Raises CaseloadError when there is no such folder or sheet, StoreError when the store cannot be written.
    """
    seen = scan(source, store.home)
    return _told(store, source.resolve(), _take(store, seen, settle_s, again, progress))


def add_chosen(store: Store, clips: Iterable[Path]) -> Added:
    """Take in single clips that a person has chosen and that are whole, each with the sheet beside it; what was
    forgotten as well.

    Raises StoreError when the store cannot be written.
    """
    return _told(store, None, _take(store, scan_clips(clips), 0.0, True, None))


def _take(store: Store, seen: Scan, settle_s: float, again: bool, progress: Progress | None) -> _Tally:
    settled, faults = settle([found.source for found in seen.clips], settle_s)
    tally = _Tally(faults=[*seen.faults, *faults])
    taken = [found for found in seen.clips if found.source in settled]
    files, left_out = known_files(store), set() if again else forgotten_hashes(store)
    for number, found in enumerate(taken):
        if progress:
            progress("adding", number, len(taken))
        known, stamp = files.get(str(found.source)), settled[found.source]
        if known is not None and known.holds(found, stamp):
            _add_known(found, known, tally)
        else:
            _add_one(store, found, stamp, known, left_out, tally)
    return tally


def _told(store: Store, source: Path | None, tally: _Tally) -> Added:
    """What came of it, with what cannot be used put into the store."""
    faults = tuple(_joined(tally.faults))
    _list_faults(store, source, faults)
    if tally.changed - tally.new:
        _leave_out_empty(store)
    copies = tuple(tally.copies.items())
    known = len(tally.known - tally.new)
    return Added(len(tally.new), known, len(tally.changed - tally.new), copies, faults, tally.forgotten)


def settle(sources: Iterable[Path], settle_s: float) -> tuple[dict[Path, Stamp], list[Fault]]:
    """Size and time of change of each source that has come to rest, and why the others cannot be taken in."""
    stamps, faults = _stamps(sources)
    newest = time.time_ns() - int(settle_s * 1e9)
    fresh = [source for source, stamp in stamps.items() if stamp.changed_ns > newest]
    if fresh and settle_s > 0:
        time.sleep(settle_s)
    later, lost = _stamps(fresh)
    growing = [source for source in fresh if later.get(source) != stamps[source]]
    faults += lost + [Fault(source, STILL_COPIED) for source in growing if source in later]
    return {source: stamp for source, stamp in stamps.items() if source not in growing}, faults


def _stamps(sources: Iterable[Path]) -> tuple[dict[Path, Stamp], list[Fault]]:
    stamps, faults = {}, []
    for source in sources:
        try:
            stamps[source] = stamp_of(source)
        except OSError as error:
            faults.append(unreadable(source, error))
    return stamps, faults


def forgotten_hashes(store: Store) -> set[str]:
    """SHA-256 of every content that was removed with its dog."""
    with store.reading() as connection:
        return {digest for what in connection.scalars(select(Forgotten.what)) for digest in what.get("sha256", ())}


def _add_known(found: Found, known: Known, tally: _Tally) -> None:
    """A file of which nothing has changed."""
    tally.known.add(known.clip_id)
    if found.trial is not None:
        tally.said.setdefault(known.clip_id, found)
    first = known.copy_of(found.source)
    if first is not None:
        tally.copies.setdefault(found.source, first)


def _add_one(
    store: Store, found: Found, stamp: Stamp, known: Known | None, left_out: set[str], tally: _Tally
) -> None:
    if stamp.bytes == 0:
        tally.faults.append(Fault(found.source, "it is empty; copy it again from the camera"))
        return
    try:
        digest = known.sha256 if known and known.stamp == stamp else content_hash(found.source)
        still = stamp_of(found.source)
    except OSError as error:
        tally.faults.append(unreadable(found.source, error))
        return
    if still != stamp:
        tally.faults.append(Fault(found.source, STILL_COPIED))
    elif digest in left_out:
        tally.forgotten += 1
    else:
        _put_or_again(store, found, stamp, digest, tally)


def _put_or_again(store: Store, found: Found, stamp: Stamp, digest: str, tally: _Tally) -> None:
    """Another workstation may take in the same content in the same moment; then it is known at the second try."""
    try:
        _put(store, found, stamp, digest, tally)
    except StoreError as error:
        if not error.conflict:
            raise
        _put(store, found, stamp, digest, tally)


def _put(store: Store, found: Found, stamp: Stamp, digest: str, tally: _Tally) -> None:
    with store.writing() as session:
        clip = session.scalar(select(Clip).where(Clip.sha256 == digest)) or _new_clip(session, found, stamp, digest)
        (tally.known if clip.added_at else tally.new).add(clip.id)
        if not clip.added_at:
            clip.added_at = now_s()
        _put_place(session, clip, found.source, stamp, tally)
        if found.trial is not None:
            _put_said(session, clip, found, found.trial, tally)


def _new_clip(session: Session, found: Found, stamp: Stamp, digest: str) -> Clip:
    """A clip that the store does not know; its time of adding is still 0."""
    source = found.source
    clip = Clip(sha256=digest, name=source.name, kind=kind_of(source), bytes=stamp.bytes, added_at=0.0)
    clip.trial = TrialRow(fps=found.fps)
    session.add(clip)
    session.flush()
    return clip


def _put_place(session: Session, clip: Clip, source: Path, stamp: Stamp, tally: _Tally) -> None:
    """Note where the clip lies; places where it lay before it was renamed are left out from now on."""
    here = session.scalar(select(Place).where(Place.path == str(source)))
    if here is None:
        here = Place(path=str(source), clip_id=clip.id, seen_at=0.0, bytes=0, changed_ns=0)
        session.add(here)
    if (here.clip_id, here.bytes, here.changed_ns) != (clip.id, stamp.bytes, stamp.changed_ns) or not here.seen_at:
        here.clip_id, here.bytes, here.changed_ns = clip.id, stamp.bytes, stamp.changed_ns
        here.seen_at = now_s()
    session.execute(delete(Unusable).where(Unusable.path == str(source)))
    session.flush()
    others = session.scalars(select(Place).where(Place.clip_id == clip.id, Place.id != here.id).order_by(Place.id))
    for other in others.all():
        if not os.path.lexists(other.path):
            session.delete(other)
        elif other.id < here.id:
            tally.copies.setdefault(source, Path(other.path))


def _put_said(session: Session, clip: Clip, found: Found, trial: Trial, tally: _Tally) -> None:
    first = tally.said.setdefault(clip.id, found)
    if first is found:
        if put_trial(session, clip.trial, trial, found.fps, found.sheet):
            clip.wanted = ""
            tally.changed.add(clip.id)
    elif not same_said(first, found):
        words = f"the very same clip as {first.source.name}, of which {Path(first.sheet).name} says something else; "
        tally.faults.append(Fault(found.source, f"{words}what it says of {first.source.name} is kept"))


def _leave_out_empty(store: Store) -> None:
    """Visits and dogs that a sheet named before it was mended."""
    with store.writing() as session:
        named = select(TrialRow.visit_id).where(TrialRow.visit_id.is_not(None))
        session.execute(delete(Visit).where(Visit.id.not_in(named)))
        session.execute(delete(Dog).where(Dog.id.not_in(select(Visit.dog_id))))


def _joined(faults: Iterable[Fault]) -> Iterable[Fault]:
    """One fault per file."""
    reasons: dict[Path, list[str]] = {}
    for fault in faults:
        reasons.setdefault(fault.path, []).append(fault.reason)
    return [Fault(path, " ".join(dict.fromkeys(told))) for path, told in reasons.items()]


def _list_faults(store: Store, source: Path | None, faults: Iterable[Fault]) -> None:
    """What is wrong at ``source`` (None = at these files alone) now takes the place of what was wrong there before."""
    with store.writing() as session:
        gone: list[ColumnElement[bool]] = [Unusable.path.in_([str(fault.path) for fault in faults])]
        if source is not None:
            gone += [Unusable.path.startswith(str(source) + os.sep, autoescape=True), Unusable.path == str(source)]
        session.execute(delete(Unusable).where(or_(*gone)))
        for fault in faults:
            session.add(Unusable(path=str(fault.path), reason=fault.reason, seen_at=now_s()))
