"""Findings in the store, from clips that were taken in and read: made once, made anew when something changed."""

import json
import shutil
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from caseload_maker import ME, add_now, put_sheet
from click.testing import CliRunner, Result
from findings_maker import read_all
from sqlalchemy import delete, select
from test_caseload_lists import MANY, MOST_S, fill, quickest
from walker import trotting

from gait.caseload.belongings import belongings
from gait.caseload.findings import dog_id_of, dog_page, update_findings
from gait.caseload.forgetting import forget
from gait.caseload.keys import wanted_of
from gait.caseload.listing import clips
from gait.caseload.morning_pages import write_morning
from gait.caseload.planning import plan
from gait.caseload.queue import claim, died
from gait.caseload.short_list import Case, short_list, story_of
from gait.caseload.store import Store, open_store
from gait.caseload.tables import FindingRow, Note
from gait.cli import main
from pose.landmarks import CROUP
from pose.table import write_table

DAYS = ("2026-03-02", "2026-03-30")


def put_clips(folder: Path, dog: str, change_px: float, *, first: int = 0) -> list[str]:
    """Two clips on each of two days; on the second the croup stands ``change_px`` higher. Returns the sheet's rows."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = []
    for number in range(4):
        tracks, day = trotting(4.5), number // 2
        xy = tracks.xy_px.copy()
        xy[:, CROUP, 1] -= change_px * day + 0.3 * (number % 2) + (first + number) / 50
        name = f"{dog.lower()}-{number}.csv"
        write_table(replace(tracks, xy_px=xy), folder / name)
        rows.append(f"{name},{dog},{DAYS[day]},bare,no,1.8")
    return rows


def rows(store: Store) -> list[Any]:
    with store.reading() as connection:
        return list(connection.execute(select(FindingRow).order_by(FindingRow.id)).mappings())


def cases(store: Store, kind: str) -> list[Case]:
    return [case for case in short_list(store).cases if case.kind == kind]


def take_in(store: Store, folder: Path) -> None:
    """Two dogs, one of which changed, a clip that is too slow and a file that is empty; all read."""
    rows = [*put_clips(folder, "Tansy", 12.0), *put_clips(folder, "Brock", 0.0, first=1)]
    write_table(trotting(4.0, 15.0), folder / "slow.csv")
    (folder / "empty.mp4").touch()
    add_now(store, put_sheet(folder_of(folder.parent / "sheet"), *[f"../{folder.name}/{row}" for row in rows]))
    add_now(store, folder)
    read_all(store)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A caseload that was read and of which the findings were made."""
    root = tmp_path_factory.mktemp("read")
    with closing(open_store(root / "caseload")) as store:
        take_in(store, root / "clips")
        assert update_findings(store) == 3
    return root


@pytest.fixture
def read(home: Path, tmp_path: Path) -> Iterator[Store]:
    """A copy of it, the clips beside it."""
    shutil.copytree(home, tmp_path, dirs_exist_ok=True)
    with closing(open_store(tmp_path / "caseload")) as store:
        yield store


def folder_of(path: Path) -> Path:
    path.mkdir(parents=True, exist_ok=True)
    return path


def test_each_dog_and_each_clip_without_one_is_found_once(store: Store, tmp_path: Path) -> None:
    take_in(store, tmp_path / "clips")
    assert update_findings(store) == 3
    read = store
    assert {case.dog for case in cases(read, "changed")} == {"Tansy"}
    (again,) = cases(read, "film_again")
    assert again.clip == "slow.csv" and "15.0 frames per second" in again.words[0]
    (unusable,) = cases(read, "unreadable")
    assert "empty.mp4" in unusable.words[0] and unusable.page == ""
    kinds = [case.kind for case in short_list(read).cases]
    assert kinds == sorted(kinds, key=["gait_changed", "changed", "film_again", "unreadable", "maybe", "unsure"].index)


def test_findings_are_made_anew_only_where_something_changed(read: Store) -> None:
    before = rows(read)
    assert update_findings(read) == 0 and rows(read) == before
    (read.home / dog_page(dog_id_of(read, "tansy") or 0, "-visits")).unlink()
    assert update_findings(read) == 1
    assert without_numbers(rows(read)) == without_numbers(before)


def without_numbers(found: list[Any]) -> list[str]:
    return sorted(str({**row, "id": 0}) for row in found)


def test_a_page_lies_where_a_row_leads(read: Store) -> None:
    write_morning(read)
    pages = [page for case in short_list(read).cases for page in (case.page, case.dog_page) if page]
    assert len(pages) >= 2 and all((read.home / page).is_file() for page in pages)
    assert "Tansy" in (read.home / "morning.html").read_text(encoding="utf-8")


