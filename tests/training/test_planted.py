"""The planted caseload: as many dogs, clips and cases as asked for, and films that show what the tables say."""

from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from walker import trotting

from gait.record import build_record
from gait.sheets.trial_sheet import read_sheet
from gait.trial import Trial
from pose.landmarks import CROUP, WITHERS
from pose.tracks import Tracks
from training.errors import DrawError
from training.footage.caseload import write_caseload
from training.footage.plan import ClipPlan
from training.footage.planted import BAD, CHANGES, PlantedClip, planted_dogs
from training.footage.undrawn import Watching, landmarks_of, steps_of

EXACT = Watching(frame_bl=0.0, clip_bl=0.0)
#: Share of its size by which the planted change may differ in what is measured: the dog and the camera differ as well.
NEAR = 0.35


def test_sixty_dogs_and_three_hundred_files_add_up() -> None:
    dogs = planted_dogs(60, 285, 4, film=False)
    parts = Counter(dog.part for dog in dogs)
    assert parts == {"changed": 6, "unchanged": 6, "one visit": 12, "two conditions": 12, "two gaits": 12,
                     "two visits": 12}  # fmt: skip
    clips = [clip for dog in dogs for clip in dog.clips]
    assert len(dogs) == 60 and len(clips) == 285 and len({clip.plan.name for clip in clips}) == 285
    assert Counter(clip.bad for clip in clips if clip.bad) == dict.fromkeys(BAD, 1)
    assert [dog.change for dog in dogs if dog.change] == [change.words for change in CHANGES]


def test_too_few_clips_are_told() -> None:
    with pytest.raises(DrawError, match="20 clips are too few for 20 dogs"):
        planted_dogs(20, 20, 0, film=False)


def measured(clip: PlantedClip, name: str) -> float:
    """Mean of a measure of the exact landmarks of a clip."""
    plan = clip.plan
    trial = Trial(belt_m_s=clip.belt_m_s, facing=plan.facing)  # type: ignore[arg-type]
    record = build_record(landmarks_of(plan, EXACT), trial)
    rows = [row.mean for row in record.summaries if row.measure == name and row.paw in ("near_hind", "")]
    return float(np.mean(rows))


@pytest.mark.parametrize(
    ("number", "measure", "true"),
    [
        pytest.param(0, "stride_length_m", -0.12, id="shorter strides"),
        pytest.param(1, "topline_deg", 4.0, id="croup higher"),
        pytest.param(3, "duty_factor", 0.05, id="longer on the belt"),
        pytest.param(5, "topline_deg", -4.0, id="withers higher"),
    ],
)
def test_what_is_planted_is_in_the_landmarks(number: int, measure: str, true: float) -> None:
    clips = planted_dogs(60, 285, 4, film=False)[number].clips
    old, new = measured(clips[3], measure), measured(clips[6], measure)
    change = new / old - 1 if measure.endswith("_m") else new - old
    assert change == pytest.approx(true, rel=NEAR)


def test_the_dog_that_paces_goes_no_slower() -> None:
    dog = planted_dogs(60, 285, 4, film=False)[2]
    gaits = [{row["gait"] for row in clip.plan.gaits} for clip in dog.clips]
    assert gaits == [{"trot"}] * 6 + [{"pace"}] * 3
    assert len({round(clip.belt_m_s, 6) for clip in dog.clips}) == 1


def test_landmarks_are_off_by_what_is_asked() -> None:
    plan = planted_dogs(10, 40, 0, film=False)[-1].clips[0].plan
    exact = landmarks_of(plan, EXACT).xy_px
    body_px = np.median(np.hypot(*(exact[:, WITHERS] - exact[:, CROUP]).T))
    off = (landmarks_of(plan, Watching(clip_bl=0.0)).xy_px - exact) / body_px
    assert off.std() == pytest.approx(0.008, rel=0.05)
    shared = (landmarks_of(plan, Watching(frame_bl=0.0)).xy_px - exact) / body_px
    assert np.ptp(shared, axis=0).max() < 1e-9 and shared.std() == pytest.approx(0.003, rel=0.6)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """A small caseload as tables of a plain dog, which take no time, and what was planted in it."""

    def plain(plan: ClipPlan, **_: float) -> Tracks:
        """The same dog for every plan, a little longer each time."""
        return trotting(1.0 + plan.seed / 60)

    out = tmp_path_factory.mktemp("planted")
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(write_caseload.__globals__, "landmarks_of", plain)  # its own, whoever loaded the package anew
        return out, write_caseload(out, dogs=5, files=75)


def test_files_sheet_and_truth_agree(written: tuple[Path, dict[str, Any]]) -> None:
    out, truth = written
    files = [path for path in (out / "clips").rglob("*") if path.is_file()]
    assert len(files) == truth["files"] == 75
    assert len(truth["broken"]) == 2 and len(truth["copies"]) == 1 and len(truth["badly_filmed"]) == 1
    assert sum(len(dog["clips"]) for dog in truth["dogs"]) == 75 - 2 - 1
    sheet = read_sheet(out / "sheet.csv")
    assert {row.source.name for row in sheet.rows} == {path.name for path in files} - set(truth["copies"])
    for copy, first in truth["copies"].items():
        assert (out / "clips" / "later" / copy).read_bytes() == (out / "clips" / first).read_bytes()


def test_a_plan_is_always_the_same_clip() -> None:
    clip = planted_dogs(10, 40, 0, film=False)[-1].clips[0]
    made = landmarks_of(clip.plan, roll_deg=clip.roll_deg)
    again = landmarks_of(planted_dogs(10, 40, 0, film=False)[-1].clips[0].plan, roll_deg=clip.roll_deg)
    assert (again.xy_px == made.xy_px).all()
    other = landmarks_of(replace(clip.plan, seed=99), roll_deg=clip.roll_deg)
    assert np.abs(other.xy_px[:50] - made.xy_px[:50]).max() > 1.0


@pytest.mark.parametrize(("crouch", "share"), [(0.1, (1.0, 1.0)), (0.0, (0.1, 0.9))], ids=["bent", "straight"])
def test_legs_too_short_for_their_steps_are_told(crouch: float, share: tuple[float, float]) -> None:
    row = {"gait": "trot", "strides": 12, "travel": 0.75}
    plan = ClipPlan("trot", "Dog 01", (row,), identity=3009, kind="racer", seconds=3.0, carriage={"crouch": crouch})
    steps = steps_of(plan)
    assert len(steps) == 4 and all((paw.liftoff_s > paw.touchdown_s).all() for paw in steps)
    assert share[0] <= np.mean([paw.kept.mean() for paw in steps]) <= share[1]
