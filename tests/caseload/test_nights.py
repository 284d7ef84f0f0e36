"""A run: every clip is read once or says why not, whatever its neighbours do and whatever fails meanwhile."""

import dataclasses
import shutil
import sqlite3
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
from night_maker import ENDED_OWNER, SETTINGS, check_whole, put_clips, run_of, states
from sqlalchemy import delete, update
from standin_reader import notes

from gait.caseload.errors import CaseloadError, StoreError
from gait.caseload.owners import owner_here
from gait.caseload.queue import counts, give_back, is_paused, pause, try_again
from gait.caseload.running import Began, Ended, Moved, News, Said, Tally
from gait.caseload.store import FILE, open_store
from gait.caseload.tables import Clip, RecordRow, TaskRow


def test_every_clip_is_read_or_says_why_not(tmp_path: Path) -> None:
    store = put_clips(tmp_path, ["take 0.1", "crash", "leave 3", "blunder", "hang", "take 0.1", "eat", "take 0.1"])
    heard: list[News] = []
    assert run_of(store, tell=heard.append).go() == Tally(read=3, failed=1, aside=4, deaths=8)
    found = {name: (task.state, task.tries, task.deaths) for name, task in states(store).items()}
    assert found == {
        "clip000": ("done", 1, 0), "clip001": ("aside", 2, 2), "clip002": ("aside", 2, 2), "clip003": ("failed", 1, 0),
        "clip004": ("aside", 2, 2), "clip005": ("done", 1, 0), "clip006": ("aside", 2, 2), "clip007": ("done", 1, 0),
    }  # fmt: skip
    words = {name: task.error for name, task in states(store).items()}
    assert "SIGSEGV" in words["clip001"] and "ZeroDivisionError" in words["clip003"]
    assert "stood still" in words["clip004"] and "700 MiB" in words["clip006"]
    check_whole(store)
    kinds = [type(one) for one in heard]
    assert (kinds.count(Began), kinds.count(Ended), Moved in kinds, Said in kinds) == (12, 12, True, False)


def test_clips_that_were_set_aside_can_be_tried_again(tmp_path: Path) -> None:
    store = put_clips(tmp_path, ["crash", "blunder", "take"])
    run_of(store, 1).go()
    assert run_of(store, 1).go() == Tally()
    assert try_again(store) == 2
    assert run_of(store, 1).go() == Tally(failed=1, aside=1, deaths=2)
    check_whole(store)


def test_a_full_disk_is_told_waited_out_and_harms_no_clip(tmp_path: Path) -> None:
    store = put_clips(tmp_path, ["take", "disk", "take"])
    (tmp_path / "disk-is-full").touch()
    heard: list[str] = []

    def tell(news: News) -> None:
        """Make room once it was told."""
        if isinstance(news, Said):
            heard.append(news.words)
            (tmp_path / "disk-is-full").unlink()

    assert run_of(store, 1, tell).go() == Tally(read=3)
    assert len(heard) == 1
    assert "No space left on device" in heard[0] and "Trying again" in heard[0]
    assert {task.tries for task in states(store).values()} == {1}
    check_whole(store)


def test_a_disk_that_stays_full_ends_the_run_and_the_next_one_goes_on(tmp_path: Path) -> None:
    store = put_clips(tmp_path, ["take", "disk", "take"])
    (tmp_path / "disk-is-full").touch()
    impatient = dataclasses.replace(SETTINGS, patience_s=0.5)
    with pytest.raises(CaseloadError, match="go on with: pawfall caseload run"):
        run_of(store, 1, settings=impatient).go()
    assert counts(store)["failed"] == counts(store)["running"] == 0
    (tmp_path / "disk-is-full").unlink()
    run_of(store, 1).go()
    assert counts(store)["done"] == 3
    check_whole(store)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 2 MiB."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(disk)]
    if shutil.which("mount") is None or subprocess.run(mount, check=False, capture_output=True).returncode:
        pytest.skip("a small disk can only be made by root, and not in every container")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


def test_a_disk_that_is_really_full_loses_nothing(small_disk: Path) -> None:
    store = put_clips(small_disk / "home", ["weigh 300000"] * 12)
    with pytest.raises((CaseloadError, StoreError), match="go on with: pawfall caseload run"):
        run_of(store, settings=dataclasses.replace(SETTINGS, patience_s=1)).go()
    store.close()
    subprocess.run(["mount", "-o", "remount,size=20m", str(small_disk)], check=True)
    store = open_store(small_disk / "home")
    before = counts(store)
    assert 0 < before["done"] < 12 and before["failed"] == before["aside"] == 0
    # tasks that could not be given back belong to this very process, which goes on; a next run would see that it ended
    give_back(store, owner_here())
    assert run_of(store).go().read == 12 - before["done"]
    check_whole(store)
    store.close()


def test_a_store_that_is_locked_for_a_while_is_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gait.caseload.store.BUSY_S", 0.1)
    store = put_clips(tmp_path, ["take 0.2"] * 4)
    heard: list[str] = []
    release = threading.Event()
    other = sqlite3.connect(tmp_path / FILE, isolation_level=None, check_same_thread=False)

    def tell(news: News) -> None:
        """Hold the store as soon as the first clip is handed over, and let go once that was told."""
        if isinstance(news, Began) and not release.is_set() and not heard:
            other.execute("BEGIN IMMEDIATE")
        if isinstance(news, Said):
            heard.append(news.words)
            other.execute("ROLLBACK")
            release.set()

    assert run_of(store, tell=tell).go() == Tally(read=4)
    assert heard and "is held by another program" in heard[0]
    other.close()
    check_whole(store)


