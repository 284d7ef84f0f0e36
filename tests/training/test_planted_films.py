"""A planted clip as a film shows the movement that its landmark table has."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pose.clip import open_clip
from pose.table import read_table
from training.footage.caseload import _boarded, _dark
from training.footage.clips import draw_clip
from training.footage.planted import planted_dogs
from training.footage.undrawn import Watching, landmarks_of

pytestmark = pytest.mark.slow
#: px by which the two may differ: the film's camera is turned by a fraction of a degree about its line of sight.
NEAR_PX = 6.0


def test_film_and_table_of_one_plan_show_one_movement(tmp_path: Path) -> None:
    plan = replace(planted_dogs(10, 40, 0, film=True)[-1].clips[0].plan, seconds=0.3)
    draw_clip(plan, tmp_path)
    drawn = read_table(tmp_path / f"{plan.name}.landmarks.csv").xy_px
    assert np.abs(drawn - landmarks_of(plan, Watching(0.0, 0.0)).xy_px).max() < NEAR_PX
    assert len(open_clip(tmp_path / f"{plan.name}.mp4").stamps_s) == 18


def test_bad_filming_leaves_hardly_anything_to_see() -> None:
    picture = np.full((100, 160, 3), 200, dtype=np.uint8)
    assert _dark(picture).max() < 6
    assert (_boarded(picture)[60:] == 90).all() and (_boarded(picture)[:50] == 200).all()
