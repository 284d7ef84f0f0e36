"""Loading a network with its card: what works, and what is said when it does not."""

import hashlib
from pathlib import Path

import numpy as np
import onnx
import pytest
from fake_network import SIZE_PX, card_text, write_fake_network

from pose import network as module
from pose.errors import NetworkError
from pose.network import Network, NetworkSettings, Precision, calibrate, shipped_network

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


WIDE, OLD = frozenset({"SSE2", "X86_V3"}), frozenset({"SSE2"})
CPU, CARD = "CPUExecutionProvider", "CUDAExecutionProvider"


def with_int8(folder: Path, *, there: bool = True, digest: str = "") -> Path:
    """The fake network whose card names a second file; that one has a node more, so that its hash differs."""
    path = write_fake_network(folder)
    model = onnx.load(path)
    model.doc_string = "whole numbers"
    second = folder / "discs.int8.onnx"
    onnx.save(model, second)
    found = hashlib.sha256(second.read_bytes()).hexdigest()
    card = path.with_suffix(".toml")
    card.write_text(card.read_text() + f'[int8]\nfile = "discs.int8.onnx"\nsha256 = "{digest or found}"\n')
    if not there:
        second.unlink()
    return path


@pytest.mark.parametrize(
    ("asked", "features", "providers", "taken"),
    [
        ("auto", WIDE, [CPU], "int8"),
        ("auto", OLD, [CPU], "fp32"),
        ("auto", WIDE, [CARD, CPU], "fp32"),
        ("fp32", WIDE, [CPU], "fp32"),
        ("int8", OLD, [CPU], "int8"),
    ],
    ids=["fast with bytes", "not known to be", "a graphics card", "exact asked for", "whole numbers asked for"],
)
def test_which_file_is_taken(
    asked: Precision, features: frozenset[str], providers: list[str], taken: str,
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setattr(module, "processor_features", lambda: features)
    monkeypatch.setattr(module.ort, "get_available_providers", lambda: providers)
    opened: list[Path] = []
    real = module._open_session
    monkeypatch.setattr(
        module, "_open_session", lambda path, card, _: (opened.append(path), real(path, card, [CPU]))[1]
    )
    network = Network.load(with_int8(tmp_path), NetworkSettings(precision=asked))
    assert (network.precision, network.path) == (taken, opened[0])
    assert network.sha256 == hashlib.sha256(opened[0].read_bytes()).hexdigest()
    assert opened[0].name == {"int8": "discs.int8.onnx", "fp32": "discs.onnx"}[taken]


def test_int8_that_is_not_there(tmp_path: Path) -> None:
    asked = NetworkSettings(precision="int8")
    with pytest.raises(NetworkError, match="names no int8 file"):
        Network.load(write_fake_network(tmp_path), asked)
    assert Network.load(tmp_path / "discs.onnx").precision == "fp32"
    with pytest.raises(NetworkError, match="is missing beside its card"):
        Network.load(with_int8(tmp_path, there=False), asked)
    with pytest.raises(NetworkError, match="not the file that its card describes"):
        Network.load(with_int8(tmp_path, digest="0" * 64), asked)


@pytest.mark.parametrize("table", ['{file = "../x.onnx", sha256 = "00"}', '{file = "x.onnx"}'], ids=["away", "no hash"])
def test_an_int8_entry_that_cannot_be_used(tmp_path: Path, table: str) -> None:
    with pytest.raises(NetworkError, match="plain name of a file"):
        Network.load(write_fake_network(tmp_path, int8=table))


def test_an_int8_file_that_was_left_out_is_no_fault(tmp_path: Path) -> None:
    network = Network.load(write_fake_network(tmp_path, int8='{left_out = "too far from fp32"}'))
    assert network.precision == "fp32"


@pytest.mark.parametrize("count", [0, 1, 5, 8], ids=["no picture", "one", "odd", "a batch"])
def test_the_number_of_threads_changes_nothing(tmp_path: Path, count: int) -> None:
    path = write_fake_network(tmp_path)
    pictures = np.random.default_rng(3).random((count, *RIGHT_SHAPE[1:]), np.float32)
    heats = [Network.load(path, NetworkSettings(threads=threads)).run(pictures) for threads in (1, 3)]
    for name in ("heat", "absent", "facing"):
        assert np.array_equal(getattr(heats[0], name), getattr(heats[1], name))
    assert len(heats[0]) == count


def test_the_int8_file_of_the_last_network_is_not_taken_for_a_network(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "files", lambda package: tmp_path)
    for name in ("a.onnx", "b.int8.onnx"):
        (tmp_path / name).write_bytes(b"")
    assert shipped_network().name == "a.onnx"
