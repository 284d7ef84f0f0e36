"""The shipped network in whole numbers: made from a demo clip, judged against fp32, left out when it strays."""

import shutil
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import torch
from shard_maker import write_shard

from pose.network import Network, NetworkSettings, shipped_network
from training.augment import CropSettings
from training.errors import FootageError
from training.export import QuantiseSettings, add_int8, drawn_crops, seen_crops
from training.settings import FitSettings

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def crops() -> np.ndarray:
    return seen_crops(shipped_network(), [ROOT / "samples" / "tansy_trot_bare.mp4"], each=8)


@pytest.fixture
def source(tmp_path: Path) -> Path:
    shipped = shipped_network()
    for path in (shipped, shipped.with_suffix(".toml")):
        shutil.copy(path, tmp_path)
    return tmp_path / shipped.name


def card_of(source: Path) -> dict[str, object]:
    return dict(tomllib.loads(source.with_suffix(".toml").read_text(encoding="utf-8"))["int8"])


def test_it_puts_landmarks_where_fp32_puts_them(source: Path, crops: np.ndarray) -> None:
    before = tomllib.loads(source.with_suffix(".toml").read_text(encoding="utf-8"))
    target = add_int8(source, crops[::2], crops[1::2])
    assert target is not None and target.stat().st_size < 0.4 * source.stat().st_size
    told = card_of(source)
    assert told["file"] == target.name and told["measured_on_pictures"] == len(crops[::2])
    assert 0 < told["median_percent"] <= 0.5 and told["landmarks"] >= 12
    network = Network.load(source, NetworkSettings(precision="int8"))
    assert network.sha256 == told["sha256"]
    after = tomllib.loads(source.with_suffix(".toml").read_text(encoding="utf-8"))
    assert {**after, "int8": None} == {**before, "int8": None}


@pytest.mark.parametrize(
    ("settings", "pictures"),
    [(QuantiseSettings(most_median=1e-6), 2), (QuantiseSettings(sure=1.1), 2), (QuantiseSettings(), 0)],
    ids=["it strays", "nothing sure to compare", "no pictures"],
)
def test_otherwise_it_is_left_out_and_the_card_says_so(
    source: Path, crops: np.ndarray, settings: QuantiseSettings, pictures: int
) -> None:
    assert add_int8(source, crops[:pictures], crops[2:4], settings) is None
    assert not list(source.parent.glob("*.int8.onnx"))
    assert card_of(source)["left_out"]
    assert Network.load(source).precision == "fp32"


def test_crops_come_from_the_footage_of_the_run_and_differ_in_kind(tmp_path: Path) -> None:
    run = replace(FitSettings(), crop=CropSettings(size_px=(96, 64))).as_dict()
    folder = write_shard(tmp_path, 16)
    measured, judged = drawn_crops(folder, run)
    assert (measured.shape, judged.shape) == ((12, 3, 64, 96), (4, 3, 64, 96))
    again, _ = drawn_crops(folder, run)
    assert np.array_equal(measured, again) and torch.tensor(measured).isfinite().all()
    with pytest.raises(FootageError, match="no footage"):
        drawn_crops(tmp_path / "none", run)
