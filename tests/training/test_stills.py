"""Drawn pictures become marked ones that ``pawfall judge`` can read."""

from pathlib import Path

import cv2
import numpy as np
import pytest
import torch

from pose.coco import read_marks
from training.data import Footage
from training.errors import FitError
from training.stills import KINDS, rows_of, write_stills

SIZE = (384, 288)


@pytest.fixture
def footage() -> Footage:
    """Four pictures of unseen dogs, whole, cut, none, whole with a hidden paw, and one of a training dog."""
    nan = float("nan")
    xy = torch.tensor([[[100.0 + 20 * k, 150.0] for k in range(6)]] * 5)
    xy[1, 0], xy[2] = nan, nan
    box = torch.tensor([[80.0, 60, 300, 200], [-9, 60, 300, 200], [nan] * 4, [80, 60, 300, 200], [80, 60, 300, 200]])
    hidden = torch.zeros(5, 6, dtype=torch.bool)
    hidden[3, 1] = True
    pictures = torch.full((5, SIZE[1] * 3 // 2, SIZE[0]), 128, dtype=torch.uint8)
    right = torch.tensor([True, False, True, True, True])
    dog = torch.tensor([19, 39, -1, 59, 1])
    unseen = torch.tensor([True, True, True, True, False])
    return Footage(pictures, xy, hidden, right, dog, box, unseen, torch.ones(5, 6, dtype=torch.bool))


def test_each_picture_of_an_unseen_dog_is_of_one_kind(footage: Footage) -> None:
    assert [rows_of(footage, kind, SIZE).tolist() for kind in KINDS] == [[2], [1], [0, 3]]


def test_pictures_and_marks_are_written(footage: Footage, tmp_path: Path) -> None:
    write_stills(footage, np.arange(4), tmp_path)
    marks = read_marks(tmp_path / "marks.json")
    assert len(marks.files) == 4 and marks.picture.tolist() == [0, 1, 3]
    assert all(cv2.imread(str(tmp_path / name)).shape == (SIZE[1], SIZE[0], 3) for name in marks.files)
    assert marks.visibility.tolist() == [[2] * 6, [0, 2, 2, 2, 2, 2], [2, 1, 2, 2, 2, 2]]
    assert marks.xy_px[0, 5].tolist() == [200.0, 150.0]
    assert [marks.facing(k) for k in range(3)] == ["right", "left", "right"]


def test_no_picture_of_that_kind_is_told(footage: Footage, tmp_path: Path) -> None:
    with pytest.raises(FitError, match="No picture of that kind"):
        write_stills(footage, np.array([], np.int64), tmp_path)
