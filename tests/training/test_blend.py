"""Blending: the mean of the weights of several moments of a run, judged anew."""

import json
from pathlib import Path

import pytest
import torch
from shard_maker import write_shard

from training.blend import blend
from training.checkpoint import read_weights, write_weights
from training.errors import FootageError
from training.network import KeypointNetwork
from training.settings import FitSettings


@pytest.fixture(scope="module")
def parts(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two weights files, a judged.json and a shard."""
    folder = tmp_path_factory.mktemp("parts")
    for seed in (1, 2):
        torch.manual_seed(seed)
        write_weights(KeypointNetwork().state_dict(), folder / f"{seed}.pt")
    facts = {"settings": FitSettings(judge_pictures=4).as_dict(), "data": {"steps_done": 7}, "errors": {}, "score": {}}
    (folder / "judged.json").write_text(json.dumps(facts), encoding="utf-8")
    (folder / "shards").mkdir()
    write_shard(folder / "shards", 8)
    return folder


def test_the_mean_lies_half_way_and_is_judged(parts: Path, tmp_path: Path) -> None:
    facts = blend([parts / "1.pt", parts / "2.pt"], parts / "judged.json", parts / "shards", tmp_path / "out")
    one, two, mean = (read_weights(path) for path in (parts / "1.pt", parts / "2.pt", tmp_path / "out" / "weights.pt"))
    moved = 0
    for key, value in mean.items():
        if value.is_floating_point():
            torch.testing.assert_close(value, (one[key] + two[key]) / 2, atol=1e-3, rtol=1e-3)
            moved += not torch.equal(one[key], two[key])
    assert moved > 20
    assert facts["data"]["steps_done"] == 7
    assert facts["data"]["blended"] == 2
    assert facts["errors"]["drawn_unseen_dogs"]["pictures"] > 0
    assert json.loads((tmp_path / "out" / "judged.json").read_text(encoding="utf-8")) == json.loads(json.dumps(facts))


def test_no_footage_leaves_nothing(parts: Path, tmp_path: Path) -> None:
    with pytest.raises(FootageError, match="no footage"):
        blend([parts / "1.pt"], parts / "judged.json", tmp_path, tmp_path / "out")
    assert not (tmp_path / "out").exists()
