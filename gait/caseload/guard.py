"""One reading process and the eye on it: it is ended when a clip takes too long or too much memory, or stands still."""

import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from queue import SimpleQueue
from typing import IO, Any, Final

import psutil

from gait.caseload.errors import CaseloadError
from gait.caseload.jobs import Job, Outcome, outcome_of
from gait.command.edge import OUR_FAULT

#: Libraries that would each start a thread per core.
ONE_THREAD: Final = {
    name: "1" for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
}
MIB: Final = 2**20
#: Bytes from the end of what a process wrote in which its last line is looked for.
TAIL_BYTES: Final = 4096
#: s that a process may take to load its libraries; some seconds on an idle machine.
START_S: Final = 300.0
#: Times in a row that a process may end before it could take a job; then something is wrong with the installation.
MOST_STARTS: Final = 5


@dataclass(frozen=True, slots=True)
class Limits:
    """What a clip may take.

    time_s      s for one clip in all; set by judgement: ten minutes of film take about one hour on one slow core
    still_s     s without any progress, after which a decoder is taken to hang; set by judgement: the longest steps
                without a word, deciding the sides of a long clip and writing its page, take seconds
    memory_mib  MiB of the process; 1080p is measured to stay below 1024, 4K waits for frames of four times the size
    """

    time_s: float = 4 * 3600.0
    still_s: float = 600.0
    memory_mib: float = 3072.0


@dataclass(frozen=True, slots=True)
class Progressed:
    """How far a clip has got: ``done`` of ``total`` in the stage of that name."""

    task: int
    stage: str
    done: int
    total: int


Event = Progressed | Outcome
#: Lines from reading processes: whose, of which of its processes, and what it says; None = it has ended.
Answers = SimpleQueue[tuple["Guard", int, Mapping[str, Any] | None]]


class Guard:
    """A reading process, started when it is first needed and anew after it died; it does one job at a time.

    job       what it does now
    peak_mib  the most memory that it held; cpu_s: processor time of the process that runs
    """

    def __init__(self, answers: Answers, limits: Limits, cores: tuple[int, ...] = ()) -> None:
        """``answers`` gets what the process says; ``cores``: numbers of the processors it may use, none = all."""
        self.job: Job | None = None
        self.peak_mib = self.cpu_s = 0.0
        self._answers, self._limits, self._cores = answers, limits, cores
        self._process: subprocess.Popen[str] | None = None
        self._errors: IO[bytes] | None = None
        self._begun, self._begun_s, self._moved_s = False, 0.0, 0.0
        self._false_starts, self._why = 0, ""

    @property
    def pid(self) -> int:
        """Number of the process; 0 = none runs."""
        return self._process.pid if self._process else 0

    def give(self, job: Job) -> None:
        """Hand over a job; what comes of it is told by ``take``. Raises CaseloadError when no process can be had."""
        self.job, self._why, self._begun, self._moved_s = job, "", False, time.monotonic()
        process = self._process or self._start()
        told = json.dumps({"job": job.as_dict(), "limit_s": self._limits.time_s})
        assert process.stdin is not None
        with suppress(OSError):  # it died while it waited for work: ``take`` hears of that and starts the next one
            process.stdin.write(f"{told}\n")
            process.stdin.flush()

    def take(self, pid: int, told: Mapping[str, Any] | None) -> Event | None:
        """What a line from process ``pid`` means: how far it is, what came of the job, or nothing for anybody else."""
        if pid != self.pid:
            return None  # from a process before this one
        self._moved_s = time.monotonic()
        if told is None:
            return self._ended()
        kind, rest = told["kind"], {key: value for key, value in told.items() if key != "kind"}
        if kind == "progress":
            return Progressed(**rest)
        if kind == "begun":
            self._begun, self._false_starts, self._begun_s = True, 0, self._moved_s
            return None
        self.job, self._begun = None, False
        return outcome_of(rest)

    def look(self) -> None:
        """End the process when its job takes more than it may; ``take`` then hears that it died, and why."""
        if self._process is None:
            return
        memory_mib = self._measure()
        now, limits = time.monotonic(), self._limits
        still_s = limits.still_s if self._begun else START_S
        for over, words in (
            (memory_mib > limits.memory_mib, f"it took more than {limits.memory_mib:g} MiB of memory"),
            (self._begun and now - self._begun_s > limits.time_s, f"it took more than {limits.time_s:g} s"),
            (self.job and now - self._moved_s > still_s, f"it stood still for {still_s:g} s"),
        ):
            if over and not self._why:
                self._why = words
                self._process.kill()

    def stop(self) -> None:
        """End the process and whatever it does."""
        self.job = None
        if self._process:
            self._process.kill()
            self._reap()

    def _start(self) -> "subprocess.Popen[str]":
        self._errors = tempfile.TemporaryFile()
        process = subprocess.Popen(
            [sys.executable, "-m", "gait.caseload.reader"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._errors,
            env={**os.environ, **ONE_THREAD},
            encoding="utf-8",
            errors="replace",
            start_new_session=True,  # Ctrl-C is for the run, which ends its processes itself
        )
        if self._cores:
            psutil.Process(process.pid).cpu_affinity(list(self._cores))
        self._process = process
        threading.Thread(target=_pump, args=(self, process, self._answers), name="answers", daemon=True).start()
        return process

    def _ended(self) -> Outcome | None:
        """The process is gone: its job died with it, unless it had not begun, which is tried again."""
        words = self._why or self._last_words()
        self._reap()
        job = self.job
        if job is None:
            return None
        if self._begun:
            self.job = None
            return Outcome(job.task, "died", words, OUR_FAULT)
        self._false_starts += 1
        if self._false_starts >= MOST_STARTS:
            raise CaseloadError(f"No reading process can be started: {words}.")
        self.give(job)
        return None

    def _last_words(self) -> str:
        """How the process ended: the signal, or its exit code and the last line that it wrote."""
        assert self._process is not None and self._errors is not None
        code = self._process.wait()
        if code < 0:
            return f"its process ended with {signal.Signals(-code).name}"
        self._errors.seek(max(self._errors.seek(0, os.SEEK_END) - TAIL_BYTES, 0))
        lines = self._errors.read().decode(errors="replace").split("\n")
        last = next((line.strip() for line in reversed(lines) if line.strip()), "")
        return f"its process ended with code {code}{': ' if last else ''}{last}"

    def _measure(self) -> float:
        """MiB that the process holds now, 0 when it is gone; the most of it and its processor time are kept."""
        try:
            process = psutil.Process(self.pid)
            memory_mib, times = float(process.memory_info().rss) / MIB, process.cpu_times()
        except psutil.Error:
            return 0.0
        self.peak_mib, self.cpu_s = max(self.peak_mib, memory_mib), times.user + times.system
        return memory_mib

    def _reap(self) -> None:
        """Leave nothing of the process behind."""
        assert self._process is not None and self._errors is not None
        self._process.wait()
        if self._process.stdin:
            with suppress(OSError):
                self._process.stdin.close()
        self._errors.close()
        self._process = None


def _pump(guard: Guard, process: "subprocess.Popen[str]", answers: Answers) -> None:
    """Pass on every line of ``process``, and that it has ended."""
    assert process.stdout is not None
    with process.stdout:
        for line in process.stdout:
            with suppress(ValueError):  # a line that was cut off by the end
                answers.put((guard, process.pid, json.loads(line)))
    answers.put((guard, process.pid, None))