def test_a_dog_that_a_sheet_calls_otherwise_takes_its_findings_along(read: Store) -> None:
    names = [f"tansy-{n}.csv,Ember,{DAYS[n // 2]},bare,no,1.8" for n in range(4)]
    add_now(read, put_sheet(read.home.parent / "clips", *names, name="other.csv"))
    read_all(read)
    update_findings(read)
    assert {case.dog for case in cases(read, "changed")} == {"Ember"}
    assert len({row["dog_id"] for row in rows(read) if row["kind"] == "changed"}) == 1


def test_a_clip_that_ended_its_worker_twice_is_told_with_the_reason(file_store: Store, tmp_path: Path) -> None:
    store = file_store
    add_now(store, put_sheet(folder_of(tmp_path / "clips"), *put_clips(tmp_path / "clips", "Tansy", 0.0)))
    wanted = wanted_of()
    plan(store, wanted)
    task = claim(store, ME, wanted)
    assert task is not None
    died(store, task, ME, "it used more than 1 GiB")
    again = next(other for other in iter(lambda: claim(store, ME, wanted), None) if other.id == task.id)
    assert died(store, again, ME, "it used more than 1 GiB") == "aside"
    update_findings(store)
    (told,) = cases(store, "unreadable")
    assert told.words == ("set aside, since it ended its worker twice: it used more than 1 GiB.",)
    assert told.page == told.dog_page


def test_results_that_are_gone_are_told(read: Store) -> None:
    folder = next(line.folder for line in clips(read) if line.name == "brock-1.csv")
    shutil.rmtree(read.home / folder)
    with read.writing() as session:
        session.execute(delete(Note))
    update_findings(read)
    told = next(case for case in cases(read, "unreadable") if case.clip == "brock-1.csv")
    assert told.words[0].startswith(f"Its results in {folder} are gone or damaged")


def test_a_forgotten_dog_is_on_no_list_and_the_others_are(read: Store) -> None:
    write_morning(read)
    forget(read, belongings(read, "Tansy"))
    update_findings(read)
    page = write_morning(read)
    kept = [page, *(page.parent / "morning").glob("*")]
    assert not [path for path in kept if "ansy" in path.read_text(encoding="utf-8")]
    assert cases(read, "film_again") and not cases(read, "changed")


def test_notes_of_findings_hold_no_name(read: Store) -> None:
    with read.reading() as connection:
        told = json.dumps([list(row) for row in connection.execute(select(Note.name, Note.value))])
    assert "ansy" not in told and "rock" not in told


def test_the_story_of_a_dog_has_its_visits_measures_and_clips(read: Store) -> None:
    story = story_of(read, dog_id_of(read, "TANSY") or 0)
    assert story.name == "Tansy" and story.dates == DAYS and len(story.clips) == 4
    assert set(story.belt_m_s.values()) == {1.8}
    topline = next(course for course in story.courses if course.measure == "topline_deg")
    old, new = (mean for mean in topline.means if mean is not None)
    assert new - old == pytest.approx(np.degrees(np.arctan2(12.0, 200.0)), abs=0.3)
    assert not [course for course in story.courses if course.measure.endswith("_bl")]


def call(store: Store, *words: str) -> Result:
    return CliRunner().invoke(main, ["caseload", *words, "--home", str(store.home)])


def test_the_command_lists_and_shows(read: Store) -> None:
    found = call(read, "list", "--all")
    assert found.exit_code == 0, found.output
    for words in ("9 clips of 2 dogs: 8 read, 1 could not be read", "Dogs that move otherwise (1)", "Trot, bare, since "
                  "2026-03-02:", "empty.mp4", "slow.csv", "morning.html", "brock-3.csv"):  # fmt: skip
        assert words in found.output
    shown = call(read, "show", "tansy")
    assert shown.exit_code == 0 and "topline angle" in shown.output and "tansy-3.csv" in shown.output
    assert (read.home / dog_page(dog_id_of(read, "Tansy") or 0)).is_file()
    nobody = call(read, "show", "Pilot")
    assert nobody.exit_code == 2 and "no dog called 'Pilot'" in nobody.output


def test_a_folder_without_a_caseload_is_told(tmp_path: Path) -> None:
    told = CliRunner().invoke(main, ["caseload", "list", "--home", str(tmp_path / "none")])
    assert told.exit_code == 2 and "holds no caseload" in told.output


def test_a_list_of_ten_thousand_rows_is_quick(store: Store) -> None:
    fill(store, MANY)
    assert len(short_list(store).cases) == MANY
    assert quickest(lambda: short_list(store)) <= MOST_S
