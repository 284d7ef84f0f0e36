"""The GStreamer element in real hosts: gst-launch-1.0 and a program of our own."""

import csv
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from command_line import call, record_of
from plugin.hosts import (
    README_LINES,
    README_PART,
    SOURCE,
    TURNS,
    WALK,
    Played,
    launch,
    memory_of_live,
    need_a_host,
    play,
    variables,
)

from gait.plugin.host import check, install, installed_path
from gait.stream import StreamSettings
from pose.clip import open_clip
from pose.table import read_table

pytestmark = pytest.mark.slow

#: ms by which the clock of a film in Matroska is rounded.
ROUNDED_S = 0.0006
#: s, time before which live reading knows no rhythm, as in tests/gait/test_live_against_whole.py.
KNOWN_S = 2.0
#: s by which events differ where pictures were converted otherwise.
SAME_S = 0.002
#: px by which a frame's own landmarks may differ from those of the whole clip, half of them.
HALF_PX = 1.0
NS = 1_000_000_000
#: s after which all libraries are loaded and all windows full.
SETTLED_S = 12.0
#: MiB by which memory may differ between the halves: what garbage comes and goes; a frame alone takes 0.7.
FLAT_MIB = 25.0
#: What stands in the pipeline whose time is taken.
COSTS = {
    "without": "", "every picture": "! pawfall", "every picture, drawn": "! pawfall draw=true",
    "every fourth picture": "! pawfall every=4",
}  # fmt: skip
#: ms of one core a frame at most, with the start; live reading alone takes 18 to 24 (README).
MOST_MS = 80.0


@pytest.fixture(scope="module", autouse=True)
def host() -> None:
    need_a_host()


@pytest.fixture(scope="module")
def walk(tmp_path_factory: pytest.TempPathFactory) -> Played:
    return play(f"{SOURCE} ! pawfall name=dog ! fakesink name=end".format(film=WALK), tmp_path_factory.mktemp("walk"))


def test_film_in_film_out(tmp_path: Path) -> None:
    out = tmp_path / "out.mkv"
    done = launch(
        f"{SOURCE.format(film=WALK)} ! pawfall draw=true ! videoconvert ! jpegenc ! matroskamux ! "
        f"filesink location={out}",
        tmp_path,
    )
    assert done.returncode == 0, done.stderr
    before, after = open_clip(WALK), open_clip(out)
    assert after.frame_count == before.frame_count
    assert np.abs(after.stamps_s - before.stamps_s).max() < ROUNDED_S
    # and something was drawn: bright or dark marks that the film does not have
    changed = np.abs(after.at(3.0).rgb.astype(int) - before.at(3.0).rgb).max(axis=2) > 80
    assert 100 < changed.sum() < 0.05 * changed.size
    assert "pawfall-event" in done.stdout and "pawfall-landmarks" in done.stdout


def test_frames_come_out_as_they_came_in(walk: Played, tmp_path: Path) -> None:
    without = play(f"{SOURCE} ! fakesink name=end".format(film=WALK), tmp_path)
    assert walk.end == without.end == "end"
    assert walk.stamps == without.stamps and len(walk.stamps) == open_clip(WALK).frame_count


