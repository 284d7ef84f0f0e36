"""Runs a function in a process of its own that may take so much time and memory and no more: whatever a file that came
from elsewhere does to a decoder, it does to that process alone.

The process is ``python -m gait.desk.limited``. It gets one line of JSON and gives one back.
"""

import faulthandler
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import suppress
from dataclasses import dataclass
from pkgutil import resolve_name
from typing import IO, Any, Final, TextIO

import psutil

from gait.caseload.guard import MIB
from gait.command.edge import EXPECTED, fault, message
from gait.desk.errors import DeskError

#: HTTP: what came cannot be worked on.
UNUSABLE: Final = 422
#: HTTP: a fault of ours.
OURS: Final = 500
#: HTTP: try again later.
BUSY: Final = 503
#: s between two looks at a process; what it can take of memory in between is what a disk or a network brings.
LOOK_S: Final = 0.05
#: s beyond the time limit after which the process ends itself, in case nobody is left to end it.
GRACE_S: Final = 10.0
#: Such processes at a time; each may use every core, and the reading of the caseload goes on beside them.
TOGETHER: Final = 2
ADVICE: Final = "Copy the file from the camera again, or save it as mp4."
#: s that one may wait for its turn.
TURN_S: Final = 120.0


@dataclass(frozen=True, slots=True)
class Limits:
    """What a process may take.

    time_s      s in all, loading of the libraries among it (some seconds on a busy machine); set by judgement
    memory_mib  MiB; looking at 1080p is measured to stay below 1024, 4K waits for frames of four times the size
    answer_mib  MiB of what it gives back; a picture for a page has 0.2
    """

    time_s: float = 60.0
    memory_mib: float = 3072.0
    answer_mib: float = 16.0


_TURNS: Final = threading.BoundedSemaphore(TOGETHER)


def run_limited(
    what: str, arguments: dict[str, Any], limits: Limits = Limits(), *, advice: str = ADVICE
) -> dict[str, Any]:
    """What the function ``what`` ("module:function") gives for ``arguments``, both as JSON knows them.

    advice  what a person can do when the process comes to no end of its own

    Raises DeskError: with the function's own words when its error was foreseen (see gait.command.edge), otherwise with
    one plain sentence about what became of the process.
    """
    if not _TURNS.acquire(timeout=TURN_S):
        raise DeskError("Other files are being looked at; try again in a minute.", BUSY)
    try:
        with tempfile.TemporaryFile() as answer:
            why, code = _watched(json.dumps({"what": what, "arguments": arguments, "limits": limits.time_s}), answer,
                                 limits)  # fmt: skip
            answer.seek(0)
            return _answer(answer.read(), why or _ended(code), advice, whole=not why)
    finally:
        _TURNS.release()


def _watched(told: str, answer: IO[bytes], limits: Limits) -> tuple[str, int]:
    """Run the process to its end, or end it; says why it was ended ("" = it ended by itself) and its exit code."""
    process = subprocess.Popen(
        [sys.executable, "-m", "gait.desk.limited"],
        stdin=subprocess.PIPE,
        stdout=answer,
        stderr=subprocess.DEVNULL,
        start_new_session=True,  # Ctrl-C is for the desk, which ends its processes itself
    )
    assert process.stdin is not None
    try:
        with suppress(OSError):  # it is gone already, which is found below
            process.stdin.write(told.encode() + b"\n")
            process.stdin.flush()
        why = _until_end(process, answer, limits) or _too_much(answer, limits)
    finally:
        process.kill()
        code = process.wait()
        with suppress(OSError):
            process.stdin.close()
    return why, code


def _until_end(process: "subprocess.Popen[bytes]", answer: IO[bytes], limits: Limits) -> str:
    """Wait for the end of ``process``; returns early with the reason when it takes more than it may."""
    end_s = time.monotonic() + limits.time_s
    while True:
        with suppress(subprocess.TimeoutExpired):
            process.wait(LOOK_S)
            return ""
        if time.monotonic() > end_s:
            return f"it took more than {limits.time_s:g} s"
        if _memory_mib(process.pid) > limits.memory_mib:
            return f"it took more than {limits.memory_mib:g} MiB of memory"
        if why := _too_much(answer, limits):
            return why


def _too_much(answer: IO[bytes], limits: Limits) -> str:
    over = os.fstat(answer.fileno()).st_size > limits.answer_mib * MIB
    return "it gave back more than a page can show" if over else ""


def _memory_mib(pid: int) -> float:
    try:
        return float(psutil.Process(pid).memory_info().rss) / MIB
    except psutil.Error:
        return 0.0


def _answer(text: bytes, why: str, advice: str, *, whole: bool) -> dict[str, Any]:
    """What the process gave back. Raises DeskError when it gave nothing, or an error."""
    told: Any = None
    with suppress(ValueError):
        told = json.loads(text) if whole else None
    if isinstance(told, dict) and "done" in told:
        return dict(told["done"])
    if isinstance(told, dict) and "words" in told:
        raise DeskError(told["words"], int(told["status"]))
    raise DeskError(f"This cannot be worked on: {why}. {advice}", UNUSABLE)


def _ended(code: int) -> str:
    if code < 0:
        with suppress(ValueError):
            return f"the process that looked at it ended with {signal.Signals(-code).name}"
    return f"the process that looked at it ended with code {code}"


def main() -> None:
    """Do what the first line asks and give back what comes of it; end when nobody wants it any more."""
    answers = _keep_output()
    asked = json.loads(sys.stdin.readline())
    threading.Thread(target=_listen, name="listen", daemon=True).start()
    # a decoder that holds the whole interpreter notices nothing; this watch, in C, ends the process all the same
    faulthandler.dump_traceback_later(asked["limits"] + GRACE_S, exit=True)
    json.dump(_done(asked["what"], asked["arguments"]), answers)
    answers.flush()
    os._exit(0)  # the answer is given; no library's way of ending may spoil it


def _done(what: str, arguments: dict[str, Any]) -> dict[str, Any]:
    try:
        return {"done": resolve_name(what)(**arguments)}
    except MemoryError:
        return {"words": "This cannot be worked on: no memory was left. Close other programs, then try again.",
                "status": BUSY}  # fmt: skip
    except EXPECTED as error:
        return {"words": message(error), "status": getattr(error, "status", UNUSABLE)}
    except Exception as error:
        return {"words": fault(error), "status": OURS}


def _keep_output() -> TextIO:
    """The way back for the answer alone: whatever a library prints goes to the error stream instead."""
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "w", encoding="utf-8")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    return answers


def _listen() -> None:
    """The line stays open for as long as whoever asked lives and wants an answer."""
    sys.stdin.read()
    os._exit(1)


if __name__ == "__main__":
    main()
