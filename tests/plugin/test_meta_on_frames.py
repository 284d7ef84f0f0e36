"""What lies on the frames: a GstCustomMeta that hosts in C and in Python find, and that costs nobody a frame."""

import os
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from plugin.hosts import PATIENCE_S, SOURCE, SYSTEM_PYTHON, WALK, need_a_host, play, variables

pytestmark = pytest.mark.slow

PROGRAM = Path(__file__).with_name("host_program.c")
PATTERN = "videotestsrc num-buffers=30 ! video/x-raw,format=RGB,width=320,height=180,framerate=30/1"
#: Puts words onto frames again and again; then onto one that others hold too. Prints MiB early and late, and words.
FILLING = """
import sys
import gi
gi.require_version("Gst", "1.0")
from gi.repository import Gst
Gst.init(None)
from gait.plugin import meta
meta.register("words")

def filled():
    inner, outer = Gst.Structure.new_empty("inner"), Gst.Structure.new_empty("words")
    for number in range(30):
        inner.set_value(f"name_{number}", 1.5 * number)
    outer.set_value("inner", inner)
    outer.set_value("list", Gst.ValueArray([inner] * 5))
    buffer = Gst.Buffer.new_allocate(None, 1000, None)
    assert meta.add(buffer, outer)
    return buffer

def mib():
    return int(open("/proc/self/statm").read().split()[1]) * 4096 / 2**20

for count in (3000, 9000):
    for _ in range(count):
        buffer = filled()
    print(mib())
copy = filled().copy_deep()
print(copy.get_custom_meta("words").get_structure().get_value("list")[4].get_value("name_2"))
held, other = Gst.BufferList.new(), Gst.Buffer.new_allocate(None, 1000, None)
held.insert(-1, other)
print(meta.add(other, Gst.Structure.new_empty("words")), other.get_custom_meta("words"))
"""
#: MiB; four structures that were not given back would take more than 50.
FLAT_MIB = 4.0


@pytest.fixture(scope="module", autouse=True)
def host() -> None:
    need_a_host()


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, Path], list[list[str]]]:
    """A host in C: plays a pipeline, gives what it printed of every frame."""
    may_miss = os.environ.get("CI") != "true"
    if may_miss and not (shutil.which("cc") and shutil.which("pkg-config")):
        pytest.skip("no compiler here: apt-get install gcc libc6-dev pkg-config libgstreamer1.0-dev")
    flags = subprocess.run(
        ["pkg-config", "--cflags", "--libs", "gstreamer-1.0"], capture_output=True, text=True, check=False
    )
    if may_miss and flags.returncode:
        pytest.skip("no headers of GStreamer here: apt-get install libgstreamer1.0-dev")
    program = tmp_path_factory.mktemp("built") / "host"
    subprocess.run(["cc", "-Wall", "-Werror", str(PROGRAM), "-o", str(program), *flags.stdout.split()], check=True)

    def run(pipeline: str, folder: Path) -> list[list[str]]:
        done = subprocess.run(
            [str(program), pipeline], env=variables(folder), capture_output=True, text=True, timeout=PATIENCE_S,
            check=False,
        )  # fmt: skip
        said = [line for line in done.stderr.splitlines() if "CRITICAL" in line and "floating" not in line]
        assert done.returncode == 0 and not said, said
        return [line.split("|") for line in done.stdout.splitlines()]

    return run


def test_a_host_in_c_reads_what_a_host_in_python_reads(
    built: Callable[[str, Path], list[list[str]]], tmp_path: Path
) -> None:
    """And it stays on the frame through other elements, with the size of the picture it is about."""
    after = "! queue ! videoconvert ! videoscale ! video/x-raw,format=I420,width=320,height=180 ! fakesink name=end"
    words = f"{SOURCE.format(film=WALK)} ! pawfall name=dog {after}"
    native, seen = built(words, tmp_path), play(words, tmp_path)
    assert seen.end == "end" and len(native) == len(seen.frames) > 100
    for (stamp, t_s, x_px, count, kind), (other_stamp, told) in zip(native, seen.frames, strict=True):
        assert int(stamp) == other_stamp and (told["width_px"], told["height_px"]) == (640, 360)
        assert float(t_s) == pytest.approx(told["landmarks"]["t_s"], abs=1e-8)
        assert float(x_px) == pytest.approx(told["landmarks"].get("withers_x_px", -1), abs=1e-8)
        assert (int(count), kind) == (len(told["events"]), told["events"][0]["kind"] if told["events"] else "-")
    assert sum(int(row[3]) for row in native) > 40


@pytest.mark.parametrize("delay_s", [0, 0.3])
def test_frames_that_others_hold_too_are_left_alone(delay_s: float, tmp_path: Path) -> None:
    """Both branches get the same frames; the one past the element is not written into."""
    one = f"t. ! queue ! pawfall name=dog draw=true delay={delay_s} ! fakesink"
    ways = {"past": f"{one} t. ! queue ! fakesink name=end", "through": f"{one} name=end t. ! queue ! fakesink"}
    seen = {way: play(f"{PATTERN} ! tee name=t {words}", tmp_path) for way, words in ways.items()}
    assert {one.end for one in seen.values()} == {"end"}
    assert seen["past"].stamps == seen["through"].stamps and len(seen["past"].stamps) == 30
    assert not any(told for _, told in seen["past"].frames)
    carried = [told for _, told in seen["through"].frames if told]
    assert carried and all(told["landmarks"].keys() == {"t_s"} for told in carried)


def test_frames_own_what_is_put_onto_them(tmp_path: Path) -> None:
    done = subprocess.run(
        [SYSTEM_PYTHON, "-c", FILLING], env=variables(tmp_path), capture_output=True, text=True, check=False
    )
    assert done.returncode == 0 and not done.stderr, done.stderr
    early, late, *words = done.stdout.splitlines()
    assert float(late) < float(early) + FLAT_MIB
    assert words == ["3.0", "False None"]
