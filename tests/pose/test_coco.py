"""Marks in the form of COCO keypoints: what is read is what was written, and what is wrong is named."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from marked import DOG_PX, mark, put, words

from pose.coco import COVERED, Marks, picture_paths, read_marks, write_marks
from pose.errors import MarksError
from pose.landmarks import CROUP, FAR_HIND, LANDMARKS, WITHERS

Change = Callable[[dict], object]


def test_marks_are_read_in_the_order_of_the_landmarks_whatever_theirs(tmp_path: Path) -> None:
    content = words(mark(7, 1, DOG_PX[::-1], [2, 2, 0, 2, 1, 2]))
    content["categories"][0]["keypoints"] = list(LANDMARKS[::-1])
    marks = read_marks(put(tmp_path, content))
    assert marks.visibility[0].tolist() == [2, 1, 2, 0, 2, 2]
    expected = DOG_PX.copy()
    expected[FAR_HIND] = np.nan
    np.testing.assert_array_equal(marks.xy_px[0], expected)
    assert (marks.mark_id.tolist(), marks.files, marks.size_px.tolist()) == ([7], ("1.png",), [[480, 360]])


def test_reading_and_writing_changes_nothing(tmp_path: Path) -> None:
    attributes = {"facing": "left", "dog": "Brock", "sides_sure": {"fore": False, "hind": True}}
    content = words(
        mark(3, 2, DOG_PX + 0.25, [2, 2, 0, 1, 2, 2], bbox=[1, 2, 3, 4], attributes=attributes),
        mark(9, 1),
        pictures=3,
        info={"marked_by": "somebody"},
    )
    content["images"][1]["clip"] = "tansy"
    one = read_marks(put(tmp_path, content))
    write_marks(one, tmp_path / "again.json")
    two = read_marks(tmp_path / "again.json")
    for name in Marks.__dataclass_fields__:
        np.testing.assert_equal(getattr(two, name), getattr(one, name), err_msg=name)
    assert two.about["info"] == {"marked_by": "somebody"}
    assert (two.mark_notes[0]["attributes"], two.image_notes[1]) == (attributes, {"clip": "tansy"})
    written = json.loads((tmp_path / "again.json").read_text())
    assert [entry["num_keypoints"] for entry in written["annotations"]] == [5, 6]
    assert written["annotations"][1]["keypoints"] == content["annotations"][1]["keypoints"]
    assert [item.name for item in tmp_path.iterdir() if item.name.startswith(".")] == []


def test_skeleton_joins_withers_and_croup_to_the_paws(tmp_path: Path) -> None:
    write_marks(read_marks(put(tmp_path, words())), tmp_path / "again.json")
    category = json.loads((tmp_path / "again.json").read_text())["categories"][0]
    joined = {frozenset(category["keypoints"][end - 1] for end in limb) for limb in category["skeleton"]}
    assert joined == {
        frozenset(pair)
        for pair in [
            ("near_fore", "withers"), ("far_fore", "withers"), ("near_hind", "croup"), ("far_hind", "croup"),
            ("withers", "croup"),
        ]
    }  # fmt: skip


def test_a_file_without_dogs_is_a_file_of_pictures_without_dogs(tmp_path: Path) -> None:
    marks = read_marks(put(tmp_path, words() | {"annotations": []}))
    assert (len(marks), marks.files, marks.dogs_in(0).tolist()) == (0, ("1.png",), [])


@pytest.mark.parametrize(
    ("xy", "visibility", "attributes", "facing"),
    [
        (DOG_PX, 2, {"facing": "left"}, "left"),
        (DOG_PX, 2, None, "right"),
        (DOG_PX * [-1, 1] + [400, 0], 2, {}, "left"),
        (DOG_PX, [2, 2, 2, 2, 2, 0], None, None),
        (DOG_PX, [2, 2, 2, 2, 2, 0], {"facing": "right"}, "right"),
    ],
    ids=["said", "withers before croup", "the other way", "no croup", "no croup but said"],
)
def test_facing(tmp_path: Path, xy: np.ndarray, visibility: object, attributes: object, facing: str | None) -> None:
    content = words(mark(1, 1, xy, visibility, attributes=attributes))
    assert read_marks(put(tmp_path, content)).facing(0) == facing


@pytest.mark.parametrize(
    ("attributes", "sure"),
    [(None, [True, True]), ({"sides_sure": {"fore": False}}, [False, True]), ({"sides_sure": {}}, [True, True])],
    ids=["nothing said", "fore unsure", "empty"],
)
def test_sides_are_sure_unless_it_says_not(tmp_path: Path, attributes: object, sure: list[bool]) -> None:
    content = words(mark(1, 1, attributes=attributes))
    assert read_marks(put(tmp_path, content)).sides_sure(0).tolist() == sure


def put_in(*path: object, value: object) -> Change:
    """A change that sets one entry of a file."""

    def change(content: dict) -> None:
        for key in path[:-1]:
            content = content[key]
        content[path[-1]] = value

    return change


def take_out(*path: object) -> Change:
    def change(content: dict) -> None:
        for key in path[:-1]:
            content = content[key]
        del content[path[-1]]

    return change


def point(mark_number: int, value: object) -> Change:
    return put_in("annotations", 0, "keypoints", mark_number, value=value)


def two_points(content: dict) -> None:
    content["annotations"][0]["keypoints"][3 * CROUP :] = content["annotations"][0]["keypoints"][3 * WITHERS : 15]


WRONG: list[tuple[str, Change, str]] = [
    ("no images", take_out("images"), "no list 'images'"),
    ("annotations no list", put_in("annotations", value={}), "no list 'annotations'"),
    ("no picture", put_in("images", value=[]), "lists no picture"),
    ("no category", put_in("categories", value=[]), "has no category"),
    ("category without keypoints", take_out("categories", 0, "keypoints"), "category 1 has no list of keypoints"),
    ("keypoint misspelt", put_in("categories", 0, "keypoints", 4, value="wither"), "did you mean withers?"),
    ("foreign keypoint", put_in("categories", 0, "keypoints", 4, value="left_eye"), "'left_eye', which is no landmark"),
    ("keypoint lacking", take_out("categories", 0, "keypoints", 5), "category 1 lacks the keypoint croup"),
    ("image no table", put_in("images", 0, value=3), "entry 1 of images has the id None"),
    ("image id a word", put_in("images", 0, "id", value="1"), "the id '1'; a whole number"),
    ("image id too large", put_in("images", 0, "id", value=2**70), "a whole number"),
    ("no file name", put_in("images", 0, "file_name", value=" "), "image 1 has no file_name"),
    ("file elsewhere", put_in("images", 0, "file_name", value="../1.png"), "image 1 has the file_name '../1.png'"),
    ("no width", take_out("images", 0, "width"), "image 1 has the width None"),
    ("height 0", put_in("images", 0, "height", value=0), "image 1 has the height 0"),
    ("image twice", lambda content: content["images"].append(content["images"][0]), "image 1 is there twice"),
    ("annotation twice", lambda content: content["annotations"].append(mark(4, 1)), "annotation 4 is there twice"),
    ("annotation id true", put_in("annotations", 0, "id", value=True), "entry 1 of annotations has the id True"),
    ("unknown image", put_in("annotations", 0, "image_id", value=8), "annotation 4 has the image_id 8"),
    ("unknown category", put_in("annotations", 0, "category_id", value=2), "annotation 4 has the category_id 2"),
    ("no keypoints", take_out("annotations", 0, "keypoints"), "annotation 4 has no list for keypoints"),
    ("too few numbers", take_out("annotations", 0, "keypoints", 0), "annotation 4 has 17 numbers"),
    ("visibility 3", point(5, 3), "annotation 4, keypoint far_fore has the visibility 3"),
    ("visibility true", point(5, True), "annotation 4, keypoint far_fore has the visibility True"),
    ("place a word", point(12, "left"), "annotation 4, keypoint withers has the place ('left', 100.0)"),
    ("place NaN", point(13, float("nan")), "annotation 4, keypoint withers has the place (220.0, nan)"),
    ("place outside", point(0, 481.0), "annotation 4, keypoint near_fore lies at (481.0, 200.0), outside"),
    ("place before the edge", point(1, -1.0), "annotation 4, keypoint near_fore lies at (240.0, -1.0), outside"),
    ("withers on croup", two_points, "annotation 4 has withers and croup on one place"),
    ("odd facing", put_in("annotations", 0, "attributes", value={"facing": "up"}), "annotation 4 has the facing 'up'"),
    ("attributes no table", put_in("annotations", 0, "attributes", value=[1]), "annotation 4 has attributes [1]"),
    (
        "sides sure no table",
        put_in("annotations", 0, "attributes", value={"sides_sure": {"fore": "no"}}),
        "annotation 4 has sides_sure",
    ),
]


@pytest.mark.parametrize(("change", "said"), [row[1:] for row in WRONG], ids=[row[0] for row in WRONG])
def test_what_is_wrong_is_named_in_one_sentence_with_the_file(tmp_path: Path, change: Change, said: str) -> None:
    content = words(mark(4, 1))
    read_marks(put(tmp_path, content))
    change(content)
    with pytest.raises(MarksError) as caught:
        read_marks(put(tmp_path, content))
    assert said in str(caught.value)
    assert str(caught.value).startswith("marks.json")


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "is not JSON: Expecting value in line 1"),
        (b'{"images": [],\n"annotations" []}', "in line 2"),
        (b"[]", "no list 'images'"),
        (b"\x89PNG\xff", "not text in UTF-8"),
    ],
    ids=["empty", "broken in line two", "a list", "a picture"],
)
def test_what_is_no_file_of_marks_is_refused(tmp_path: Path, data: bytes, said: str) -> None:
    (tmp_path / "marks.json").write_bytes(data)
    with pytest.raises(MarksError, match=said):
        read_marks(tmp_path / "marks.json")


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(MarksError, match=r"none\.json is not a file"):
        read_marks(tmp_path / "none.json")


def test_pictures_that_are_not_there_are_counted_and_the_first_is_named(tmp_path: Path) -> None:
    marks = read_marks(put(tmp_path, words(pictures=3)))
    (tmp_path / "2.png").touch()
    with pytest.raises(MarksError, match=r"2 of 3 pictures are not there, the first is 1\.png \(image 1\)"):
        picture_paths(marks, tmp_path)
    for name in ("1.png", "3.png"):
        (tmp_path / name).touch()
    assert picture_paths(marks, tmp_path) == [tmp_path / f"{number}.png" for number in (1, 2, 3)]


def test_landmarks_that_were_not_marked_may_all_be_missing(tmp_path: Path) -> None:
    marks = read_marks(put(tmp_path, words(mark(1, 1, DOG_PX, 0))))
    assert np.isnan(marks.xy_px).all() and not marks.visibility.any()


@pytest.mark.parametrize(
    "change",
    [
        {"xy_px": np.zeros((1, 5, 2))},
        {"picture": np.zeros(2)},
        {"visibility": np.full((1, 6), COVERED) * 0},
        {"mark_notes": ({}, {})},
    ],
    ids=["five landmarks", "two pictures for one dog", "a place that was not marked", "notes of two dogs"],
)
def test_marks_are_checked_when_they_are_made(change: dict) -> None:
    fine = {
        "files": ("1.png",), "image_id": [1], "size_px": [[480, 360]], "mark_id": [1], "picture": [0],
        "xy_px": DOG_PX[None], "visibility": np.full((1, 6), 2),
    }  # fmt: skip
    assert len(Marks(**{name: np.array(value) if name != "files" else value for name, value in fine.items()})) == 1
    with pytest.raises(MarksError):
        made = fine | change
        Marks(**{n: v if n in ("files", "mark_notes") else np.array(v) for n, v in made.items()})
