"""The night: takes tasks from the queue, has them read, and notes what came of each, until none is waiting.

Whatever ends this in between, the next run goes on: tasks of an owner that is gone wait again, and a folder of results
that was already there is taken as it is.
"""

import dataclasses
import shutil
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from typing import TypeVar

from gait.caseload.crew import Crew
from gait.caseload.errors import CaseloadError, StoreError
from gait.caseload.guard import Progressed
from gait.caseload.jobs import READER, Job, Outcome, sweep
from gait.caseload.keys import Wanted
from gait.caseload.owners import owner_here
from gait.caseload.queue import (
    ASIDE,
    DONE,
    FAILED,
    WAITING,
    Task,
    beat,
    claim,
    counts,
    died,
    fail,
    finish,
    give_back,
    is_paused,
    reclaim,
)
from gait.caseload.store import Store

Found = TypeVar("Found")


@dataclass(frozen=True, slots=True)
class RunSettings:
    """How a run behaves.

    beat_s      s between signs of life, a small part of gait.caseload.queue.SILENT_S
    look_s      s between looks whether a person paused the run, or something came in; such a wait bothers nobody
    patience_s  s for which a store that does not answer, or a full disk, is tried again before the run ends
    retry_s     s between these tries
    reader      'module:function' that reads a clip; tests put others in its place
    """

    beat_s: float = 20.0
    look_s: float = 1.0
    patience_s: float = 300.0
    retry_s: float = 5.0
    reader: str = READER


@dataclass(slots=True)
class Tally:
    """What a run did: clips read, clips that said why not, clips set aside, deaths of reading processes."""

    read: int = 0
    failed: int = 0
    aside: int = 0
    deaths: int = 0


@dataclass(frozen=True, slots=True)
class Began:
    """A task was handed over."""

    task: Task


@dataclass(frozen=True, slots=True)
class Moved:
    """A clip got further."""

    task: Task
    progress: Progressed


@dataclass(frozen=True, slots=True)
class Ended:
    """A task left this run. state: of the task now, as in the queue."""

    task: Task
    outcome: Outcome
    state: str


@dataclass(frozen=True, slots=True)
class Said:
    """A sentence about the run as a whole."""

    words: str


News = Began | Moved | Ended | Said
Tell = Callable[[News], None]


