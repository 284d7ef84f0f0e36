"""Taking clips in: by content, with sheets, once each, and only when they have finished copying."""

import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from caseload_maker import add_now, made, planned, put_films, put_sheet, read_all
from command_line import call, put_table

from gait.caseload import adding, listing
from gait.caseload.adding import STILL_COPIED, add
from gait.caseload.errors import CaseloadError
from gait.caseload.keys import wanted_of
from gait.caseload.planning import plan
from gait.caseload.store import Store
from gait.caseload.watching import watch

SOON_S = 20.0


def lines(store: Store) -> list[tuple[str, str, str, str]]:
    return [(line.name, line.dog, line.date, line.condition) for line in listing.clips(store)]


def test_a_folder_with_sheets_beside_its_clips(store: Store, tmp_path: Path) -> None:
    put_films(tmp_path / "in", ["a", "b"])
    (tmp_path / "in" / "a.toml").write_text('dog = "Tansy"\ndate = 2026-03-02\ncondition = "bare"\nbelt_kmh = 7.2\n')
    added = add_now(store, tmp_path / "in")
    assert (added.new, added.known, added.copies, added.faults) == (2, 0, (), ())
    assert lines(store) == [("b.mp4", "", "", ""), ("a.mp4", "Tansy", "2026-03-02", "bare")]


def test_adding_again_adds_nothing(store: Store, tmp_path: Path) -> None:
    put_films(tmp_path / "in", ["a", "b"])
    put_sheet(tmp_path / "in", "a.mp4,Tansy,2026-03-02,bare,yes,2")
    add_now(store, tmp_path / "in")
    again = add_now(store, tmp_path / "in")
    assert (again.new, again.known, again.changed, len(lines(store))) == (0, 2, 0, 2)


def test_a_file_that_did_not_change_is_not_read_again(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_films(tmp_path / "in", ["a", "b"])
    add_now(store, tmp_path / "in")
    monkeypatch.setattr(adding, "content_hash", lambda path: pytest.fail(f"{path} was read again"))
    assert add_now(store, tmp_path / "in").known == 2


def test_renamed_and_moved_clips_are_the_same(store: Store, tmp_path: Path) -> None:
    [film] = put_films(tmp_path / "in", ["a"])
    wanted = planned(store, tmp_path / "in")
    read_all(store, wanted)
    (tmp_path / "in" / "more").mkdir()
    film.rename(tmp_path / "in" / "more" / "otherwise.mp4")
    added = add_now(store, tmp_path / "in")
    assert (added.new, added.known, added.copies) == (0, 1, ())
    assert plan(store, wanted).new == 0  # the name reaches no number
    [line] = listing.clips(store)
    assert (line.name, line.path) == ("a.mp4", str(tmp_path / "in" / "more" / "otherwise.mp4"))


def test_copies_are_one_clip_and_are_listed(store: Store, tmp_path: Path) -> None:
    [film] = put_films(tmp_path / "in", ["a"])
    (tmp_path / "in" / "b.mp4").write_bytes(film.read_bytes())
    added = add_now(store, tmp_path / "in")
    pair = (tmp_path / "in" / "b.mp4", film)
    assert (added.new, added.copies, listing.copies(store)) == (1, (pair,), [pair])


def test_a_copy_of_which_a_sheet_says_something_else_is_told(store: Store, tmp_path: Path) -> None:
    [film] = put_films(tmp_path / "in", ["a"])
    (tmp_path / "in" / "b.mp4").write_bytes(film.read_bytes())
    put_sheet(tmp_path / "in", "a.mp4,Tansy,2026-03-02,bare,yes,2", "b.mp4,Brock,2026-03-02,bare,yes,2")
    for _ in range(2):  # the same each time, or the clip would be read again for ever
        added = add_now(store, tmp_path / "in")
        [fault] = added.faults
        assert (fault.path.name, "very same clip as a.mp4" in fault.reason) == ("b.mp4", True)
        assert [line[1] for line in lines(store)] == ["Tansy"]
    assert added.changed == 0


def test_a_file_with_new_content_is_a_new_clip_and_the_old_record_stays(store: Store, tmp_path: Path) -> None:
    [film] = put_films(tmp_path / "in", ["a"])
    wanted = planned(store, tmp_path / "in")
    read_all(store, wanted, made("good"))
    film.write_bytes(b"another film" * 30)
    assert add_now(store, tmp_path / "in").new == 1
    assert sorted((line.grade, line.path) for line in listing.clips(store)) == [("", str(film)), ("good", "")]


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("empty.mp4", b"", "it is empty"),
        ("camera.mts", b"film", "not read"),
        ("broken.toml", b"dog = ", "cannot be read"),
        ("broken.toml", b'dog = "Tansy"', "needs both a dog and a date"),
    ],
    ids=["an empty file", "a kind that is not read", "a broken sheet beside a clip", "a sheet without a date"],
)
def test_what_cannot_be_used_is_listed_and_the_rest_goes_on(
    store: Store, tmp_path: Path, name: str, content: bytes, words: str
) -> None:
    put_films(tmp_path / "in", ["broken", "good"])
    bad = tmp_path / "in" / name
    bad.write_bytes(content)
    added = add_now(store, tmp_path / "in")
    assert added.new == 2
    [(path, reason)] = listing.unusable(store)
    assert (path, words in reason) == (bad, True)
    bad.unlink()
    add_now(store, tmp_path / "in")
    assert listing.unusable(store) == []  # what was mended is listed no more


