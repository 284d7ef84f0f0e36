"""The film of two clips in step, looked at as a person would: right frames, right bars, right size."""

import tomllib
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from film_maker import number_in, write_numbered
from generator import TROT, WALK, Pattern, Scene, dog

from gait.filming import BEYOND
from gait.framing import Box
from gait.instep import StepMap, StepSettings, step_map
from gait.instep_film import (
    BAR_PX,
    LEFT_PX,
    PANEL_PX,
    RIGHT_PX,
    ROW_PX,
    SIZE_PX,
    TOPS_PX,
    WORDS_PX,
    label_of,
    lay_out,
    nearest_frames,
    write_in_step,
)
from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial
from pose.clip import Clip, open_clip
from pose.draw import BAR_ORDER, COLOURS, DARK
from pose.film import FilmSettings, write_film
from pose.landmarks import NEAR_HIND, PAWS
from pose.table import read_table

SAMPLES = Path(__file__).parents[2] / "samples"
#: px, how far a bar or the line of the present may lie from its place: rounding, and edges softened by the film.
NEAR_PX = 2
#: px, what the line of the present hides of the beginning of a bar that it stands on.
LINE_PX = 2
#: frames, how far their number may be off when it is told by a colour that went through two films (1 to 5 measured);
#: the picture before or after would be 10 frames off.
NEAR_FRAMES = 6
#: of 255, how far a colour may be off after it went through the film.
NEAR_COLOUR = 60
QUICK = StepSettings(slower=1.0, film_fps=6.0, most_strides=2)


@cache
def record(pattern: Pattern = TROT, facing: str = "right", condition: str = "bare") -> GaitRecord:
    tracks, _ = dog(pattern, Scene(facing=facing, seconds=3.5))
    return build_record(tracks, Trial(dog="Tansy", date="2026-03-02", condition=condition))


def plain_film(path: Path, record: GaitRecord, colour: tuple[int, int, int]) -> Clip:
    """A clip of one colour with the times of ``record``; its green counts the frames."""
    pictures = (np.full((360, 640, 3), (colour[0], number, colour[2]), np.uint8) for number in record.tracks.frame)
    write_film(zip(record.tracks.t_s, pictures, strict=True), path, settings=FilmSettings(quality=4))
    return open_clip(path)


def columns_of(picture: np.ndarray, y: int, colour: tuple[int, ...]) -> np.ndarray:
    """Columns of a line of ``picture`` that are nearer to ``colour`` than to the ground."""
    off, ground = (np.abs(picture[y].astype(int) - other).max(axis=1) for other in (colour, DARK))
    return np.flatnonzero(off < ground)


def starts_of(columns: np.ndarray) -> np.ndarray:
    """First of every run of neighbouring columns; the line of the present may cut a run in two."""
    return columns[np.append(True, np.diff(columns) > 6)]


def place_of(stride: float, steps: StepMap) -> float:
    return LEFT_PX + stride / steps.strides * (RIGHT_PX - LEFT_PX)


def check_bars(picture: np.ndarray, present: float, steps: StepMap) -> None:
    """In both clips a bar of the paw in step starts at every touchdown."""
    paw = PAWS.index(steps.paw)
    for top in TOPS_PX:
        y = top + BAR_ORDER.index(paw) * ROW_PX + BAR_PX // 2
        starts = starts_of(columns_of(picture, y, COLOURS[paw]))
        for stride in range(steps.strides):
            hidden = LINE_PX if abs(place_of(present, steps) - place_of(stride, steps)) < 8 else 0
            assert np.abs(starts - place_of(stride, steps)).min() <= NEAR_PX + hidden


def check_present(picture: np.ndarray, stride: float, steps: StepMap) -> None:
    for top in TOPS_PX:
        white = columns_of(picture, top + BAR_PX + 3, (255, 255, 255))
        assert white.mean() == pytest.approx(place_of(stride, steps), abs=NEAR_PX)


def test_a_film_of_two_clips(tmp_path: Path) -> None:
    first, second = record(), record(WALK, "left", "boots")
    clips = (
        plain_film(tmp_path / "one.mp4", first, (200, 60, 60)),
        plain_film(tmp_path / "two.mp4", second, (60, 60, 200)),
    )
    told: list[tuple[int, int]] = []
    path = tmp_path / "film.mp4"
    why = write_in_step((clips[0], first), (clips[1], second), path, settings=QUICK, progress=lambda *n: told.append(n))
    assert why == ""
    steps = step_map(first, second, QUICK)
    assert isinstance(steps, StepMap)
    film = open_clip(path)
    assert (film.width, film.height, film.frame_count) == (*SIZE_PX, len(steps))
    np.testing.assert_allclose(film.stamps_s - film.stamps_s[0], steps.film_s, atol=1e-4)
    assert told == [(number + 1, len(steps)) for number in range(len(steps))]
    for frame, times_s in zip(film.frames(), steps.source_s, strict=True):
        stride = float(steps.strides_at(0, times_s[0]))
        check_bars(frame.rgb, stride, steps)
        check_present(frame.rgb, stride, steps)
        left, right = frame.rgb[300, 100].astype(int), frame.rgb[300, SIZE_PX[0] - 100].astype(int)
        assert left[0] > left[2] + 80
        assert right[2] > right[0] + 80
        for seen, shown, t_s in zip((left, right), (first, second), times_s, strict=True):
            assert seen[1] == pytest.approx(np.abs(shown.tracks.t_s - t_s).argmin(), abs=NEAR_FRAMES)


