"""A real PostgreSQL server in a folder of its own, reached through a socket there and by nobody else."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

#: Whom the server runs as when the tests run as root, which it refuses to do.
NOBODY = "nobody"
START_S = 60


def programs() -> Path | None:
    """The folder with initdb and postgres; Debian keeps them off the path."""
    on_path = shutil.which("initdb")
    if on_path:
        return Path(on_path).resolve().parent
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1].parent if found else None


@contextmanager
def running(at: Path) -> Iterator[str]:
    """A new server made by the programs in ``at``; gives the address of a database with {} for its name."""
    home = Path(tempfile.mkdtemp(prefix="pawfall-pg-"))
    who: dict[str, Any] = {}
    if os.getuid() == 0:
        shutil.chown(home, NOBODY)
        who = {"user": NOBODY, "group": "nogroup", "extra_groups": []}
    data = home / "data"
    made = [at / "initdb", "-D", data, "-U", "pawfall", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "-N"]
    subprocess.run(made, check=True, capture_output=True, cwd=home, **who)
    settings = f"-c listen_addresses='' -c fsync=off -c max_connections=40 -k {home}"
    control = [at / "pg_ctl", "-D", data, "-w", "-t", str(START_S)]
    start, stop = [*control, "-l", home / "log", "-o", settings, "start"], [*control, "-m", "immediate", "stop"]
    try:
        subprocess.run(start, check=True, cwd=home, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, **who)
        yield f"postgresql://pawfall@/{{}}?host={home}"
    finally:
        subprocess.run(stop, check=False, capture_output=True, cwd=home, **who)
        shutil.rmtree(home, ignore_errors=True)
