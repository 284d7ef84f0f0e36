"""What a host of GStreamer needs to find the element, and a try of it with the real programs."""

import json
import os
import shutil
import subprocess
import sysconfig
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import samples
from gait.errors import GaitError

HOME: Final = Path(__file__).parent
SHIPPED: Final = HOME / "python" / "pawfall_element.py"
#: The line of the shipped file after which an installed one names the places of its packages.
MARK: Final = "PLACES = sys.path\n"
PROGRAMS: Final = ("gst-inspect-1.0", "gst-launch-1.0")
#: What a Debian or Ubuntu has to have; any other system has them under like names.
PACKAGES: Final = (
    "gstreamer1.0-tools gstreamer1.0-plugins-base gstreamer1.0-plugins-good gstreamer1.0-libav python3-gst-1.0 "
    "gstreamer1.0-python3-plugin-loader gir1.2-gst-plugins-base-1.0"
)
#: s, longest that a try may take; the film lasts six.
PATIENCE_S: Final = 180.0
FILM: Final = "tansy_walk_boots.mp4"


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of a try. version: of GStreamer, in its own words; events: told; gaits: names in the order told."""

    version: str
    events: int
    gaits: tuple[str, ...]


def places() -> list[str]:
    """Folders in which Python finds pawfall and all that it needs."""
    found = (str(HOME.parents[1]), sysconfig.get_path("purelib"), sysconfig.get_path("platlib"))
    return list(dict.fromkeys(found))


def environment() -> dict[str, str]:
    """The variables by which a host finds the element where nothing was installed."""
    return {"GST_PLUGIN_PATH": str(HOME), "PYTHONPATH": os.pathsep.join(places())}


def installed_path() -> Path:
    """Where the loader of GStreamer 1.22 looks for a user's own elements, unless GST_PLUGIN_SYSTEM_PATH is set."""
    return Path.home() / ".gstreamer-1.0" / "plugins" / "python" / SHIPPED.name


def install() -> Path:
    """Write the file by which every host of this user finds the element, with no variables set; returns its place."""
    path, words = installed_path(), SHIPPED.read_text(encoding="utf-8")
    path.parent.mkdir(parents=True, exist_ok=True)
    partial = path.with_suffix(".partial")
    partial.write_text(words.replace(MARK, f"{MARK}PLACES[:0] = {places()!r}\n"), encoding="utf-8")
    partial.replace(path)
    return path


def check() -> Tried:
    """Look for the element and read a demo clip with it, as a host would, and with its register of elements made anew.

    Raises GaitError with what to do where that fails.
    """
    absent = [name for name in PROGRAMS if not shutil.which(name)]
    if absent:
        raise GaitError(f"{' and '.join(absent)} cannot be found; on Debian and Ubuntu: apt-get install {PACKAGES}")
    with tempfile.TemporaryDirectory() as folder:
        given = {} if installed_path().is_file() else environment()
        host = os.environ | given | {"GST_REGISTRY": str(Path(folder) / "registry.bin")}
        version = _run([PROGRAMS[0], "--version"], host).stdout.splitlines()[1]
        _look_for_it(host)
        told = Path(folder) / "events.json"
        done = _run(_pipeline(told), host)
        if done.returncode:
            raise GaitError(f"The element was found, but the film did not play: {_fault(done, 'ERROR')}")
        events = [json.loads(line) for line in told.read_text(encoding="utf-8").splitlines()]
    return Tried(version, len(events), tuple(one["gait"] for one in events if one["kind"] == "gait changed"))


def _look_for_it(host: dict[str, str]) -> None:
    found = _run([PROGRAMS[0], "pawfall"], host)
    if not found.returncode:
        return
    if _run([PROGRAMS[0], "python"], host).returncode:
        raise GaitError(f"GStreamer has no loader of Python elements; on Debian and Ubuntu: apt-get install {PACKAGES}")
    raise GaitError(
        f"GStreamer did not find the element: {_fault(found, 'Error')} The loader runs the system's own Python "
        f"(/usr/bin/python3); pawfall is installed for Python {sysconfig.get_python_version()}. If they differ, make "
        "the virtual environment with it: /usr/bin/python3 -m venv."
    )


def _pipeline(told: Path) -> list[str]:
    film = Path(samples.__file__).parent / FILM
    words = "! decodebin ! videoconvert ! pawfall ! fakesink".replace("pawfall", f"pawfall events={told}")
    return [PROGRAMS[1], "-q", "--no-fault", "filesrc", f"location={film}", *words.split()]


def _fault(done: "subprocess.CompletedProcess[str]", sign: str) -> str:
    """The last line that shows ``sign``."""
    lines = [line for line in (done.stderr + done.stdout).splitlines() if sign in line]
    return lines[-1].strip().rstrip(".") + "." if lines else "it said nothing."


def _run(call: list[str], host: dict[str, str]) -> "subprocess.CompletedProcess[str]":
    try:
        return subprocess.run(call, env=host, capture_output=True, text=True, timeout=PATIENCE_S, check=False)
    except subprocess.TimeoutExpired as error:
        raise GaitError(f"{call[0]} did not come to an end within {PATIENCE_S:g} s.") from error
