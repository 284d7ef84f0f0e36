"""Drawn pictures and clips: landmarks on the drawn dog, hidden ones behind posts, truth that survives the files."""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from command_line import call
from footage_maker import Body, body, pattern, places, steady

from gait.sheets.trial_sheet import read_trial
from gait.trial import Trial
from pose.clip import open_clip
from pose.landmarks import CROUP, LANDMARKS, NEAR_FORE, NEAR_HIND, PAWS, WITHERS
from pose.table import read_table, write_table
from pose.tracks import FloatArray, Tracks
from training.errors import DrawError
from training.footage.backdrop import make_backdrops
from training.footage.camera import Camera, View, set_camera
from training.footage.look import Look, draw_look
from training.footage.posing import Carriage, pose_at
from training.footage.room import STRIPES, Box, Room, draw_room
from training.footage.scene import HIDDEN_SHARE, Shot, draw_place, make_dog, shoot, span_of
from training.footage.shards import ShardSettings, draw_shards, is_unseen
from training.footage.studio import Actor, Studio

pytestmark = pytest.mark.slow

SIZE = (160, 120)
ON_DOG_PX = 2.5  # a picture of 160 px shows a dog about 85 px long: 3 % of its length
COAT_CHANGE = 12  # grey levels between a black and a white dog; only its own pixels change so much
MIRRORED_SHARE = 0.25  # compression may change a mirrored picture, yet far less than mirroring does
ROUNDING_PX = 0.0006  # a table holds thousandths


@pytest.fixture(scope="module")
def studio() -> Iterator[Studio]:
    try:
        made = Studio(SIZE, make_backdrops(np.random.default_rng(1), 2))
    except DrawError as error:
        pytest.skip(str(error))
    yield made
    made.ctx.release()


def coat(dog: Body, grey: float) -> Look:
    """A dog of one colour, without gear."""
    drawn = draw_look(np.random.default_rng(0), dog.skeleton)
    bare = {"bands": np.zeros((5, 4)), "band_part": np.zeros((5, 3)), "boot": 0.0, "clipped": np.zeros(4)}
    return replace(drawn, coat=np.full((4, 3), grey), pattern=0, **bare)


def floor_alone(*more: Box) -> Room:
    """An evenly lit room with nothing but its floor, and ``more``."""
    room = draw_room(np.random.default_rng(2), 0.5, 0.8, 2, belt=False)
    return replace(room, boxes=(room.boxes[0], *more), exposure=0.8, haze=0.0, sun_colour=np.zeros(3),
                   sky_colour=np.full(3, 0.8), ground_colour=np.full(3, 0.5))  # fmt: skip


def camera_on(dog: Body) -> Camera:
    view = View(np.radians(3), np.radians(4), 0.0, np.radians(34), 0.8, (0.0, 0.0))
    h = dog.withers_m
    return set_camera(view, np.array([0.12 * h, 0.55 * h, 0.0]), span_of(dog.skeleton) * h, SIZE)


def drawn(studio: Studio, dog: Body, room: Room, grey: float, t_s: float) -> tuple[np.ndarray, FloatArray, FloatArray]:
    """Picture (H, W, 3), landmarks (6, 2) px, and the covered share (6,) of each."""
    pose = pose_at(dog.skeleton, dog.skin, steady(dog, pattern("walk", dog)), Carriage(), t_s)
    figure, marks, camera = studio.load(dog.skeleton, dog.skin), pose.marks * dog.withers_m, camera_on(dog)
    actor = Actor(figure, coat(dog, grey), (pose.bones,), dog.withers_m, np.zeros(3))
    rgb, covered = studio.shoot([actor], room, camera, marks)
    figure.release()
    return rgb, camera.project(marks), covered


def outline(studio: Studio, dog: Body, t_s: float) -> tuple[np.ndarray, FloatArray]:
    """(N, 2) px of the picture that belong to the dog (they change with its coat), and the landmarks (6, 2) px."""
    black, xy, _ = drawn(studio, dog, floor_alone(), 0.01, t_s)
    white, _, _ = drawn(studio, dog, floor_alone(), 0.90, t_s)
    changed = (np.abs(white.astype(int) - black).max(axis=-1) > COAT_CHANGE).astype(np.uint8)
    _, pieces, facts, _ = cv2.connectedComponentsWithStats(changed)
    rows, columns = np.nonzero(pieces == 1 + np.argmax(facts[1:, cv2.CC_STAT_AREA]))  # light on the floor is no dog
    return np.stack([columns, rows], axis=-1), xy


