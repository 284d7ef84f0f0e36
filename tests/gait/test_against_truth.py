"""The whole line against truth: every figure from a record whose faults are set by hand."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from walker import trotting

from gait.errors import TruthError
from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial
from gait.truth import Truth, clips_with_truth, read_truth
from gait.wholeline import FIGURES, Compared, compare, figures, line_facts, nothing_found, topline_deg
from pose.film import write_film
from pose.landmarks import CROUP, NEAR_FORE, PAWS, WITHERS
from pose.table import write_table
from pose.tracks import Tracks

LATE_MS, EARLY_MS = 3.0, -5.0
#: Withers to croup of the walking dog, px.
BODY_PX = 200.0


@pytest.fixture(scope="module")
def record() -> GaitRecord:
    return build_record(trotting(), Trial(belt_m_s=2.0))


def truth_of(record: GaitRecord, gait: str = "trot", **changes: Any) -> Truth:
    """Touchdowns are earlier in truth than found by 3 ms, lift-offs later by 5, and all strides are ``gait``."""
    found = record.contacts
    down, up = found.touchdown_s - LATE_MS / 1000, found.liftoff_s - EARLY_MS / 1000
    down, up = np.where(np.isfinite(down), down, up - 0.2), np.where(np.isfinite(up), up, down + 0.2)
    start, end = np.array([0.0, 2.0]), np.array([2.0, 9.0])
    truth = Truth(record.tracks, record.facing, found.paw, down, up, start, end, (gait, gait))
    return replace(truth, **changes)


def compared(record: GaitRecord, tracks: Tracks | None = None, dog: str = "Ash", **changes: Any) -> Compared:
    return compare(tracks or record.tracks, record, truth_of(record, **changes), clip=f"{dog}-1", dog=dog)


def moved(tracks: Tracks, mark: int, step_px: tuple[float, float]) -> Tracks:
    xy = tracks.xy_px.copy()
    xy[:, mark] += step_px
    return replace(tracks, xy_px=xy)


def test_times_are_off_by_what_they_were_moved(record: GaitRecord) -> None:
    told = figures([compared(record)])
    assert told["touchdown_median_ms"] == pytest.approx(LATE_MS) and told["touchdown_bias_ms"] == pytest.approx(LATE_MS)
    assert told["liftoff_median_ms"] == pytest.approx(-EARLY_MS) and told["liftoff_bias_ms"] == pytest.approx(EARLY_MS)
    assert told["liftoff_95_percent_ms"] == pytest.approx(-EARLY_MS)
    assert told["events_95_percent_ms"] == pytest.approx(-EARLY_MS)
    assert LATE_MS <= told["events_median_ms"] <= -EARLY_MS
    # before the first frame and after the last nobody could find any
    assert told["events_found"] <= told["events_true"] <= told["events_found"] + 8


@pytest.mark.parametrize(
    ("gait", "right", "wrong"), [("trot", 100.0, 0), ("pace", 0.0, None)], ids=["as it was", "another"]
)
def test_names_are_held_against_true_ones(record: GaitRecord, gait: str, right: float, wrong: int | None) -> None:
    told = figures([compared(record, gait=gait)])
    names = told["names"]
    hind = [row for row in range(len(record.strides)) if record.strides.paw[row] >= 2]
    assert sum(names.values()) == len(hind) and names["right"] + names["wrong"] > 8
    assert told["names_right_percent"] == right
    assert names["dropped"] == sum(bool(record.strides.dropped[row]) for row in hind) > 0
    assert wrong is None or names["wrong"] == wrong


def test_an_unclear_name_is_neither_right_nor_wrong(record: GaitRecord) -> None:
    strides = replace(record.strides, gait=np.full(len(record.strides), "unclear"))
    told = figures([compared(replace(record, strides=strides))])
    assert told["names"]["unclear"] > 8 and told["names_given_percent"] == 0 and "names_right_percent" not in told


def test_landmarks_sides_and_topline(record: GaitRecord) -> None:
    assert figures([compared(record)])["within_5_percent"] == 100
    off = compared(record, moved(record.tracks, NEAR_FORE, (0.0, 0.06 * BODY_PX)))
    assert figures([off])["within_5_percent"] == pytest.approx(100 * 5 / 6, abs=1e-3)
    turned = replace(record.tracks, xy_px=record.tracks.xy_px[:, [1, 0, 2, 3, 4, 5]])
    assert figures([compared(record, turned)])["exchanged_percent"] == pytest.approx(50, abs=1)
    rise = np.tan(np.radians(2.0)) * BODY_PX
    lifted = compared(record, moved(record.tracks, CROUP, (0.0, -rise)))
    assert lifted.topline_deg == pytest.approx(2.0, abs=0.01)
    assert figures([lifted])["topline_deg"] == pytest.approx(2.0, abs=0.01)
    level = np.zeros((1, 6, 2))
    level[0, [WITHERS, CROUP]] = [[10.0, 0.0], [0.0, -10.0]]
    assert topline_deg(level) == pytest.approx([45.0])


def test_a_clip_that_cannot_be_read_is_all_missed(record: GaitRecord) -> None:
    truth = truth_of(record)
    lost = compare(nothing_found(truth), None, truth, clip="lost", dog="Ash", not_read="No dog was found.")
    told = line_facts([lost])["clips"]["lost"]
    assert told["within_5_percent"] == 0 and told["events_found"] == 0 < told["events_true"]
    assert told["not_read"] == "No dog was found."
    assert not {"topline_deg", "touchdown_median_ms", "names_right_percent"} & told.keys()


def test_dogs_are_told_one_by_one_and_give_the_interval(record: GaitRecord) -> None:
    filmed = (("Ash", "a"), ("Ash", "b"), ("Birch", "c"))
    clips = [replace(compared(record, dog=dog), clip=clip) for dog, clip in filmed]
    late = replace(compared(record, dog="Cedar"), clip="d", touchdown_ms=np.full(40, 30.0))
    told = line_facts([*clips, late])
    assert set(told["dogs"]) == {"Ash", "Birch", "Cedar"} and told["dogs"]["Ash"]["clips"] == 2
    assert told["dogs"]["Cedar"]["touchdown_median_ms"] == 30
    over = told["over_dogs"]["touchdown_95_percent_ms"]
    assert (over["low"], over["mean"], over["high"]) == (pytest.approx(LATE_MS), 30, 30) and over["dogs"] == 3
    assert "low" not in line_facts(clips)["over_dogs"]["touchdown_median_ms"]
    assert set(told["over_dogs"]) == set(FIGURES)


def put_truth(folder: Path, name: str, **changes: Any) -> Path:
    """A film of two frames with the truth of a trot beside it; ``changes`` replace parts of the file."""
    clip = folder / f"{name}.mp4"
    write_film(((k / 60, np.zeros((64, 96, 3), np.uint8)) for k in range(2)), clip)
    write_table(trotting(seconds=0.5), folder / f"{name}.landmarks.csv")
    told: dict[str, Any] = {
        "facing": "right",
        "contacts": [{"paw": PAWS[1], "touchdown_s": 0.1, "liftoff_s": 0.3}],
        "strides": [{"start_s": 0.0, "end_s": 0.5, "gait": "trot"}],
    }
    (folder / f"{name}.truth.json").write_text(json.dumps(told | changes))
    return clip


def test_truth_is_read_from_beside_the_clip(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    clips = [put_truth(tmp_path, "one"), put_truth(tmp_path / "b", "two")]
    write_film(((k / 60, np.zeros((64, 96, 3), np.uint8)) for k in range(2)), tmp_path / "unknown.mp4")
    assert clips_with_truth(tmp_path) == sorted(clips)
    truth = read_truth(clips[0])
    assert truth.paw.tolist() == [1] and truth.touchdown_s.tolist() == [0.1] and truth.gait == ("trot",)
    assert len(truth.tracks) == 30


BAD = [
    ("no side", {"facing": "up"}, "facing is 'up'; it can be left or right"),
    ("a paw that is none", {"contacts": [{"paw": "tail", "touchdown_s": 0, "liftoff_s": 1}]}, "truth.json"),
    ("a time that is none", {"strides": [{"start_s": "soon", "end_s": 1, "gait": "trot"}]}, "truth.json"),
    ("a time that has no end", {"strides": [{"start_s": 0, "end_s": float("nan"), "gait": "trot"}]}, "end_s"),
    ("a contact without paw", {"contacts": [{"touchdown_s": 0, "liftoff_s": 1}]}, "lacks 'paw'"),
    ("no list", {"contacts": 3}, "truth.json"),
]


@pytest.mark.parametrize(("changes", "said"), [row[1:] for row in BAD], ids=[row[0] for row in BAD])
def test_truth_that_cannot_be_used_is_named(tmp_path: Path, changes: dict[str, Any], said: str) -> None:
    with pytest.raises(TruthError, match=r"one\.truth\.json") as error:
        read_truth(put_truth(tmp_path, "one", **changes))
    assert said in str(error.value)


def test_missing_parts_are_named(tmp_path: Path) -> None:
    with pytest.raises(TruthError, match=r"pawfall draw writes"):
        clips_with_truth(tmp_path)
    clip = put_truth(tmp_path, "one")
    (tmp_path / "one.landmarks.csv").unlink()
    with pytest.raises(TruthError, match=r"one\.landmarks\.csv"):
        read_truth(clip)
    tracks = trotting(seconds=0.5)
    onto = np.where(np.arange(6)[:, None] == CROUP, tracks.xy_px[:, [WITHERS]], tracks.xy_px)
    write_table(replace(tracks, xy_px=onto), tmp_path / "one.landmarks.csv")
    with pytest.raises(TruthError, match=r"withers and croup on one place"):
        read_truth(clip)
    put_truth(tmp_path, "one")
    (tmp_path / "one.truth.json").write_text("[]")
    with pytest.raises(TruthError, match=r"one\.truth\.json"):
        read_truth(clip)
