"""What reads in place of the network where a test is not about reading: the first word of a clip says what happens."""

import errno
import json
import os
import re
import signal
import time
from collections.abc import Callable, Mapping
from pathlib import Path

from gait.caseload.jobs import Job, Progress
from gait.caseload.made import Made, MeasureMade
from gait.placing import partial_of, put_in_place

#: The name by which a job or a run asks for it.
READER = "standin_reader:read"
#: s before and after results appear, so that some are cut off just there.
MOMENT_S = 0.003
MADE = Made(
    network_hash="", network_name="", version="0.1.0", facing="right", grade="good", gait="trot", strides_used=9,
    notices=[], checks=[], trial={}, measures=(MeasureMade("trot", "stride_time_s", "s", 9, 0.5, 0.01),),
)  # fmt: skip


def read(job: Job, progress: Progress | None) -> Made:
    """Note that it began, do what the clip says, leave a folder with one file, note that it is done."""
    source, folder = Path(job.sources[0]), Path(job.home) / job.folder
    word, *rest = source.read_text().split()
    note(job, "begun")
    DOES[word](job, progress, *rest)
    if not folder.exists():
        partial = partial_of(folder)
        partial.mkdir(parents=True)
        time.sleep(MOMENT_S)
        (partial / "record.json").write_text(json.dumps({"sha256": job.sha256, "pid": os.getpid()}))
        (partial / "landmarks.csv").write_text("x" * (int(rest[0]) if word == "weigh" else 1))
        put_in_place(partial, folder, ("record.json",))
        time.sleep(MOMENT_S)
    note(job, "done")
    return MADE


def note(job: Job, what: str) -> None:
    """Add a line to ``log`` in the home; a line as short as this is written whole or not at all."""
    with (Path(job.home) / "log").open("a") as file:
        file.write(f"{what} {job.sha256} {os.getpid()}\n")


def notes(home: Path) -> list[tuple[str, str, int]]:
    """What was noted: 'begun' or 'done', hash of the clip, process."""
    lines = (home / "log").read_text().splitlines() if (home / "log").exists() else []
    return [(what, sha256, int(pid)) for what, sha256, pid in map(str.split, lines)]


def _take(job: Job, progress: Progress | None, seconds: str = "0", *_: str) -> None:
    """Read for so many seconds, telling how far it is."""
    steps = 10
    for step in range(steps):
        time.sleep(float(seconds) / steps)
        if progress:
            progress("reading", step + 1, steps)


def _crash(job: Job, progress: Progress | None, *_: str) -> None:
    os.kill(os.getpid(), signal.SIGSEGV)


def _eat(job: Job, progress: Progress | None, *_: str) -> None:
    kept = []
    while True:
        kept.append(b"x" * 2**24)
        time.sleep(0.01)


def _hang(job: Job, progress: Progress | None, *_: str) -> None:
    time.sleep(3600)


def _hold(job: Job, progress: Progress | None, *_: str) -> None:
    """Let no other thread of the process run; a pattern that tries every way to split the text does that for years."""
    re.match("(a+)+$", "a" * 60 + "b")


def _creep(job: Job, progress: Progress | None, *_: str) -> None:
    """Always a little further, and never done."""
    for step in range(10**6):
        time.sleep(0.05)
        if progress:
            progress(f"stage {step}", 1, 2)


def _leave(job: Job, progress: Progress | None, code: str, *_: str) -> None:
    os.write(2, b"something in the decoder\n")
    os._exit(int(code))


def _fill_disk(job: Job, progress: Progress | None, *_: str) -> None:
    """The disk is full as long as there is a file of that name."""
    if (Path(job.home) / "disk-is-full").exists():
        raise OSError(errno.ENOSPC, "No space left on device", job.folder)


def _blunder(job: Job, progress: Progress | None, *_: str) -> None:
    raise ZeroDivisionError("nobody thought of that")


def _weigh(job: Job, progress: Progress | None, *_: str) -> None:
    """Results of so many bytes."""


DOES: Mapping[str, Callable[..., None]] = {
    "take": _take, "crash": _crash, "eat": _eat, "hang": _hang, "hold": _hold, "creep": _creep, "leave": _leave,
    "disk": _fill_disk, "weigh": _weigh, "blunder": _blunder,
}  # fmt: skip
