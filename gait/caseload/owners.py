"""Who works on a task: a process of a machine, told apart from a later one with the same number."""

import os
import socket
from typing import Final

import psutil

#: s; the start of a process is reckoned from the machine's clock, which may be set right while it runs
SAME_START_S: Final = 5.0


def owner_here() -> str:
    """This process, as 'host:pid:start'."""
    return f"{socket.gethostname()}:{os.getpid()}:{psutil.Process().create_time():.2f}"


def is_gone(owner: str) -> bool:
    """Whether the process is known to have ended; False for one of another machine, which cannot be seen from here."""
    host, pid, start = owner.rsplit(":", 2)
    if host != socket.gethostname():
        return False
    try:
        process = psutil.Process(int(pid))
        return process.status() == psutil.STATUS_ZOMBIE or abs(process.create_time() - float(start)) > SAME_START_S
    except psutil.NoSuchProcess:
        return True