def test_a_table_has_no_pictures_but_a_film(tmp_path: Path) -> None:
    first, second = record(), record(facing="left")
    assert write_in_step((None, first), (None, second), tmp_path / "film.mp4", settings=QUICK) == ""
    picture = next(open_clip(tmp_path / "film.mp4").frames()).rgb
    assert np.abs(picture[WORDS_PX + 10, [50, 1200]].astype(int) - BEYOND).max() < 12
    for side in (picture[:, : SIZE_PX[0] // 2], picture[:, SIZE_PX[0] // 2 :]):
        dog_part = side[WORDS_PX : SIZE_PX[1] - PANEL_PX].astype(int)
        assert (np.abs(dog_part - COLOURS[NEAR_HIND]).max(axis=2) < NEAR_COLOUR).sum() > 20


def test_too_few_strides_leave_no_film(tmp_path: Path) -> None:
    why = write_in_step(
        (None, record()), (None, record()), tmp_path / "film.mp4", settings=StepSettings(least_strides=40)
    )
    assert why.startswith("No film of both in step")
    assert not list(tmp_path.iterdir())


def test_the_words_over_a_clip_say_what_is_known() -> None:
    assert label_of(record()) == "Tansy  bare  2026-03-02"
    bare = build_record(record().tracks, Trial(clip="one.mp4"))
    assert label_of(bare) == "one.mp4"


@pytest.mark.parametrize(
    ("box", "beside"),
    [(Box(1.75, 1.25, 0.95, 1.4, 1.2), True), (Box(4.0, 4.0, 0.6, 0.6, 0.4), False)],
    ids=["a dog", "long and low"],
)
def test_the_dogs_are_laid_out_to_be_large(box: Box, beside: bool) -> None:
    framing, (left, top) = lay_out(box, "right")
    width, height = framing.size_px
    assert (left > 0, top > 0) == (beside, not beside)
    assert left + width == SIZE_PX[0]
    assert top + WORDS_PX + height == SIZE_PX[1] - PANEL_PX


@pytest.mark.parametrize("wanted_s", [[0.0, 0.01, 0.24, 0.26, 0.26, 0.9], [0.31, 0.31, 0.79], [5.0]], ids=str)
def test_the_nearest_frame_is_shown_and_each_decoded_once(tmp_path: Path, wanted_s: list[float]) -> None:
    stamps_s = np.cumsum([0.0, 0.1, 0.1, 0.05, 0.15, 0.1, 0.1, 0.1, 0.1, 0.1])
    clip = open_clip(write_numbered(tmp_path / "numbers.mp4", list(stamps_s)))
    expected = [int(np.abs(clip.stamps_s - t_s).argmin()) for t_s in wanted_s]
    shown = nearest_frames(clip.between(wanted_s[0], wanted_s[-1]), np.array(wanted_s))
    assert [number_in(frame.rgb) for frame in shown] == expected


@cache
def sample(name: str) -> tuple[Clip, GaitRecord]:
    sheet = tomllib.loads((SAMPLES / f"{name}.toml").read_text(encoding="utf-8"))
    return open_clip(SAMPLES / f"{name}.mp4"), build_record(
        read_table(SAMPLES / f"{name}.landmarks.csv"), Trial(**sheet)
    )


@pytest.mark.slow
def test_two_demo_clips_in_step(tmp_path: Path) -> None:
    first, second = sample("tansy_trot_bare"), sample("ember_trot_week0")
    assert write_in_step(first, second, tmp_path / "film.mp4") == ""
    steps = step_map(first[1], second[1])
    assert isinstance(steps, StepMap)
    film = open_clip(tmp_path / "film.mp4")
    assert (film.width, film.height, film.frame_count) == (*SIZE_PX, len(steps))
    assert film.fps == pytest.approx(30.0, abs=0.01)
    assert film.duration_s == pytest.approx(4 * np.ptp(steps.touchdowns_s[:, 0]), abs=0.05)
    for stride in range(steps.strides):
        number = int(np.abs(steps.source_s[:, 0] - steps.touchdowns_s[stride, 0]).argmin())
        picture = film.at(float(film.stamps_s[number])).rgb
        check_bars(picture, stride, steps)
        check_present(picture, stride, steps)