@dataclass(slots=True)
class Run:
    """One run on one store.

    stop     set it to end the run; what is under way then waits again
    endless  whether to wait for more when nothing is left
    """

    store: Store
    wanted: Wanted
    crew: Crew
    settings: RunSettings = field(default_factory=RunSettings)
    tell: Tell = lambda _: None
    stop: threading.Event = field(default_factory=threading.Event)
    endless: bool = False
    owner: str = field(default_factory=owner_here)
    tally: Tally = field(default_factory=Tally)
    _hand: dict[int, Task] = field(default_factory=dict)
    _beaten_s: float = -float("inf")
    _looked_s: float = -float("inf")
    _paused: bool = False
    _halted_s: float | None = None
    _resume_s: float = 0.0
    _said: str = ""

    def go(self) -> Tally:
        """Read until nothing waits or ``stop`` is set.

        Raises StoreError when the store does not answer, CaseloadError when no results can be written or nobody can
        read; all that was done is kept, and another run goes on from there.
        """
        try:
            self._steady(partial(reclaim, self.store))
            while not self.stop.is_set() and self._fill():
                for event in self.crew.wait(self.settings.look_s):
                    self._hear(event)
                self._sign_of_life()
        finally:
            self.crew.close()
            with suppress(StoreError):  # the next run finds that their owner is gone
                give_back(self.store, self.owner)
        return self.tally

    def _fill(self) -> bool:
        """Hand out waiting tasks; says whether there is still something to wait for."""
        if self._is_paused():
            waiting = self._steady(partial(counts, self.store, self.wanted))[WAITING]
            return bool(self._hand or waiting) or self.endless
        if time.monotonic() < self._resume_s:
            return True
        while self.crew.free() > 0:
            task = self._steady(partial(claim, self.store, self.owner, self.wanted))
            if task is None:
                self._resume_s = time.monotonic() + self.settings.look_s
                return bool(self._hand) or self.endless
            self._hand[task.id] = task
            self.crew.give(self._job(task))
            self.tell(Began(task))
        return True

    def _job(self, task: Task) -> Job:
        settings = dataclasses.replace(self.wanted.settings, fps=task.fps)
        return Job(
            task.id,
            tuple(map(str, task.places)),
            task.sha256,
            str(self.store.home),
            task.folder.as_posix(),
            dataclasses.asdict(task.trial),
            dataclasses.asdict(settings),
            str(self.wanted.network),
            self.wanted.network_hash,
            self.wanted.precision,
            self.settings.reader,
        )

    def _hear(self, event: Progressed | Outcome) -> None:
        task = self._hand.get(event.task)
        if task is None:
            return
        if isinstance(event, Progressed):
            self.tell(Moved(task, event))
            return
        state = {"read": self._read, "failed": self._failed, "died": self._died, "halt": self._halt}[event.ending](
            task, event
        )
        del self._hand[task.id]
        self.tell(Ended(task, event, state))

    def _read(self, task: Task, outcome: Outcome) -> str:
        """Note the record; a clip that was forgotten while it was read leaves nothing behind."""
        assert outcome.made is not None
        self._halted_s, self._said = None, ""
        if self._steady(partial(finish, self.store, task, outcome.made)):
            self.tally.read += 1
            return DONE
        folder = self.store.home / task.folder
        shutil.rmtree(folder, ignore_errors=True)
        with suppress(OSError):  # other readings of the same content
            folder.parent.rmdir()
        return ""

    def _failed(self, task: Task, outcome: Outcome) -> str:
        self._steady(partial(fail, self.store, task, self.owner, outcome.words, outcome.exit_code))
        self.tally.failed += 1
        return FAILED

    def _died(self, task: Task, outcome: Outcome) -> str:
        state = self._steady(partial(died, self.store, task, self.owner, outcome.words))
        sweep(self.store.home / task.folder)
        self.tally.deaths += 1
        self.tally.aside += state == ASIDE
        return state

    def _halt(self, task: Task, outcome: Outcome) -> str:
        """Nothing is wrong with the clip: it waits again, and so does the run, but not for ever."""
        self._steady(partial(give_back, self.store, self.owner, [task.id]))
        now = time.monotonic()
        self._halted_s = now if self._halted_s is None else self._halted_s
        if now - self._halted_s > self.settings.patience_s:
            raise CaseloadError(f"{outcome.words.rstrip('.')}. Then go on with: pawfall caseload run")
        self._resume_s = now + self.settings.retry_s
        self._say(self._again(outcome.words))
        return WAITING

    def _sign_of_life(self) -> None:
        if time.monotonic() - self._beaten_s < self.settings.beat_s:
            return
        self._steady(partial(beat, self.store, self.owner))
        self._steady(partial(reclaim, self.store))
        self._beaten_s = time.monotonic()

    def _is_paused(self) -> bool:
        if time.monotonic() - self._looked_s >= self.settings.look_s:
            paused = self._steady(partial(is_paused, self.store))
            if paused != self._paused:
                on = "paused; what is under way is read to its end. Go on with: pawfall caseload resume"
                self.tell(Said(on if paused else "going on"))
            self._paused, self._looked_s = paused, time.monotonic()
        return self._paused

    def _steady(self, step: Callable[[], Found]) -> Found:
        """Do a step on the store, again and again while that may help. Raises StoreError when it does not."""
        begun_s = time.monotonic()
        while True:
            try:
                return step()
            except StoreError as error:
                over = time.monotonic() - begun_s > self.settings.patience_s
                if not error.passing or over or self.stop.is_set():
                    raise
                self._say(self._again(str(error)))
                self.stop.wait(self.settings.retry_s)

    def _again(self, words: str) -> str:
        return f"{words.rstrip('.')}. Trying again every {self.settings.retry_s:g} s."

    def _say(self, words: str) -> None:
        """Tell it, unless it was the last that was told."""
        if words != self._said:
            self._said = words
            self.tell(Said(words))
