"""A person's word in a caseload: rows, findings, tables and pages follow it, the reading keeps its own."""

import csv
import shutil
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from caseload_maker import ME, add_now, put_sheet
from command_line import call, put_table
from findings_maker import read_all
from sqlalchemy import create_engine, select, text
from sqlalchemy.engine import URL

from gait.caseload import migrating, overruling
from gait.caseload.corrected import machine_record
from gait.caseload.exporting import export
from gait.caseload.findings import update_findings
from gait.caseload.jobs import Job
from gait.caseload.keys import folder_of, wanted_of
from gait.caseload.listing import ClipLine, clips
from gait.caseload.making import made_of
from gait.caseload.overruling import apply_overrulings, catch_up, corrected_record
from gait.caseload.planning import plan
from gait.caseload.proving import look_for
from gait.caseload.queue import claim, finish
from gait.caseload.short_list import short_list, story_of
from gait.caseload.store import FILE, Store, open_store
from gait.caseload.tables import Dog, FindingRow, MeasureRow, RecordRow
from gait.caseload.work import read
from gait.nouns import GaitRecord
from gait.overruling import Overruling
from gait.overrulings_file import overrule, page_of, path_of, redo, undo
from pose.landmarks import NEAR_HIND

ROWS = (
    "a.csv,Tansy,2026-03-02,bare,yes,1.8", "b.csv,Tansy,2026-04-13,bare,yes,1.8", "c.csv,Brock,2026-04-13,bare,,1.8"
)  # fmt: skip
MADE = (RecordRow.gait, RecordRow.grade, RecordRow.strides_used, RecordRow.notices, RecordRow.checks)


@pytest.fixture(autouse=True)
def plain_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages take most of the time and have tests of their own."""
    write = lambda record, path, **more: path.write_text(f"{record.notices} {more.get('reading')}")  # noqa: E731
    monkeypatch.setattr("gait.caseload.corrected.write_page", write)
    monkeypatch.setattr("gait.reading.write_page", write)


@pytest.fixture
def full(file_store: Store, tmp_path: Path) -> Store:
    """Three clips of two dogs, read."""
    return fill(file_store, tmp_path)


def fill(store: Store, tmp_path: Path) -> Store:
    for number, row in enumerate(ROWS):
        put_table(tmp_path / "in", row.split(",")[0], seconds=5 + number)
    put_sheet(tmp_path / "in", *ROWS)
    add_now(store, tmp_path / "in")
    read_all(store)
    update_findings(store)
    return store


def line_of(store: Store, name: str = "a.csv") -> ClipLine:
    return next(line for line in clips(store) if line.name == name)


def reading_of(store: Store, line: ClipLine) -> GaitRecord:
    """The machine's record."""
    with store.reading() as connection:
        trial = connection.execute(select(RecordRow.trial).where(RecordRow.id == line.record_id)).scalar_one()
    found = machine_record(store.home, line.folder, trial)
    assert found is not None
    return found


def words_on(store: Store, line: ClipLine, count: int = 1, gait: str = "") -> list[Overruling]:
    """What a person says of the first used near hind strides."""
    s = reading_of(store, line).strides
    rows = np.flatnonzero(s.used & (s.paw == NEAR_HIND))[:count]
    return [Overruling(f"{gait}{row}", "near_hind", float(s.start_s[row]), float(s.end_s[row]), gait, "it slips", "Ada",
                       "2026-11-26T20:00:00+00:00") for row in rows]  # fmt: skip


def say(store: Store, line: ClipLine, *words: Overruling) -> None:
    for word in words:
        overrule(store.home, line.sha256, word)
    apply_overrulings(store, line.clip_id)


def rows_of(store: Store, record_id: int) -> list[Any]:
    """All that the store keeps of a record, but for the numbers of rows."""
    with store.reading() as connection:
        of_record = connection.execute(select(*MADE).where(RecordRow.id == record_id)).one()
        measures = select(MeasureRow.gait, MeasureRow.measure, MeasureRow.n, MeasureRow.mean, MeasureRow.sd)
        return [*of_record, *connection.execute(measures.where(MeasureRow.record_id == record_id))]


