"""What frames look like in numbers, groups of them, and second looks at a frame."""

from dataclasses import replace

import numpy as np
import pytest
from fake_network import disc_clip, write_fake_network

from pose.landmarks import LANDMARKS, NEAR_FORE
from pose.network import Network
from training.marks.features import alike, describe, pose_vector
from training.marks.looks import second_looks

CLIP = disc_clip(frames=30)
XY = CLIP.truth_px


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Network:
    return Network.load(write_fake_network(tmp_path_factory.mktemp("network")))


def test_a_pose_is_the_same_wherever_and_however_large_and_whichever_way_the_dog_walks() -> None:
    own = pose_vector(XY[3])
    moved = 2.5 * XY[3] + [30, -40]
    mirrored = XY[3] * [-1, 1] + [480, 0]
    assert own == pytest.approx(pose_vector(moved))
    assert own == pytest.approx(pose_vector(mirrored))
    assert 0.5 < np.linalg.norm(own) < 2
    assert np.abs(own - pose_vector(XY[15])).max() > 0.1


def test_missing_paws_are_told() -> None:
    xy = XY[3].copy()
    xy[NEAR_FORE] = np.nan
    vector = pose_vector(xy)
    assert vector[:2].tolist() == [0, 0]
    assert (vector[8:] > 0).tolist() == [True, False, False, False]


def test_frames_are_described_with_and_without_a_dog() -> None:
    picture = CLIP.frame(3).rgb
    whole, none = describe(picture, XY[3]), describe(picture, np.full((6, 2), np.nan))
    assert whole.shape == none.shape == (16 * 12 + 12,)
    assert np.linalg.norm(whole[: 16 * 12]) == pytest.approx(1)
    assert not none[16 * 12 :].any()
    assert np.isfinite(describe(np.zeros_like(picture), XY[3])).all()


def test_groups_hold_frames_that_look_alike() -> None:
    rng = np.random.default_rng(0)
    features = np.repeat(np.eye(3, 10), 20, axis=0) + rng.normal(0, 0.01, (60, 10))
    groups = alike(features, 3, seed=0).reshape(3, 20)
    assert all(len(set(row)) == 1 for row in groups.tolist())
    assert len(set(groups[:, 0].tolist())) == 3
    assert np.array_equal(alike(features, 3, seed=5), alike(features, 3, seed=5))


@pytest.mark.parametrize(
    ("features", "groups", "found"),
    [(np.empty((0, 4)), 5, 0), (np.ones((1, 4)), 5, 1), (np.ones((9, 4)), 5, 1), (np.eye(4), 9, 4), (np.eye(4), 1, 1)],
    ids=["none", "one", "nine the same", "fewer than groups", "one group"],
)
def test_few_frames_to_group(features: np.ndarray, groups: int, found: int) -> None:
    assert len(np.unique(alike(features, groups, seed=0))) == found


@pytest.mark.parametrize("facing", ["right", "left"])
def test_second_looks_at_a_well_read_frame_agree(network: Network, facing: str) -> None:
    clip = disc_clip(frames=8, facing=facing, length_px=80)
    for apart in second_looks(clip.frame(2).rgb, clip.truth_px[2], network):
        assert apart.shape == (len(LANDMARKS),)
        assert np.nanmax(apart) < 0.05


def test_second_looks_find_what_was_put_elsewhere_but_not_exchanged_sides(network: Network) -> None:
    rgb, xy = CLIP.frame(5).rgb, XY[5].copy()
    moved, exchanged = xy.copy(), xy.copy()
    moved[NEAR_FORE] += [45.0, 0.0]  # half a body length
    exchanged[[0, 1]] = xy[[1, 0]]
    for apart in second_looks(rgb, moved, network):
        assert apart[NEAR_FORE] == pytest.approx(0.5, abs=0.05)
        assert np.delete(apart, NEAR_FORE).max() < 0.05
    for apart in second_looks(rgb, exchanged, network):
        assert apart.max() < 0.05


def test_without_a_trunk_there_is_no_second_look(network: Network) -> None:
    xy = XY[5].copy()
    xy[4] = np.nan
    assert all(np.isnan(apart).all() for apart in second_looks(CLIP.frame(5).rgb, xy, replace(network)))
