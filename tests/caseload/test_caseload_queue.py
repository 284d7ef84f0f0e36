"""The queue: nothing twice, nothing lost, whatever ends between two steps."""

import dataclasses
import shutil
import threading
from collections import Counter
from pathlib import Path

import pytest
from caseload_maker import ME, add_now, made, planned, put_films, put_sheet, read_all
from sqlalchemy import func, select, update

from gait.caseload import queue
from gait.caseload.clock import now_s
from gait.caseload.errors import CaseloadError
from gait.caseload.keys import RESULTS, wanted_of
from gait.caseload.listing import clips
from gait.caseload.owners import is_gone, owner_here
from gait.caseload.planning import plan, wait_where_gone
from gait.caseload.store import Store, open_store
from gait.caseload.tables import MeasureRow, RecordRow, TaskRow

OTHER = "elsewhere:2:2.00"


def states(store: Store) -> dict[str, int]:
    return {state: count for state, count in queue.counts(store).items() if count}


def rows(store: Store, table: type) -> int:
    with store.reading() as connection:
        return int(connection.scalar(select(func.count()).select_from(table)) or 0)


def test_a_task_goes_from_waiting_to_done(store: Store, tmp_path: Path) -> None:
    put_sheet(tmp_path, "a.mp4,Tansy,2026-03-02,bare,yes,2.0")
    wanted = planned(store, put_films(tmp_path, ["a"])[0].parent)
    task = queue.claim(store, ME, wanted)
    assert task is not None
    assert (task.name, task.trial.dog, task.trial.belt_m_s, task.tries) == ("a.mp4", "Tansy", 2.0, 1)
    assert task.places == (tmp_path / "a.mp4",)
    assert task.folder == Path("clips") / task.sha256[:16] / task.key[:12]
    assert (states(store), queue.claim(store, ME, wanted)) == ({"running": 1}, None)
    assert queue.finish(store, task, made())
    assert states(store) == {"done": 1}
    [line] = clips(store)
    assert (line.state, line.grade, line.gait, line.strides_used, line.stale) == ("done", "good", "trot", 12, False)
    assert rows(store, MeasureRow) == 2


def test_finishing_twice_keeps_one_record(store: Store, tmp_path: Path) -> None:
    wanted = planned(store, put_films(tmp_path, ["a"])[0].parent)
    task = queue.claim(store, ME, wanted)
    assert task is not None
    assert queue.finish(store, task, made()) and queue.finish(store, task, made())
    assert (rows(store, RecordRow), rows(store, MeasureRow)) == (1, 2)


def test_a_record_that_cannot_be_written_leaves_the_task_as_it_was(store: Store, tmp_path: Path) -> None:
    wanted = planned(store, put_films(tmp_path, ["a"])[0].parent)
    task = queue.claim(store, ME, wanted)
    assert task is not None
    twice = made(measures=made().measures[:1] * 2)  # one measure may stand once
    with pytest.raises(Exception, match="store"):
        queue.finish(store, task, twice)
    assert (states(store), rows(store, RecordRow)) == ({"running": 1}, 0)


def test_a_clip_that_ends_its_worker_twice_is_set_aside(store: Store, tmp_path: Path) -> None:
    wanted = planned(store, put_films(tmp_path, ["a", "b"])[0].parent)
    first = queue.claim(store, ME, wanted)
    assert first is not None
    assert queue.died(store, first, ME, "used more than 1 GiB") == "waiting"
    second = queue.claim(store, ME, wanted)
    assert second is not None and second.id != first.id  # others come before one that failed
    again = queue.claim(store, ME, wanted)
    assert again is not None and (again.id, again.deaths) == (first.id, 1)
    assert queue.died(store, again, ME, "used more than 1 GiB") == "aside"
    assert queue.claim(store, ME, wanted) is None
    line = next(line for line in clips(store) if line.state == "aside")
    assert line.error == "used more than 1 GiB"
    assert (queue.try_again(store), states(store)) == (1, {"waiting": 1, "running": 1})


