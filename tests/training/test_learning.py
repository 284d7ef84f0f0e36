"""The learning curve's own reckoning: which frames, with which truth, and how errors are told."""

import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from film_maker import number_in, write_numbered

from pose.landmarks import CROUP, FAR_HIND, NEAR_HIND, WITHERS
from pose.pictures import load_picture
from pose.table import write_table
from pose.tracks import Tracks
from training.learning import (
    Lot,
    all_lots,
    curve,
    errors,
    exchanged,
    line,
    measure,
    note_on_card,
    random_frames,
    steps,
    true_marks,
)
from training.marks.picked import add_picked, read_picked

FRAMES = 30
DOG = np.array([[66.0, 50], [58, 49], [34, 50], [26, 49], [62, 20], [32, 22]])


@pytest.fixture
def clips(tmp_path: Path) -> Path:
    """Two films of numbered pictures with a dog that walks on by a tenth of a pixel a frame."""
    folder = tmp_path / "clips"
    folder.mkdir()
    for name in ("one", "two"):
        write_numbered(folder / f"{name}.mp4", [Fraction(n, 30) for n in range(FRAMES)])
        xy = DOG + np.stack([0.1 * np.arange(FRAMES), np.zeros(FRAMES)], axis=1)[:, None]
        seen = np.ones((FRAMES, 6))
        write_table(
            Tracks(np.arange(FRAMES), np.arange(FRAMES) / 30, xy, seen, seen < 0), folder / f"{name}.landmarks.csv"
        )
    return folder


@pytest.fixture
def results(tmp_path: Path, clips: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Results of reading those films, as far as they are asked for."""
    import training.learning as learning

    monkeypatch.setattr(learning, "find_results", lambda roots: [Path("one"), Path("two")])
    monkeypatch.setattr(learning, "read_result", lambda folder: type("Read", (), {"source": f"{folder.name}.mp4"}))
    return tmp_path / "results"


def test_random_frames_come_from_all_clips_and_carry_the_truth_of_their_own_frame(
    tmp_path: Path, clips: Path, results: Path
) -> None:
    folder = tmp_path / "random-1"
    assert add_picked(folder, random_frames(results, clips, 12, seed=1)) == 12
    picked = read_picked(folder)
    assert picked is not None
    marks = true_marks(picked, 8, clips)
    assert len(marks) == len(marks.files) == 8
    assert {note["clip"] for note in picked.image_notes} == {"one", "two"}
    for row, (name, note) in enumerate(zip(marks.files, marks.image_notes, strict=True)):
        assert number_in(load_picture(folder / name)) == note["frame"]
        assert marks.xy_px[row, WITHERS, 0] == pytest.approx(62 + 0.1 * note["frame"], abs=0.006)
    other = [note["frame"] for note in _notes(random_frames(results, clips, 12, seed=2))]
    assert other != [note["frame"] for note in picked.image_notes]


def _notes(frames: Any) -> list[Any]:
    return [frame.notes for frame in frames]


def test_larger_lots_hold_the_smaller_ones() -> None:
    assert steps((10, 25, 50)) == [10, 15, 25]
    lots = all_lots((10, 25), (1, 2))
    assert len({lot.name for lot in lots}) == len(lots) == 8
    assert {lot.folder for lot in lots} == {"picked-1", "picked-2", "random-1", "random-2"}
    assert Lot("random", 2, 25).folder == Lot("random", 2, 10).folder


def test_errors_are_in_body_lengths_and_a_pair_the_other_way_round_is_told() -> None:
    true = np.tile(DOG, (4, 1, 1))
    length = np.hypot(*(DOG[WITHERS] - DOG[CROUP]))
    found = true.copy()
    found[1, WITHERS] += (3.0, 4.0)
    found[2, CROUP] = np.nan
    found[3, [NEAR_HIND, FAR_HIND]] = true[3, [FAR_HIND, NEAR_HIND]]
    off = errors(found, true)
    assert off[1, WITHERS] == pytest.approx(5 / length)
    assert off[2, CROUP] == np.inf
    assert not off[0].any()
    assert exchanged(found, true).tolist() == [[0, 0], [0, 0], [0, 0], [0, 1]]


ROWS = [
    {"way": "picked", "frames": 10, "seed": 1, "error_percent": 2.0, "within_5_percent": 0.99},
    {"way": "picked", "frames": 10, "seed": 2, "error_percent": 3.0, "within_5_percent": 0.97},
    {"way": "none", "frames": 0, "seed": 0, "error_percent": 5.0, "within_5_percent": 0.8},
]


def test_the_curve_gives_the_mean_over_seeds_and_their_spread() -> None:
    assert [line(entry) for entry in curve(ROWS)] == [
        "   0 frames, none  : 5.00 % of body length (5.00 to 5.00), 20.00 % of landmarks beyond 5 %",
        "  10 frames, picked: 2.50 % of body length (2.00 to 3.00), 2.00 % of landmarks beyond 5 %",
    ]


def test_the_curve_is_put_on_the_card_and_the_rest_of_it_stays(tmp_path: Path) -> None:
    card = tmp_path / "net.toml"
    card.write_text('name = "net"\n[score]\nmass = [0.1, 0.9]\n', encoding="utf-8")
    for _ in range(2):
        note_on_card(ROWS, card)
    words = tomllib.loads(card.read_text(encoding="utf-8"))
    assert (words["name"], words["score"]) == ("net", {"mass": [0.1, 0.9]})
    assert words["learning"]["picked"] == {
        "frames": [10], "error_percent": [2.5], "from_to": [[2.0, 3.0]], "beyond_5_percent": [2.0]
    }  # fmt: skip


def test_what_was_measured_before_is_kept(tmp_path: Path, clips: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import training.learning as learning

    calls: list[int] = []

    def counted(network: object, film: Path) -> tuple[np.ndarray, np.ndarray]:
        """The truth, a pixel off."""
        calls.append(1)
        true = learning.truth_of(film).xy_px
        return true + np.array([1.0, 0.0]), true

    monkeypatch.setattr(learning, "found_and_true", counted)
    first = measure(tmp_path, clips)
    again = measure(tmp_path, clips)
    assert len(calls) == 2  # both films, once
    assert first[0]["error_percent"] == pytest.approx(100 / np.hypot(30, 2), abs=1e-3)
    assert float(again[0]["error_percent"]) == first[0]["error_percent"]
