"""Hosts of the element as they are in real life, and where there are none."""

import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import psutil
import pytest

import samples
from gait.plugin.host import PACKAGES, environment
from pose.clip import open_clip

PROGRAM = Path(__file__).with_name("host_program.py")
FILMS = Path(samples.__file__).parent
WALK, TURNS = FILMS / "tansy_walk_boots.mp4", FILMS / "pilot_pace_to_trot.mp4"
SOURCE = "filesrc location={film} ! decodebin ! videoconvert"
README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
README_PART = README.split("### In GStreamer")[1].split("\n## ")[0]
#: The pipelines of the README, one each.
README_LINES = [
    line for line in README_PART.split("```sh\n")[1].split("```")[0].replace("\\\n", " ").splitlines() if "!" in line
]
#: s, longest that a pipeline of these tests may take, on a machine that is busy with other tests.
PATIENCE_S = 240
SYSTEM_PYTHON = "/usr/bin/python3"


def absent() -> str:
    """Why there can be no host here; "" = there can."""
    if not shutil.which("gst-launch-1.0"):
        return f"no GStreamer here: apt-get install {PACKAGES}"
    call = [SYSTEM_PYTHON, "-c", "import sys, gi; gi.require_version('Gst', '1.0'); print(*sys.version_info[:2])"]
    done = subprocess.run(call, capture_output=True, text=True, check=False)
    if done.returncode or done.stdout.split() != [str(part) for part in sys.version_info[:2]]:
        return "the system's own Python has no gst-python, or is another version than the one of these tests"
    return ""


def need_a_host() -> None:
    """Leave the test out where there is no host, but never where CI=true."""
    why = absent()
    if why and os.environ.get("CI") != "true":
        pytest.skip(why)
    assert not why, why


def variables(folder: Path) -> dict[str, str]:
    """The environment of a host. Its register of elements lies beside ``folder``: looking through all that is installed
    takes a second, so the hosts of one process share it."""
    return os.environ | environment() | {"GST_REGISTRY": str(folder.parent / "registry.bin")}


@dataclass(frozen=True)
class Played:
    """What a host saw. frames: [pts in ns, what it carries]; messages: [name, fields]; end: "end" or the error."""

    frames: list[Any]
    messages: list[Any]
    end: str
    latency: list[Any] | None

    def of(self, kind: str) -> list[dict[str, Any]]:
        """The messages of that name."""
        return [fields for name, fields in self.messages if name == f"pawfall-{kind}"]

    @property
    def stamps(self) -> list[int]:
        """ns, of all frames."""
        return [frame[0] for frame in self.frames]


def play(pipeline: str, folder: Path, *steps: dict[str, Any]) -> Played:
    """Play ``pipeline``, whose last element is called ``end``, in a host of its own; ``steps`` as told there."""
    call = [SYSTEM_PYTHON, str(PROGRAM), pipeline, json.dumps(steps)]
    done = subprocess.run(call, env=variables(folder), capture_output=True, text=True, timeout=PATIENCE_S, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    return Played(**json.loads(done.stdout))


def launch(pipeline: str, folder: Path) -> "subprocess.CompletedProcess[str]":
    """Play ``pipeline`` with gst-launch-1.0; a crash shows in the return code, a hang raises."""
    call = ["gst-launch-1.0", "--no-fault", "-m", *pipeline.split()]
    return subprocess.run(call, env=variables(folder), capture_output=True, text=True, timeout=PATIENCE_S, check=False)


@contextmanager
def background(call: list[str], folder: Path, sign: str) -> Iterator[tuple["subprocess.Popen[str]", str]]:
    """A program that runs while the test does something else; begun when it has said a line with ``sign``, which is
    handed on. What it says goes to ``said.txt`` in ``folder``."""
    with (folder / "said.txt").open("w") as said:
        program = subprocess.Popen(call, env=variables(folder), stdout=said, stderr=subprocess.STDOUT, text=True)
    try:
        end_s, line = time.monotonic() + PATIENCE_S, ""
        while not line:
            words = (folder / "said.txt").read_text()
            assert program.poll() is None and time.monotonic() < end_s, words[-2000:]
            line = next((one for one in words.splitlines() if sign in one), "")
            time.sleep(0.1)
        yield program, line
    finally:
        program.kill()
        program.wait()


def source_of_pictures(folder: Path) -> str:
    """A pipeline that plays a dog again and again, from single pictures that are put into ``folder``."""
    for frame in open_clip(WALK).frames():
        cv2.imwrite(str(folder / f"{frame.index:03}.jpg"), frame.rgb[..., ::-1])
    pictures = f"multifilesrc name=source location={folder}/%03d.jpg loop=true caps=image/jpeg,framerate=30/1"
    return f"{pictures} ! jpegdec ! videoconvert"


def memory_of_live(folder: Path, seconds: float) -> list[tuple[float, float]]:
    """s since the start and MiB of a host that plays a dog again and again, in step with the clock."""
    pipeline = f"{source_of_pictures(folder)} ! clocksync ! pawfall draw=true when-slow=skip ! fakesink"
    call, used = ["gst-launch-1.0", "--no-fault", "-m", *pipeline.split()], []
    with background(call, folder, "PLAYING") as (host, _):
        start_s = time.monotonic()
        while (t_s := time.monotonic() - start_s) < seconds:
            assert host.poll() is None, (folder / "said.txt").read_text()[-2000:]
            used.append((t_s, psutil.Process(host.pid).memory_info().rss / 2**20))
            time.sleep(0.5)
    return used
