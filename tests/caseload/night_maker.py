"""A caseload of stand-in clips, and nights on it that can be killed."""

import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import psutil
from sqlalchemy import select
from standin_reader import READER, notes

from gait.caseload.cluster import DaskCrew
from gait.caseload.crew import Crew, LocalCrew
from gait.caseload.guard import Limits
from gait.caseload.keys import Wanted
from gait.caseload.owners import owner_here
from gait.caseload.planning import plan
from gait.caseload.running import Run, RunSettings, Tally, Tell
from gait.caseload.store import Store, open_store
from gait.caseload.tables import Clip, Place, RecordRow, TaskRow, TrialRow
from gait.hashing import content_hash

WANTED = Wanted(Path("none.onnx"), "0" * 64, "none", version="0.1.0")
#: A process of this machine that has ended: the number is in use, but not since then.
ENDED_OWNER = f"{socket.gethostname()}:{os.getppid()}:0.00"
LIMITS = Limits(time_s=30, still_s=10, memory_mib=700)
SETTINGS = RunSettings(beat_s=0.5, look_s=0.1, patience_s=10, retry_s=0.2, reader=READER)


def put_clips(home: Path, words: Sequence[str], url: str | None = None) -> Store:
    """A caseload in which every clip says one of ``words``, all of them to be read."""
    store = open_store(home, url)
    with store.writing() as session:
        for number, word in enumerate(words):
            path = home / "film" / f"clip{number:03}"
            path.parent.mkdir(exist_ok=True)
            path.write_text(f"{word} {number}")
            clip = Clip(sha256=content_hash(path), name=path.name, kind="table", bytes=1, added_at=0.0)
            session.add(clip)
            session.flush()
            session.add(Place(clip_id=clip.id, path=str(path), seen_at=0.0, bytes=1, changed_ns=0))
            session.add(TrialRow(clip_id=clip.id))
    plan(store, WANTED)
    return store


def run_of(store: Store, workers: int = 2, tell: Tell = lambda _: None, **changes: Any) -> Run:
    """A run on ``store`` with stand-ins."""
    return Run(store, WANTED, LocalCrew(workers, LIMITS), changes.pop("settings", SETTINGS), tell, **changes)


def spend_night(home: Path, url: str | None, cluster: str | None) -> Tally:
    """Read all that waits; in a process of its own, since it is to be killed."""
    store = open_store(home, url)
    try:
        crew: Crew = DaskCrew(cluster, LIMITS, owner_here()) if cluster else LocalCrew(2, LIMITS)
        return Run(store, WANTED, crew, SETTINGS).go()
    finally:
        store.close()


class Nights:
    """Begins nights, each in a process of its own; their libraries are loaded once."""

    def __init__(self) -> None:
        here = Path(__file__).parent
        told = {**os.environ, "PYTHONPATH": os.pathsep.join(map(str, (here, here.parents[1])))}
        call = [sys.executable, str(here / "night_server.py")]
        self._server = subprocess.Popen(call, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=told, text=True)

    def begin(self, home: Path, url: str | None = None, cluster: str | None = None) -> psutil.Process:
        """Begin one on the caseload of ``home``; gives the coordinator."""
        assert self._server.stdin and self._server.stdout
        self._server.stdin.write(json.dumps([str(home), url, cluster]) + "\n")
        self._server.stdin.flush()
        return psutil.Process(int(self._server.stdout.readline()))

    def close(self) -> None:
        """No more nights."""
        self._server.communicate()


def wait_until(so: Callable[[], bool], long_s: float = 60.0) -> None:
    """Wait until it is so, but not for ever."""
    end_s = time.monotonic() + long_s
    while not so():
        assert time.monotonic() < end_s, "a night has got stuck"
        time.sleep(0.005)


def done(home: Path) -> int:
    """How many readings came to their end."""
    return sum(what == "done" for what, _, _ in notes(home))


def states(store: Store) -> dict[str, TaskRow]:
    """Name of each clip -> its task."""
    with store.writing() as session:
        rows = session.execute(select(Clip.name, TaskRow).join(TaskRow, TaskRow.clip_id == Clip.id)).all()
        session.expunge_all()
        return {name: task for name, task in rows}


def check_whole(store: Store) -> None:
    """Every clip has one task; a done one has one record and one whole folder of results; nothing else lies about."""
    with store.writing() as session:
        tasks = session.scalars(select(TaskRow)).all()
        records = session.scalars(select(RecordRow)).all()
        done = sorted(task.id for task in tasks if task.state == "done")
        assert len({task.clip_id for task in tasks}) == len(tasks)
        assert {task.state for task in tasks} <= {"done", "failed", "aside"}
        assert sorted(record.task_id for record in records) == done
        folders = sorted(record.folder for record in records)
    lying = (store.home / "clips").glob("*/*")
    assert sorted(item.relative_to(store.home).as_posix() for item in lying) == folders
    assert all((store.home / folder / "record.json").is_file() for folder in folders)
