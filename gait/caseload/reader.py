"""The process in which clips are read, one after another: jobs come as lines of JSON, what came of them goes back so.

Run as ``python -m gait.caseload.reader``. It ends when whoever started it ends: then its input closes. A decoder that
holds the whole interpreter cannot notice that; a watch in C ends the process for it once the time limit is over.
"""

import faulthandler
import json
import os
import sys
import threading
import time
from pkgutil import resolve_name
from queue import SimpleQueue
from typing import Any, TextIO

from gait.caseload.jobs import Progress, attempt, job_of

#: s between two lines of progress of one clip; no person reads faster, and lines cost time.
TELL_EVERY_S = 0.5
#: s beyond the time limit after which the process ends itself, in case nobody is left to end it.
GRACE_S = 30.0
#: Said before anything is done with a clip: from here on its end is the clip's doing.
BEGUN = {"kind": "begun"}


def main() -> None:
    """Read what comes until the input closes."""
    answers = _keep_output()
    jobs: SimpleQueue[str] = SimpleQueue()
    threading.Thread(target=_listen, args=(jobs,), name="jobs", daemon=True).start()
    while True:
        told = json.loads(jobs.get())
        job = job_of(told["job"])
        reader = resolve_name(job.reader)  # loads the libraries, once; where one is missing the process ends here
        _send(answers, BEGUN)
        faulthandler.dump_traceback_later(told["limit_s"] + GRACE_S, exit=True)
        outcome = attempt(job, reader, _teller(answers, job.task))
        faulthandler.cancel_dump_traceback_later()
        _send(answers, {"kind": "outcome", **outcome.as_dict()})


def _keep_output() -> TextIO:
    """The way back for answers alone: whatever a library prints goes to the error stream instead."""
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "w", encoding="utf-8")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    return answers


def _listen(jobs: "SimpleQueue[str]") -> None:
    for line in sys.stdin:
        jobs.put(line)
    os._exit(0)  # nobody is left who could want the answer; what was begun is not put in place


def _teller(answers: TextIO, task: int) -> Progress:
    """Sends how far a clip has got, not too often, and always that a stage begins."""
    last: dict[str, float] = {}

    def tell(stage: str, done: int, total: int) -> None:
        """Send it if the last line is old enough."""
        now = time.monotonic()
        if now - last.get(stage, -TELL_EVERY_S) >= TELL_EVERY_S:
            last[stage] = now
            _send(answers, {"kind": "progress", "task": task, "stage": stage, "done": done, "total": total})

    return tell


def _send(answers: TextIO, told: dict[str, Any]) -> None:
    answers.write(json.dumps(told) + "\n")
    answers.flush()


if __name__ == "__main__":
    main()