@pytest.mark.parametrize("film", [WALK, TURNS], ids=["a walk", "from pace to trot"])
def test_the_bus_tells_what_reading_the_film_tells(film: Path, tmp_path: Path) -> None:
    told = play(f"{SOURCE} ! pawfall name=dog ! fakesink name=end".format(film=film), tmp_path).of("event")
    done = call("read", film, "-o", tmp_path / "results", "--no-film")
    assert done.exit_code == 0, done.output
    results = tmp_path / "results" / film.stem
    with (results / "contacts.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["touchdown_s"]]
    frame_s = 1 / open_clip(film).fps
    latest_s = StreamSettings().contact_delay_s + frame_s
    landings = [(one["paw"], one["t_s"]) for one in told if one["kind"] == "touchdown"]
    whole = [(f"{row['side']}_{row['paw']}", float(row["touchdown_s"])) for row in rows]
    for name, t_s in whole:
        near = [abs(t_s - other) for one, other in landings if one == name and abs(t_s - other) < frame_s]
        assert near or t_s < KNOWN_S, f"touchdown of {name} at {t_s} s was not told"
    for name, t_s in landings:
        assert any(one == name and abs(t_s - other) < frame_s for one, other in whole), f"{name} {t_s} s is made up"
    assert all(one["told_s"] - one["t_s"] <= latest_s for one in told if one["kind"] == "touchdown")
    runs = [run["gait"] for run in record_of(results)["runs"] if run["gait"] != "unclear"]
    assert [one["gait"] for one in told if one["kind"] == "gait changed"] == [
        gait for number, gait in enumerate(runs) if not number or gait != runs[number - 1]
    ]


def test_every_frame_carries_its_own_landmarks(walk: Played, tmp_path: Path) -> None:
    first, clip = walk.stamps[0], open_clip(WALK)
    for stamp, told in walk.frames:
        assert told["landmarks"]["t_s"] == pytest.approx((stamp - first) / NS, abs=1e-6)
        assert (told["width_px"], told["height_px"]) == (clip.width, clip.height)
    assert [told["landmarks"] for _, told in walk.frames] == walk.of("landmarks")
    carried = [event for _, told in walk.frames for event in told["events"]]
    assert carried == walk.of("event") and len(carried) > 40
    done = call("read", WALK, "-o", tmp_path / "results", "--no-film")
    assert done.exit_code == 0, done.output
    whole = read_table(tmp_path / "results" / WALK.stem / "landmarks.csv")
    live = np.array([told["landmarks"]["near_hind_x_px"] for _, told in walk.frames])
    assert np.median(np.abs(live - whole.xy_px[:, 2, 0])) < HALF_PX


def test_events_go_to_a_file_as_lines_of_json(walk: Played, tmp_path: Path) -> None:
    told = tmp_path / "events.json"
    done = launch(f"{SOURCE.format(film=WALK)} ! pawfall events={told} landmarks=false ! fakesink", tmp_path)
    assert done.returncode == 0 and "pawfall-landmarks" not in done.stdout
    lines = [json.loads(line) for line in told.read_text().splitlines()]
    assert lines == walk.of("event")


@pytest.mark.parametrize("layout", ["BGR", "RGBx"])
def test_any_order_of_bytes_reads_the_same(layout: str, walk: Played, tmp_path: Path) -> None:
    given = play(
        f"{SOURCE.format(film=WALK)} ! video/x-raw,format={layout} ! pawfall name=dog ! fakesink name=end", tmp_path
    )
    one, other = given.of("event"), walk.of("event")
    assert [(each["kind"], each.get("paw")) for each in one] == [(each["kind"], each.get("paw")) for each in other]
    assert [each["t_s"] for each in one] == pytest.approx([each["t_s"] for each in other], abs=SAME_S)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [("network=none.onnx", "none.onnx"), ("facing=up", "facing"), ("events=no/such/folder", "no/such/folder")],
    ids=["a network that is not there", "a side that is none", "a folder that is not there"],
)
def test_what_cannot_be_used_is_told_and_nothing_plays(wrong: str, words: str, tmp_path: Path) -> None:
    seen = play(f"videotestsrc num-buffers=9 ! videoconvert ! pawfall name=dog {wrong} ! fakesink name=end", tmp_path)
    assert words in seen.end and not seen.frames


def test_slow_analysis_costs_no_frame_and_is_told(tmp_path: Path) -> None:
    seen = play(f"{SOURCE} ! pawfall name=dog when-slow=skip delay=0 ! fakesink name=end".format(film=WALK), tmp_path)
    skipped = sum(one["pictures"] for one in seen.of("skipped"))
    assert len(seen.stamps) == open_clip(WALK).frame_count
    assert skipped > 0 and skipped + len(seen.of("landmarks")) == len(seen.stamps)


def test_every_third_picture_is_read(tmp_path: Path) -> None:
    seen = play(f"{SOURCE} ! pawfall name=dog every=3 ! fakesink name=end".format(film=WALK), tmp_path)
    assert len(seen.stamps) == 180 and len(seen.of("landmarks")) == 60
    # which are ten a second: too few for anything else
    [(_, warning)] = [one for one in seen.messages if one[0] == "warning"]
    assert "Fewer than 20 pictures a second" in warning["words"] and not seen.of("event")


def test_a_live_source_is_told_of_the_delay(tmp_path: Path) -> None:
    least = []
    for delay_s in (0.0, 0.25):
        seen = play(
            "videotestsrc is-live=true num-buffers=45 ! video/x-raw,format=RGB,width=320,height=180,framerate=30/1 ! "
            f"pawfall name=dog delay={delay_s} ! fakesink sync=true name=end",
            tmp_path,
        )
        assert len(seen.stamps) == 45
        assert seen.latency is not None and seen.latency[0] is True
        least.append(seen.latency[1])
    assert least[1] - least[0] == 0.25 * NS


