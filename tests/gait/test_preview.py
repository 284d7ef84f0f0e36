"""A short look at films: those of the demo pass, the same ones filmed badly are told what to change."""

from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from film_maker import write_numbered
from numpy.typing import NDArray

from gait.preview import Preview, PreviewSettings, middle_of, picture_checks, preview, preview_json, rate_checks
from gait.trial import Trial
from pose.clip import open_clip
from pose.facts import facts_json
from pose.film import write_film
from pose.network import Network
from pose.networks import current_network

pytestmark = pytest.mark.slow

SAMPLES = Path(__file__).parent.parent.parent / "samples"
Picture = NDArray[np.uint8]
#: s of a demo clip that are filmed again.
SPAN_S = (1.0, 3.4)


@pytest.fixture(scope="module")
def network() -> Network:
    return Network.load(current_network())


def failed(seen: Preview) -> set[str]:
    return {check.name for check in seen.checks if not check.passed}


def filmed_again(path: Path, change: Callable[[Picture], Picture], slower: float = 1.0) -> Path:
    """A part of a demo clip, each picture changed, played ``slower``."""
    frames = open_clip(SAMPLES / "tansy_trot_bare.mp4").between(*SPAN_S)
    pictures = ((slower * (frame.t_s - SPAN_S[0]), change(frame.rgb)) for frame in frames)
    write_film(even(pictures), path)
    return path


