"""A camera in the network: its stream becomes a recording and a line of JSON for each event."""

import json
import os
import signal
import socket
import subprocess
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from plugin.hosts import PATIENCE_S, README_LINES, SOURCE, SYSTEM_PYTHON, WALK, background, launch, need_a_host, play

from pose.clip import open_clip

pytestmark = pytest.mark.slow

CAMERA = Path(__file__).with_name("camera.py")
#: Frames that may be missing where a stream begins before its player is ready.
LATE_FRAMES = 10
#: s by which two touchdowns may lie otherwise apart than in the film, as they are told at other moments; a third of a
#: frame.
APART_S = 0.01
#: Packets wait, so that a slow analysis holds up no picture that is still to come.
WAITING = "queue max-size-buffers=0 max-size-bytes=0 max-size-time=0"
RECORDED = "videoconvert ! vp8enc deadline=1 ! webmmux ! filesink location={folder}/recording.webm"


@pytest.fixture(scope="module", autouse=True)
def host() -> None:
    need_a_host()


@pytest.fixture
def camera_program() -> None:
    """Left out where there is no library for such a camera, but never in CI."""
    call = [SYSTEM_PYTHON, "-c", "import gi; gi.require_version('GstRtspServer', '1.0')"]
    if os.environ.get("CI") != "true" and subprocess.run(call, capture_output=True, check=False).returncode:
        pytest.skip("no server of streams here: apt-get install gir1.2-gst-rtsp-server-1.0")


def events_in(folder: Path) -> list[dict[str, Any]]:
    """The lines of JSON."""
    return [json.loads(line) for line in (folder / "events.json").read_text().splitlines()]


def test_a_camera_that_speaks_rtsp_is_recorded_as_the_readme_says(
    camera_program: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    [line] = [line for line in README_LINES if "rtsp:" in line]
    monkeypatch.chdir(tmp_path)
    with background([SYSTEM_PYTHON, str(CAMERA), str(WALK)], tmp_path, "rtsp://") as (_, address):
        words = line.replace("gst-launch-1.0 -e ", "").replace("rtsp://camera.local/stream", address)
        done = launch(words, tmp_path)
    assert done.returncode == 0, done.stderr
    recording = open_clip(tmp_path / "recording.webm")
    assert recording.frame_count >= open_clip(WALK).frame_count - LATE_FRAMES
    assert recording.at(3.0).rgb.std() > 20
    # where the machine is too busy to analyse enough of a live picture, that is told instead
    landings = [one for one in events_in(tmp_path) if one["kind"] == "touchdown"]
    assert len(landings) > 10 or "pawfall-skipped" in done.stdout


def test_packets_are_recorded_until_the_player_is_interrupted(tmp_path: Path) -> None:
    """Every picture is waited for, so that the events are those of the film, however busy the machine is."""
    film = play(f"{SOURCE.format(film=WALK)} ! pawfall name=dog ! fakesink name=end", tmp_path).of("event")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words = (
        f"udpsrc port={port} caps=application/x-rtp,media=video,clock-rate=90000,encoding-name=H264 ! "
        f"rtpjitterbuffer mode=none ! rtph264depay ! {WAITING} ! avdec_h264 ! videoconvert ! "
        f"pawfall when-slow=wait events={tmp_path}/events.json ! {RECORDED.format(folder=tmp_path)}"
    )
    sender = (
        f"filesrc location={WALK} ! qtdemux ! rtph264pay pt=96 config-interval=-1 ! udpsink host=127.0.0.1 port={port}"
    )
    with background(["gst-launch-1.0", "--no-fault", "-e", *words.split()], tmp_path, "PLAYING") as (player, _):
        assert launch(sender, tmp_path).returncode == 0
        time.sleep(1.0)
        player.send_signal(signal.SIGINT)
        assert player.wait(PATIENCE_S) == 0, (tmp_path / "said.txt").read_text()[-2000:]
    assert open_clip(tmp_path / "recording.webm").frame_count == open_clip(WALK).frame_count
    told, landings = events_in(tmp_path), {}
    for name, events in (("film", film), ("stream", told)):
        landings[name] = [(one["paw"], one["t_s"]) for one in events if one["kind"] == "touchdown"]
        assert [one["gait"] for one in events if one["kind"] == "gait changed"] == ["walk"]
    paws, times = zip(*((*zip(*one, strict=True),) for one in landings.values()), strict=True)
    assert paws[0] == paws[1] and len(paws[0]) > 20
    assert np.diff(times[1]) == pytest.approx(np.diff(times[0]), abs=APART_S)
