"""The order of steps from a film to its folder, with a stand-in for the network and the truth for its landmarks."""

import dataclasses
import json
import types
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from film_maker import number_in, write_numbered
from walker import trotting

from gait.command.show import progress_bar
from gait.errors import TrialError
from gait.filming import best_row, captions, intervals, span_s, write_gait_film
from gait.nouns import Contacts, GaitRecord
from gait.reading import ReadingSettings, read_to_folder
from gait.record import build_record
from gait.trial import Trial
from pose.clip import Clip, open_clip
from pose.errors import ClipError, PoseError
from pose.landmarks import PAWS
from pose.tracks import Tracks

NETWORK = types.SimpleNamespace(sha256="5ta7d", name="stand-in", precision="fp32", provider="CPUExecutionProvider")
FRAMES = 60
LOST = 3


def follow(clip: Clip, *_: object, **options: object) -> tuple[Tracks, types.SimpleNamespace]:
    """What a perfect network would give for a dog that trots through ``clip``."""
    progress = options.get("progress")
    walk = trotting(len(clip.stamps_s) / clip.fps, clip.fps)
    rows = slice(0, len(clip.stamps_s))
    if callable(progress):
        progress(len(clip.stamps_s), len(clip.stamps_s))
    numbers = [frame.index for frame in clip.frames()]
    xy = walk.xy_px[rows] / 10
    rest = (walk.score[rows], walk.hidden[rows], walk.side_score[rows])
    return Tracks(np.array(numbers), clip.stamps_s, xy, *rest), types.SimpleNamespace(frames_without_dog=LOST)


