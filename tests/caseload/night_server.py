"""Starts nights quickly: libraries are loaded once, and each line of input forks a coordinator.

A line is [home, database, cluster] as JSON. Its answer is the number of that process, which anybody may kill.
"""

import json
import os
import signal
import sys
import traceback
from pathlib import Path

from night_maker import spend_night

import gait.caseload.migrating  # noqa: F401 (as all else: loaded once)


def main() -> None:
    """Fork until the input closes."""
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody has to wait for those that were killed
    for line in sys.stdin:
        pid = os.fork()
        if pid == 0:
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            spend(*json.loads(line))
        sys.stdout.write(f"{pid}\n")
        sys.stdout.flush()


def spend(home: str, url: str | None, cluster: str | None) -> None:
    """One night, after which this process ends, whatever came of it."""
    code = 1
    try:
        spend_night(Path(home), url, cluster)
        code = 0
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stderr.flush()
        os._exit(code)


if __name__ == "__main__":
    main()
