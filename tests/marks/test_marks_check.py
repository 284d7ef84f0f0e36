"""Bad marks are found before training, each with file, picture and landmark; good ones are left alone."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from command_line import call
from marked import DOG_PX, mark, put, words

from pose.beside import write_picture
from pose.coco import Marks, write_marks
from pose.landmarks import CROUP, FAR_FORE, FAR_HIND, NEAR_FORE, NEAR_HIND, WITHERS
from pose.table import read_table
from training.marks.check import check_marks

SAMPLES = Path(__file__).parent.parent.parent / "samples"
PICTURE = np.full((360, 480, 3), 90, np.uint8)


def file_of(folder: Path, *dogs: dict, pictures: int = 1, **more: object) -> Path:
    for number in range(pictures):
        write_picture(PICTURE, folder / f"{number + 1}.png")
    return put(folder, words(*dogs, pictures=pictures, **more))


def with_point(row: int, place: tuple[float, float]) -> np.ndarray:
    xy = DOG_PX.copy()
    xy[row] = place
    return xy


def lines(path: Path) -> list[str]:
    return [str(fault) for fault in check_marks(path)]


def test_good_marks_have_no_fault(tmp_path: Path) -> None:
    turned = DOG_PX * [-1, 1] + [480, 0]
    assert lines(file_of(tmp_path, mark(1, 1, attributes={"facing": "right"}), mark(2, 2, turned), pictures=2)) == []


@pytest.mark.parametrize("clip", sorted(path.name for path in SAMPLES.glob("*.landmarks.csv")))
def test_what_was_found_in_the_demo_clips_has_no_fault(tmp_path: Path, clip: str) -> None:
    tracks = read_table(SAMPLES / clip)
    xy = tracks.xy_px[np.isfinite(tracks.xy_px).all(axis=(1, 2))]
    count, size = len(xy), np.ceil(xy.max(axis=(0, 1)) + 20).astype(int)
    seen = np.full((count, 6), 2)
    write_picture(np.zeros((size[1], size[0], 3), np.uint8), tmp_path / "0.png")
    names = tuple(f"{row}.png" for row in range(count))
    for name in names[1:]:
        (tmp_path / name).hardlink_to(tmp_path / "0.png")
    marks = Marks(names, np.arange(count), np.tile(size, (count, 1)), np.arange(count), np.arange(count), xy, seen)
    write_marks(marks, tmp_path / "marks.json")
    assert count > 50 and lines(tmp_path / "marks.json") == []


Case = tuple[str, np.ndarray, str]
DOGS: list[Case] = [
    ("fore paw behind the croup", with_point(NEAR_FORE, (70, 200)), "1.png, near fore: lies 0.50 body lengths behind"),
    ("hind paw before the withers", with_point(FAR_HIND, (270, 200)), "1.png, far hind: lies 0.50 body lengths before"),
    ("paw above the back", with_point(NEAR_HIND, (140, 90)), "1.png, near hind: lies above the line from withers"),
    ("fore and hind exchanged", DOG_PX[[2, 3, 0, 1, 4, 5]], "1.png: the hind paws lie before the fore paws"),
    ("one point twice", with_point(FAR_FORE, (240, 200.2)), "1.png, far fore: lies on the same point as near fore"),
    ("outside", with_point(NEAR_FORE, (479.8, 200)), "1.png, near fore: lies at (479.8, 200), outside the picture"),
    ("tiny body", DOG_PX * 0.1 + 100, "1.png: withers to croup is 2% of the picture's width (10 px)"),
    ("steep back", with_point(CROUP, (200, 40)), "1.png, withers: the line of the back stands 72 degrees steep"),
]


@pytest.mark.parametrize(("xy", "told"), [case[1:] for case in DOGS], ids=[case[0] for case in DOGS])
def test_each_fault_is_told_with_file_picture_and_landmark(tmp_path: Path, xy: np.ndarray, told: str) -> None:
    found = lines(file_of(tmp_path, mark(1, 1, xy)))
    assert any(line.startswith(f"marks.json: {told}") for line in found), found


def test_exchanged_ends_are_told_once_and_not_paw_by_paw(tmp_path: Path) -> None:
    assert len(lines(file_of(tmp_path, mark(1, 1, DOG_PX[[2, 3, 0, 1, 4, 5]])))) == 1


def test_a_dog_that_faces_the_other_way_is_measured_along_its_own_body(tmp_path: Path) -> None:
    xy = with_point(NEAR_FORE, (70, 200)) * [-1, 1] + [480, 0]
    assert lines(file_of(tmp_path, mark(1, 1, xy))) == [
        "marks.json: 1.png, near fore: lies 0.50 body lengths behind the croup"
    ]


def test_withers_and_croup_exchanged_are_told_by_the_way_it_faces(tmp_path: Path) -> None:
    turned = mark(1, 1, DOG_PX[[0, 1, 2, 3, CROUP, WITHERS]], attributes={"facing": "right"})
    assert "are withers and croup exchanged?" in "".join(lines(file_of(tmp_path, turned)))


def test_a_length_unlike_that_of_its_clip(tmp_path: Path) -> None:
    dogs = [mark(number, number, DOG_PX + number) for number in (1, 2, 3)]
    path = file_of(tmp_path, *dogs, mark(4, 4, with_point(CROUP, (40, 100))), pictures=4)
    content = words(*dogs, mark(4, 4, with_point(CROUP, (40, 100))), pictures=4)
    assert lines(path) == []
    for image in content["images"]:
        image["clip"] = "tansy"
    assert lines(put(tmp_path, content)) == [
        "marks.json: 4.png: withers to croup is 180 px, in this clip it is 100 px as a rule"
    ]


def test_the_very_same_marks_in_two_pictures(tmp_path: Path) -> None:
    assert lines(file_of(tmp_path, mark(1, 1), mark(2, 2), pictures=2)) == [
        "marks.json: 2.png: has the very same marks as 1.png"
    ]


def test_an_annotation_without_a_landmark(tmp_path: Path) -> None:
    assert "no landmark is placed" in "".join(lines(file_of(tmp_path, mark(1, 1, DOG_PX, 0))))


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (lambda path: path.unlink(), "the picture is not there"),
        (lambda path: path.write_bytes(b"no picture"), "the picture cannot be read"),
        (lambda path: path.write_bytes(b""), "the picture cannot be read"),
        (lambda path: write_picture(PICTURE[:100], path), "the picture has 480x100 px, its marks were made at 480x360"),
    ],
    ids=["missing", "no picture", "empty", "another size"],
)
def test_pictures_that_do_not_fit(tmp_path: Path, spoil: Callable[[Path], object], told: str) -> None:
    path = file_of(tmp_path, mark(1, 1))
    spoil(tmp_path / "1.png")
    assert lines(path) == [f"marks.json: 1.png: {told}"]


def test_the_command_leaves_with_2_when_there_is_something_to_look_at(tmp_path: Path) -> None:
    good = call("marks", "check", file_of(tmp_path, mark(1, 1)))
    assert (good.exit_code, good.stdout) == (0, "marks.json: nothing to look at\n")
    bad = call("marks", "check", file_of(tmp_path, mark(1, 1, with_point(NEAR_FORE, (70, 200)))))
    assert bad.exit_code == 2 and bad.stdout.endswith("marks.json: 1 to look at\n")
    broken = call("marks", "check", tmp_path / "none.json")
    assert broken.exit_code == 2 and "is not a file" in broken.stderr
