"""A recording holds every picture at its time, and outlives whoever writes it."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from film_maker import number_in, numbered_picture

from pose.clip import open_clip
from pose.film import PART_S
from pose.recorder import Recorder

ROOT = Path(__file__).parents[2]
#: s, rounding of a time in ticks of the file.
TICK_S = 1e-4
FPS = 30.0

#: Records four seconds, then is killed in the midst of it, as the machine would do.
KILLED = """
import os, signal, sys
sys.path.insert(0, "tests")
from pathlib import Path
from film_maker import numbered_picture
from pose.recorder import Recorder
recorder = Recorder(Path(sys.argv[1]))
for number in range(120):
    recorder.add(number / 30, numbered_picture(number % 64))
while recorder.written < 120:
    pass
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_every_picture_is_recorded_at_its_time(tmp_path: Path) -> None:
    times = 3.0 + np.cumsum(np.random.default_rng(1).uniform(0.01, 0.09, 60))
    recorder = Recorder(tmp_path / "clip.mp4")
    for number, t_s in enumerate(times.tolist()):
        recorder.add(t_s, numbered_picture(number))
    assert recorder.close() == 60 and recorder.lost == 0 and not recorder.failed
    clip = open_clip(tmp_path / "clip.mp4")
    assert [number_in(frame.rgb) for frame in clip.frames()] == list(range(60))
    assert np.abs(clip.stamps_s - clip.stamps_s[0] - (times - times[0])).max() < TICK_S
    recorder.add(99.0, numbered_picture(0))
    assert recorder.lost == 1


def test_a_killed_process_leaves_all_but_the_last_second(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    done = subprocess.run([sys.executable, "-c", KILLED, str(path)], cwd=ROOT, check=False)
    assert done.returncode == -9
    clip = open_clip(path)
    numbers = [number_in(frame.rgb) for frame in clip.frames()]
    assert numbers == [number % 64 for number in range(len(numbers))]
    assert 120 / FPS - clip.duration_s <= PART_S + 1.5 / FPS + TICK_S


def test_a_camera_that_changes_its_pictures_ends_the_recording_whole(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path / "clip.mp4")
    for number in range(8):
        recorder.add(number / FPS, numbered_picture(number))
    for number in range(4):
        recorder.add(1 + number / FPS, numbered_picture(number, 192, 128))
    assert recorder.close() == 8 and recorder.lost >= 3
    assert recorder.failed.startswith("The recording clip.mp4 ends here: The camera changed the size")
    assert open_clip(tmp_path / "clip.mp4").frame_count == 8


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_disk_is_told(tmp_path: Path) -> None:
    recorder = Recorder(Path("/dev/full"))
    noise = np.random.default_rng(0)
    for number in range(90):
        recorder.add(number / FPS, noise.integers(0, 255, (64, 96, 3), dtype=np.uint8))
    recorder.close()
    assert "No space left on device" in recorder.failed
