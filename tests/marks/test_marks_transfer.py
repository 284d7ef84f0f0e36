"""Marks go out as COCO keypoints with their pictures and come back the same; what is there is never overwritten."""

import json
from pathlib import Path

import numpy as np
import pytest
from command_line import call
from film_maker import write_numbered
from marked import DOG_PX, mark, put, words
from marking_maker import make_folder

from pose.beside import write_picture
from pose.coco import Marks, read_marks
from pose.errors import MarksError
from training.marks.edits import Edit
from training.marks.state import from_dict
from training.marks.store import open_marking
from training.marks.transfer import export_marks, import_marks

PICTURE = np.full((360, 480, 3), 90, np.uint8)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Anna has finished the first picture and begun the second."""
    made = make_folder(tmp_path / "marks", write_numbered(tmp_path / "tansy.mp4", [n / 25 for n in range(12)]))
    marking = open_marking(made, "anna")
    for picture, finished in zip(marking.pictures[:2], (True, False), strict=True):
        after = from_dict(picture.start.as_dict() | {"finished": finished, "sides_sure": {"fore": False, "hind": True}},
                          picture.size_px)  # fmt: skip
        marking.apply(
            Edit(f"op-{picture.image_id}", "edit", picture.image_id, None, after, "2026-03-02T10:00:00+00:00")
        )
    return made


def same(one: Marks, other: Marks, *, but: tuple[str, ...] = ()) -> None:
    for name in set(Marks.__dataclass_fields__) - set(but):
        np.testing.assert_equal(getattr(two := other, name), getattr(one, name), err_msg=f"{name} {two}")


def test_out_and_in_again_changes_nothing(folder: Path, tmp_path: Path) -> None:
    file = export_marks(folder, "anna", tmp_path / "out")
    assert sorted(str(path.relative_to(tmp_path / "out")) for path in (tmp_path / "out").rglob("*.*")) == [
        "marks.json", "pictures/tansy-000002.png",
    ]  # fmt: skip
    assert import_marks(file, tmp_path / "new", "ben") == tmp_path / "new" / "marks-ben.json"
    same(read_marks(file), read_marks(tmp_path / "new" / "marks-ben.json"))
    same(read_marks(folder / "marks-anna.json"), read_marks(file), but=("about",))
    picture = "pictures/tansy-000002.png"
    assert (tmp_path / "new" / picture).read_bytes() == (folder / picture).read_bytes()
    again = export_marks(tmp_path / "new", "ben", tmp_path / "again")
    assert again.read_bytes() == file.read_bytes()


def test_what_came_in_can_be_worked_on_and_is_no_answer_of_a_network(folder: Path, tmp_path: Path) -> None:
    import_marks(export_marks(folder, "anna", tmp_path / "out"), tmp_path / "new", "ben")
    marking = open_marking(tmp_path / "new", "ben")
    assert marking.states[1].finished and marking.states[1].sides_sure == (False, True)
    assert marking.pictures[0].start.points == (None,) * 6
    assert open_marking(tmp_path / "new", "cleo").states == {}


def test_into_a_folder_with_the_same_pictures_under_its_numbers(folder: Path, tmp_path: Path) -> None:
    file = export_marks(folder, "anna", tmp_path / "out")
    content = json.loads(file.read_text())
    content["images"][0]["id"] = content["annotations"][0]["image_id"] = 77
    file.write_text(json.dumps(content))
    picked = (folder / "picked.json").read_bytes()
    import_marks(file, folder, "ben")
    assert read_marks(folder / "marks-ben.json").image_id.tolist() == [1]
    assert (folder / "picked.json").read_bytes() == picked
    assert open_marking(folder, "ben").states.keys() == {1}


def test_marks_that_are_there_are_never_overwritten(folder: Path, tmp_path: Path) -> None:
    file = export_marks(folder, "anna", tmp_path / "out")
    before = (folder / "marks-anna.json").read_bytes()
    with pytest.raises(MarksError, match="there already"):
        import_marks(file, folder, "anna")
    with pytest.raises(MarksError, match="not empty"):
        export_marks(folder, "anna", tmp_path / "out")
    assert (folder / "marks-anna.json").read_bytes() == before
    (folder / "marks-anna.json").unlink()
    with pytest.raises(MarksError, match="or its edits are there already"):
        import_marks(file, folder, "anna")


@pytest.mark.parametrize("spoiled", ["picture", "other pictures", "two dogs"])
def test_what_cannot_come_in_leaves_nothing_behind(folder: Path, tmp_path: Path, spoiled: str) -> None:
    (tmp_path / "in").mkdir()
    write_picture(PICTURE, tmp_path / "in" / "1.png")
    dogs = [mark(1, 1), mark(2, 1, DOG_PX + 2)] if spoiled == "two dogs" else [mark(1, 1)]
    file = put(tmp_path / "in", words(*dogs, pictures=2 if spoiled == "picture" else 1))
    target = folder if spoiled == "other pictures" else tmp_path / "new"
    told = {"picture": "2.png", "other pictures": "1.png is not among", "two dogs": "1.png has 2 dogs"}[spoiled]
    with pytest.raises(MarksError, match=told):
        import_marks(file, target, "ben")
    assert not (target / "marks-ben.json").exists() and not (tmp_path / "new").exists()


def test_the_commands(folder: Path, tmp_path: Path) -> None:
    out = call("marks", "export", folder, "anna", tmp_path / "out")
    assert (out.exit_code, out.stdout.strip()) == (0, str(tmp_path / "out" / "marks.json"))
    back = call("marks", "import", tmp_path / "out" / "marks.json", tmp_path / "new", "--marker", "ben")
    assert (back.exit_code, back.stdout.strip()) == (0, str(tmp_path / "new" / "marks-ben.json"))
    nobody = call("marks", "export", folder, "cleo", tmp_path / "cleo")
    assert nobody.exit_code == 2 and "cleo has finished no picture" in nobody.stderr
    bad = call("marks", "import", tmp_path / "none.json", tmp_path / "x", "--marker", "ben")
    assert bad.exit_code == 2 and "none.json is not a file" in bad.stderr