def files_in(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_rows_follow_and_go_all_the_way_back(store: Store, tmp_path: Path) -> None:
    """In either kind of store."""
    full = fill(store, tmp_path)
    line = line_of(full)
    before, files = rows_of(full, line.record_id), files_in(full.home / line.folder)
    say(full, line, *words_on(full, line, 2))
    now = line_of(full)
    assert (now.overruled, now.strides_used) == ("2 (2 left out)", line.strides_used - 2)
    assert rows_of(full, line.record_id) != before
    undo(full.home, line.sha256)
    undo(full.home, line.sha256)
    apply_overrulings(full, line.clip_id)
    assert rows_of(full, line.record_id) == before and line_of(full) == line
    redo(full.home, line.sha256)
    apply_overrulings(full, line.clip_id)
    assert line_of(full).overruled == "1 (1 left out)" and catch_up(full) == 1 and catch_up(full) == 0
    assert files_in(full.home / line.folder) == files  # the reading is never touched


def test_a_new_name_reaches_the_main_gait_the_trends_and_the_findings(full: Store) -> None:
    line = line_of(full, "b.csv")
    with full.reading() as connection:
        tansy = connection.execute(select(Dog.id).where(Dog.name == "Tansy")).scalar_one()
    assert {course.gait for course in story_of(full, tansy).courses} == {"trot"}
    say(full, line, *words_on(full, line, 99, "pace"))
    assert update_findings(full) == 1  # of this dog alone
    assert line_of(full, "b.csv").gait == "pace"
    assert {course.gait for course in story_of(full, tansy).courses} == {"trot", "pace"}
    assert "gait_changed" in [case.kind for case in short_list(full).cases]
    undo_all = words_on(full, line, 99, "pace")
    for _ in undo_all:
        undo(full.home, line.sha256)
    assert update_findings(full) == 1  # which looks by itself whether anybody said something
    assert line_of(full, "b.csv").gait == "trot"
    assert "gait_changed" not in [case.kind for case in short_list(full).cases]


def test_leaving_out_nearly_all_has_the_clip_filmed_again(full: Store) -> None:
    line = line_of(full)
    say(full, line, *words_on(full, line, 99))
    update_findings(full)
    with full.reading() as connection:
        found = connection.execute(select(FindingRow.kind, FindingRow.page).where(FindingRow.clip_id == line.clip_id))
        assert [tuple(row) for row in found] == [("film_again", page_of(Path(), line.sha256).as_posix())]
    assert line_of(full).grade == "film again"


def test_the_table_for_statistics_tells_how_many_and_how(full: Store, tmp_path: Path) -> None:
    line = line_of(full)
    overrule(full.home, line.sha256, words_on(full, line, 1)[0])
    overrule(full.home, line.sha256, words_on(full, line, 2, "pace")[1])
    export(full, tmp_path / "all.csv")  # rows that are behind are made first
    with (tmp_path / "all.csv").open() as file:
        told = {(row["clip"], row["overruled"]) for row in csv.DictReader(file)}
    assert told == {("a.csv", "2 (1 left out, 1 pace)"), ("b.csv", ""), ("c.csv", "")}


def test_the_corrected_page_lies_beside_the_reading(full: Store) -> None:
    line = line_of(full)
    page = page_of(full.home, line.sha256)
    say(full, line, *words_on(full, line))
    assert not page.exists()  # it is made behind
    assert catch_up(full) == 1 and catch_up(full) == 0
    assert "A person overruled 1 of" in page.read_text()
    assert (page.parent / page.read_text().split()[-1]).resolve() == full.home / line.folder / "report.html"
    assert line_of(full).report == page.relative_to(full.home).as_posix() and page.is_file()
    say(full, line, *words_on(full, line, 2)[1:])
    assert not page.exists()  # it would tell what was said before
    catch_up(full)
    assert "A person overruled 2 of" in page.read_text()
    undo(full.home, line.sha256)
    undo(full.home, line.sha256)
    catch_up(full)
    assert not page.exists() and line_of(full).report == f"{line.folder}/report.html"


def test_a_word_that_comes_in_while_the_rows_are_made_is_in_them(full: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    line = line_of(full)
    first, second = words_on(full, line, 2)
    made = overruling.made_of

    def slow(record: GaitRecord) -> Any:
        """Another workstation speaks meanwhile, once."""
        if len(record.overruled) == 1:
            overrule(full.home, line.sha256, second)
        return made(record)

    monkeypatch.setattr(overruling, "made_of", slow)
    say(full, line, first)
    assert line_of(full).overruled == "2 (2 left out)"


def test_reading_again_applies_what_was_said(full: Store, tmp_path: Path) -> None:
    """Another belt speed makes another record of the same content."""
    line = line_of(full)
    overrule(full.home, line.sha256, words_on(full, line)[0])
    put_sheet(tmp_path / "in", *(row.replace("1.8", "1.9") for row in ROWS))
    add_now(full, tmp_path / "in")
    wanted = wanted_of()
    plan(full, wanted)
    while (task := claim(full, ME, wanted)) is not None:
        folder = folder_of(task.sha256, task.key).as_posix()
        places = tuple(map(str, task.places))
        finish(full, task, read(Job(task.id, places, task.sha256, str(full.home), folder, asdict(task.trial))))
    now = line_of(full)
    assert now.record_id != line.record_id and now.overruled == "1 (1 left out)"
    assert page_of(full.home, line.sha256).is_file()
    assert catch_up(full) == 0
    record = corrected_record(full, line.clip_id)
    assert record is not None and record.trial.belt_m_s == 1.9 and record.overruled[0].matches
    assert "left_out" not in (full.home / now.folder / "strides.csv").read_text()


def test_results_that_are_gone_keep_what_was_said(full: Store) -> None:
    line = line_of(full)
    [word] = words_on(full, line)
    shutil.rmtree(full.home / line.folder)
    say(full, line, word)
    assert catch_up(full) == 0 and path_of(full.home, line.sha256).is_file()


def test_words_that_nobody_can_read_are_a_finding_and_stop_no_other(full: Store) -> None:
    line = line_of(full, "c.csv")
    path = path_of(full.home, line.sha256)
    path.parent.mkdir()
    path.write_text('{"op": "burn", "id": "a"}\n')
    with full.writing() as session:
        session.execute(text("update record set overruled_key = 'x' where id = :id"), {"id": line.record_id})
    update_findings(full)
    [case] = [case for case in short_list(full).cases if case.clip == "c.csv"]
    assert case.kind == "unreadable" and "line 1, cannot be used" in case.words[0]


def test_a_comparison_with_the_results_of_a_caseload_follows(full: Store, tmp_path: Path) -> None:
    line = line_of(full)
    say(full, line, *words_on(full, line, 1))
    result = call("compare", tmp_path / "in" / "sheet.csv", "--results", full.home, "-o", tmp_path / "out", "--no-film")
    assert result.exit_code == 0, result.output
    page = (tmp_path / "out" / "report.html").read_text()
    assert "a.csv (Tansy, bare, 2026-03-02): A person overruled 1 of" in page and "1 left out" in page
    told = (tmp_path / "out" / "comparison.json").read_text()
    assert told.count('"reason": "it slips"') == 1
    assert "left_out" not in (tmp_path / "out" / "clips" / "a" / "strides.csv").read_text()
    plain = call("compare", tmp_path / "in" / "sheet.csv", "-o", tmp_path / "plain", "--no-film")
    assert plain.exit_code == 0 and "overruled" not in (tmp_path / "plain" / "report.html").read_text()


def test_a_dog_that_is_forgotten_takes_its_words_along(full: Store, tmp_path: Path) -> None:
    line, other = line_of(full), line_of(full, "c.csv")
    for one in (line, other):
        say(full, one, *words_on(full, one))
    catch_up(full)
    kept = full.home / "looks" / f"{line.sha256}.mp4"
    kept.parent.mkdir()
    kept.write_bytes(b"a film made for looking")
    (tmp_path / "in" / "sheet.csv").unlink()  # it would still name the dog, and be told
    result = call("caseload", "forget", "Tansy", "--yes", "--home", full.home)
    assert result.exit_code == 0, result.output
    left = [path for path in full.home.rglob("*") if line.sha256[:16] in str(path)]
    assert left == [] and path_of(full.home, other.sha256).is_file() and page_of(full.home, other.sha256).is_file()


def test_proving_finds_words_that_were_left_behind(full: Store) -> None:
    line = line_of(full)
    overrule(full.home, line.sha256, words_on(full, line)[0])
    proof = look_for(full, "Nobody", {line.sha256: 1}, [full.home / "overruled"])
    [(place, what)] = [one for one in proof.left if not one[0].startswith("store")]
    assert place.endswith(f"{line.sha256}.jsonl") and "number" in what


def test_a_store_from_before_knows_of_nothing_overruled(tmp_path: Path) -> None:
    """Migration 0002 on a store with a record in it."""
    engine = create_engine(URL.create("sqlite", database=str(tmp_path / FILE)))
    with engine.begin() as connection:
        migrating.upgrade(connection, "0001")
        connection.execute(text("insert into clip (id, sha256, name, kind, bytes, added_at, wanted) "
                                "values (1, 'ab', 'a.csv', 'table', 1, 0, '')"))  # fmt: skip
        connection.execute(text("insert into task values (1, 1, 'k', 'r', 'done', 1, 0, '', null, null, null, '', 0)"))
        connection.execute(text("insert into record values (1, 1, 1, 'k', 1, '', '', '', 'clips/ab', 0, '', 'good', "
                                "'trot', 9, '[]', '[]', '{}')"))  # fmt: skip
    engine.dispose()
    store = open_store(tmp_path)
    [line] = clips(store)
    assert (line.name, line.grade, line.overruled) == ("a.csv", "good", "")
    with store.reading() as connection:
        assert connection.execute(select(RecordRow.overruled_key)).scalar_one() == ""
    store.close()


def test_what_is_made_of_a_record_without_words_says_so(full: Store) -> None:
    made = made_of(reading_of(full, line_of(full)))
    assert (made.overruled, made.overruled_key) == ("", "")
