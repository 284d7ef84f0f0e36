"""The same work on a Dask cluster: one in this process's care, and one of commands that anybody could have started."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from command_line import put_table
from distributed import Client, LocalCluster
from night_maker import LIMITS, SETTINGS, WANTED, Nights, check_whole, done, put_clips, run_of, states, wait_until
from sqlalchemy import select
from standin_reader import notes

from gait.caseload.adding import add
from gait.caseload.cluster import DaskCrew
from gait.caseload.errors import CaseloadError
from gait.caseload.planning import plan
from gait.caseload.queue import counts
from gait.caseload.running import Ended, Moved, News, Run, RunSettings, Tally
from gait.caseload.store import open_store
from gait.caseload.tables import RecordRow

#: s for a cluster to come up or to notice a loss on a busy machine.
SOON_S = 60.0


@pytest.fixture(scope="module")
def cluster() -> Iterator[str]:
    """Address of a cluster of two processes with a thread each."""
    patch = pytest.MonkeyPatch()
    here = Path(__file__).parent
    patch.setenv("PYTHONPATH", os.pathsep.join(map(str, (here, here.parents[1]))))
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0") as started:
        yield started.scheduler_address
    patch.undo()


def test_a_night_on_a_local_cluster(tmp_path: Path, cluster: str) -> None:
    store = put_clips(tmp_path, [*["take 0.3"] * 8, "crash", "hang", "blunder", "eat"])
    heard: list[News] = []
    run = Run(store, WANTED, DaskCrew(cluster, LIMITS, "one"), SETTINGS, heard.append)
    assert run.go() == Tally(read=8, failed=1, aside=3, deaths=6)
    assert {name for name, task in states(store).items() if task.state == "aside"} == {"clip008", "clip009", "clip011"}
    assert len({pid for _, _, pid in notes(tmp_path)}) > 2
    moved = {one.task.id for one in heard if isinstance(one, Moved)}
    assert len(moved) >= 8
    check_whole(store)


def test_a_reading_that_the_scheduler_forgets_is_given_again(tmp_path: Path, cluster: str) -> None:
    store = put_clips(tmp_path, ["take 0.5"] * 4)
    crew, forgotten = DaskCrew(cluster, LIMITS, "seven"), []

    def tell(news: News) -> None:
        """Have the first reading that has begun forgotten."""
        if isinstance(news, Moved) and not forgotten:
            forgotten.extend(future for future, job in crew._jobs.items() if job.task == news.task.id)
            crew._client.cancel(forgotten, force=True)

    assert Run(store, WANTED, crew, SETTINGS, tell).go() == Tally(read=4, deaths=1)
    assert [future.status for future in forgotten] == ["cancelled"]
    check_whole(store)


def test_landmark_tables_are_read_on_a_cluster_as_they_are_here(tmp_path: Path, cluster: str) -> None:
    for number in range(3):
        put_table(tmp_path / "clips", f"dog{number}.csv", period_s=0.5 + 0.01 * number)
    store = open_store(tmp_path / "home")
    add(store, tmp_path / "clips", settle_s=0)
    plan(store, WANTED)
    assert Run(store, WANTED, DaskCrew(cluster, LIMITS, "two")).go() == Tally(read=3)
    assert len(list((tmp_path / "home" / "clips").glob("*/*/report.html"))) == 3


def test_what_an_older_version_read_is_read_again_on_a_cluster(tmp_path: Path, cluster: str) -> None:
    store = put_clips(tmp_path, ["take 0.05"] * 6)
    assert Run(store, WANTED, DaskCrew(cluster, LIMITS, "old"), SETTINGS).go() == Tally(read=6)
    newer = replace(WANTED, version="0.2.0")  # stand-ins are tables, and no network reads those
    assert (plan(store, newer).stale, plan(store, newer, stale=True).new) == (6, 6)
    assert Run(store, newer, DaskCrew(cluster, LIMITS, "new"), SETTINGS).go() == Tally(read=6)
    with store.reading() as connection:
        records = connection.execute(select(RecordRow.clip_id, RecordRow.current, RecordRow.folder)).all()
    assert sorted(record.current for record in records) == [False] * 6 + [True] * 6
    assert len({record.clip_id for record in records if record.current}) == 6
    assert all((store.home / record.folder / "record.json").is_file() for record in records)


def test_coordinators_that_are_killed_leave_their_tasks_to_the_next(tmp_path: Path, cluster: str) -> None:
    store = put_clips(tmp_path, ["take 0.1"] * 40)
    nights = Nights()
    for count in (5, 15, 25):
        coordinator = nights.begin(tmp_path, cluster=cluster)
        wait_until(lambda count=count: done(tmp_path) >= count)  # type: ignore[misc]
        coordinator.kill()
    last = nights.begin(tmp_path, cluster=cluster)
    wait_until(lambda: not last.is_running())
    nights.close()
    assert counts(store)["done"] == 40
    assert sum(task.deaths for task in states(store).values()) == 0
    check_whole(store)


def test_a_worker_without_pawfall_ends_the_run_and_harms_no_clip(tmp_path: Path, cluster: str) -> None:
    store = put_clips(tmp_path, ["take"] * 2)
    settings = RunSettings(beat_s=0.5, look_s=0.1, patience_s=10, retry_s=0.2, reader="nowhere:read")
    with pytest.raises(CaseloadError, match="nowhere"):
        Run(store, WANTED, DaskCrew(cluster, LIMITS, "three"), settings).go()
    assert counts(store)["waiting"] == 2


def test_no_scheduler_at_that_address(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gait.caseload.cluster.CONNECT_S", 0.5)
    with pytest.raises(CaseloadError, match=r"No Dask scheduler answers at tcp://127\.0\.0\.1:9"):
        DaskCrew("tcp://127.0.0.1:9", LIMITS, "four")


def test_a_cluster_of_commands_whose_worker_is_killed(tmp_path: Path) -> None:
    file, scheduler, worker = commands(tmp_path)
    store = put_clips(tmp_path / "home", ["take 0.2"] * 30)
    with command(*scheduler), command(*worker) as one, command(*worker):
        wait_for_workers(file, 2)

        def tell(news: News) -> None:
            """Lose a worker in the middle."""
            if isinstance(news, Ended) and one.poll() is None:
                os.kill(one.pid, signal.SIGKILL)

        tally = Run(store, WANTED, DaskCrew(str(file), LIMITS, "five"), SETTINGS, tell).go()
        assert one.wait() == -signal.SIGKILL
    # the scheduler gives what the worker was reading to the other one, or forgets it; then the run gives it again
    assert tally in (Tally(read=30), Tally(read=30, deaths=1))
    check_whole(store)


def test_a_scheduler_that_is_killed_ends_the_run_and_the_next_one_goes_on(tmp_path: Path) -> None:
    file, scheduler, worker = commands(tmp_path)
    store = put_clips(tmp_path / "home", ["take 0.2"] * 12)
    with command(*scheduler) as killed, command(*worker):
        wait_for_workers(file, 1)

        def tell(news: News) -> None:
            """Lose the scheduler in the middle."""
            if isinstance(news, Ended):
                killed.kill()

        with pytest.raises(CaseloadError, match="has ended"):
            Run(store, WANTED, DaskCrew(str(file), LIMITS, "six"), SETTINGS, tell).go()
    assert counts(store)["running"] == 0 and counts(store)["done"] >= 1
    run_of(store).go()
    assert counts(store)["done"] == 12
    check_whole(store)


def commands(folder: Path) -> tuple[Path, tuple[object, ...], tuple[object, ...]]:
    """The file in which a scheduler writes its address, the words that start it, and those that start a worker."""
    file = folder / "scheduler.json"
    worker = ("worker", "--scheduler-file", file, "--nthreads", 1, "--no-dashboard", "--local-directory", folder)
    return (
        file,
        ("scheduler", "--scheduler-file", file, "--host", "127.0.0.1", "--port", 0, "--no-dashboard"),
        (*worker, "--no-nanny", "--death-timeout", 10),
    )


@contextmanager
def command(*words: object) -> Iterator["subprocess.Popen[bytes]"]:
    """`dask WORDS` as long as the block lasts."""
    call = [sys.executable, "-m", "dask", *map(str, words)]
    with subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        try:
            yield process
        finally:
            process.terminate()


def wait_for_workers(file: Path, count: int) -> None:
    """Until the scheduler has written its file and so many workers have come."""
    end_s = time.monotonic() + SOON_S
    while not file.exists():
        assert time.monotonic() < end_s
        time.sleep(0.1)
    with Client(scheduler_file=str(file), set_as_default=False) as client:
        client.wait_for_workers(count, timeout=SOON_S)
