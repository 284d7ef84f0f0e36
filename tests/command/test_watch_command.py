"""`pawfall watch`: what it says, what it leaves, and how it ends."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from command_line import call
from fake_network import disc_clip, write_fake_network

from gait.sheets.trial_sheet import read_trial
from pose.clip import open_clip
from pose.film import write_film

ROOT = Path(__file__).parents[2]
FPS, FRAMES = 30.0, 75
#: s, longest that a test waits for a process.
PATIENCE_S = 60.0


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A trotting dog of discs, with the network that finds it beside it."""
    folder = tmp_path_factory.mktemp("camera")
    write_fake_network(folder)
    clip = disc_clip(frames=FRAMES, fps=FPS)
    write_film(((frame.t_s, frame.rgb) for frame in clip.frames()), folder / "camera.mp4")
    return folder / "camera.mp4"


def test_a_camera_is_read_recorded_and_told(film: Path, tmp_path: Path) -> None:
    network = film.with_name("discs.onnx")
    told = "--network", network, "--belt-kmh", "7.2", "--facing", "right", "--dog", "Tansy", "--condition", "bare"
    done = call("watch", film, "-o", tmp_path / "out", *told)
    assert done.exit_code == 0, done.output
    [path] = (tmp_path / "out").glob("*.mp4")
    assert "Someone stays at the stop button" in done.output and "pictures answered: half within" in done.output
    assert "The film camera.mp4 is at its end." in done.output
    assert f"recorded: {path} ({FRAMES} pictures)" in done.output and f"pawfall read {path}" in done.output
    assert open_clip(path).frame_count == FRAMES
    sheet = read_trial(path.with_suffix(".toml"))
    assert (sheet["dog"], sheet["condition"], sheet["facing"]) == ("Tansy", "bare", "right")
    assert sheet["belt_m_s"] == pytest.approx(2.0) and sheet["date"] == path.name[:10]


def test_nothing_is_kept_where_that_is_asked_and_it_ends_by_itself(film: Path, tmp_path: Path) -> None:
    network = film.with_name("discs.onnx")
    done = call("watch", film, "-o", tmp_path / "out", "--network", network, "--no-record", "--seconds", 0.5)
    assert done.exit_code == 0 and not (tmp_path / "out").exists() and "recorded" not in done.output


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("nothing-here",), 2, "is no camera"),
        (("rtsp://127.0.0.1:9/x",), 2, "No picture comes from rtsp://127.0.0.1:9/x"),
        (("0", "--belt-kmh", "-1"), 2, "give a speed above 0"),
        (("0", "--network", "none.onnx"), 2, "none"),
    ],
    ids=["no camera", "nobody answers", "a bad speed", "no network"],
)
def test_what_cannot_be_watched_is_one_line(words: tuple[str, ...], code: int, said: str, tmp_path: Path) -> None:
    done = call("watch", *words, "-o", tmp_path / "out")
    assert done.exit_code == code and said in done.stderr and len(done.stderr.splitlines()) == 1
    assert not (tmp_path / "out").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL], ids=["Ctrl+C", "killed"])
def test_the_recording_outlives_the_command(film: Path, tmp_path: Path, how: signal.Signals) -> None:
    command = [sys.executable, "-m", "gait.cli", "watch", str(film), "-o", str(tmp_path / "out")]
    command += ["--network", str(film.with_name("discs.onnx"))]
    done = subprocess.Popen(
        command, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, stdout=subprocess.PIPE, text=True
    )
    until_s = time.monotonic() + PATIENCE_S
    # two parts of the film are on the disk
    while time.monotonic() < until_s and sum(p.read_bytes().count(b"moof") for p in tmp_path.glob("out/*.mp4")) < 2:
        time.sleep(0.02)
    done.send_signal(how)
    words, _ = done.communicate(timeout=PATIENCE_S)
    [path] = (tmp_path / "out").glob("*.mp4")
    assert open_clip(path).duration_s > 1.5 and path.with_suffix(".toml").is_file()
    assert ("recorded: " in words) == (how is signal.SIGINT) and (done.returncode == 0) == (how is signal.SIGINT)
