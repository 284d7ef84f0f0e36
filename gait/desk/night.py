"""Reading behind the pages: whatever waits in the caseload is read, one clip per worker, for as long as the desk runs.

Nothing of it is kept in memory alone: a desk that is started again goes on where the last one ended.
"""

import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from gait.caseload.crew import LocalCrew
from gait.caseload.findings import update_findings
from gait.caseload.guard import Limits, Progressed
from gait.caseload.keys import Wanted
from gait.caseload.planning import plan, unplanned, wait_where_gone
from gait.caseload.queue import ASIDE, DONE, FAILED, RUNNING, WAITING, Task, counts, is_paused, try_again
from gait.caseload.queue import pause as pause_queue
from gait.caseload.running import Began, Ended, Moved, News, Run, Said
from gait.caseload.store import Store
from gait.command.edge import EXPECTED, fault, message

#: s until reading is tried again after the store or the disk refused it.
AGAIN_S: Final = 15.0
#: s between two looks whether a command, or another workstation, took in clips.
LOOK_S: Final = 10.0
#: s between two looks at the morning list while clips are being read: a list that is remade after every clip of a
#: dog costs more than it tells.
LIST_EVERY_S: Final = 20.0


@dataclass(slots=True)
class _Clip:
    """How far a clip is."""

    name: str
    at: Progressed | None = None


@dataclass(slots=True)
class Night:
    """The reading of one desk. Safe to be asked from any thread."""

    store: Store
    wanted: Wanted
    workers: int = 1
    words: str = ""
    _stop: threading.Event = field(default_factory=threading.Event)
    _threads: list[threading.Thread] = field(default_factory=list)
    _clips: dict[int, _Clip] = field(default_factory=dict)
    _done: int = 0
    _begun_s: float | None = None
    _list_due: threading.Event = field(default_factory=threading.Event)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def start(self) -> None:
        """Begin to read what waits, and whatever comes in later."""
        for work in (self._read, self._tidy):
            thread = threading.Thread(target=work, name=work.__name__, daemon=True)
            thread.start()
            self._threads.append(thread)

    def stop(self) -> None:
        """End it; what is under way waits again."""
        self._stop.set()
        self._list_due.set()
        for thread in self._threads:
            thread.join()

    def plan(self) -> None:
        """Have everything read that is new or of which something else was said. Raises StoreError."""
        plan(self.store, self.wanted)
        self._list_due.set()

    def look(self) -> None:
        """Have the morning list made anew, since something was said of a clip."""
        self._list_due.set()

    def retry(self, clip_id: int | None = None) -> None:
        """Try again what failed or was set aside, all or one clip. Raises StoreError."""
        try_again(self.store, clip_id=clip_id)
        self.plan()

    def pause(self, paused: bool) -> None:
        """Hold the reading, or go on with it; a clip that is under way is read to its end. Raises StoreError."""
        pause_queue(self.store, paused)

    def facts(self) -> Mapping[str, Any]:
        """What the pages show of it: counts, how far each clip is, and s that are left as those so far took."""
        states = counts(self.store, self.wanted)
        with self._lock:
            clips = [_told(clip) for clip in self._clips.values()]
            done, begun_s, words = self._done, self._begun_s, self.words
        left = states[WAITING] + states[RUNNING]
        known = done and begun_s is not None and left
        return {
            "waiting": states[WAITING],
            "running": states[RUNNING],
            "done": states[DONE],
            "failed": states[FAILED] + states[ASIDE],
            "clips": clips,
            "left_s": (time.monotonic() - begun_s) / done * left if known and begun_s is not None else None,
            "paused": is_paused(self.store),
            "words": words,
        }

    def _read(self) -> None:
        while not self._stop.is_set():
            try:
                wait_where_gone(self.store)
                self.plan()
                crew = LocalCrew(self.workers, Limits())
                Run(self.store, self.wanted, crew, tell=self._hear, stop=self._stop, endless=True).go()
            except EXPECTED as error:
                self._say(f"{message(error)} Trying again.")
            except Exception as error:  # the pages go on, and say what is wrong
                self._say(fault(error))
            with self._lock:
                self._clips.clear()
            self._stop.wait(AGAIN_S)

    def _hear(self, news: News) -> None:
        with self._lock:
            if isinstance(news, Began):
                self._began(news.task)
            elif isinstance(news, Moved):
                if clip := self._clips.get(news.task.id):
                    clip.at = news.progress
            elif isinstance(news, Said):
                self.words = "" if news.words == "going on" else news.words
            elif isinstance(news, Ended):
                self._clips.pop(news.task.id, None)
                self._done += news.state != WAITING
                self._list_due.set()

    def _began(self, task: Task) -> None:
        if not self._clips and not self._list_due.is_set():
            self._done, self._begun_s = 0, time.monotonic()  # a new round after a rest
        self._begun_s = self._begun_s or time.monotonic()
        self._clips[task.id] = _Clip(task.name)
        self.words = ""

    def _say(self, words: str) -> None:
        with self._lock:
            self.words = words

    def _tidy(self) -> None:
        """Keep the morning list up to date, and plan what came in from elsewhere."""
        while True:
            due = self._list_due.wait(LOOK_S)
            if self._stop.is_set():
                return
            self._list_due.clear()
            try:
                if unplanned(self.store):
                    plan(self.store, self.wanted)
                if due:
                    update_findings(self.store)
            except EXPECTED as error:
                self._say(message(error))
            except Exception as error:
                self._say(fault(error))
            self._stop.wait(LIST_EVERY_S if self._clips else 1.0)


def _told(clip: _Clip) -> dict[str, Any]:
    at = clip.at
    share = min(1.0, at.done / at.total) if at and at.total else None
    return {"name": clip.name, "stage": at.stage if at else "", "share": share}
