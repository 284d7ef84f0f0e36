"""Watches a folder and takes in what has finished copying."""

import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

from gait.caseload.adding import SETTLE_S, STILL_COPIED, Added, add
from gait.caseload.store import Store

#: s between two looks at the folder; set by judgement: looking costs some ms, and a clip takes longer to be read
LOOK_S: Final = 2.0

Signature = frozenset[tuple[str, int, int]]


def watch(
    store: Store,
    folder: Path,
    *,
    ended: Callable[[], bool] = lambda: False,
    look_s: float = LOOK_S,
    settle_s: float = SETTLE_S,
) -> Iterator[Added]:
    """Add ``folder`` now and whenever something in it has changed, until ``ended``; gives what came of each time."""
    folder = folder.resolve()
    before: Signature | None = None
    growing = False
    while not ended():
        now = signature(folder, store.home)
        if now != before or growing:
            added = add(store, folder, settle_s=settle_s)
            before, growing = now, any(fault.reason == STILL_COPIED for fault in added.faults)
            yield added
        time.sleep(look_s)


def signature(folder: Path, home: Path) -> Signature:
    """Path, size in bytes and time of change in ns of every file below ``folder``, without a caseload's ``home``."""
    found = set()
    for here, folders, files in os.walk(folder):
        folders[:] = [name for name in folders if not name.startswith(".") and Path(here, name) != home]
        for name in files:
            try:
                stat = os.stat(os.path.join(here, name))
            except OSError:
                continue
            found.add((os.path.join(here, name), stat.st_size, stat.st_mtime_ns))
    return frozenset(found)
