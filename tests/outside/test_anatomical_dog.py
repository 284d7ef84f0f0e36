"""The whole line on a dog that is not ours: the anatomical model that the package dm_control carries (Apache-2.0).

No network of this project was trained on its skeleton, skin or texture. Goals: landmarks within a tenth of
withers-croup length >= 0.95, names right in >= 97 % of the strides that are named, topline off by <= 1.5 degrees in the
mean of a clip, touchdown and lift-off off by <= one frame at 60 frames per second in the median. Where the
shipped network misses a goal, FLOORS say what it holds instead: they guard against getting worse, they are not the
goals, and move to GOALS as soon as a network reaches them. ``pytest -rP`` shows a line of figures per clip.
"""

import sys
from ctypes.util import find_library
from importlib.util import find_spec
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

if not (find_spec("mujoco") and find_spec("dm_control")):
    pytest.skip("mujoco and dm_control are needed; dm_control has no wheels for this Python", allow_module_level=True)
if not (find_library("EGL") and (find_library("GL") or find_library("OpenGL"))):
    pytest.skip("No OpenGL through EGL here. Debian: libegl1 libgl1 libgl1-mesa-dri", allow_module_level=True)

import anatomical_dog_film as film
from anatomical_dog import PAD_M, WITHERS_M, pads, pose

from gait.cli import main
from gait.clipwise import pair_of
from gait.truth import read_truth
from gait.wholeline import Compared, compare, figures
from pose.landmarks import CROUP, WITHERS

FRAME_MS = 1000 / 60
#: Withers-croup lengths within which a landmark counts as right here: wide enough for bones of another build.
RIGHT_WITHIN = 0.1
PATH_MM = 0.5
OUTLINE_PX = 2.5
ON_DOG_PX = 4.0
PROJECTION_PX = 0.7
#: Measure, least and most: what the product promises.
GOALS = [
    ("landmarks within a tenth", 0.95, 1.0),
    ("named strides that are named right", 0.97, 1.0),
    ("median error of events in frames", 0.0, 1.0),
]
#: What the shipped network holds where it misses a goal or reaches it by luck of the light, with a margin for other
#: processors: what it must hold; then measured, goal.
FLOORS = [
    ("landmarks within a tenth in the worst clip", 0.92, 1.0),  # 0.96, 0.95: the trot
    ("topline off at most by degrees", 0.0, 2.0),  # 1.2 in whole numbers, 1.5 in floating point; 1.5
    ("strides that get a name", 0.85, 1.0),  # 0.97, 0.90
    ("strides named", 22, 60),  # 28; without it a reading that drops what is hard would look good
    ("near and far exchanged at most", 0.0, 0.05),  # 0.01, 0.05
]
NAMES = [shot.name for shot in film.SHOTS]


@pytest.fixture(scope="module", params=film.SHOTS, ids=NAMES)
def stage(request: pytest.FixtureRequest) -> Any:
    made = film.build_stage(request.param)
    yield made
    made.close()


@pytest.fixture(scope="module")
def read_clips(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Compared]:
    """Draw every clip, read it with the shipped network, compare it with its truth."""
    drawn, out = tmp_path_factory.mktemp("anatomical"), tmp_path_factory.mktemp("read")
    for shot in film.SHOTS:
        film.make_clip(shot, drawn)
    clips = [str(drawn / f"{name}.mp4") for name in NAMES]
    run = CliRunner().invoke(main, ["read", *clips, "-o", str(out), "--no-film"])
    assert run.exit_code == 0, run.output
    found = {}
    for name in NAMES:
        record, _ = pair_of(out / name, drawn)
        found[name] = compare(record.tracks, record, read_truth(drawn / f"{name}.mp4"), clip=name)
        sys.stdout.write(f"{name}: within 10 %: {right_share(found[name]):.3f}, {figures([found[name]])}\n")
    return found


def right_share(one: Compared) -> float:
    """Share of all landmarks of all frames, covered ones too, that lie within a tenth of withers-croup length."""
    return float(np.mean(one.judged.error <= RIGHT_WITHIN))


def exchanged(one: Compared) -> float:
    """Share of frames in which a pair is the wrong way round, of the pair that is so more often."""
    return float(np.nanmean(one.judged.exchanged, axis=0).max())


def measured(clips: dict[str, Compared]) -> dict[str, float]:
    """What GOALS and FLOORS ask for, over all clips."""
    all_clips = list(clips.values())
    whole, shares = figures(all_clips), [right_share(one) for one in all_clips]
    return {
        "landmarks within a tenth": float(
            np.mean(np.concatenate([one.judged.error for one in all_clips]) <= RIGHT_WITHIN)
        ),
        "landmarks within a tenth in the worst clip": min(shares),
        "named strides that are named right": whole["names_right_percent"] / 100,
        "strides that get a name": whole["names_given_percent"] / 100,
        "strides named": whole["names"]["right"] + whole["names"]["wrong"],
        "median error of events in frames": whole["events_median_ms"] / FRAME_MS,
        "topline off at most by degrees": max(abs(one.topline_deg) for one in all_clips),
        "near and far exchanged at most": max(exchanged(one) for one in all_clips),
    }


