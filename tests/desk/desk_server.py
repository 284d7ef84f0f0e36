"""`pawfall desk` as a person starts it, on one port for as long as a test runs, however often it is killed."""

import os
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

from gait.command.desk import listen

ROOT = Path(__file__).parent.parent.parent
START_S = 60.0


class Server:
    """A desk over the caseload in ``home``."""

    def __init__(self, home: Path, *more: str) -> None:
        with listen("127.0.0.1", 0) as free:
            self.port = free.getsockname()[1]
        self.home, self.more = home, more
        self.address = f"http://127.0.0.1:{self.port}"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it, and wait until it answers."""
        options = ["--home", str(self.home), "--port", str(self.port), "--no-browser", *self.more]
        command = [sys.executable, "-m", "gait.cli", "desk", *options]
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        self.process = subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL)
        until = time.monotonic() + START_S
        while time.monotonic() < until:
            try:
                urllib.request.urlopen(f"{self.address}/reading.json", timeout=2).close()
                return
            except (urllib.error.URLError, ConnectionError, TimeoutError):
                time.sleep(0.05)
        raise AssertionError("the desk does not answer")

    def __enter__(self) -> "Server":
        self.start()
        return self

    def __exit__(self, *error: object) -> None:
        self.kill()

    def kill(self) -> None:
        """End it as a power cut would."""
        if self.process:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait()
            self.process = None
