"""Repeated looks: maps come back to where the picture lies, and their mean is no other network than the one asked."""

import numpy as np
import pytest
from fake_network import disc_clip, write_fake_network
from numpy.typing import NDArray

from pose.find import best_xy, find
from pose.heatmap import places, probabilities
from pose.landmarks import LANDMARKS
from pose.network import Network
from pose.repeat import Repeated, RepeatSettings
from pose.window import cut

#: px of the network's picture: half a heat cell.
HALF_CELL_PX = 2.0
ONCE = RepeatSettings(shifts=((0.0, 0.0),), scales=(1.0,))


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Network:
    return Network.load(write_fake_network(tmp_path_factory.mktemp("network")))


@pytest.fixture(scope="module")
def picture(network: Network) -> NDArray[np.float32]:
    """(1, 3, H, W) a dog of discs as the network is shown it."""
    rgb = disc_clip(frames=1).frame(0).rgb
    found = find(network, rgb)
    assert found is not None
    return cut(rgb, found[1], network.card.size_px)[None]


def where(network: Network | Repeated, picture: NDArray[np.float32]) -> NDArray[np.float64]:
    """(6, 2) px, best places."""
    return best_xy(places(network.run(picture), 8.0, network.card.temperature))[0][0]


def test_one_unmoved_look_is_the_network_itself(network: Network, picture: NDArray[np.float32]) -> None:
    single, _ = probabilities(network.run(picture), network.card.temperature)
    same, _ = probabilities(Repeated(network, ONCE).run(picture))
    assert np.abs(single - same).max() < 1e-3


@pytest.mark.parametrize(
    ("shift", "scale"),
    [((0.05, 0.0), 1.0), ((0.0, -0.05), 1.0), ((0.0, 0.0), 0.85), ((0.0, 0.0), 1.15), ((0.03, 0.02), 0.9)],
    ids=["to the right", "up", "smaller", "larger", "moved and smaller"],
)
def test_each_look_is_brought_back(
    network: Network, picture: NDArray[np.float32], shift: tuple[float, float], scale: float
) -> None:
    moved = where(Repeated(network, RepeatSettings((shift,), (scale,))), picture)
    assert np.hypot(*(moved - where(network, picture)).T).max() < HALF_CELL_PX


def test_probabilities_add_up_to_one(network: Network, picture: NDArray[np.float32]) -> None:
    maps, absent = probabilities(Repeated(network).run(picture))
    total = maps.sum(axis=(2, 3)) + absent
    assert total.shape == (1, len(LANDMARKS))
    assert np.allclose(total, 1.0, atol=1e-5)
