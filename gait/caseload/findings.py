"""Keeps the findings of a caseload: of each dog, and of each clip without one, made anew when its records changed."""

import hashlib
import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, Final, NamedTuple

from sqlalchemy import delete, insert, select

from gait.caseload.corrected import machine_record, record_page, with_overrulings
from gait.caseload.morning import (
    DEFAULTS,
    Finding,
    MorningSettings,
    Read,
    Unread,
    alike,
    clip_findings,
    unread_finding,
    visit_findings,
)
from gait.caseload.overruling import catch_up
from gait.caseload.queue import ASIDE, FAILED
from gait.caseload.store import Store
from gait.caseload.tables import Clip, Dog, FindingRow, Note, RecordRow, TaskRow, TrialRow, Unusable, Visit, folded
from gait.command.edge import NOTHING_TO_SAY
from gait.compare.compare import compare_records
from gait.errors import GaitError, OverrulingError
from gait.nouns import GaitRecord
from gait.report.comparison.page import write_comparison_page
from gait.versions import versions

#: Folder of the pages of dogs, within the home of a caseload.
PAGES: Final = "morning"
#: Ends the name of the page that holds a dog's visits side by side.
VISITS: Final = "-visits"
FILES: Final = "findings:files"
OF_DOG: Final = "findings:dog:"
OF_CLIP: Final = "findings:clip:"

Progress = Callable[[int, int], None]


class _Clip(NamedTuple):
    """What the store says of one clip: number and folder of its newest record, its task if that ended badly."""

    id: int
    name: str
    date: str
    record_id: int | None
    folder: str
    sha256: str
    overruled_key: str
    task: tuple[int, str, str, int | None] | None


@dataclass(frozen=True, slots=True)
class _Subject:
    """A dog, or a clip that belongs to none."""

    note: str
    dog_id: int | None
    clips: list[_Clip] = field(default_factory=list)


def update_findings(
    store: Store, settings: MorningSettings = DEFAULTS, progress: Progress = lambda done, total: None
) -> int:
    """Bring the findings of every dog and clip up to date whose records or failures are new, or of which a person said
    something; returns how many were."""
    catch_up(store)
    known = _known(store)
    subjects = _subjects(store)
    how = json.dumps([asdict(settings), versions()["pawfall"]])
    wanted = {subject.note: _digest(how, [subject.dog_id, subject.clips]) for subject in subjects}
    stale = [subject for subject in subjects if known.get(subject.note) != wanted[subject.note]]
    for done, subject in enumerate(stale, 1):
        found = _found(store, subject, settings)
        _put(store, subject, wanted[subject.note], found)
        progress(done, len(stale))
    _put_files(store, known.get(FILES))
    _tidy(store, known.keys() - wanted.keys() - {FILES})
    return len(stale)


def _known(store: Store) -> dict[str, str]:
    """Note of each subject -> what its findings were made from; "" when a page that they lead to is gone."""
    with store.reading() as connection:
        rows = connection.execute(select(Note.name, Note.value).where(Note.name.startswith("findings:"))).all()
    return {name: str(value["made_from"]) if _there(store, value.get("page")) else "" for name, value in rows}


def _there(store: Store, page: str | None) -> bool:
    return not page or (store.home / page).is_file()


def _digest(how: str, of: list[Any]) -> str:
    return hashlib.sha256(f"{how}{json.dumps(of)}".encode()).hexdigest()


def _subjects(store: Store) -> list[_Subject]:
    tasks = (
        select(TaskRow.clip_id, TaskRow.id, TaskRow.state, TaskRow.error, TaskRow.exit_code)
        .join(Clip, (Clip.id == TaskRow.clip_id) & (Clip.wanted == TaskRow.key))
        .where(TaskRow.state.in_((FAILED, ASIDE)))
    )
    clips = (
        select(
            Clip.id, Clip.name, Visit.dog_id, Visit.date, RecordRow.id, RecordRow.folder, Clip.sha256,
            RecordRow.overruled_key,
        )
        .outerjoin(TrialRow, TrialRow.clip_id == Clip.id)
        .outerjoin(Visit, Visit.id == TrialRow.visit_id)
        .outerjoin(RecordRow, (RecordRow.clip_id == Clip.id) & RecordRow.current)
        .order_by(Clip.id)
    )
    with store.reading() as connection:
        failed = {row[0]: (row[1], row[2], row[3], row[4]) for row in connection.execute(tasks)}
        rows = connection.execute(clips).all()
    found: dict[str, _Subject] = {}
    for clip_id, name, dog_id, date, record_id, folder, sha256, key in rows:
        note = f"{OF_CLIP}{clip_id}" if dog_id is None else f"{OF_DOG}{dog_id}"
        subject = found.setdefault(note, _Subject(note, dog_id))
        words = date or "", record_id, folder or "", sha256, key or ""
        subject.clips.append(_Clip(clip_id, name, *words, failed.get(clip_id)))
    return list(found.values())


def dog_page(dog_id: int, more: str = "") -> str:
    """Where the page of a dog lies, as seen from the home of the caseload."""
    return f"{PAGES}/dog-{dog_id}{more}.html"


