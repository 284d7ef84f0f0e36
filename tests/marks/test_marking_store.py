"""The folder that people mark in: every change is kept, undo outlives the page, nobody's marks are overwritten."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from film_maker import write_numbered
from marking_maker import DOG_PX, make_folder

from pose.coco import read_marks
from pose.errors import MarksError
from pose.landmarks import CROUP, FAR_HIND, NEAR_FORE, WITHERS
from training.marks.edits import Edit, edit_from
from training.marks.state import PictureMarks, from_dict
from training.marks.store import Marking, OutOfStepError, open_marking

SIZE = (96, 64)
AT = "2026-03-02T10:00:00+00:00"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return make_folder(tmp_path / "marks", write_numbered(tmp_path / "tansy.mp4", [n / 25 for n in range(12)]))


def said(picture: PictureMarks, **changes: Any) -> PictureMarks:
    return from_dict(picture.as_dict() | changes, SIZE)


def edit(marking: Marking, image_id: int, after: PictureMarks | None, op: str, kind: str = "edit") -> Edit:
    made = Edit(op, kind, image_id, marking.states.get(image_id), after, AT)
    assert marking.apply(made)
    return made


def test_the_network_is_the_start_and_nothing_is_marked_by_it(folder: Path) -> None:
    marking = open_marking(folder, "anna")
    assert [picture.start.points[NEAR_FORE] for picture in marking.pictures] == [(66.0, 50.0, 2)] * 2 + [None]
    assert [picture.start.start for picture in marking.pictures] == ["network", "network", "blank"]
    assert marking.states == {}
    assert sorted(item.name for item in folder.iterdir()) == ["picked.json", "pictures"]


def test_blank_hides_what_the_network_found(folder: Path) -> None:
    pictures = open_marking(folder, "anna", blank=True).pictures
    assert all(picture.start.points == (None,) * 6 and picture.score == () for picture in pictures)


def test_drafts_are_kept_but_finished_pictures_alone_are_marks(folder: Path) -> None:
    marking = open_marking(folder, "anna")
    draft = said(marking.pictures[0].start, points=[[10.25, 50, 1], *marking.pictures[0].start.as_dict()["points"][1:]])
    edit(marking, 1, draft, "a")
    assert not (folder / "marks-anna.json").exists()
    assert open_marking(folder, "anna").states == {1: draft}
    edit(marking, 1, said(draft, finished=True), "b")
    marks = read_marks(folder / "marks-anna.json")
    assert marks.files == ("pictures/tansy-000002.png",)
    assert marks.xy_px[0, NEAR_FORE].tolist() == [10.25, 50] and marks.visibility[0].tolist() == [1, 2, 2, 2, 2, 2]
    assert marks.mark_notes[0]["attributes"] == {
        "facing": "right", "sides_sure": {"fore": True, "hind": True}, "marker": "anna", "marked_at": AT,
        "start": "network",
    }  # fmt: skip
    assert marks.image_notes[0]["clip"] == "tansy"


def test_not_in_the_picture_unsure_sides_and_no_dog_are_written_and_come_back(folder: Path) -> None:
    marking = open_marking(folder, "anna")
    points = marking.pictures[0].start.as_dict()["points"]
    points[FAR_HIND] = [0, 0, 0]
    sure = {"fore": False, "hind": True}
    edit(marking, 1, said(marking.pictures[0].start, points=points, sides_sure=sure, finished=True), "a")
    edit(marking, 3, said(marking.pictures[2].start, no_dog=True, finished=True), "b")
    marks = read_marks(folder / "marks-anna.json")
    assert (marks.image_id.tolist(), len(marks), marks.visibility[0, FAR_HIND]) == ([1, 3], 1, 0)
    assert np.isnan(marks.xy_px[0, FAR_HIND]).all() and marks.sides_sure(0).tolist() == [False, True]
    assert open_marking(folder, "anna").states == marking.states


def test_undo_back_to_nothing_takes_the_file_away_and_redo_brings_it_back(folder: Path) -> None:
    marking = open_marking(folder, "anna")
    whole = said(marking.pictures[0].start, finished=True)
    edit(marking, 1, whole, "a")
    edit(marking, 1, None, "b", "undo")
    assert not (folder / "marks-anna.json").exists() and marking.states == {}
    again = open_marking(folder, "anna")
    assert [step.kind for step in again.log.edits] == ["edit", "undo"]
    edit(again, 1, whole, "c", "redo")
    assert len(read_marks(folder / "marks-anna.json")) == 1


def test_a_step_sent_twice_is_kept_once(folder: Path) -> None:
    marking = open_marking(folder, "anna")
    made = edit(marking, 1, said(marking.pictures[0].start, finished=True), "a")
    assert not marking.apply(made)
    assert len((folder / "edits-anna.jsonl").read_text().splitlines()) == 1


def test_a_step_that_does_not_follow_on_is_refused(folder: Path) -> None:
    marking = open_marking(folder, "anna")
    edit(marking, 1, said(marking.pictures[0].start, finished=True), "a")
    with pytest.raises(OutOfStepError, match="changed elsewhere"):
        marking.apply(Edit("b", "edit", 1, None, marking.pictures[0].start, AT))


def test_two_servers_of_one_person_cannot_write_past_each_other(folder: Path) -> None:
    one, two = open_marking(folder, "anna"), open_marking(folder, "anna")
    edit(one, 1, said(one.pictures[0].start, finished=True), "a")
    with pytest.raises(MarksError, match="another pawfall mark"):
        edit(two, 2, said(two.pictures[1].start, finished=True), "b")


def test_a_crash_in_the_middle_of_a_line_loses_only_what_was_not_confirmed(folder: Path) -> None:
    marking = open_marking(folder, "anna")
    edit(marking, 1, said(marking.pictures[0].start, finished=True), "a")
    log = folder / "edits-anna.jsonl"
    whole = log.read_bytes()
    log.write_bytes(whole + b'{"op": "b", "ki')
    again = open_marking(folder, "anna")
    assert again.states == marking.states and log.read_bytes() == whole
    edit(again, 2, said(again.pictures[1].start, finished=True), "b")


def test_a_crash_between_the_log_and_the_marks_is_made_good(folder: Path) -> None:
    marking = open_marking(folder, "anna")
    edit(marking, 1, said(marking.pictures[0].start, finished=True), "a")
    before = (folder / "marks-anna.json").read_bytes()
    edit(marking, 2, said(marking.pictures[1].start, finished=True), "b")
    (folder / "marks-anna.json").write_bytes(before)
    assert open_marking(folder, "anna").states.keys() == {1, 2}
    assert len(read_marks(folder / "marks-anna.json")) == 2


def test_marks_brought_in_from_outside_count_and_are_not_undone_by_the_log(folder: Path) -> None:
    marking = open_marking(folder, "anna")
    edit(marking, 1, said(marking.pictures[0].start, finished=True), "a")
    words = json.loads((folder / "marks-anna.json").read_text())
    words["annotations"][0]["keypoints"][0] = 70
    words["annotations"][0]["area"] = 12.5
    (folder / "marks-anna.json").write_text(json.dumps(words))
    again = open_marking(folder, "anna")
    assert again.states[1].points[NEAR_FORE] == (70.0, 50.0, 2)
    assert again.log.edits[-1].kind == "taken"
    edit(again, 2, said(again.pictures[1].start, finished=True), "b")
    assert [notes.get("area") for notes in read_marks(folder / "marks-anna.json").mark_notes] == [12.5, None]


def test_nothing_is_read_of_another_person(folder: Path) -> None:
    marking = open_marking(folder, "anna")
    edit(marking, 1, said(marking.pictures[0].start, finished=True), "a")
    (folder / "marks-ben.json").write_text("no marks at all")
    assert open_marking(folder, "anna").states.keys() == {1}
    (folder / "marks-ben.json").unlink()
    assert open_marking(folder, "ben").states == {}


def test_pictures_that_are_picked_no_more_stay_in_the_marks(folder: Path) -> None:
    marking = open_marking(folder, "anna")
    edit(marking, 3, said(marking.pictures[2].start, points=[[*xy, 2] for xy in DOG_PX.tolist()], finished=True), "a")
    words = json.loads((folder / "picked.json").read_text())
    words["images"].pop()
    (folder / "picked.json").write_text(json.dumps(words))
    again = open_marking(folder, "anna")
    assert [picture.image_id for picture in again.pictures] == [1, 2, 3]
    edit(again, 1, said(again.pictures[0].start, finished=True), "b")
    assert read_marks(folder / "marks-anna.json").image_id.tolist() == [1, 3]


@pytest.mark.parametrize("marker", ["", "Anna", "../anna", "a b", "x" * 41, "-a"])
def test_names_that_cannot_stand_in_a_file_are_refused(folder: Path, marker: str) -> None:
    with pytest.raises(MarksError, match="cannot be used"):
        open_marking(folder, marker)


def test_a_folder_without_pictures_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(MarksError, match="pawfall pick"):
        open_marking(tmp_path, "anna")


GOOD = PictureMarks(tuple((x, y, 2) for x, y in DOG_PX.tolist()), "right").as_dict()


def point(mark: int, value: Any) -> dict[str, Any]:
    points = [*GOOD["points"]]
    points[mark] = value
    return {"points": points}


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"points": GOOD["points"][:5]}, "6 are needed"),
        (point(0, [96, 10, 2]), "near_fore came at (96, 10), outside its picture of 96x64 px"),
        (point(0, [float("nan"), 10, 2]), "outside"),
        (point(0, [1, 10, True]), "visibility of 0, 1 or 2"),
        (point(0, [1, 10, 3]), "visibility of 0, 1 or 2"),
        (point(0, [1, 10]), "visibility of 0, 1 or 2"),
        ({"facing": "up"} | point(CROUP, None), "facing came as 'up'"),
        ({"finished": 1}, "finished came as 1"),
        ({"sides_sure": {"fore": True}}, "sides_sure came as"),
        ({"start": "elsewhere"}, "start came as"),
        ({"finished": True} | point(FAR_HIND, None), "far_hind is neither placed nor said"),
        ({"finished": True} | point(WITHERS, [32, 22, 1]), "withers and croup lie on one place"),
    ],
    ids=["five", "outside", "NaN", "visibility true", "visibility 3", "no visibility", "facing", "finished 1",
         "half sure", "start", "finished with one open", "withers on croup"],
)  # fmt: skip
def test_what_is_no_state_is_refused(changes: dict[str, Any], told: str) -> None:
    from_dict(GOOD, SIZE)
    with pytest.raises(MarksError) as caught:
        from_dict(GOOD | changes, SIZE)
    assert told in str(caught.value)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "names with values"),
        ({"op": "", "kind": "edit", "image_id": 1}, "the name ''"),
        ({"op": "a", "kind": "lose", "image_id": 1}, "the kind 'lose'"),
        ({"op": "a", "kind": "edit", "image_id": 9}, "picture 9"),
    ],
    ids=["list", "no name", "unknown kind", "unknown picture"],
)
def test_what_is_no_step_is_refused(words: Any, told: str) -> None:
    with pytest.raises(MarksError, match=told):
        edit_from(words, {1: SIZE})


def test_the_way_it_faces_is_told_by_withers_and_croup() -> None:
    assert from_dict(GOOD | {"facing": "left"}, SIZE).facing == "right"
    assert from_dict(GOOD | {"facing": "left"} | point(CROUP, None), SIZE).facing == "left"
