"""The element where a stream does not simply run on: seeks, other caps, stops, broken films."""

from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from plugin.hosts import SOURCE, WALK, Played, launch, need_a_host, play, source_of_pictures

from pose.clip import open_clip

pytestmark = pytest.mark.slow

PLAYED = f"{SOURCE.format(film=WALK)} ! pawfall name=dog {{}} ! fakesink sync=true name=end"
#: ns, of a frame of the film.
FRAME = 1e9 / 30


@pytest.fixture(scope="module", autouse=True)
def host() -> None:
    need_a_host()


def seek(at_s: float, to_s: float, rate: float = 1.0) -> dict[str, Any]:
    """A step of the host program."""
    return {"at_s": at_s, "to_s": to_s, "rate": rate}


def parts(seen: Played) -> list[list[Any]]:
    """The frames between the steps."""
    assert all(fields["ok"] for name, fields in seen.messages if name == "step")
    cuts = [-1, *(place for place, stamp in enumerate(seen.stamps) if stamp == "step"), len(seen.frames)]
    return [seen.frames[start + 1 : end] for start, end in pairwise(cuts)]


def test_after_a_seek_reading_begins_anew(tmp_path: Path) -> None:
    seen = play(PLAYED.format(""), tmp_path, seek(3.0, 1.0))
    after = [frame for frame in parts(seen)[1] if frame[1]]
    assert seen.end == "end"
    assert after[0][1]["landmarks"]["t_s"] == pytest.approx(1.0, abs=0.05)
    times = [told["landmarks"]["t_s"] for _, told in after]
    assert times == sorted(times) and times[-1] == pytest.approx(open_clip(WALK).stamps_s[-1], abs=0.05)
    assert not [one for one in seen.messages if one[0] == "warning"]
    events = seen.of("event")
    assert max(one["t_s"] for one in events) > 4.5
    assert any(late["t_s"] < early["t_s"] - 0.5 for early, late in pairwise(events))


@pytest.mark.parametrize("words", ["", "delay=0 when-slow=skip"], ids=["held", "at once"])
def test_playing_backwards_goes_on_unread_and_forwards_again_read(words: str, tmp_path: Path) -> None:
    seen = play(PLAYED.format(words), tmp_path, seek(2.0, 1.8, -1.0), seek(1.0, 4.0))
    _, backwards, forwards = parts(seen)
    # what was on its way at a seek may still arrive
    stamps = [stamp for stamp, told in backwards if not told]
    assert len(stamps) > 15 and stamps == sorted(stamps, reverse=True)
    # where slow means skip, a machine that is busy with other work may skip too many to tell the gait, and says so
    warned = [told["words"] for kind, told in seen.messages if kind == "warning"]
    assert seen.end == "end" and not [
        said for said in warned if not ("skip" in words and said.startswith("Fewer than 20"))
    ]
    read = [told["landmarks"]["t_s"] for _, told in forwards if "landmarks" in told]
    assert read == sorted(read) and read[0] == pytest.approx(4.0, abs=0.5)
    assert forwards[-1][0] / 1e9 == pytest.approx(open_clip(WALK).stamps_s[-1], abs=0.1)


def test_playing_backwards_to_the_start_ends(tmp_path: Path) -> None:
    seen = play(PLAYED.format(""), tmp_path, seek(1.0, 0.8, -1.0))
    assert seen.end == "end" and parts(seen)[1][-1][0] <= 2 * FRAME


def test_stopped_while_reading_and_played_anew(tmp_path: Path) -> None:
    """The second stop comes at once, before a picture was read."""
    steps = [{"at_s": at_s, "stop": True} for at_s in (1.0, 0.5)]
    source = source_of_pictures(tmp_path).replace("loop=true", "loop=false")
    seen = play(f"{source} ! pawfall name=dog ! fakesink sync=true name=end", tmp_path, *steps)
    *_, last = parts(seen)
    assert seen.end == "end" and len(last) >= open_clip(WALK).frame_count - 2
    assert last[-1][1]["landmarks"]["t_s"] == pytest.approx(last[-1][0] / 1e9, abs=0.001)
    assert sum(one["kind"] == "gait changed" for one in seen.of("event")) == 1


def test_pictures_of_another_size_follow(tmp_path: Path) -> None:
    parts = " ".join(
        f"videotestsrc num-buffers=40 ! video/x-raw,format=RGB,width={width},height={height},framerate=30/1 ! join."
        for width, height in ((320, 240), (413, 301), (320, 240))
    )
    seen = play(f"concat name=join ! pawfall name=dog draw=true ! fakesink name=end {parts}", tmp_path)
    assert seen.end == "end" and len(seen.frames) == 120
    assert len(seen.of("landmarks")) == 120


@pytest.mark.parametrize("delay_s", [0.0, 0.6])
def test_other_caps_within_a_stream(delay_s: float, tmp_path: Path) -> None:
    wide, small = "video/x-raw,format=RGB,width=640,height=360", "video/x-raw,format=BGRx,width=321,height=181"
    steps = [{"at_s": 1.0, "caps": small}, {"at_s": 2.0, "caps": wide}]
    seen = play(
        f"{SOURCE.format(film=WALK)} ! videoscale ! videoconvert ! "
        f"capsfilter name=caps caps-change-mode=delayed caps={wide} ! "  # else pictures under way may not fit
        f"pawfall name=dog draw=true delay={delay_s} ! fakesink sync=true name=end", tmp_path, *steps,
    )  # fmt: skip
    stamps = [stamp for stamp in seen.stamps if stamp != "step"]
    assert seen.end == "end" and len(stamps) == open_clip(WALK).frame_count and stamps == sorted(stamps)
    widths = [told["width_px"] for _, told in seen.frames if told]
    assert [one for one, next_one in pairwise([*widths, 0]) if one != next_one] == [640, 321, 640]
    for _, told in seen.frames:
        if told and "withers_x_px" in told.get("landmarks", {}):
            assert 0 <= told["landmarks"]["withers_x_px"] < told["width_px"]


@pytest.mark.parametrize("share", [0.3, 0.7], ids=["early", "late"])
def test_a_broken_film_ends(share: float, tmp_path: Path) -> None:
    whole, broken = tmp_path / "whole.mkv", tmp_path / "broken.mkv"
    remade = launch(f"filesrc location={WALK} ! qtdemux ! matroskamux ! filesink location={whole}", tmp_path)
    assert remade.returncode == 0
    data = bytearray(whole.read_bytes())
    middle = round(share * len(data))
    data[middle : middle + 4000] = np.random.default_rng(0).bytes(4000)
    broken.write_bytes(data[: round(0.9 * len(data))])
    seen = play(f"{SOURCE} ! pawfall name=dog draw=true ! fakesink name=end".format(film=broken), tmp_path)
    without = play(f"{SOURCE} ! fakesink name=end".format(film=broken), tmp_path)
    assert seen.end == without.end != "hang"
    assert seen.stamps == without.stamps and 20 < len(seen.stamps) < 180
