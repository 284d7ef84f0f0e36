"""The folder of marks as far as a machine writes it, and the names that clips get there."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from walker import trotting

from pose.coco import COVERED, NOT_MARKED, VISIBLE, read_marks
from pose.errors import MarksError
from pose.landmarks import CROUP, FAR_FORE, NEAR_FORE, WITHERS
from training.marks.gathering import clip_names, known_clips
from training.marks.picked import FILE, PickedFrame, add_picked, read_picked
from training.marks.results import Result

XY = np.array([[10, 40], [12, 41], [30, 40], [32, 41], [10, 10], [30, 11]], float)


def frame(stem: str, xy_px: np.ndarray = XY, hidden: tuple[int, ...] = (), **notes: object) -> PickedFrame:
    rgb = np.full((50, 60, 3), 7, np.uint8)
    score = np.array([0.5, 0.25, np.nan, 1.0, 0.12345678, 0.0])
    return PickedFrame(stem, rgb, notes, xy_px, np.isin(np.arange(6), hidden), score, "right")


def moved(mark: int, place: tuple[float, float]) -> np.ndarray:
    xy = XY.copy()
    xy[mark] = place
    return xy


@pytest.mark.parametrize(
    ("xy_px", "hidden", "mark", "visibility"),
    [
        (XY, (), NEAR_FORE, VISIBLE),
        (XY, (FAR_FORE,), FAR_FORE, COVERED),
        (moved(FAR_FORE, (np.nan, np.nan)), (FAR_FORE,), FAR_FORE, NOT_MARKED),
        (moved(NEAR_FORE, (61.0, 40.0)), (), NEAR_FORE, NOT_MARKED),
        (moved(NEAR_FORE, (10.0, -2.0)), (), NEAR_FORE, NOT_MARKED),
        (moved(CROUP, tuple(XY[WITHERS])), (), CROUP, NOT_MARKED),
    ],
    ids=["seen", "covered", "not found", "right of the picture", "above it", "on the withers"],
)
def test_what_becomes_of_an_answer(
    tmp_path: Path, xy_px: np.ndarray, hidden: tuple[int, ...], mark: int, visibility: int
) -> None:
    add_picked(tmp_path, [frame("a", xy_px, hidden)])
    marks = read_marks(tmp_path / FILE)
    assert marks.visibility[0, mark] == visibility
    if visibility:
        assert marks.xy_px[0, mark] == pytest.approx(xy_px[mark])
    assert marks.mark_notes[0]["attributes"] == {"facing": "right", "score": [0.5, 0.25, None, 1.0, 0.1235, 0.0]}


def test_a_frame_without_any_place_has_a_picture_and_no_answer(tmp_path: Path) -> None:
    assert add_picked(tmp_path, [frame("a", XY * np.nan), frame("b")]) == 2
    marks = read_marks(tmp_path / FILE)
    assert (len(marks.files), marks.picture.tolist()) == (2, [1])


def test_adding_leaves_what_is_there(tmp_path: Path) -> None:
    add_picked(tmp_path, [frame("a", why="one")])
    first = read_marks(tmp_path / FILE)
    add_picked(tmp_path, [frame("b", why="two"), frame("c")])
    both = read_marks(tmp_path / FILE)
    assert both.image_id.tolist() == [1, 2, 3]
    assert both.mark_id.tolist() == [1, 2, 3]
    assert both.files[:1] == first.files
    assert [note.get("why") for note in both.image_notes] == ["one", "two", None]
    assert "nobody's marks" in both.about["info"]["description"]


def test_a_picture_that_nobody_knows_is_not_overwritten(tmp_path: Path) -> None:
    add_picked(tmp_path, [frame("a")])
    (tmp_path / "pictures" / "b.png").write_text("mine")
    with pytest.raises(MarksError, match="is there already"):
        add_picked(tmp_path, [frame("b")])
    assert (tmp_path / "pictures" / "b.png").read_text() == "mine"
    assert len(read_marks(tmp_path / FILE).files) == 1


def test_an_empty_or_missing_folder_is_new(tmp_path: Path) -> None:
    assert read_picked(tmp_path) is None
    assert read_picked(tmp_path / "none") is None


def result(source: str, sha256: str, dog: str = "Tansy", condition: str = "bare") -> Result:
    return Result(Path("r"), source, sha256, dog, "", condition, "right", 200.0, {}, trotting(0.2), ())


def test_one_content_is_one_clip_with_one_name(tmp_path: Path) -> None:
    add_picked(tmp_path, [frame("run-1", clip="run", source_sha256="a", dog="Brock", condition="vest", time_s=2.5)])
    earlier = read_picked(tmp_path)
    results = [result("run.mp4", "b"), result("Run.mov", "c", "Brock"), result("again.mp4", "b"), result("x.mp4", "a")]
    of, clips = known_clips(results, earlier)
    assert of[0] == of[2]
    assert len(set(of.tolist())) == 3
    assert clips.dog[of[1]] != clips.dog[of[0]]
    assert (clips.taken_clip.tolist(), clips.taken_s.tolist()) == ([of[3]], [2.5])
    names = clip_names(results, of, earlier)
    assert [names[clip] for clip in of] == ["run-2", "Run-3", "run-2", "run"]


def test_names_hold_nothing_that_a_disk_cannot_take() -> None:
    results = [result("Tansy: trot #2.mp4", "a")]
    of, _ = known_clips(results, None)
    assert clip_names(results, of, None)[0] == "Tansy_trot_2"


def test_choosing_frames_needs_no_torch_and_loads_sklearn_late() -> None:
    code = "import sys, training.marks.gathering; sys.exit(bool({'torch', 'sklearn'} & sys.modules.keys()))"
    assert subprocess.run([sys.executable, "-c", code], cwd=Path(__file__).parents[2], check=False).returncode == 0
