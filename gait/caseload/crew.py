"""Who reads: the processes of this machine. A cluster offers the same four calls (gait.caseload.cluster)."""

import os
from collections.abc import Callable
from contextlib import suppress
from queue import Empty, SimpleQueue
from typing import Final, Protocol

from gait.caseload.guard import Answers, Event, Guard, Limits, Progressed
from gait.caseload.jobs import Job, Outcome

#: s between two looks at memory and time of the processes.
LOOK_EVERY_S: Final = 0.2


class Crew(Protocol):
    """What a run needs of those who read for it."""

    def free(self) -> int:
        """How many more jobs may be given now."""
        ...

    def give(self, job: Job) -> None:
        """Hand over a job, when one is free."""
        ...

    def wait(self, timeout_s: float) -> list[Event]:
        """What was heard since the last call; waits so long for the first of it."""
        ...

    def close(self) -> None:
        """End all of it; jobs that are under way are dropped."""
        ...


class LocalCrew:
    """Reading processes on this machine, each on one thread."""

    def __init__(self, workers: int, limits: Limits, cores: tuple[int, ...] = ()) -> None:
        """``cores``: numbers of the processors that all of them together may use; none = all."""
        self._answers: Answers = SimpleQueue()
        self.guards = [Guard(self._answers, limits, cores) for _ in range(workers)]

    def free(self) -> int:
        """Processes without a job."""
        return sum(guard.job is None for guard in self.guards)

    def give(self, job: Job) -> None:
        """Hand ``job`` to a process that has none."""
        next(guard for guard in self.guards if guard.job is None).give(job)

    def wait(self, timeout_s: float) -> list[Event]:
        """What was heard since the last call. Raises CaseloadError when no process can be started."""
        heard: list[Event] = []
        with suppress(Empty):
            answer = self._answers.get(timeout=min(timeout_s, LOOK_EVERY_S))
            while True:
                guard, pid, told = answer
                event = guard.take(pid, told)
                heard += [event] if event else []
                answer = self._answers.get_nowait()
        for guard in self.guards:  # only now: what waited to be heard shows that a process moves
            guard.look()
        return heard

    def close(self) -> None:
        """End every process."""
        for guard in self.guards:
            guard.stop()


def read_alone(job: Job, crew: LocalCrew, tell: Callable[[Progressed], None]) -> Outcome:
    """Have ``job`` done by a crew of one, and tell how far it is."""
    crew.give(job)
    while True:
        for event in crew.wait(LOOK_EVERY_S):
            if isinstance(event, Outcome):
                return event
            tell(event)


def usable_cores() -> int:
    """Processors that this process may use: a container or a work queue may have been given a share of them."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