def even(pictures: Iterator[tuple[float, Picture]]) -> Iterator[tuple[float, Picture]]:
    """With sides that H.264 can hold."""
    return ((t_s, rgb[: rgb.shape[0] // 2 * 2, : rgb.shape[1] // 2 * 2]) for t_s, rgb in pictures)


def warped(matrix: NDArray[np.float64], size: tuple[int, int] = (640, 360)) -> Callable[[Picture], Picture]:
    """Pictures seen through a homography; what lies beyond them is grey."""
    return lambda rgb: np.asarray(
        cv2.warpPerspective(rgb, matrix, size, borderMode=cv2.BORDER_CONSTANT, borderValue=(114, 114, 114)), np.uint8
    )


def turned_aside(degrees: float) -> NDArray[np.float64]:
    """How the dog's own plane looks to a camera 3 m away that is moved to its right by so many degrees; derived. In the
    demo clip 640 px are 1.7 m of that plane."""
    angle, away_m, px_per_m = np.deg2rad(degrees), 3.0, 640 / 1.7
    to_m = np.array([[1 / px_per_m, 0, -0.85], [0, 1 / px_per_m, -180 / px_per_m], [0, 0, 1]])
    seen = np.array([[np.cos(angle), 0, 0], [0, 1, 0], [-np.sin(angle) / away_m, 0, 1]])
    return np.asarray(np.linalg.inv(to_m) @ seen @ to_m)


ROTATED = cv2.getRotationMatrix2D((320, 180), 9, 1.0)
TILTED = np.vstack([ROTATED, [0, 0, 1]])
SMALL = np.diag([0.4, 0.4, 1.0])
CLOSE = np.array([[1.0, 0, 0], [0, 1, 50], [0, 0, 1]])

BAD: dict[str, tuple[Callable[[Picture], Picture], set[str], str]] = {
    "camera tilted": (warped(TILTED), {"camera level"}, "Level the camera"),
    "camera turned aside": (warped(turned_aside(30)), {"camera not turned aside"}, "towards the hind end"),
    "camera turned the other way": (warped(turned_aside(-30)), {"camera not turned aside"}, "towards the fore end"),
    "paws at the edge": (warped(CLOSE), {"dog whole in the picture"}, "lower edge"),
    "a small dog": (warped(SMALL), {"dog large enough"}, "closer"),
}


@pytest.mark.parametrize("case", BAD)
def test_what_is_filmed_badly_is_told_what_to_change(tmp_path: Path, network: Network, case: str) -> None:
    change, names, words = BAD[case]
    seen = preview(filmed_again(tmp_path / "bad.mp4", change), network)
    assert names <= failed(seen)
    assert any(words in check.advice for check in seen.checks if check.name in names)


DEMO = {
    "tansy_trot_bare": ("right", set()),
    "brock_walk_bare": ("right", set()),
    "ember_trot_week0": ("left", set()),
    "pilot_pace_to_trot": ("right", set()),
    "tansy_trot_boots": ("right", set()),
    "tansy_walk_boots": ("left", {"frames per second"}),
}


@pytest.mark.parametrize("name", DEMO)
def test_the_demo_clips_pass(network: Network, name: str) -> None:
    facing, bad = DEMO[name]
    seen = preview(SAMPLES / f"{name}.mp4", network)
    assert (seen.facing, failed(seen)) == (facing, bad)
    assert not seen.notes
    assert {"camera not turned aside", "camera square-on", "camera level"} <= {check.name for check in seen.checks}
    assert seen.picture.shape == (360, 640, 3)


def test_the_same_film_again_passes(tmp_path: Path, network: Network) -> None:
    """What is wrong above is not the filming again."""
    assert not failed(preview(filmed_again(tmp_path / "good.mp4", warped(np.eye(3))), network))


def test_slow_motion_that_nobody_told_is_noticed(tmp_path: Path, network: Network) -> None:
    path = filmed_again(tmp_path / "slow.mp4", lambda rgb: rgb, slower=4.0)
    seen = preview(path, network)
    assert any("slow motion" in note for note in seen.notes)
    assert "frames per second" in failed(seen)
    told = preview(path, network, Trial(filmed_fps=60.0))
    assert not failed(told) and not told.notes


def test_a_picture_without_a_dog(tmp_path: Path, network: Network) -> None:
    path = write_numbered(tmp_path / "empty.mp4", [n / 60 for n in range(40)])
    seen = preview(path, network)
    assert (seen.facing, failed(seen)) == ("", {"dog found"})
    assert "at least a tenth" in next(check.advice for check in seen.checks if check.name == "dog found")


def test_a_dog_that_stands_still_says_nothing_of_the_camera(tmp_path: Path, network: Network) -> None:
    still = next(open_clip(SAMPLES / "tansy_trot_bare.mp4").between(*SPAN_S)).rgb
    path = tmp_path / "still.mp4"
    write_film(((n / 60, still) for n in range(60)), path)
    seen = preview(path, network)
    assert seen.facing == "right"
    assert {"camera not turned aside", "camera level"} <= failed(seen)


def test_a_look_as_json() -> None:
    told = preview_json(str(SAMPLES / "tansy_walk_boots.mp4"), str(current_network()))
    assert told["picture"].startswith("data:image/jpeg;base64,") and told["facts"]["fps"] == 30
    rate = next(check for check in told["checks"] if check["name"] == "frames per second")
    assert (rate["value"], rate["limit"], rate["passed"]) == (30.0, 50.0, False)


def test_what_the_camera_noted_counts(tmp_path: Path) -> None:
    notes = {"com.android.capture.fps": "240", "com.apple.quicktime.creationdate": "2026-03-02T23:30:00+0500"}
    path = write_numbered(tmp_path / "slow.mp4", [n / 30 for n in range(60)], notes=notes)
    told = facts_json(str(path))
    assert (told["fps"], told["filmed_fps"], told["filmed_on"]) == (30.0, 240.0, "2026-03-02")
    assert told["duration_s"] == 2.0 and told["frames"] == 60
    (rate,) = rate_checks(open_clip(path), Trial(), PreviewSettings())
    assert rate.passed and rate.value == pytest.approx(240.0)


DAYS: dict[str, tuple[dict[str, str], str]] = {
    "nothing noted": ({}, ""),
    "a clock that was never set": ({"creation_time": "1970-01-01T00:00:00Z"}, ""),
    "no date": ({"creation_time": "yesterday"}, ""),
    "noon in Greenwich": ({"creation_time": "2026-03-02T12:00:00.000000Z"}, "2026-03-02"),
}


@pytest.mark.parametrize("case", DAYS)
def test_the_day_of_filming(tmp_path: Path, case: str) -> None:
    notes, day = DAYS[case]
    told = facts_json(str(write_numbered(tmp_path / "film.mp4", [n / 30 for n in range(8)], notes=notes)))
    assert told["filmed_on"] == day


def test_the_middle_of_a_film(tmp_path: Path) -> None:
    clip = open_clip(write_numbered(tmp_path / "film.mp4", [Fraction(n, 60) for n in range(64)]))
    middle = middle_of(clip, 0.2, 480)
    numbers = [frame.index for frame in middle.frames()]
    assert numbers == list(range(26, 38)) and middle.frame_count == len(numbers)
    assert [frame.index for frame in middle.sample(2)] == [26, 37]
    assert middle_of(clip, 10.0, 6).frame_count <= 7
    assert middle_of(clip, 10.0, 480).frame_count == 64


def test_room_is_told_by_its_edge() -> None:
    square = np.array([[[100.0, 100], [200, 100], [200, 200], [100, 200], [100, 150], [200, 150]]])
    told: list[Any] = [
        picture_checks(square, size, 100.0, 320, PreviewSettings())[0] for size in ((221, 400), (400, 211), (400, 400))
    ]
    assert [round(check.value, 2) for check in told] == [0.2, 0.1, 1.0]
    assert "right edge" in told[0].advice and "lower edge" in told[1].advice and not told[2].advice
