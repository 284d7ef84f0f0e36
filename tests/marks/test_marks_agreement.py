"""Two people's marks held against each other: every figure worked out by hand."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from command_line import call
from marked import DOG_PX, mark, put, words

from pose.coco import Marks, read_marks
from pose.errors import MarksError
from pose.judging import similarity
from pose.landmarks import CROUP, FAR_FORE, NEAR_FORE, NEAR_HIND, WITHERS
from training.marks.agreement import agreement

EXACT = 1e-12


def marks(folder: Path, *dogs: dict, pictures: int = 2) -> Marks:
    return read_marks(put(folder, words(*dogs, pictures=pictures)))


def moved(*shifts: tuple[int, float, float]) -> np.ndarray:
    xy = DOG_PX.copy()
    for row, x, y in shifts:
        xy[row] += (x, y)
    return xy


def test_distances_sigma_and_counts_by_hand(tmp_path: Path) -> None:
    one = marks(tmp_path, mark(1, 1), mark(2, 2))
    # near fore 5 px off in one picture and 1 px in the other, of 100 px: mean 3 %, rms sqrt((0.05^2 + 0.01^2) / 2)
    other = marks(tmp_path, mark(7, 1, moved((NEAR_FORE, 3, 4))), mark(8, 2, moved((NEAR_FORE, 0, -1))))
    found = agreement(one, other)
    assert found.mean_percent[NEAR_FORE] == pytest.approx(3.0, abs=EXACT)
    assert found.sigma[NEAR_FORE] == pytest.approx(math.sqrt((0.05**2 + 0.01**2) / 2), abs=EXACT)
    assert found.sigma_of_one[NEAR_FORE] == pytest.approx(math.sqrt((0.05**2 + 0.01**2) / 4), abs=EXACT)
    assert found.count.tolist() == [2] * 6
    np.testing.assert_array_equal(found.mean_percent[1:], 0)
    assert found.same.tolist() == [0, 2, 2, 2, 2, 2]


def test_sigma_by_the_box_of_the_landmarks(tmp_path: Path) -> None:
    # the box is 140 x 100 px in both marks; the near hind paw lies inside it and is 7 px off
    found = agreement(marks(tmp_path, mark(1, 1)), marks(tmp_path, mark(1, 1, moved((NEAR_HIND, 0, -7)))))
    assert found.sigma_box[NEAR_HIND] == pytest.approx(7 / math.sqrt(140 * 100), abs=EXACT)


def test_sigma_is_what_the_similarity_means_by_it(tmp_path: Path) -> None:
    found = agreement(marks(tmp_path, mark(1, 1)), marks(tmp_path, mark(1, 1, DOG_PX + np.array([3, 4]))))
    # a distance of one sigma and k = 2 sigma: exp(-1 / 8)
    assert similarity(found.distance, found.sigma)[0] == pytest.approx(math.exp(-1 / 8), abs=EXACT)


def test_the_body_length_is_the_mean_of_both(tmp_path: Path) -> None:
    found = agreement(marks(tmp_path, mark(1, 1)), marks(tmp_path, mark(1, 1, moved((WITHERS, 20, 0)))))
    assert found.distance[0, WITHERS] == pytest.approx(20 / 110, abs=EXACT)


def test_exchanged_sides_are_counted_and_do_not_spoil_the_distances(tmp_path: Path) -> None:
    turned = DOG_PX[[FAR_FORE, NEAR_FORE, 2, 3, 4, 5]] + np.array([1, 0])
    unsure = {"sides_sure": {"fore": False}}
    one, other = marks(tmp_path, mark(1, 1)), marks(tmp_path, mark(1, 1, turned))
    found = agreement(one, other)
    assert (found.exchanged.tolist(), found.told.tolist()) == ([1, 0], [1, 1])
    assert found.mean_percent[:2] == pytest.approx([1, 1], abs=EXACT)
    said = agreement(one, marks(tmp_path, mark(1, 1, turned, attributes=unsure)))
    assert (said.exchanged.tolist(), said.told.tolist()) == ([0, 0], [0, 1])
    assert said.mean_percent[:2] == pytest.approx([1, 1], abs=EXACT)


def test_paws_beside_each_other_are_never_exchanged(tmp_path: Path) -> None:
    close = DOG_PX.copy()
    close[FAR_FORE] = close[NEAR_FORE] - [5, 0]
    found = agreement(
        marks(tmp_path, mark(1, 1, close)), marks(tmp_path, mark(1, 1, close[[FAR_FORE, NEAR_FORE, 2, 3, 4, 5]]))
    )
    assert (found.told.tolist(), found.mean_percent[:2].tolist()) == ([0, 1], [5.0, 5.0])


def test_what_one_of_the_two_did_not_place_is_counted_apart(tmp_path: Path) -> None:
    found = agreement(marks(tmp_path, mark(1, 1)), marks(tmp_path, mark(1, 1, DOG_PX, [2, 0, 2, 2, 1, 2])))
    assert (found.alone.tolist(), found.count.tolist()) == ([0, 1, 0, 0, 0, 0], [1, 0, 1, 1, 1, 1])
    assert np.isnan(found.mean_percent[FAR_FORE]) and np.isnan(found.sigma[FAR_FORE])


def test_without_a_croup_there_is_no_length_and_no_distance(tmp_path: Path) -> None:
    bare = marks(tmp_path, mark(1, 1, DOG_PX, [2, 2, 2, 2, 2, 0]))
    assert agreement(bare, bare).count.tolist() == [0] * 6
    assert agreement(bare, bare).alone[CROUP] == 0


def test_pictures_are_known_by_name_whatever_their_order_and_number(tmp_path: Path) -> None:
    content = words(mark(1, 1), mark(2, 2, DOG_PX + 9), pictures=2)
    one = read_marks(put(tmp_path, content))
    for image in content["images"]:
        image["file_name"] = {"1.png": "2.png", "2.png": "1.png"}[image["file_name"]]
    found = agreement(one, read_marks(put(tmp_path, content)))
    assert found.mean_percent == pytest.approx([100 * 9 * math.sqrt(2) / 100] * 6, abs=1e-9)


def test_nothing_in_common_is_an_error(tmp_path: Path) -> None:
    one = marks(tmp_path, mark(1, 1))
    with pytest.raises(MarksError, match="no dog in a common picture"):
        agreement(one, marks(tmp_path, mark(1, 2)))


def test_the_command_shows_a_table_and_warns_of_a_common_start(tmp_path: Path) -> None:
    start = {"start": "network"}
    put(tmp_path, words(mark(1, 1, attributes=start)), "marks-anna.json")
    put(tmp_path, words(mark(1, 1, moved((CROUP, 3, 4)), attributes=start)), "marks-ben.json")
    done = call("marks", "agreement", tmp_path, "anna", "ben", "-o", tmp_path / "found.json")
    assert done.exit_code == 0, done.output
    assert "both began from a network's answer in 1 of 1 dogs, and 5 marks lie on one place" in done.stdout
    facts = json.loads((tmp_path / "found.json").read_text())
    # 3 px along the line of the back: 97 px long in one, 100 px in the other, and 4 px across
    length = (100 + math.hypot(97, 4)) / 2
    assert facts["landmarks"]["croup"]["mean_percent"] == pytest.approx(100 * 5 / length, abs=0.001)
    assert call("marks", "agreement", tmp_path, "anna", "cleo").exit_code == 2
