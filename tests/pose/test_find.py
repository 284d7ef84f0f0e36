"""Finding the dog and its facing in drawn pictures, with the network of discs."""

import numpy as np
import pytest
from fake_network import disc_clip, write_fake_network

from pose.find import facing_votes, find
from pose.network import Network

CLOSE_PX = 3.0


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Network:
    return Network.load(write_fake_network(tmp_path_factory.mktemp("network")))


@pytest.mark.parametrize("facing", ["left", "right"])
@pytest.mark.parametrize(
    "sizes",
    [
        {"length_px": 90},
        {"length_px": 170, "width": 480, "height": 360, "middle_px": (240, 330)},
        {"length_px": 60, "width": 1280, "height": 720, "middle_px": (1000, 600)},
        {"length_px": 80, "width": 360, "height": 640, "middle_px": (180, 500)},
    ],
    ids=["usual", "fills the picture", "small in a corner", "portrait"],
)
def test_the_dog_is_found(network: Network, facing: str, sizes: dict[str, object]) -> None:
    clip = disc_clip(frames=1, facing=facing, **sizes)
    found = find(network, clip.frame(0).rgb)
    assert found is not None
    assert np.hypot(*(found[0].xy_px[4:] - clip.truth_px[0, 4:]).T).max() < CLOSE_PX


def test_an_empty_room_holds_no_dog(network: Network) -> None:
    clip = disc_clip(frames=1, empty=frozenset({0}))
    assert find(network, clip.frame(0).rgb) is None
    assert np.isnan(facing_votes(network, [clip.frame(0).rgb])).all()


@pytest.mark.parametrize(("facing", "sign"), [("left", -1), ("right", 1)])
def test_votes_go_the_way_the_dog_faces_and_stop_when_enough(network: Network, facing: str, sign: int) -> None:
    clip = disc_clip(frames=40, facing=facing)
    votes = facing_votes(network, [frame.rgb for frame in clip.sample(40)])
    assert sign * votes.sum() > 0
    assert len(votes) < 40