def test_what_another_has_taken_over_is_not_failed_by_the_first(store: Store, tmp_path: Path) -> None:
    wanted = planned(store, put_films(tmp_path, ["a"])[0].parent)
    task = queue.claim(store, ME, wanted)
    assert task is not None and queue.reclaim(store, gone=lambda owner: owner == ME) == 1
    later = queue.claim(store, OTHER, wanted)
    assert later is not None and later.tries == 2
    queue.fail(store, task, ME, "too late", 2)
    assert queue.died(store, task, ME, "too late") == "running"
    assert states(store) == {"running": 1}
    queue.fail(store, later, OTHER, "no dog", 3)
    [line] = clips(store)
    assert (line.state, line.error) == ("failed", "no dog")


def test_silent_owners_lose_their_tasks_and_beating_ones_keep_them(store: Store, tmp_path: Path) -> None:
    wanted = planned(store, put_films(tmp_path, ["a", "b"])[0].parent)
    silent, beating = queue.claim(store, ME, wanted), queue.claim(store, OTHER, wanted)
    assert silent is not None and beating is not None
    with store.writing() as session:
        session.execute(update(TaskRow).values(beat_at=now_s() - 1000))
    queue.beat(store, OTHER)
    assert queue.reclaim(store, silent_s=100, gone=lambda _: False) == 1
    again = queue.claim(store, OTHER, wanted)
    assert again is not None and again.id == silent.id


def test_what_is_given_back_counts_as_not_begun(store: Store, tmp_path: Path) -> None:
    wanted = planned(store, put_films(tmp_path, ["a", "b"])[0].parent)
    queue.claim(store, ME, wanted)
    queue.claim(store, OTHER, wanted)
    assert queue.give_back(store, ME) == 1
    again = queue.claim(store, ME, wanted)
    assert again is not None and (again.tries, again.deaths) == (1, 0)


def test_a_clip_that_was_removed_meanwhile_keeps_nothing(store: Store, tmp_path: Path) -> None:
    wanted = planned(store, put_films(tmp_path, ["a"])[0].parent)
    task = queue.claim(store, ME, wanted)
    assert task is not None
    with store.writing() as session:
        session.delete(session.get_one(TaskRow, task.id))
    assert not queue.finish(store, task, made())
    assert rows(store, RecordRow) == 0


def test_pausing_is_seen_by_all(store: Store, url: str | None) -> None:
    other = open_store(store.home, url)
    assert not queue.is_paused(other)
    queue.pause(store)
    queue.pause(store)
    assert queue.is_paused(other)
    queue.pause(store, False)
    assert not queue.is_paused(other)
    other.close()