def test_a_store_that_stays_locked_ends_the_run_and_the_next_one_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("gait.caseload.store.BUSY_S", 0.1)
    store = put_clips(tmp_path, ["take"] * 3)
    other = sqlite3.connect(tmp_path / FILE, isolation_level=None)

    def tell(news: News) -> None:
        """Hold the store for good."""
        if isinstance(news, Began):
            other.execute("BEGIN IMMEDIATE")

    impatient = dataclasses.replace(SETTINGS, patience_s=0.5)
    with pytest.raises(StoreError, match="is held by another program"):
        run_of(store, 1, tell, settings=impatient, owner=ENDED_OWNER).go()
    other.execute("ROLLBACK")
    other.close()
    assert counts(store)["running"] == 1
    assert run_of(store, 1).go() == Tally(read=3)
    check_whole(store)


def test_lost_connections_to_the_database_are_made_anew(tmp_path: Path, database: str) -> None:
    store = put_clips(tmp_path, ["take 0.05"] * 20, database)
    over = threading.Event()
    killed = threading.Thread(target=terminate_all, args=(database, over))

    def tell(news: News) -> None:
        """Begin to cut connections once clips are read."""
        if isinstance(news, Ended) and not killed.ident:
            killed.start()

    tally = run_of(store, tell=tell).go()
    over.set()
    killed.join()
    assert (tally.failed, tally.aside, tally.deaths) == (0, 0, 0)
    assert counts(store) == {"waiting": 0, "running": 0, "done": 20, "failed": 0, "aside": 0}
    check_whole(store)
    store.close()


def terminate_all(database: str, over: threading.Event) -> None:
    """Cut every connection but this one, again and again."""
    with psycopg.connect(database, autocommit=True) as connection:
        while not over.wait(0.05):
            connection.execute(
                "select pg_terminate_backend(pid) from pg_stat_activity "
                "where datname = current_database() and pid <> pg_backend_pid()"
            )


def test_a_paused_run_with_nothing_to_read_ends(tmp_path: Path) -> None:
    store = put_clips(tmp_path, ["take"])
    assert run_of(store).go() == Tally(read=1)
    pause(store)
    assert run_of(store).go() == Tally()


def test_pause_and_resume(tmp_path: Path) -> None:
    store = put_clips(tmp_path, ["take 0.1"] * 6)
    heard: list[News] = []

    def tell(news: News) -> None:
        """Pause after the second clip, and go on when that was heard of."""
        heard.append(news)
        if isinstance(news, Ended) and sum(isinstance(one, Ended) for one in heard) == 2:
            pause(store)
        if isinstance(news, Said) and "paused" in news.words:
            threading.Timer(0.8, lambda: pause(store, False)).start()

    assert run_of(store, 1, tell).go() == Tally(read=6)
    said = [at for at, one in enumerate(heard) if isinstance(one, Said)]
    assert [heard[at].words.split(";")[0] for at in said] == ["paused", "going on"]  # type: ignore[union-attr]
    assert not any(isinstance(one, Began) for one in heard[said[0] : said[1]])
    assert not is_paused(store)
    check_whole(store)


def test_a_run_that_is_stopped_gives_back_what_it_had_begun(tmp_path: Path) -> None:
    store = put_clips(tmp_path, ["take", "hang", "take 30", "take"])
    stop = threading.Event()

    def tell(news: News) -> None:
        """Stop as soon as both long ones are under way."""
        if isinstance(news, Began) and news.task.name == "clip002":
            stop.set()

    begun_s = time.monotonic()
    run_of(store, tell=tell, stop=stop).go()
    assert time.monotonic() - begun_s < 9
    found = {name: (task.state, task.tries, task.owner) for name, task in states(store).items()}
    assert found["clip001"] == found["clip002"] == ("waiting", 0, "")
    assert counts(store)["running"] == 0


def test_results_that_were_left_before_they_were_noted_are_taken_as_they_are(tmp_path: Path) -> None:
    store = put_clips(tmp_path, ["take"] * 2)
    run_of(store, 1).go()
    records = list((tmp_path / "clips").glob("*/*/record.json"))
    made = {path: path.stat().st_mtime_ns for path in records}
    task = states(store)["clip001"]
    with store.writing() as session:  # as if the run had ended before the record of one was written
        session.execute(delete(RecordRow).where(RecordRow.task_id == task.id))
        values = {"state": "running", "owner": ENDED_OWNER}
        session.execute(update(TaskRow).where(TaskRow.id == task.id).values(values))
    for path in records:  # and what a write that was cut off leaves
        (path.parents[1] / f".{path.parent.name}.partial-1").mkdir()
    assert run_of(store, 1).go() == Tally(read=1)
    assert {path: path.stat().st_mtime_ns for path in records} == made
    left = list((tmp_path / "clips").glob("*/.*"))
    assert len(left) == 1, "only beside the clip that was not touched"


def test_a_clip_that_is_forgotten_while_it_is_read_leaves_nothing(tmp_path: Path) -> None:
    store = put_clips(tmp_path, ["take 0.5", "take"])

    def tell(news: News) -> None:
        """Remove the clip once it is under way."""
        if isinstance(news, Began) and news.task.name == "clip000":
            with store.writing() as session:
                session.delete(session.get_one(Clip, news.task.clip_id))

    assert run_of(store, 1, tell).go() == Tally(read=1)
    assert sorted(what for what, *_ in notes(tmp_path)) == ["begun", "begun", "done", "done"]
    check_whole(store)


def test_two_runs_on_one_store_share_the_work(tmp_path: Path) -> None:
    store = put_clips(tmp_path, ["take 0.1"] * 12)
    runs = [run_of(store, 1, owner=f"here:{number}:0") for number in (1, 2)]
    threads = [threading.Thread(target=run.go) for run in runs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sum(run.tally.read for run in runs) == 12
    assert min(run.tally.read for run in runs) >= 2
    check_whole(store)
