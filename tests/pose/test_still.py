"""A single picture read whole, with the network of discs; and drawn beside its marks."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from fake_network import COLOURS as DISCS
from fake_network import disc_clip, write_fake_network
from marked import DOG_PX

from pose.beside import draw_beside, write_picture
from pose.draw import COLOURS
from pose.heatmap import Heat
from pose.landmarks import CROUP, LANDMARKS, NEAR_FORE, WITHERS
from pose.network import Network, NetworkCard
from pose.pictures import load_picture
from pose.repeat import RepeatSettings
from pose.still import Still, read_still

#: Body lengths; a network cell is about 0.04 body lengths wide.
CLOSE_BL = 0.04
NOTES = ("1 % off",) * 6


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Network:
    return Network.load(write_fake_network(tmp_path_factory.mktemp("network")))


@pytest.mark.parametrize("facing", ["left", "right"])
@pytest.mark.parametrize(
    "sizes",
    [{"length_px": 90}, {"length_px": 60, "width": 1280, "height": 720, "middle_px": (1000, 600)}],
    ids=["usual", "small in a corner"],
)
def test_landmarks_are_where_they_were_drawn(network: Network, facing: str, sizes: dict) -> None:
    clip = disc_clip(frames=1, facing=facing, **sizes)
    reading = read_still(Still("one", clip.frame(0).rgb), network)
    assert reading.facing == facing
    assert np.hypot(*(reading.xy_px - clip.truth_px[0]).T).max() < CLOSE_BL * sizes["length_px"]
    assert reading.score.min() > 0.5


def test_an_empty_room_holds_no_dog(network: Network) -> None:
    reading = read_still(Still("empty", disc_clip(frames=1, empty=frozenset({0})).frame(0).rgb), network)
    assert reading.facing is None
    assert np.isnan(reading.xy_px).all() and not reading.score.any()


def test_what_is_found_with_low_scores_alone_is_no_dog(network: Network, monkeypatch: pytest.MonkeyPatch) -> None:
    still = Still("dim", disc_clip(frames=1).frame(0).rgb)
    assert read_still(still, network).facing is not None
    monkeypatch.setattr(Network, "calibrated", lambda self, mass: 0.35 * mass)
    reading = read_still(still, network)
    assert reading.facing is None
    assert np.isnan(reading.xy_px).all() and not reading.score.any()


def test_a_paw_that_cannot_be_seen_has_a_low_score(network: Network) -> None:
    clip = disc_clip(frames=1)
    whole, picture = clip.frame(0).rgb, clip.frame(0).rgb.copy()
    x, y = (round(float(value)) for value in clip.truth_px[0, NEAR_FORE])
    picture[y - 9 : y + 10, x - 9 : x + 10] = 114
    seen, hidden = (read_still(Still("one", rgb), network).score[NEAR_FORE] for rgb in (whole, picture))
    assert hidden < 0.5 * seen


@dataclass
class Recorder:
    """A network that keeps what it was shown last."""

    network: Network
    shown: np.ndarray | None = None

    @property
    def card(self) -> NetworkCard:
        return self.network.card

    def run(self, pictures: np.ndarray) -> Heat:
        self.shown = pictures[-1]
        return self.network.run(pictures)

    def calibrated(self, mass: np.ndarray) -> np.ndarray:
        return self.network.calibrated(mass)


@pytest.mark.parametrize("facing", ["left", "right"])
def test_the_network_is_shown_a_dog_that_faces_right(network: Network, facing: str) -> None:
    recorder = Recorder(network)
    read_still(Still("one", disc_clip(frames=1, facing=facing).frame(0).rgb), recorder)
    assert recorder.shown is not None
    withers, croup = (
        np.abs(recorder.shown - DISCS[mark][:, None, None]).sum(axis=0).min(axis=0).argmin()
        for mark in (WITHERS, CROUP)
    )
    assert withers > croup


ORACLE_CARD = NetworkCard("oracle", (320, 256), "")

#: Heat cells (row, column) of two fore paws, two hind paws, withers and croup.
CELLS = ((45, 55), (45, 45), (45, 28), (45, 20), (20, 50), (20, 25))


@dataclass(frozen=True)
class Oracle:
    """Says the same of every picture: near and far fore divide their mass between their two places as ``fore`` says."""

    fore: tuple[tuple[float, float], tuple[float, float]]
    card: NetworkCard = ORACLE_CARD

    def run(self, pictures: np.ndarray) -> Heat:
        maps = np.full((len(pictures), 6, 64, 80), 1e-15)
        for mark, (row, column) in enumerate(CELLS):
            maps[:, mark, row, column] = 1
        for mark, shares in enumerate(self.fore):
            for (row, column), share in zip(CELLS[:2], shares, strict=True):
                maps[:, mark, row, column] = share
        absent = np.full((len(pictures), 6), -30.0, np.float32)
        return Heat(np.log(maps).astype(np.float32), absent, np.zeros(len(pictures), np.float32))

    def calibrated(self, mass: np.ndarray) -> np.ndarray:
        return mass


@pytest.mark.parametrize(
    ("fore", "scores"),
    [
        (((1.0, 1e-15), (1e-15, 1.0)), (1.0, 1.0)),
        # the places hold 0.9 and 1.1 (at most 1), the order is right with 0.7 * 0.8 against 0.3 * 0.2
        (((0.7, 0.3), (0.2, 0.8)), (0.9 * 0.56 / 0.62, 0.56 / 0.62)),
        # each channel alone would take the first place; that one paw covers the other is likelier by 1.5, seldom by 5
        (((0.6, 0.4), (0.6, 0.4)), (0.5, 0.8 * 0.5)),
        (((0.95, 0.05), (0.95, 0.05)), (0.95, 0.95)),
    ],
    ids=["sure", "divided", "both channels lean to one place", "one paw covers the other"],
)
def test_scores_hold_how_sure_the_sides_are(fore: tuple, scores: tuple[float, float]) -> None:
    once = RepeatSettings(((0.0, 0.0),), (1.0,))
    reading = read_still(Still("one", np.zeros((256, 320, 3), np.uint8)), Oracle(fore), looks=once)
    assert reading.score[:2] == pytest.approx(scores, abs=1e-4)
    assert reading.score[2:] == pytest.approx(np.ones(4), abs=1e-4)


def test_found_and_marked_places_are_drawn_and_joined() -> None:
    grey = np.full((360, 480, 3), 100, np.uint8)
    marked = DOG_PX + np.array([60.0, 40])
    drawn = draw_beside(grey, DOG_PX, marked, title="one", notes=NOTES)
    assert drawn.shape[:2] == (720 + 4 * 26 + 13, 960, 3)[:2]
    for mark in range(len(LANDMARKS)):
        colour = np.array(COLOURS[mark])
        crossed, middle = (np.rint(2 * place).astype(int) for place in (marked[mark], (DOG_PX + marked)[mark] / 2))
        for x, y in (crossed, middle):
            near = drawn[y - 2 : y + 3, x - 2 : x + 3].reshape(-1, 3).astype(int)
            assert np.abs(near - colour).sum(axis=1).min() < 60, (LANDMARKS[mark], x, y)


@pytest.mark.parametrize(("width", "height"), [(2400, 300), (90, 400), (960, 720)], ids=["wide", "tall", "as large"])
def test_any_shape_of_picture_is_as_wide_as_its_legend(width: int, height: int) -> None:
    drawn = draw_beside(np.zeros((height, width, 3), np.uint8), DOG_PX, DOG_PX, title="a", notes=NOTES)
    assert drawn.shape[1] == 960 and drawn.shape[0] <= 720 + 4 * 26 + 13


def test_what_was_not_found_or_not_marked_is_left_out() -> None:
    grey = np.full((720, 960, 3), 100, np.uint8)
    nowhere = np.full((6, 2), np.nan)
    drawn = draw_beside(grey, nowhere, nowhere, title="no dog", notes=("not found",) * 6)
    assert (drawn[:720] == 100).all()


def test_pictures_are_written_as_they_are(tmp_path: Path) -> None:
    rgb = np.random.default_rng(1).integers(0, 256, (20, 30, 3), np.uint8)
    write_picture(rgb, tmp_path / "one.png")
    np.testing.assert_array_equal(load_picture(tmp_path / "one.png"), rgb)
