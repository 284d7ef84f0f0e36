"""Sends the same work to a Dask cluster that is there already, whatever it runs on; only this file knows Dask.

A worker needs pawfall, and the clips, the home of the caseload and the network under the same paths as here.
"""

import threading
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, astuple
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any, Final

from distributed import Client, Future, KilledWorker, get_worker

from gait.caseload.crew import LocalCrew, read_alone
from gait.caseload.errors import CaseloadError
from gait.caseload.guard import Event, Limits, Progressed
from gait.caseload.jobs import Job, Outcome, job_of, outcome_of
from gait.command.edge import OUR_FAULT

#: s to wait for the scheduler.
CONNECT_S: Final = 15.0
#: Jobs beyond the threads of the cluster that wait there, so that no worker has to wait for the next one, and a cluster
#: that grows with its work sees that there is some.
SPARE: Final = 4

_kept = threading.local()


def read_guarded(told: Mapping[str, Any], limits: Mapping[str, float], topic: str) -> dict[str, Any]:
    """On a worker: read the clip of a job in a process of its own, and tell how far it is under ``topic``.

    Each thread of the worker keeps its process for the next clip, with the network loaded.
    """
    worker = get_worker()
    crew = getattr(_kept, "crew", None)
    if crew is None:
        crew = _kept.crew = LocalCrew(1, Limits(**limits))
    return read_alone(job_of(told), crew, lambda moved: worker.log_event(topic, astuple(moved))).as_dict()


class DaskCrew:
    """All workers of a cluster."""

    def __init__(self, address: str, limits: Limits, topic: str) -> None:
        """``address`` of the scheduler, or the file in which it wrote it; ``topic``: a name that no other run has.

        Raises CaseloadError when no scheduler answers.
        """
        where = {"scheduler_file": address} if Path(address).is_file() else {"address": address}
        connect: Any = Client  # distributed has no types here
        try:
            self._client = connect(**where, timeout=CONNECT_S, set_as_default=False)
        except (OSError, ValueError, ImportError) as error:
            raise CaseloadError(f"No Dask scheduler answers at {address}: {' '.join(str(error).split())}") from error
        self._address, self._limits, self._topic = address, asdict(limits), topic
        self._heard: SimpleQueue[Any] = SimpleQueue()  # events, and futures that are done
        self._jobs: dict[Any, Job] = {}
        self._client.subscribe_topic(topic, lambda event: self._heard.put(Progressed(*event[1])))

    def free(self) -> int:
        """Threads of the cluster that have no job, and some more."""
        try:
            threads: dict[str, int] = self._client.nthreads()
        except OSError as error:
            raise self._ended() from error
        return sum(threads.values()) + SPARE - len(self._jobs)

    def give(self, job: Job) -> None:
        """Send a job; Dask chooses the worker, and another one when that is lost."""
        future = self._client.submit(read_guarded, job.as_dict(), self._limits, self._topic, pure=False)
        self._jobs[future] = job
        future.add_done_callback(self._heard.put)

    def wait(self, timeout_s: float) -> list[Event]:
        """What was heard since the last call. Raises CaseloadError when the cluster is gone or cannot read at all."""
        heard: list[Event] = []
        try:
            item = self._heard.get(timeout=timeout_s)
            while True:
                heard.append(self._outcome(item) if isinstance(item, Future) else item)
                item = self._heard.get_nowait()
        except Empty:
            pass
        if self._client.status != "running":
            raise self._ended()
        return heard

    def close(self) -> None:
        """Take back what is not begun and leave the cluster to itself."""
        with suppress(OSError, TimeoutError):  # a scheduler that has ended has nothing to take back
            self._client.cancel(list(self._jobs))
        self._client.close()

    def _ended(self) -> CaseloadError:
        return CaseloadError(f"The Dask scheduler at {self._address} has ended. Start it again and run again.")

    def _outcome(self, future: Any) -> Outcome:
        job = self._jobs.pop(future)
        if future.status == "finished":
            return outcome_of(future.result())
        if self._client.status != "running":
            raise self._ended()
        lost = future.status != "error"  # the scheduler has forgotten it
        error = None if lost else future.exception()
        if lost or isinstance(error, KilledWorker):
            return Outcome(job.task, "died", "the Dask workers that read it were lost", OUR_FAULT)
        told = " ".join(f"{type(error).__name__}: {error}".split())
        raise CaseloadError(f"A worker of the cluster cannot read ({told}). Install this pawfall there.")