def _found(store: Store, subject: _Subject, settings: MorningSettings) -> list[Finding]:
    """The findings of one subject; the page of a dog's visits is written where they say that something changed."""
    page = dog_page(subject.dog_id) if subject.dog_id is not None else ""
    found = [unread_finding(_unread(clip, page)) for clip in subject.clips if clip.task]
    reads = []
    for clip in (clip for clip in subject.clips if clip.record_id is not None and not clip.task):
        try:
            read = _read(store, clip)
        except OverrulingError as error:
            found.append(unread_finding(Unread(clip.name, str(error), False, clip.id, clip.date, page)))
            continue
        found += clip_findings(read, settings) if read else [unread_finding(_gone(clip, page))]
        reads += [read] if read else []
    if subject.dog_id is not None:
        visits = dog_page(subject.dog_id, VISITS)
        changed = visit_findings(reads, settings)
        (store.home / visits).unlink(missing_ok=True)
        drawn = changed and write_visits([read.record for read in reads], store.home / visits, settings)
        found += [replace(finding, page=visits if drawn else page) for finding in changed]
    return found


def _unread(clip: _Clip, page: str) -> Unread:
    _, state, error, code = clip.task or (0, "", "", None)
    reason = f"set aside, since it ended its worker twice: {error}" if state == ASIDE else error
    return Unread(clip.name, reason, code == NOTHING_TO_SAY, clip.id, clip.date, page)


def _gone(clip: _Clip, page: str) -> Unread:
    reason = f"Its results in {clip.folder} are gone or damaged; take away what is left of them, then run again"
    return Unread(clip.name, reason, False, clip.id, clip.date, page)


def _read(store: Store, clip: _Clip) -> Read | None:
    """The record of a clip with what people said, made anew from its landmarks; None when they are gone or give none
    any more. Raises OverrulingError when nobody can tell what was said."""
    with store.reading() as connection:
        told = connection.execute(select(RecordRow.trial).where(RecordRow.id == clip.record_id)).scalar()
    try:
        record = machine_record(store.home, clip.folder, told)
    except GaitError:
        return None
    if record is None or clip.record_id is None:
        return None
    record = with_overrulings(store.home, clip.sha256, record)
    return Read(record, clip.id, clip.record_id, record_page(store.home, clip.sha256, clip.folder), clip.folder)


def write_visits(records: Sequence[GaitRecord], path: Path, settings: MorningSettings = DEFAULTS) -> bool:
    """Write the comparison of one dog's visits to ``path``: every condition and speed of the belt with two visits.

    False = they cannot be laid out on one page, and there is none; what was found is still told line by line.
    """
    groups = [days for days in alike([r for r in records if r.trial.date and r.trial.condition], settings)]
    chosen = [record for days in groups if len(days) > 1 for day in days for record in day.records]
    path.parent.mkdir(exist_ok=True)
    try:
        compared = compare_records(chosen, settings.compare)
        visits = tuple(contrast for contrast in compared.contrasts if contrast.kind == "visit")
        write_comparison_page(replace(compared, contrasts=visits), path)
    except GaitError:
        return False
    return True


def _put(store: Store, subject: _Subject, digest: str, found: Iterable[Finding]) -> None:
    """Replace all findings of one subject, and note what they were made from, in one transaction."""
    clips = [clip.id for clip in subject.clips]
    with store.writing() as session:
        session.execute(delete(FindingRow).where(FindingRow.clip_id.in_(clips)))
        if subject.dog_id is not None:
            session.execute(delete(FindingRow).where(FindingRow.dog_id == subject.dog_id))
        rows = [asdict(finding) | {"dog_id": subject.dog_id} for finding in found]
        if rows:
            session.execute(insert(FindingRow), rows)
        drawn = next((row["page"] for row in rows if row["page"].endswith(f"{VISITS}.html")), "")
        session.merge(Note(name=subject.note, value={"made_from": digest, "page": drawn}))


def _put_files(store: Store, known: str | None) -> None:
    """The files that were not taken in at all."""
    with store.writing() as session:
        files = session.execute(select(Unusable.path, Unusable.reason).order_by(Unusable.path)).all()
        digest = _digest("", [list(row) for row in files])
        if digest == known:
            return
        no_clip = (FindingRow.dog_id.is_(None), FindingRow.clip_id.is_(None))
        session.execute(delete(FindingRow).where(*no_clip))
        found = [unread_finding(Unread(path, f"{Path(path).name}: {reason}", False)) for path, reason in files]
        if found:
            session.execute(insert(FindingRow), [asdict(finding) for finding in found])
        session.merge(Note(name=FILES, value={"made_from": digest}))


def _tidy(store: Store, notes: Iterable[str]) -> None:
    """Forget what was noted of dogs and clips that are no longer there."""
    gone = list(notes)
    if gone:
        with store.writing() as session:
            session.execute(delete(Note).where(Note.name.in_(gone)))
            dogs = [int(name.removeprefix(OF_DOG)) for name in gone if name.startswith(OF_DOG)]
            session.execute(delete(FindingRow).where(FindingRow.dog_id.in_(dogs)))


def dog_id_of(store: Store, name: str) -> int | None:
    """The number of the dog of that name, however its letters are capital; None when there is none."""
    with store.reading() as connection:
        found = connection.execute(select(Dog.id).where(Dog.folded == folded(name))).scalar()
    return None if found is None else int(found)
