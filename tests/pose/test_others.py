"""Networks of other packages: found by name, read with, and held to the contract."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from fake_network import COLOURS, disc_clip, write_fake_network

from pose.contract import faults
from pose.errors import NetworkError
from pose.heatmap import places
from pose.network import Network
from pose.networks import current_network
from pose.others import SIZE_PX, PointSession
from pose.read import read_clip

#: Body lengths, half of the landmarks are nearer than this; one disc hides part of another.
HALF_BL = 0.03

MODULE = """
import numpy as np
from pathlib import Path
from fake_network import COLOURS

def discs(rgb):
    assert rgb.shape == (256, 320, 3) and rgb.dtype == np.uint8
    found = np.zeros((6, 3))
    for mark, colour in enumerate(COLOURS):
        near = np.abs(rgb / 255 - colour).max(axis=2) < 0.35
        y, x = np.nonzero(near)
        if len(x) > 8:
            found[mark] = np.median(x), np.median(y), 0.9
    return found

onnx = str(Path(__file__).with_name("discs.onnx"))
number = 7
"""


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A package that brings a callable, an .onnx file, a number, and one that cannot be loaded."""
    (tmp_path / "elsewhere.py").write_text(MODULE)
    write_fake_network(tmp_path)
    about = tmp_path / "elsewhere-1.2.dist-info"
    about.mkdir()
    (about / "METADATA").write_text("Metadata-Version: 2.1\nName: elsewhere\nVersion: 1.2\n")
    entries = {"points": "discs", "file": "onnx", "number": "number", "broken": "nothing_of_the_kind"}
    lines = "\n".join(f"{name} = elsewhere:{what}" for name, what in entries.items())
    (about / "entry_points.txt").write_text(f"[pawfall.networks]\n{lines}\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.delitem(__import__("sys").modules, "elsewhere", raising=False)


@pytest.mark.parametrize("facing", ["right", "left"])
def test_a_clip_is_read_with_a_callable(package: None, facing: str) -> None:
    clip = disc_clip(frames=40, facing=facing)
    network = Network.load("points")
    tracks, report = read_clip(clip, network)
    off = np.hypot(*np.moveaxis(tracks.xy_px - clip.truth_px, -1, 0)) / 90
    assert report.facing == facing
    assert np.nanmedian(off) < HALF_BL and np.isfinite(off).mean() > 0.9
    assert (network.name, network.precision, len(network.sha256)) == ("points", "fp32", 64)


def test_an_onnx_file_of_a_package_is_loaded_with_its_card(package: None) -> None:
    assert Network.load("file").name == "discs"


@pytest.mark.parametrize(
    ("name", "told"),
    [("number", "neither"), ("broken", "cannot be loaded"), ("nobody", "broken, file, number, points")],
)
def test_what_a_package_brings_and_cannot_be_used_says_why(package: None, name: str, told: str) -> None:
    with pytest.raises(NetworkError, match=told):
        Network.load(name)


def test_a_point_keeps_its_place_and_its_score() -> None:
    told = np.column_stack([np.linspace(40.3, 250.7, 6), np.linspace(200.2, 60.9, 6), np.linspace(0.5, 1.0, 6)])
    told[3] = np.nan
    told[4] = 900.0, 50.0, 1.0
    session = PointSession("six", lambda _: told)
    card = replace(Network.load(current_network()).card, size_px=SIZE_PX)
    network = replace(Network.load(current_network()), card=card, _session=session, _lanes=1)
    heat = network.run(np.zeros((1, 3, 256, 320), np.float32))
    found = places(heat, 12.0)
    assert found.single_xy[0, 1] == pytest.approx(told[5, :2], abs=0.05)
    assert found.single_mass[0, 1] == pytest.approx(1.0, abs=0.03)
    assert found.pair_xy[0, 0, 0] == pytest.approx(told[0, :2], abs=0.05)
    assert found.pair_mass[0, 0, 0, 0] == pytest.approx(0.5, abs=0.03)
    assert found.absent[0] == pytest.approx([0.5, 0.4, 0.3, 1.0, 1.0, 0.0], abs=1e-3)


@pytest.mark.parametrize(("answer", "told"), [(np.zeros((5, 3)), "gave"), (np.full((6, 3), 2.0), "0 to 1")])
def test_points_of_another_form_are_refused(answer: np.ndarray, told: str) -> None:
    with pytest.raises(NetworkError, match=told):
        PointSession("odd", lambda _: answer).run(["heat"], {"picture": np.zeros((1, 3, 256, 320), np.float32)})


def test_networks_that_keep_the_contract(package: None) -> None:
    assert faults(Network.load(current_network())) == []
    assert faults(Network.load("points")) == []


class Wrong:
    """A session that breaks one rule."""

    def __init__(self, rule: str) -> None:
        self.rule, self.calls = rule, 0

    def run(self, outputs: list[str], feed: dict[str, np.ndarray]) -> list[np.ndarray]:
        """Nothing but absent landmarks, and the fault."""
        count = len(feed["picture"])
        self.calls += 1
        heat, absent = np.zeros((count, 6, 64, 80), np.float32), np.full((count, 6), 20, np.float32)
        if self.rule == "another answer the second time":
            absent[:] = 9 + self.calls % 2
        elif self.rule == "by itself":
            absent[:] = 9 + (count > 1)
        elif self.rule == "sure of a dog":
            absent[:] = -20
        elif self.rule == "not finite":
            heat[0, 0, 0, 0] = np.nan
        elif self.rule == "shape":
            heat = heat[..., 1:]
        return [heat, absent, np.zeros((count, 1), np.float32)]


@pytest.mark.parametrize(
    "rule", ["another answer the second time", "by itself", "sure of a dog", "not finite", "shape"]
)
def test_each_rule_of_the_contract_can_fail(rule: str) -> None:
    good = Network.load(current_network())
    card = replace(good.card, size_px=SIZE_PX, temperature=1.0)
    assert faults(replace(good, card=card, _session=Wrong("none"), _lanes=1)) == []
    assert rule in " ".join(faults(replace(good, card=card, _session=Wrong(rule), _lanes=1)))


@pytest.mark.parametrize(
    ("change", "told"),
    [({"name": " "}, "no name"), ({"sha256": "x", "int8_sha256": "x"}, "hash"), ({"size_px": (322, 256)}, "multiples")],
    ids=["name", "hash", "size"],
)
def test_each_rule_of_the_card_can_fail(change: dict[str, object], told: str) -> None:
    good = Network.load(current_network())
    card = replace(good.card, **{"size_px": SIZE_PX, **change})
    assert told in " ".join(faults(replace(good, card=card, _session=Wrong("none"), _lanes=1)))


def test_colours_are_told_apart() -> None:
    assert min(np.abs(a - b).max() for i, a in enumerate(COLOURS) for b in COLOURS[:i]) > 0.7