def test_a_file_that_may_not_be_read(file_store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    put_films(tmp_path / "in", ["a", "b"])
    true_hash = adding.content_hash

    def refuse(path: Path) -> str:
        """As a system does for a file of somebody else."""
        if path.name == "a.mp4":
            raise PermissionError(13, "Permission denied", str(path))
        return true_hash(path)

    monkeypatch.setattr(adding, "content_hash", refuse)
    added = add_now(file_store, tmp_path / "in")
    assert (added.new, [fault.reason for fault in added.faults]) == (1, ["it cannot be read: Permission denied"])


def test_a_folder_that_may_not_be_opened(file_store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    put_films(tmp_path / "in", ["a"])
    put_films(tmp_path / "in" / "closed", ["b"])
    true_look = Path.iterdir

    def refuse(folder: Path) -> Iterator[Path]:
        """As a system does for a folder of somebody else."""
        if folder.name == "closed":
            raise PermissionError(13, "Permission denied", str(folder))
        return true_look(folder)

    monkeypatch.setattr(Path, "iterdir", refuse)
    added = add_now(file_store, tmp_path / "in")
    assert (added.new, [fault.path.name for fault in added.faults]) == (1, ["closed"])


def test_a_link_to_nowhere_is_listed(file_store: Store, tmp_path: Path) -> None:
    put_films(tmp_path / "in", ["a"])
    (tmp_path / "in" / "b.mp4").symlink_to(tmp_path / "gone.mp4")
    added = add_now(file_store, tmp_path / "in")
    assert (added.new, [fault.path.name for fault in added.faults]) == (1, ["b.mp4"])


def test_a_copy_that_is_removed_is_listed_no_more(store: Store, tmp_path: Path) -> None:
    [film] = put_films(tmp_path / "in", ["a"])
    (tmp_path / "in" / "b.mp4").write_bytes(film.read_bytes())
    add_now(store, tmp_path / "in")
    assert add_now(store, tmp_path / "in").copies == ((tmp_path / "in" / "b.mp4", film),)
    film.unlink()
    assert add_now(store, tmp_path / "in").copies == ()
    assert listing.copies(store) == []
    assert [line.path for line in listing.clips(store)] == [str(tmp_path / "in" / "b.mp4")]


def test_a_sheet_with_bad_rows_attaches_the_good_ones(store: Store, tmp_path: Path) -> None:
    put_films(tmp_path / "in", ["a", "b"])
    put_sheet(
        tmp_path / "in",
        "a.mp4,Tansy,2026-03-02,bare,yes,2",
        "b.mp4,Tansy,2nd of March,bare,yes,2",
        "lost.mp4,Tansy,2026-03-02,bare,yes,2",
    )
    added = add_now(store, tmp_path / "in")
    [fault] = added.faults
    assert all(words in fault.reason for words in ("row 3, column date", "row 4, column clip"))
    assert lines(store) == [("b.mp4", "", "", ""), ("a.mp4", "Tansy", "2026-03-02", "bare")]


def test_a_sheet_may_be_given_instead_of_a_folder(store: Store, tmp_path: Path) -> None:
    put_films(tmp_path / "in", ["a", "b"])
    path = put_sheet(tmp_path, "in/a.mp4,Tansy,2026-03-02,bare,yes,2", name="list.csv")
    assert add_now(store, path).new == 1
    assert [line[0] for line in lines(store)] == ["a.mp4"]


def test_a_dog_keeps_its_first_spelling(store: Store, tmp_path: Path) -> None:
    put_films(tmp_path / "in", ["a", "b"])
    (tmp_path / "in" / "a.toml").write_text('dog = "Dog 01"\ndate = 2026-03-02\ncondition = "bare"')
    (tmp_path / "in" / "b.toml").write_text('dog = "dog  01"\ndate = 2026-03-09\ncondition = "bare"')
    add_now(store, tmp_path / "in")
    assert [(line.dog, line.visits, line.clips) for line in listing.dogs(store)] == [("Dog 01", 2, 2)]


def test_a_dog_that_a_mended_sheet_names_no_more_is_gone(store: Store, tmp_path: Path) -> None:
    put_films(tmp_path / "in", ["a", "b"])
    put_sheet(tmp_path / "in", "a.mp4,Tansy,2026-03-02,bare,yes,2", "b.mp4,Tanzy,2026-03-02,bare,yes,2")
    add_now(store, tmp_path / "in")
    put_sheet(tmp_path / "in", "a.mp4,Tansy,2026-03-02,bare,yes,2", "b.mp4,Tansy,2026-03-02,bare,yes,2")
    add_now(store, tmp_path / "in")
    assert [(line.dog, line.visits, line.clips) for line in listing.dogs(store)] == [("Tansy", 1, 2)]


def test_folders_of_pictures_and_tables_are_clips_and_results_are_not(store: Store, tmp_path: Path) -> None:
    put_table(tmp_path / "in", "dog.csv")
    (tmp_path / "in" / "walk").mkdir()
    for number in range(12):
        (tmp_path / "in" / "walk" / f"{number:03}.png").write_bytes(b"picture")
    put_films(store.home / "clips" / "0" / "1", ["film"])
    put_films(tmp_path / "in" / "read", ["film"])
    (tmp_path / "in" / "read" / "record.json").write_text("{}")
    add_now(store, tmp_path)
    kinds = {line.name: line.kind for line in listing.clips(store)}
    assert kinds == {"dog.csv": "table", "walk": "pictures"}


def test_a_file_that_is_still_being_written_waits(file_store: Store, tmp_path: Path) -> None:
    [whole, growing] = put_films(tmp_path / "in", ["whole", "growing"])
    os.utime(whole, (1, 1))
    stop = threading.Event()

    def write() -> None:
        """As a camera or a network copy does."""
        with growing.open("ab", buffering=0) as file:
            while not stop.is_set():
                file.write(b"more")
                time.sleep(0.02)

    writer = threading.Thread(target=write)
    writer.start()
    added = add(file_store, tmp_path / "in", settle_s=0.5)
    stop.set()
    writer.join()
    assert (added.new, [(fault.path, fault.reason) for fault in added.faults]) == (1, [(growing, STILL_COPIED)])
    assert add(file_store, tmp_path / "in", settle_s=0.5).new == 1
    assert listing.unusable(file_store) == []


def test_watching_takes_in_what_arrives(file_store: Store, tmp_path: Path) -> None:
    put_films(tmp_path / "in", ["a"])
    begun = time.monotonic()
    rounds = watch(
        file_store, tmp_path / "in", ended=lambda: time.monotonic() - begun > SOON_S, look_s=0.05, settle_s=0.2
    )
    assert next(rounds).new == 1
    put_films(tmp_path / "in", ["b"])
    put_sheet(tmp_path / "in", "b.mp4,Tansy,2026-03-02,bare,yes,2")
    assert next(rounds).new == 1
    put_sheet(tmp_path / "in", "b.mp4,Tansy,2026-03-02,boots,,2")
    assert next(rounds).changed == 1
    assert lines(file_store) == [("a.mp4", "", "", ""), ("b.mp4", "Tansy", "2026-03-02", "boots")]


def test_two_workstations_may_add_the_same_folder_at_once(store: Store, url: str | None, tmp_path: Path) -> None:
    from gait.caseload.store import open_store

    put_films(tmp_path / "in", [f"clip{n:02}" for n in range(20)])
    put_sheet(tmp_path / "in", *[f"clip{n:02}.mp4,Dog {n % 3},2026-03-02,bare,yes,2" for n in range(20)])
    errors: list[BaseException] = []

    def work() -> None:
        """Add everything."""
        own = open_store(store.home, url)
        try:
            add_now(own, tmp_path / "in")
        except BaseException as error:
            errors.append(error)
        own.close()

    threads = [threading.Thread(target=work) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    assert sorted(line[0] for line in lines(store)) == [f"clip{n:02}.mp4" for n in range(20)]
    assert len(listing.dogs(store)) == 3
    assert plan(store, wanted_of()).new == 20


@pytest.mark.parametrize("name", ["nowhere", "notes.txt"], ids=["nothing there", "no sheet"])
def test_what_is_no_folder_and_no_sheet(file_store: Store, tmp_path: Path, name: str) -> None:
    (tmp_path / "notes.txt").write_text("words")
    with pytest.raises(CaseloadError, match="no folder and no trial sheet"):
        add_now(file_store, tmp_path / name)


def test_the_command_says_what_came_of_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(adding, "SETTLE_S", 0.0)
    [film] = put_films(tmp_path / "in", ["a"])
    (tmp_path / "in" / "b.mp4").write_bytes(film.read_bytes())
    (tmp_path / "in" / "c.mp4").touch()
    for path in (tmp_path / "in").iterdir():
        os.utime(path, (1, 1))
    result = call("caseload", "add", tmp_path / "in", "--home", tmp_path / "caseload")
    assert result.exit_code == 2
    assert "clips: 1 new, 0 known already" in result.stdout
    assert f"copy: {tmp_path / 'in' / 'b.mp4'} is the same as {film}" in result.stdout
    assert "c.mp4: it is empty" in result.stderr


ADD = "import sys; from pathlib import Path; from gait.caseload.store import open_store; " \
      "from gait.caseload.adding import add; " \
      "add(open_store(Path(sys.argv[1]), sys.argv[2] or None), Path(sys.argv[3]), settle_s=0)"  # fmt: skip


@pytest.mark.slow
def test_what_was_killed_while_adding_is_ended_by_adding_again(store: Store, url: str | None, tmp_path: Path) -> None:
    count = 60
    put_films(tmp_path / "in", [f"clip{n:02}" for n in range(count)])
    put_sheet(tmp_path / "in", *[f"clip{n:02}.mp4,Dog {n % 3},2026-03-02,bare,yes,2" for n in range(count)])
    killed_at = []
    for some in (5, 20, 35):
        adding_now = subprocess.Popen([sys.executable, "-c", ADD, str(store.home), url or "", str(tmp_path / "in")])
        begun = time.monotonic()
        while len(listing.clips(store)) < some and time.monotonic() - begun < 60:
            time.sleep(0.005)
        adding_now.kill()
        adding_now.wait()
        killed_at.append(len(listing.clips(store)))
    assert killed_at[0] < count  # it was killed in the middle, at the first time at least
    add_now(store, tmp_path / "in")
    assert sorted(line[0] for line in lines(store)) == [f"clip{n:02}.mp4" for n in range(count)]
    assert [(line.dog, line.clips) for line in listing.dogs(store)] == [(f"Dog {n}", count // 3) for n in range(3)]


def test_a_folder_within_the_caseload_is_taken_in_when_it_is_named(store: Store, tmp_path: Path) -> None:
    put_films(store.home / "footage", ["a.mp4"])
    assert add(store, store.home.parent, settle_s=0).new == 0
    assert add(store, store.home / "footage", settle_s=0).new == 1
