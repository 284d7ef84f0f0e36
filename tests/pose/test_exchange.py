"""Landmarks out to the forms of others and in again; what cannot be used says why."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from walker import trotting

from pose.c3d import read_c3d, write_c3d
from pose.errors import MarksError, PoseError, TableError
from pose.exchange import READERS, read_landmarks, write_landmarks
from pose.tracks import Tracks

#: px and s that 32-bit numbers lose at 1000 px and 4 s; and what the decimals of a table lose.
C3D_PX, C3D_S, TABLE_PX = 1e-4, 1e-6, 5.1e-4


@pytest.fixture
def tracks() -> Tracks:
    """A trot that starts at 1.25 s, with two gaps, a hidden paw and a frame without a dog."""
    whole = trotting(1.0, 60.0)
    xy, hidden = np.array(whole.xy_px), np.array(whole.hidden)
    xy[5:9, 2], xy[30] = np.nan, np.nan
    hidden[10:14, 1] = True
    score = np.where(np.isnan(xy[..., 0]), 0.0, whole.score)
    sides = np.array(whole.side_score)
    sides[30] = 0.5
    return replace(whole, t_s=whole.t_s + 1.25, xy_px=xy, hidden=hidden, score=score, side_score=sides)


@pytest.mark.parametrize("ending", READERS)
def test_places_and_times_come_back(tracks: Tracks, tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"trot{ending}"
    write_landmarks(tracks, path)
    again = read_landmarks(path)
    assert (np.isnan(again.xy_px) == np.isnan(tracks.xy_px)).all()
    assert np.nanmax(np.abs(again.xy_px - tracks.xy_px)) <= {".c3d": C3D_PX, ".json": 0.0}.get(ending, TABLE_PX)
    assert np.abs(again.t_s - tracks.t_s).max() <= C3D_S
    assert [item.name for item in tmp_path.iterdir()] == [path.name]


def test_coco_keeps_scores_sides_hidden_and_numbers(tracks: Tracks, tmp_path: Path) -> None:
    shifted = replace(tracks, frame=tracks.frame + 40)
    write_landmarks(shifted, tmp_path / "trot.json")
    again = read_landmarks(tmp_path / "trot.json")
    shown = np.isfinite(tracks.xy_px[..., 0])
    dog = shown.any(axis=1)
    assert again.frame.tolist() == shifted.frame.tolist()
    assert np.array_equal(again.score[dog], tracks.score[dog]) and np.isnan(again.score[~dog]).all()
    assert np.array_equal(again.side_score[dog], tracks.side_score[dog])
    assert np.array_equal(again.hidden[shown], tracks.hidden[shown])


def test_pictures_in_any_order_become_frames_in_order(tracks: Tracks, tmp_path: Path) -> None:
    path = tmp_path / "trot.json"
    write_landmarks(tracks, path)
    words = json.loads(path.read_text())
    words["images"].reverse()
    path.write_text(json.dumps(words))
    assert np.array_equal(read_landmarks(path).xy_px, tracks.xy_px, equal_nan=True)


def changed(words: dict, change: str) -> dict:
    """The file with one thing wrong."""
    first = words["images"][0]
    if change == "no time":
        del first["time_s"]
    elif change == "no frame":
        first["frame"] = 1.5
    elif change == "two dogs":
        words["annotations"].append({**words["annotations"][0], "id": 999})
    elif change == "two clips":
        first["clip"], words["images"][1]["clip"] = "a.mp4", "b.mp4"
    elif change == "scores":
        words["annotations"][0]["attributes"]["score"] = [1.0]
    elif change == "a score above 1":
        words["annotations"][0]["attributes"]["score"] = [2.0] * 6
    elif change == "no dog":
        words["annotations"] = []
    return words


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("no time", "time_s"), ("no frame", "frame"), ("two dogs", "more than one dog"), ("two clips", "2 clips"),
        ("scores", "lists of 6"), ("a score above 1", "0 to 1"), ("no dog", "no dog"),
    ],
)  # fmt: skip
def test_a_file_of_marks_that_is_no_clip_says_why(tracks: Tracks, tmp_path: Path, change: str, told: str) -> None:
    path = tmp_path / "trot.json"
    write_landmarks(tracks, path)
    path.write_text(json.dumps(changed(json.loads(path.read_text()), change)))
    with pytest.raises(MarksError, match=told):
        read_landmarks(path)


def test_c3d_carries_events_and_is_readable_by_its_own_library(tracks: Tracks, tmp_path: Path) -> None:
    ezc3d = pytest.importorskip("ezc3d")
    write_c3d(tracks, tmp_path / "a.c3d", events=[(1.5, "near_fore", "touchdown"), (2.0, "far_hind", "liftoff")])
    found = ezc3d.c3d(str(tmp_path / "a.c3d"))["parameters"]
    assert found["EVENT"]["LABELS"]["value"] == ["touchdown", "liftoff"]
    assert found["EVENT"]["CONTEXTS"]["value"] == ["near_fore", "far_hind"]
    assert np.allclose(found["EVENT"]["TIMES"]["value"], [[0, 0], [0.25, 0.75]])
    assert found["POINT"]["RATE"]["value"][0] == pytest.approx(60.0)
    assert found["POINT"]["UNITS"]["value"] == ["px"]


def test_c3d_made_elsewhere_with_other_points_and_a_late_start(tmp_path: Path) -> None:
    ezc3d = pytest.importorskip("ezc3d")
    made = ezc3d.c3d()
    made["parameters"]["POINT"]["RATE"]["value"] = [100.0]
    made["parameters"]["POINT"]["LABELS"]["value"] = ["HEAD", "Withers", "croup"]
    points = np.ones((4, 3, 20))
    points[0, 1:], points[2, 1:] = 300.0, 500.0
    made["data"]["points"] = points
    made.write(str(tmp_path / "lab.c3d"))
    tracks = read_c3d(tmp_path / "lab.c3d")
    assert np.isnan(tracks.xy_px[:, :4]).all() and np.isnan(tracks.score).all()
    assert np.allclose(tracks.xy_px[:, 4:], [300.0, -500.0]) and np.allclose(np.diff(tracks.t_s), 0.01)


def test_c3d_refuses_times_that_it_cannot_hold(tracks: Tracks, tmp_path: Path) -> None:
    t_s = np.array(tracks.t_s)
    t_s[30:] += 0.1
    with pytest.raises(TableError, match="steady rate"):
        write_c3d(replace(tracks, t_s=t_s), tmp_path / "a.c3d")
    with pytest.raises(TableError, match="1 frames"):
        write_c3d(tracks.rows(slice(0, 1)), tmp_path / "a.c3d")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("name", "content"),
    [("a.c3d", b"no C3D at all" * 99), ("a.c3d", None), ("a.txt", b"x"), ("a.json", b"{")],
    ids=["no C3D", "not there", "unknown ending", "no JSON"],
)
def test_what_cannot_be_read_is_refused(tmp_path: Path, name: str, content: bytes | None) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(PoseError):
        read_landmarks(tmp_path / name)


def test_without_the_library_c3d_says_how_to_get_it(
    tracks: Tracks, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(__import__("sys").modules, "ezc3d", None)
    with pytest.raises(TableError, match=r"pawfall\[c3d\]"):
        write_c3d(tracks, tmp_path / "a.c3d")
