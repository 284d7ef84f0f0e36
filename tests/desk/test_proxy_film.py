"""The film that pages show has every frame of the clip once, upright, each where a page jumps to."""

import json
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
import pytest
from film_maker import HEIGHT, WIDTH, number_in, numbered_picture, red_corner, write_numbered

from gait.desk.proxy import PACE, ProxySettings, make_proxy
from pose.clip import open_clip
from pose.errors import ClipError

#: Frames of the films: more than one group of pictures, fewer than the numbers that a picture can show.
COUNT = 40
STEADY = [Fraction(k, 60) for k in range(COUNT)]
#: s, as telephones film: the rate falls to half in the dark, and a frame is late.
UNSTEADY = [float(t) for t in np.cumsum([0.0, *[1 / 60] * 20, *[1 / 30] * 18, 0.4])]


@pytest.mark.parametrize("times", [STEADY, UNSTEADY], ids=["steady", "unsteady"])
@pytest.mark.parametrize("turn", [0, 90, 180, 270], ids=["upright", "right", "upside down", "left"])
def test_every_frame_is_there_once_upright_and_in_order(tmp_path: Path, times: list[float], turn: int) -> None:
    source = write_numbered(tmp_path / "source.mp4", times, turn_deg=turn)
    facts = make_proxy(str(source), str(tmp_path / "film.mp4"))
    wanted, shown = list(open_clip(source).frames()), list(open_clip(tmp_path / "film.mp4").frames())
    assert facts["numbers"] == list(range(COUNT))
    assert len(shown) == COUNT
    for place, (one, other) in enumerate(zip(wanted, shown, strict=True)):
        assert other.t_s == pytest.approx(place / PACE, abs=1e-6)
        assert np.abs(one.rgb.astype(int) - other.rgb).mean() < 6.0  # of 255, what compression leaves
    assert red_corner(shown[0].rgb) == red_corner(wanted[0].rgb)
    if turn == 0:
        assert [number_in(frame.rgb) for frame in shown] == list(range(COUNT))


@pytest.mark.parametrize("ending", [".mov", ".webm", ".avi", ".mkv"])
def test_other_kinds_of_film_become_the_same(tmp_path: Path, ending: str) -> None:
    source = write_numbered(tmp_path / f"source{ending}", STEADY, rate=Fraction(60), time_base=Fraction(1, 1000))
    facts = make_proxy(str(source), str(tmp_path / "film.mp4"))
    assert [number_in(frame.rgb) for frame in open_clip(tmp_path / "film.mp4").frames()] == facts["numbers"]


def test_the_last_frame_is_shown_for_as_long_as_the_others(tmp_path: Path) -> None:
    source = write_numbered(tmp_path / "source.mp4", STEADY)
    make_proxy(str(source), str(tmp_path / "film.mp4"))
    film = cv2.VideoCapture(str(tmp_path / "film.mp4"))
    assert film.get(cv2.CAP_PROP_FRAME_COUNT) == COUNT
    assert film.get(cv2.CAP_PROP_FRAME_COUNT) / film.get(cv2.CAP_PROP_FPS) > (COUNT - 0.5) / PACE


@pytest.mark.parametrize(
    ("size", "side", "shown"),
    [((WIDTH, HEIGHT), 1280, [96, 64]), ((640, 360), 320, [320, 180]), ((360, 640), 320, [180, 320])],
    ids=["a small one stays", "wide", "high"],
)
def test_the_longer_side_is_bounded(tmp_path: Path, size: tuple[int, int], side: int, shown: list[int]) -> None:
    (tmp_path / "pictures").mkdir()
    for number in range(3):
        cv2.imwrite(str(tmp_path / "pictures" / f"{number:03}.png"), numbered_picture(number, *size))
    settings = ProxySettings(side_px=side)
    facts = make_proxy(str(tmp_path / "pictures"), str(tmp_path / "film.mp4"), 60.0, settings)
    clip = open_clip(tmp_path / "film.mp4")
    assert facts["size"] == [clip.width, clip.height] == shown
    assert facts["of"] == list(size)


def test_what_it_tells_stands_beside_it_and_nothing_else(tmp_path: Path) -> None:
    facts = make_proxy(str(write_numbered(tmp_path / "source.mp4", STEADY)), str(tmp_path / "film.mp4"))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["film.json", "film.mp4", "source.mp4"]
    assert json.loads((tmp_path / "film.json").read_text()) == facts


def test_a_film_that_breaks_off_leaves_nothing(tmp_path: Path) -> None:
    source = write_numbered(tmp_path / "source.mp4", STEADY)
    source.write_bytes(source.read_bytes()[:900])
    with pytest.raises(ClipError):
        make_proxy(str(source), str(tmp_path / "film.mp4"))
    assert [path.name for path in tmp_path.iterdir()] == ["source.mp4"]