def test_workers_that_share_a_store_never_take_the_same_task(store: Store, url: str | None, tmp_path: Path) -> None:
    count, workers = 40, 4
    wanted = planned(store, put_films(tmp_path / "films", [f"clip{n:02}" for n in range(count)])[0].parent)
    taken: list[int] = []

    def work(number: int) -> None:
        """Take and finish until nothing is waiting."""
        own = open_store(store.home, url)
        while (task := queue.claim(own, f"here:{number}:1.0", wanted)) is not None:
            taken.append(task.id)
            queue.finish(own, task, made())
        own.close()

    threads = [threading.Thread(target=work, args=(number,)) for number in range(workers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert Counter(Counter(taken).values()) == {1: count}
    assert (states(store), rows(store, RecordRow)) == ({"done": count}, count)


def test_this_process_is_there_and_one_that_ended_is_gone() -> None:
    host, pid, start = owner_here().rsplit(":", 2)
    assert not is_gone(owner_here())
    assert is_gone(f"{host}:{pid}:{float(start) - 100}")  # the number was given out again
    assert is_gone(f"{host}:999999999:1.0")
    assert not is_gone("elsewhere:1:1.0")  # cannot be seen from here


def test_a_new_network_makes_records_stale_until_they_are_asked_for(store: Store, tmp_path: Path) -> None:
    wanted = planned(store, put_films(tmp_path / "films", ["a", "b"])[0].parent)
    read_all(store, wanted)
    other = dataclasses.replace(wanted, network_hash="cafe")
    left = plan(store, other)
    assert (left.new, left.current, left.stale) == (0, 0, 2)
    assert [(line.stale, line.grade) for line in clips(store)] == [(True, "good")] * 2
    assert plan(store, other, stale=True).new == 2
    read_all(store, other, made("film again"))
    assert [(line.stale, line.grade) for line in clips(store)] == [(False, "film again")] * 2
    assert rows(store, RecordRow) == 4  # both versions are kept
    back = plan(store, wanted)
    assert (back.new, back.current) == (0, 2)
    assert [(line.stale, line.grade) for line in clips(store)] == [(False, "good")] * 2


def test_clips_that_are_new_are_read_with_the_new_network_beside_stale_ones(store: Store, tmp_path: Path) -> None:
    wanted = planned(store, put_films(tmp_path / "films", ["a"])[0].parent)
    read_all(store, wanted)
    put_films(tmp_path / "films", ["b"])
    add_now(store, tmp_path / "films")
    other = dataclasses.replace(wanted, version="9")
    assert dataclasses.astuple(plan(store, other)) == (1, 0, 1)
    assert [task.name for task in read_all(store, other)] == ["b.mp4"]


def test_what_a_sheet_says_otherwise_is_read_again_without_asking(store: Store, tmp_path: Path) -> None:
    films = put_films(tmp_path / "films", ["a", "b"])[0].parent
    put_sheet(films, "a.mp4,Tansy,2026-03-02,bare,yes,2.0", "b.mp4,Tansy,2026-03-02,boots,,2.0")
    wanted = planned(store, films)
    read_all(store, wanted)
    put_sheet(films, "a.mp4,Tansy,2026-03-02,bare,yes,2.0", "b.mp4,Tansy,2026-03-02,boots,,1.5")
    assert add_now(store, films).changed == 1
    assert {line.name: line.stale for line in clips(store)} == {"a.mp4": False, "b.mp4": True}
    other = dataclasses.replace(wanted, version="9")
    assert plan(store, other).new == 1  # also when the network or the version is another one by now
    assert [(task.name, task.trial.belt_m_s) for task in read_all(store, other)] == [("b.mp4", 1.5)]


def test_waiting_tasks_of_an_old_network_are_dropped_and_failed_ones_tried_anew(store: Store, tmp_path: Path) -> None:
    wanted = planned(store, put_films(tmp_path / "films", ["a", "b"])[0].parent)
    task = queue.claim(store, ME, wanted)
    assert task is not None
    queue.fail(store, task, ME, "no dog", 3)
    assert plan(store, wanted).new == 0  # failed stays failed
    other = dataclasses.replace(wanted, network_hash="cafe")
    assert plan(store, other).new == 2
    assert states(store) == {"waiting": 2}
    assert queue.claim(store, ME, wanted) is None  # nobody reads with the old network any more


def test_the_wanted_reading_is_that_of_the_card(tmp_path: Path) -> None:
    wanted = wanted_of()
    assert len(wanted.network_hash) == 64 and wanted.network.suffix == ".onnx" and not wanted.settings.film


def test_results_that_were_taken_away_are_read_again(store: Store, tmp_path: Path) -> None:
    wanted = planned(store, put_films(tmp_path / "in", ["a", "b"])[0].parent)
    kept, lost = (store.home / task.folder for task in read_all(store, wanted))
    for folder in (kept, lost):
        (folder / "record.json").touch()
    assert wait_where_gone(store) == 0
    shutil.rmtree(lost)
    assert (wait_where_gone(store), wait_where_gone(store)) == (1, 0)
    assert states(store) == {"waiting": 1, "done": 1} and rows(store, RecordRow) == 1
    [task] = read_all(store, wanted)
    assert store.home / task.folder == lost and rows(store, RecordRow) == 2
    shutil.rmtree(store.home / RESULTS)
    with pytest.raises(CaseloadError, match="the store knows of 2"):
        wait_where_gone(store)