@pytest.mark.parametrize("kind", ["square", "low", "racer", "toy"])
@pytest.mark.parametrize("t_s", [0.1, 0.35], ids=["early", "late"])
def test_landmarks_lie_on_the_drawn_dog(studio: Studio, kind: str, t_s: float) -> None:
    pixels, xy = outline(studio, body(kind), t_s)
    assert 500 < len(pixels) < 0.5 * SIZE[0] * SIZE[1]
    for name, mark in zip(LANDMARKS, xy, strict=True):
        assert np.linalg.norm(pixels - mark, axis=1).min() < ON_DOG_PX, name
    for mark in xy[[WITHERS, CROUP]]:  # on the outline: nothing of the dog stands above
        above = pixels[np.abs(pixels[:, 0] - mark[0]) < 1.0]
        assert mark[1] - above[:, 1].min() < ON_DOG_PX
    lowest = pixels[:, 1].max()
    assert lowest - xy[:4, 1].max() < ON_DOG_PX + 1


def post_before(dog: Body, mark: int, t_s: float) -> Box:
    """A post between the camera and a landmark."""
    at = places(dog, steady(dog, pattern("walk", dog)), np.array([t_s]), Carriage())[0, mark] * dog.withers_m
    h, grey = dog.withers_m, np.full(3, 0.3)
    return Box(np.array([at[0], 0.15 * h, at[2] + 0.4 * h]), np.array([0.15 * h, 0.4 * h, 0.02 * h]), grey, grey)


@pytest.mark.parametrize("mark", [NEAR_FORE, NEAR_HIND], ids=["near fore", "near hind"])
def test_a_post_before_a_paw_hides_it_and_nothing_else(studio: Studio, mark: int) -> None:
    dog = body("square")
    _, _, free = drawn(studio, dog, floor_alone(), 0.5, 0.1)
    _, _, covered = drawn(studio, dog, floor_alone(post_before(dog, mark, 0.1)), 0.5, 0.1)
    assert free[mark] < HIDDEN_SHARE < covered[mark]
    untouched = [other for other in (NEAR_FORE, NEAR_HIND, WITHERS, CROUP) if other != mark]
    assert np.all(free[untouched] < HIDDEN_SHARE)
    assert np.all(covered[untouched] < HIDDEN_SHARE)


def sharpness(rgb: np.ndarray, rows: slice, columns: slice) -> float:
    """How much neighbouring pixels differ, 0..255."""
    return float(np.abs(np.diff(rgb[rows, columns].astype(float).mean(2), axis=0)).mean())


def test_a_lens_blurs_what_lies_behind_the_dog_far_more_than_the_dog(studio: Studio) -> None:
    dog = body("square")
    pose = pose_at(dog.skeleton, dog.skin, steady(dog, pattern("walk", dog)), Carriage(), 0.1)
    figure, camera, marks = studio.load(dog.skeleton, dog.skin), camera_on(dog), pose.marks * dog.withers_m
    actor, room = Actor(figure, coat(dog, 0.5), (pose.bones,), dog.withers_m, np.zeros(3)), floor_alone(wall())
    sharp, soft = (studio.shoot([actor], room, replace(camera, lens=lens), marks)[0] for lens in (0.0, 0.05))
    figure.release()
    x, y = camera.project(marks)[[WITHERS, CROUP]].mean(axis=0).astype(int)
    above, trunk = (slice(2, y - 8), slice(x - 40, x + 40)), (slice(y + 6, y + 20), slice(x - 20, x + 20))
    kept = [sharpness(soft, *part) / sharpness(sharp, *part) for part in (above, trunk)]
    assert kept[0] < 0.3
    assert kept[1] > 2 * kept[0]


def wall() -> Box:
    """A wall with level stripes, 3 m behind the dog."""
    pale, dark = np.full(3, 0.8), np.full(3, 0.05)
    return Box(np.array([0.0, 1.0, -3.0]), np.array([12.0, 6.0, 0.1]), pale, dark, STRIPES, 8.0)


def random_shot(studio: Studio, seed: int) -> Shot:
    dog, rng = make_dog(studio, 4), np.random.default_rng(seed)
    shot = shoot(rng, studio, dog, draw_place(rng, dog, studio, False))
    dog.figure.release()
    return shot


def test_the_same_seed_gives_the_same_picture_and_truth(studio: Studio) -> None:
    first, again, other = (random_shot(studio, seed) for seed in (3, 3, 4))
    for name in ("rgb", "xy", "hidden", "box"):
        assert np.array_equal(getattr(first, name), getattr(again, name))
    assert not np.array_equal(first.rgb, other.rgb)
    assert not np.array_equal(first.xy, other.xy)


def test_the_box_of_a_shot_holds_its_topline(studio: Studio) -> None:
    shot = random_shot(studio, 3)
    marks = shot.xy[[WITHERS, CROUP]]
    assert np.all(marks >= shot.box[:2] - ON_DOG_PX)
    assert np.all(marks <= shot.box[2:] + ON_DOG_PX)


