"""kill -9 of reading processes and of the coordinator at random moments: every clip is done exactly once."""

import os
import random
import signal
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest
from night_maker import Nights, check_whole, done, put_clips, states, wait_until
from standin_reader import notes

from gait.caseload.queue import counts, try_again
from gait.caseload.store import Store

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="coordinators are forked")

CLIPS = 60
#: Rounds on each kind of store. All twenty passed on PostgreSQL too; a suite that runs often has not the time for them.
ROUNDS = {"sqlite": 20, "postgresql": 3}
#: What is killed in each round, at moments drawn anew, in an order drawn anew.
KILLS = ("coordinator", "coordinator", "worker", "worker")


@pytest.fixture(scope="module")
def nights() -> Iterator[Nights]:
    """Coordinators to be killed."""
    opened = Nights()
    yield opened
    opened.close()


@pytest.mark.parametrize(
    ("url", "seed"), [(kind, seed) for kind, rounds in ROUNDS.items() for seed in range(rounds)], indirect=["url"]
)
def test_whatever_is_killed_every_clip_is_done_once(tmp_path: Path, nights: Nights, url: str | None, seed: int) -> None:
    store = put_clips(tmp_path, ["take 0.01"] * CLIPS, url)
    chance = random.Random(seed)
    moments = sorted(chance.sample(range(CLIPS - 4), len(KILLS)))
    whom = chance.sample(KILLS, len(KILLS))
    coordinator = nights.begin(tmp_path, url)
    for moment, victim in zip(moments, whom, strict=True):
        wait_until(lambda moment=moment: done(tmp_path) >= moment)  # type: ignore[misc]
        time.sleep(chance.uniform(0, 0.02))
        if victim == "coordinator":
            coordinator.kill()
            wait_until(lambda gone=coordinator: not gone.is_running())  # type: ignore[misc]
            coordinator = nights.begin(tmp_path, url)
        else:
            kill_a_worker(coordinator, chance)
    wait_until(lambda: not coordinator.is_running())
    finish_asides(store, nights, url)
    check(store)
    store.close()


def kill_a_worker(coordinator: psutil.Process, chance: random.Random) -> None:
    """End one of the processes of ``coordinator``, as soon as there is one."""
    workers: list[psutil.Process] = []

    def there() -> bool:
        """Look for them."""
        workers[:] = coordinator.children() if coordinator.is_running() else []
        return bool(workers) or not coordinator.is_running()

    wait_until(there)
    if workers:
        os.kill(chance.choice(workers).pid, signal.SIGKILL)


def finish_asides(store: Store, nights: Nights, url: str | None) -> None:
    """A clip whose worker happened to be killed twice is set aside, and read when a person asks for it."""
    if counts(store)["aside"]:
        assert {task.deaths for task in states(store).values() if task.state == "aside"} == {2}
        assert try_again(store) == 1
        last = nights.begin(store.home, url)
        wait_until(lambda: not last.is_running())


def check(store: Store) -> None:
    """All is there once, little was done twice, and nobody is left."""
    assert counts(store)["done"] == CLIPS
    check_whole(store)
    times = Counter(sha256 for what, sha256, _ in notes(store.home) if what == "begun")
    assert len(times) == CLIPS
    most = CLIPS + 2 * KILLS.count("coordinator") + KILLS.count("worker")
    assert sum(times.values()) <= most
    assert sum(task.deaths for task in states(store).values()) <= KILLS.count("worker")
    pids = {pid for _, _, pid in notes(store.home)}
    wait_until(lambda: not any(map(psutil.pid_exists, pids)))