@pytest.mark.slow
def test_paws_in_stance_travel_with_the_belt_and_legs_keep_within_the_model_s_joints(stage: Any) -> None:
    movement = film.movement_of(stage.shot)
    before: tuple[Any, Any] | None = None
    film.settle(stage, movement, 0.2)
    for t in np.arange(0.2, 1.4, 1 / 60):
        down = pose(stage.model, stage.data, stage.legs, movement, float(t))
        now = pads(stage.data, stage.legs)
        assert 1000 * np.abs(now[down, 2] - PAD_M).max(initial=0) < PATH_MM
        if before is not None:
            both = down & before[1]
            moved = now[both, 0] - before[0][both, 0] + movement.speed * WITHERS_M / 60
            assert 1000 * np.abs(moved).max(initial=0) < PATH_MM
        before = now, down
        for leg in stage.legs:
            angles = stage.data.qpos[leg.joints]
            assert np.all((leg.limits[:, 0] - 1e-9 <= angles) & (angles <= leg.limits[:, 1] + 1e-9))


@pytest.mark.slow
def test_knees_bend_forward_and_elbows_and_hocks_backward(stage: Any) -> None:
    """In every posture each joint lies on its own side of the line between its neighbours."""
    movement, where = film.movement_of(stage.shot), stage.data.body
    film.settle(stage, movement, 0.2)
    for t in np.arange(0.2, 1.4, 1 / 20):
        pose(stage.model, stage.data, stage.legs, movement, float(t))
        for side in "LR":
            knee = ahead(*(where(f"{name}_{side}").xpos for name in ("upper_leg", "lower_leg", "foot")))
            hock = ahead(*(where(f"{name}_{side}").xpos for name in ("lower_leg", "foot", "toe")))
            elbow = ahead(*(where(f"{name}_{side}").xpos for name in ("upper_arm", "lower_arm", "hand")))
            assert knee > 0 > max(hock, elbow)


def ahead(above: Any, joint: Any, below: Any) -> float:
    """m, how far ``joint`` lies ahead (X) of the straight line from ``above`` to ``below``, each (3,) m."""
    share = (above[2] - joint[2]) / (above[2] - below[2])
    return float(joint[0] - (above[0] + share * (below[0] - above[0])))


@pytest.mark.slow
def test_points_fall_where_the_renderer_draws_them(stage: Any) -> None:
    geom = stage.model.geom("ball").id
    hidden = int(stage.model.geom_group[geom])
    stage.model.geom_group[geom] = 0
    for place in ([0.45, 0.1, 0.25], [-0.6, -0.1, 0.6]):
        film.put_ball(stage, place)
        assert np.abs(film.seen_at(stage, geom) - film.project(stage, np.array([place]))[0]).max() < PROJECTION_PX
    stage.model.geom_group[geom] = hidden


@pytest.mark.slow
def test_landmarks_lie_on_the_drawn_dog_and_those_of_the_back_on_its_outline(stage: Any) -> None:
    movement = film.movement_of(stage.shot)
    film.settle(stage, movement, 0.3)
    rows, columns = np.mgrid[: film.SIZE[1], : film.SIZE[0]]
    for t in np.arange(0.3, 1.3, 0.125):
        pose(stage.model, stage.data, stage.legs, movement, float(t))
        dog, xy = film.silhouette(stage), film.project(stage, film.marks(stage))
        for x, y in xy:
            assert np.hypot(columns[dog] - x, rows[dog] - y).min() < ON_DOG_PX
        for x, y in xy[[WITHERS, CROUP]]:
            assert abs(np.flatnonzero(dog[:, round(x)])[0] - y) < OUTLINE_PX


@pytest.mark.slow
@pytest.mark.parametrize(("measure", "least", "most"), GOALS, ids=[goal[0] for goal in GOALS])
def test_the_whole_line_reaches_its_goals(
    read_clips: dict[str, Compared], measure: str, least: float, most: float, record_property: Any
) -> None:
    value = measured(read_clips)[measure]
    record_property(measure, value)
    assert least <= value <= most


@pytest.mark.slow
@pytest.mark.parametrize(("measure", "least", "most"), FLOORS, ids=[floor[0] for floor in FLOORS])
def test_what_falls_short_of_a_goal_gets_no_worse(
    read_clips: dict[str, Compared], measure: str, least: float, most: float, record_property: Any
) -> None:
    value = measured(read_clips)[measure]
    record_property(measure, value)
    assert least <= value <= most