def test_unseen_dogs_are_marked_in_the_shards(studio: Studio, tmp_path: Path) -> None:
    draw_shards(ShardSettings(first_dog=18, dogs=2, pictures=1, dogs_per_shard=2, backdrops=2), tmp_path)
    truth = np.load(tmp_path / "shard-00000.npz")
    shown = truth["dog"] >= 0  # an empty room shows no dog
    assert shown.any()
    assert set(truth["dog"][shown]) <= {18, 19}
    assert truth["unseen"].tolist() == [is_unseen(number) for number in (18, 19)]
    assert np.array_equal(truth["unseen"][shown], [is_unseen(int(number)) for number in truth["dog"][shown]])


PLAN = """
[[clip]]
name = "{name}"
dog = "Tansy"
identity = 11
kind = "racer"
gaits = [{{ gait = "trot", strides = 4 }}]
size = [160, 90]
facing = "{facing}"
seconds = 0.1
noise = 0.0
"""
CLIPS = ("left", "right", "passed")
#: The first clip with a second dog that walks by.
PASSED = PLAN.format(name="passed", facing="right") + "passer = 7\n"


@pytest.fixture(scope="module")
def clips(studio: Studio, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A clip of six frames, the same one mirrored, and with a second dog, drawn by the command."""
    folder = tmp_path_factory.mktemp("clips")
    plan = [PLAN.format(name=side, facing=side) for side in ("right", "left")] + [PASSED]
    (folder / "plan.toml").write_text("".join(plan))
    result = call("draw", folder / "plan.toml", "-o", folder / "out")
    assert result.exit_code == 0, result.output
    assert "right.mp4" in result.output
    assert "left.mp4" in result.output
    return folder / "out"


def test_a_clip_is_a_film_a_table_a_sheet_and_its_truth(clips: Path) -> None:
    names = {f"{side}{end}" for side in CLIPS for end in (".mp4", ".toml", ".landmarks.csv", ".truth.json")}
    assert {path.name for path in clips.iterdir()} == names
    tracks, truth = read_table(clips / "right.landmarks.csv"), json.loads((clips / "right.truth.json").read_text())
    assert len(tracks) == len(truth["topline_deg"]) == 6
    assert tracks.t_s == pytest.approx(np.arange(6) / 60, abs=1e-6)
    assert {row["paw"] for row in truth["contacts"]} <= set(PAWS)
    trial = Trial(**read_trial(clips / "right.toml"))
    assert trial.dog == "Tansy"
    assert trial.belt_m_s == pytest.approx(truth["belt_m_s"], abs=1e-4)
    assert trial.withers_cm == pytest.approx(truth["withers_m"] * 100, abs=0.06)


def test_the_table_of_a_clip_comes_back_as_it_was_written(clips: Path, tmp_path: Path) -> None:
    tracks = read_table(clips / "right.landmarks.csv")
    write_table(tracks, tmp_path / "again.csv")
    again: Tracks = read_table(tmp_path / "again.csv")
    for name in ("frame", "t_s", "xy_px", "score", "hidden", "side_score"):
        assert np.array_equal(getattr(again, name), getattr(tracks, name))
    assert (tmp_path / "again.csv").read_bytes() == (clips / "right.landmarks.csv").read_bytes()


def test_a_dog_that_faces_left_is_the_mirrored_picture_with_near_still_near(clips: Path) -> None:
    right, left = (read_table(clips / f"{side}.landmarks.csv") for side in ("right", "left"))
    assert left.xy_px[..., 0] == pytest.approx(159 - right.xy_px[..., 0], abs=2 * ROUNDING_PX)
    assert np.array_equal(left.xy_px[..., 1], right.xy_px[..., 1])
    assert np.array_equal(left.hidden, right.hidden)
    pictures = [first_picture(clips / f"{side}.mp4") for side in ("right", "left")]
    mirrored, as_is = (
        np.abs(picture.astype(int) - pictures[1]).mean() for picture in (pictures[0][:, ::-1], pictures[0])
    )
    assert mirrored < MIRRORED_SHARE * as_is


def first_picture(path: Path) -> np.ndarray:
    """(H, W, 3) uint8 of a film."""
    return next(open_clip(path).frames()).rgb


def test_a_dog_that_walks_by_behind_changes_the_picture_and_nothing_that_is_true(clips: Path) -> None:
    alone, passed = (first_picture(clips / f"{name}.mp4").astype(int) for name in ("right", "passed"))
    assert (np.abs(alone - passed).max(axis=-1) > 40).mean() > 0.005
    for ending in (".landmarks.csv", ".truth.json"):
        assert (clips / f"right{ending}").read_bytes() == (clips / f"passed{ending}").read_bytes()
