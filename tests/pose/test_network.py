"""Loading a network with its card: what works, and what is said when it does not."""

import hashlib
from pathlib import Path

import numpy as np
import pytest
from fake_network import SIZE_PX, card_text, write_fake_network

from pose import network as module
from pose.errors import NetworkError
from pose.network import Network, calibrate, shipped_network

RIGHT_SHAPE = (2, 3, SIZE_PX[1], SIZE_PX[0])


def test_a_network_runs_and_names_itself(tmp_path: Path) -> None:
    network = Network.load(write_fake_network(tmp_path))
    heat = network.run(np.full(RIGHT_SHAPE, 0.5, np.float32))
    assert (network.name, len(heat), heat.heat.shape, heat.absent.shape) == ("discs", 2, (2, 6, 64, 80), (2, 6))
    assert heat.facing.shape == (2,)
    assert len(network.sha256) == 64


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"name": ""}, "lacks the entry 'name'"),
        ({"sha256": '"0000"'}, "not the file that its card describes"),
        ({"landmarks": '["nose", "tail"]'}, "needed, in this order"),
        ({"input_px": "[320]"}, "cannot be used"),
        ({"input_px": "[300, 200]"}, "its card says"),
        ({"temperature": "-1.0"}, "above 0"),
        ({"score": "{mass = [0.0, 1.0], probability = [0.5]}"}, "two lists"),
        ({"score": "{mass = [0.0, 1.0], probability = [0.5, 0.4]}"}, "not falling"),
        ({"name": '"broken'}, "cannot be read"),
    ],
    ids=[
        "no name",
        "other file",
        "other landmarks",
        "half a size",
        "other size",
        "cold",
        "odd knots",
        "falling",
        "no TOML",
    ],
)
def test_a_card_that_cannot_be_used(tmp_path: Path, changes: dict[str, str], words: str) -> None:
    with pytest.raises(NetworkError, match=words):
        Network.load(write_fake_network(tmp_path, **changes))


def test_files_that_are_missing_or_not_networks(tmp_path: Path) -> None:
    with pytest.raises(NetworkError, match="no network at"):
        Network.load(tmp_path / "none.onnx")
    path = write_fake_network(tmp_path)
    path.with_suffix(".toml").unlink()
    with pytest.raises(NetworkError, match=r"card discs\.toml is missing"):
        Network.load(path)
    path.write_bytes(b"not a network")
    path.with_suffix(".toml").write_text(card_text(hashlib.sha256(b"not a network").hexdigest()))
    with pytest.raises(NetworkError, match="not a network that can be run"):
        Network.load(path)


def test_pictures_of_another_size_are_refused(tmp_path: Path) -> None:
    network = Network.load(write_fake_network(tmp_path))
    with pytest.raises(NetworkError, match=r"takes pictures \(N, 3, 256, 320\)"):
        network.run(np.zeros((1, 3, 64, 64), np.float32))


@pytest.mark.parametrize(("mass", "expected"), [(0.0, 0.1), (0.25, 0.3), (0.5, 0.5), (0.75, 0.75), (2.0, 1.0)], ids=str)
def test_scores_follow_straight_lines_between_knots(mass: float, expected: float) -> None:
    knots = ((0.0, 0.1), (0.5, 0.5), (1.0, 1.0))
    assert calibrate(np.array(mass), knots) == pytest.approx(expected)


def test_without_knots_the_mass_is_the_score() -> None:
    assert calibrate(np.array([-0.1, 0.4, 1.2]), ()).tolist() == [0.0, 0.4, 1.0]


def test_the_last_of_the_shipped_networks_is_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "files", lambda package: tmp_path / package)
    (tmp_path / "models").mkdir()
    with pytest.raises(NetworkError, match="No network came with"):
        shipped_network()
    for name in ("b.onnx", "a.onnx", "c.toml"):
        (tmp_path / "models" / name).write_bytes(b"")
    assert shipped_network().name == "b.onnx"