@pytest.fixture
def dog_film(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr("gait.reading.read_clip", follow)
    return write_numbered(tmp_path / "film.mp4", [Fraction(number, 30) for number in range(FRAMES)])


def read(source: Path, trial: Trial = Trial(clip="film"), **settings: object):  # noqa: B008 - frozen
    stages: list[tuple[str, int, int]] = []
    reading = read_to_folder(
        source, source.parent / "out" / "film", trial, network=NETWORK, settings=ReadingSettings(**settings),
        progress=lambda *words: stages.append(words),
    )  # fmt: skip
    return reading, stages


def test_a_film_becomes_a_whole_folder(dog_film: Path) -> None:
    reading, stages = read(dog_film)
    names = {"landmarks.csv", "contacts.csv", "strides.csv", "record.json", "film.mp4", "report.html"}
    assert {item.name for item in reading.folder.iterdir()} == names
    assert [item.name for item in reading.folder.parent.iterdir()] == ["film"]
    assert ("reading", FRAMES, FRAMES) in stages
    assert stages[-1] == ("filming", FRAMES, FRAMES)
    assert reading.record.notices[-1] == "In 3 of 60 frames no dog was found."
    assert "5ta7d" in (reading.folder / "record.json").read_text()
    page = (reading.folder / "report.html").read_text()
    assert "<video" in page
    assert 'src="film.mp4"' in page
    assert "data:image/" in page


def test_the_film_shows_the_same_frames_at_the_same_times(dog_film: Path) -> None:
    reading, _ = read(dog_film)
    drawn = open_clip(reading.folder / "film.mp4")
    np.testing.assert_allclose(np.diff(drawn.stamps_s), 1 / 30, atol=1 / 90_000)
    assert drawn.frame_count == FRAMES
    assert drawn.height > 64
    assert [number_in(frame.rgb[:64]) for frame in drawn.frames()] == list(range(FRAMES))


def test_no_film_when_none_is_wanted(dog_film: Path) -> None:
    reading, stages = read(dog_film, film=False)
    assert not (reading.folder / "film.mp4").exists()
    assert "<video" not in (reading.folder / "report.html").read_text()
    assert {stage for stage, _, _ in stages} == {"reading"}


def test_slow_motion_is_timed_as_filmed_and_shown_slowly(dog_film: Path) -> None:
    reading, _ = read(dog_film, Trial(clip="film", filmed_fps=60))
    assert reading.record.tracks.t_s[-1] == pytest.approx((FRAMES - 1) / 60)
    assert open_clip(reading.folder / "film.mp4").duration_s == pytest.approx(FRAMES / 30, rel=0.01)


def test_the_cameras_own_note_of_slow_motion_is_used_and_told(tmp_path: Path, dog_film: Path) -> None:
    notes = {"com.android.capture.fps": "60"}
    slow = write_numbered(tmp_path / "slow.mp4", [Fraction(number, 30) for number in range(FRAMES)], notes=notes)
    reading, _ = read(slow)
    assert reading.record.trial.filmed_fps == 60
    assert any("noted that it filmed 60 frames per second" in notice for notice in reading.record.notices)
    assert "noted that it filmed 60 frames per second" in (reading.folder / "record.json").read_text()
    assert "noted that it filmed 60 frames per second" in (reading.folder / "report.html").read_text()


@pytest.mark.parametrize("step", ["write_table", "write_record", "write_gait_film", "write_page", "key_picture"])
def test_a_failure_at_any_step_leaves_nothing(dog_film: Path, monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    def fail(*_: object, **__: object) -> None:
        raise PoseError("broken on purpose")

    monkeypatch.setattr(f"gait.reading.{step}", fail)
    with pytest.raises(PoseError, match="on purpose"):
        read(dog_film)
    assert list((dog_film.parent / "out").iterdir()) == []


def test_a_film_without_a_network_is_an_error(dog_film: Path) -> None:
    with pytest.raises(TrialError, match="needs a network"):
        read_to_folder(dog_film, dog_film.parent / "out", Trial())


def test_damage_found_while_reading_leaves_nothing(dog_film: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ClipError("film.mp4 is damaged")

    monkeypatch.setattr("gait.reading.read_clip", broken)
    with pytest.raises(ClipError):
        read(dog_film)
    assert not (dog_film.parent / "out").exists()


def record(**changes: object) -> GaitRecord:
    return build_record(trotting(**changes), Trial(clip="film"))


def test_the_key_picture_is_the_frame_in_which_most_is_seen() -> None:
    tracks = trotting(1.0)
    score = np.full((60, 6), 0.9)
    hidden = np.zeros((60, 6), dtype=bool)
    hidden[:, 1] = True
    hidden[[20, 40]] = False
    score[40, 2] = 0.5
    assert best_row(Tracks(tracks.frame, tracks.t_s, tracks.xy_px, score, hidden)) == 20


def test_intervals_are_the_contacts_of_each_paw() -> None:
    nan = float("nan")
    contacts = Contacts(
        paw=np.array([0, 0, 3]), touchdown_s=np.array([nan, 1.0, 0.2]), liftoff_s=np.array([0.3, 1.5, nan]),
        touchdown_sd_ms=np.zeros(3), liftoff_sd_ms=np.zeros(3), confidence=np.ones(3),
        truncated=np.array([True, False, True]), print_px=np.zeros(3),
    )  # fmt: skip
    found = intervals(contacts)
    np.testing.assert_array_equal(found[0], [[nan, 0.3], [1.0, 1.5]])
    assert [len(rows) for rows in found] == [2, 0, 0, 1]
    assert len(found) == len(PAWS)


def test_captions_follow_the_strides_of_the_near_hind_paw() -> None:
    whole = record()
    words = captions(whole)
    assert len(words) == whole.strides_of("near_hind").sum()
    assert any(item.words.startswith("trot") and item.words.endswith("%") for item in words)
    assert all(item.words for item in words)


@pytest.mark.parametrize(
    ("gait", "candidates", "dropped", "probability", "words"),
    [
        ("trot", "", "", 0.973, "trot  97 %"),
        ("unclear", "trot/pace", "", 0.6, "unclear (trot or pace)"),
        ("unclear", "", "", 0.4, "unclear"),
        ("stand", "", "", float("nan"), "stand"),
        ("", "", "sides_unsure", float("nan"), "not used: sides unsure"),
    ],
    ids=["named", "two candidates", "no candidate", "without probability", "dropped"],
)
def test_words_of_a_caption(gait: str, candidates: str, dropped: str, probability: float, words: str) -> None:
    whole = record()
    count = len(whole.strides)
    columns = {"gait": gait, "candidates": candidates, "dropped": dropped}
    changed = {name: np.full(count, word, dtype=f"U{max(1, len(word))}") for name, word in columns.items()}
    strides = dataclasses.replace(whole.strides, gait_probability=np.full(count, probability), **changed)
    assert {item.words for item in captions(dataclasses.replace(whole, strides=strides))} == {words}


def test_frames_without_a_stride_have_no_caption_and_frames_without_a_row_no_marks(dog_film: Path) -> None:
    reading, _ = read(dog_film)
    whole, clip = reading.record, open_clip(dog_film)
    few = Tracks(*(getattr(whole.tracks, item.name)[5:50] for item in dataclasses.fields(Tracks)))
    count = write_gait_film(clip, dataclasses.replace(whole, tracks=few), dog_film.parent / "again.mp4")
    drawn = list(open_clip(dog_film.parent / "again.mp4").frames())
    plain = list(clip.frames())
    change = [np.abs(drawn[place].rgb[:64].astype(int) - plain[place].rgb).mean() for place in (0, 20)]
    assert count == FRAMES
    assert change[0] < 0.5 * change[1]


def test_the_bar_takes_stages_as_they_come() -> None:
    with progress_bar("film.mp4") as report:
        for stage, done, total in [("reading", 1, 2), ("reading", 3, 2), ("filming", 1, 1)]:
            report(stage, done, total)


def test_the_strip_shows_four_strides() -> None:
    assert span_s(record()) == pytest.approx(2.0, abs=0.05)


def test_results_are_valid_json_without_a_missing_number(dog_film: Path) -> None:
    reading, _ = read(dog_film)
    json.loads((reading.folder / "record.json").read_text(), parse_constant=lambda word: pytest.fail(f"{word} in JSON"))