def test_a_live_picture_costs_no_memory_as_time_goes_by(tmp_path: Path, request: pytest.FixtureRequest) -> None:
    """Half a minute; ten with ``--live-s 600``."""
    live_s = request.config.getoption("--live-s")
    used = np.array(memory_of_live(tmp_path, live_s))
    settled = used[used[:, 0] >= SETTLED_S]
    early, late = (part[:, 1].max() for part in np.array_split(settled, 2))
    rise = np.polyfit(settled[:, 0] / 60, settled[:, 1], 1)[0]
    sys.stdout.write(
        f"\nlive for {live_s:g} s: at most {early:.0f} MiB in the first half, {late:.0f} in the second; "
        f"{rise:+.2f} MiB a minute\n"
    )
    assert late < early + FLAT_MIB


def test_what_a_frame_costs(tmp_path: Path) -> None:
    """Against the same pipeline without the element; ``-s`` prints the numbers of the README."""
    frames, took_s = open_clip(WALK).frame_count, {}
    for name, part in COSTS.items():
        out = f"{SOURCE.format(film=WALK)} ! video/x-raw,format=RGB {part} ! fakesink"
        start_s, before = time.perf_counter(), os.times()
        assert launch(out, tmp_path).returncode == 0
        after = os.times()
        took_s[name] = time.perf_counter() - start_s, after.children_user - before.children_user
    for name, (clock_s, busy_s) in took_s.items():
        more_ms = [1e3 * (one - none) / frames for one, none in zip((clock_s, busy_s), took_s["without"], strict=True)]
        sys.stdout.write(
            f"\n{name}: {frames / clock_s:.0f} frames a second with the start; a frame takes {more_ms[0]:.1f} ms more "
            f"by the clock, {more_ms[1]:.1f} ms more of one core"
        )
    assert 1e3 * (took_s["every picture"][1] - took_s["without"][1]) / frames < MOST_MS
    assert took_s["every fourth picture"][1] < took_s["every picture"][1]


#: What stands in for a clinic's film, camera, window and network in the pipelines of the README.
STAND_INS = {
    "clip.mp4": str(WALK), "rtsp://camera.local/stream": WALK.as_uri(), "autovideosink": "fakesink",
    "v4l2src": "videotestsrc is-live=true num-buffers=40 ! video/x-raw,framerate=30/1", "gst-launch-1.0": "", "-e": "",
}  # fmt: skip


def test_the_pipelines_of_the_readme_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert len(README_LINES) == 3
    monkeypatch.chdir(tmp_path)
    for line in README_LINES:
        for name, other in STAND_INS.items():
            line = re.sub(rf"(?<=[ =]){re.escape(name)}(?= |$)|^{re.escape(name)}(?= )", other, line)
        assert "autovideosink" not in line  # which tries every library of windows that this machine may have
        done = launch(line, tmp_path)
        assert done.returncode == 0, done.stderr
    assert open_clip(tmp_path / "drawn.webm").frame_count == open_clip(WALK).frame_count
    assert open_clip(tmp_path / "recording.webm").frame_count == open_clip(WALK).frame_count
    events = [json.loads(line) for line in (tmp_path / "events.json").read_text().splitlines()]
    assert sum(one["kind"] == "touchdown" for one in events) > 15


def test_the_properties_of_the_readme_are_those_of_the_element(tmp_path: Path) -> None:
    call = ["gst-inspect-1.0", "pawfall"]
    done = subprocess.run(call, env=variables(tmp_path), capture_output=True, text=True, check=True)
    there = set(re.findall(r"^  ([a-z-]+) +: ", done.stdout.split("Element Properties:")[1], flags=re.MULTILINE))
    told = set(re.findall(r"^\| `([a-z-]+)` \|", README_PART, flags=re.MULTILINE))
    assert told == there - {"name", "parent", "qos"}


def test_installing_makes_it_found_with_no_variables_set(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("GST_PLUGIN_PATH", "PYTHONPATH"):
        monkeypatch.delenv(name, raising=False)
    before = check()
    monkeypatch.setenv("HOME", str(tmp_path))
    assert install() == installed_path() and tmp_path in installed_path().parents
    assert check() == before
    assert before.gaits == ("walk",) and before.events > 60
