"""A tiny training run on the processor: it learns, resumes to the same result, leaves a network that pose can read."""

import csv
import json
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import torch
from shard_maker import write_shard
from torch import nn

from pose.landmarks import LANDMARKS
from pose.network import Network
from training import export as exporting
from training import fit as fitting
from training.augment import CropSettings
from training.checkpoint import new_run, read_weights, write_weights
from training.data import load_footage
from training.errors import ExportError, FitError, FootageError
from training.export import MOST_APART, difference, export, to_toml, write_onnx
from training.fit import fit, learning_rate, take_step
from training.network import Backbone, KeypointNetwork, count_parameters
from training.settings import FitSettings

pytestmark = pytest.mark.slow

CPU = torch.device("cpu")
SMALL = CropSettings(size_px=(96, 64))


@pytest.fixture(scope="module")
def footage(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_shard(tmp_path_factory.mktemp("footage"), 16, empty=1)


@pytest.fixture
def settings(footage: Path) -> FitSettings:
    return FitSettings(
        name="trial", footage=str(footage), steps=6, batch=4, judge_every=0, judge_pictures=4, crop=SMALL,
        report_every=2,
    )  # fmt: skip


@pytest.fixture(scope="module")
def trained(footage: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A finished run of four steps."""
    out = tmp_path_factory.mktemp("run")
    settings = FitSettings("trial", str(footage), steps=4, batch=4, judge_every=2, judge_pictures=4, crop=SMALL)
    assert fit(settings, out)
    return out


def test_it_learns(settings: FitSettings) -> None:
    """The mean loss of the last steps is well below that of the first, on the same pictures."""
    pictures = load_footage(Path(settings.footage), CPU)
    settings = replace(settings, steps=30, warm_up=0.1)
    run = new_run(settings, CPU)
    rows = pictures.rows(unseen=False)[:4]
    losses = [float(take_step(run, pictures.take(rows), settings)) for _ in range(30)]
    assert np.mean(losses[-5:]) < 0.75 * np.mean(losses[:3])


def quick(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Exports are noted and not made."""
    made: list[Path] = []
    monkeypatch.setattr(fitting, "export", lambda network, facts, out, crops: made.append(out))
    return made


def test_stopping_and_resuming_gives_the_same_network(
    settings: FitSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = quick(monkeypatch)
    straight, parted = tmp_path / "straight", tmp_path / "parted"
    assert fit(settings, straight)
    sittings = 1
    while not fit(settings, parted, resume=True, stop_after_s=1e-9):
        sittings += 1
    assert sittings == 3
    assert made == [straight, parted]
    one, other = (torch.load(folder / "checkpoint.pt", weights_only=True) for folder in (straight, parted))
    assert one["step"] == other["step"] == 6
    for part in ("network", "average"):
        assert all(torch.equal(one[part][key], other[part][key]) for key in one[part])
    logs = [list(csv.reader((folder / "log.csv").read_text().splitlines())) for folder in (straight, parted)]
    assert [row[:2] for row in logs[0]] == [row[:2] for row in logs[1]]
    assert len(logs[0]) == 4


def test_another_seed_gives_another_network(settings: FitSettings) -> None:
    pictures = load_footage(Path(settings.footage), CPU)
    rows = pictures.rows(unseen=False)[:4]
    losses = []
    for seed in (1, 1, 2):
        chosen = replace(settings, seed=seed)
        losses.append(float(take_step(new_run(chosen, CPU), pictures.take(rows), chosen)))
    assert losses[0] == losses[1] != losses[2]


def test_progress_and_a_new_start_clear_the_log(
    settings: FitSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick(monkeypatch)
    said: list[tuple[int, int, float]] = []
    for _ in range(2):
        said.clear()
        fit(replace(settings, steps=4), tmp_path, progress=lambda *words: said.append(words))
    assert [words[:2] for words in said] == [(2, 4), (4, 4)]
    assert len((tmp_path / "log.csv").read_text().splitlines()) == 3


def test_a_checkpoint_of_other_settings_is_refused(
    settings: FitSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, footage: Path
) -> None:
    quick(monkeypatch)
    fit(settings, tmp_path, stop_after_s=1e-9)
    with pytest.raises(FitError, match="other settings"):
        fit(replace(settings, lr=1e-4), tmp_path, resume=True)
    (tmp_path / "checkpoint.pt").write_bytes(b"nonsense")
    with pytest.raises(FitError, match="cannot be read"):
        fit(settings, tmp_path, resume=True)


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        ({"start": "nowhere.pt"}, FitError, "no such file"),
        ({"footage": "nowhere"}, FootageError, "no footage"),
        ({"lr": 1e30, "clip": 1e30}, FitError, "smaller learning rate"),
    ],
    ids=["no weights to start from", "no footage", "it explodes"],
)
def test_what_cannot_be_trained_says_why(
    settings: FitSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    change: dict[str, object], error: type[Exception], words: str,
) -> None:  # fmt: skip
    quick(monkeypatch)
    with pytest.raises(error, match=words):
        fit(replace(settings, **change), tmp_path / "out")


def test_it_can_start_from_the_weights_of_an_earlier_run(settings: FitSettings, tmp_path: Path) -> None:
    torch.manual_seed(5)
    before = KeypointNetwork().state_dict()
    write_weights(before, tmp_path / "weights.pt")
    after = new_run(replace(settings, start=str(tmp_path / "weights.pt")), CPU).network.state_dict()
    assert all(torch.allclose(after[key].float(), before[key].float(), atol=1e-3) for key in before)
    torch.save({"a": torch.zeros(2)}, tmp_path / "other.pt")
    with pytest.raises(FitError, match="no weights of this network"):
        read_weights(tmp_path / "other.pt")


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_its_backbone_can_go_back_to_imagenet_and_the_decoder_stays(
    settings: FitSettings, tmp_path: Path, share: float
) -> None:
    imagenet, before = Backbone(), KeypointNetwork()
    imagenet.load_imagenet()
    write_weights(before.state_dict(), tmp_path / "weights.pt")
    start, first = read_weights(tmp_path / "weights.pt"), imagenet.state_dict()
    chosen = replace(settings, start=str(tmp_path / "weights.pt"), imagenet_share=share)
    for name, value in new_run(chosen, CPU).network.state_dict().items():
        if name.startswith("backbone.") and value.is_floating_point():
            expected = start[name] + share * (first[name.removeprefix("backbone.")] - start[name])
        else:
            expected = start[name]
        torch.testing.assert_close(value, expected)


def test_the_rate_rises_then_falls() -> None:
    settings = FitSettings(steps=1000, warm_up=0.1)
    rates = np.array([learning_rate(settings, step) for step in range(1000)])
    assert rates.argmax() == 100 and rates.max() == pytest.approx(1.0)
    assert (np.diff(rates[100:]) < 0).all() and (np.diff(rates[3:100]) > 0).all()
    assert 0 < rates[-1] < 0.02


def test_what_a_run_leaves(trained: Path) -> None:
    names = {path.name for path in trained.iterdir()}
    assert names == {
        "checkpoint.pt",
        "log.csv",
        "judged.csv",
        "judged.json",
        "weights.pt",
        "weights-2.pt",
        "trial.onnx",
        "trial.toml",
    }
    assert [row.split(",")[0] for row in (trained / "judged.csv").read_text().splitlines()] == ["step", "2"]


def test_the_card_says_what_it_must(trained: Path, footage: Path) -> None:
    card = tomllib.loads((trained / "trial.toml").read_text(encoding="utf-8"))
    assert card["landmarks"] == list(LANDMARKS)
    assert card["input_px"] == [96, 64]
    assert card["parameters"] == count_parameters(KeypointNetwork()) <= 6_000_000
    assert "no volunteer footage is in it yet" in card["about"]
    assert "Apache-2.0" in card["licence"]
    assert 0 <= card["export_difference"] <= MOST_APART
    assert card["data"] == {
        "steps_done": 4, "training_pictures": 13, "training_dogs": 12, "unseen_dogs": 4,
        "footage_sha256": load_footage(footage, CPU).digest(),
    }  # fmt: skip
    assert set(card["errors"]) == {"drawn_unseen_dogs", "drawn_unseen_dogs_small"}
    assert 0 <= card["errors"]["drawn_unseen_dogs"]["pck_5_percent"] <= 1
    assert card["settings"]["seed"] == 1 and card["settings"]["crop"]["tight_share"] == 0.8
    assert str(footage) not in (trained / "trial.toml").read_text(encoding="utf-8")


def test_pose_reads_the_network_and_its_card(trained: Path) -> None:
    network = Network.load(trained / "trial.onnx")
    card = json.loads((trained / "judged.json").read_text())
    assert [mass for mass, _ in network.card.score_knots] == card["score"]["mass"]
    state = torch.load(trained / "checkpoint.pt", weights_only=True)["average"]
    torch_network = KeypointNetwork().eval()
    torch_network.load_state_dict(state)
    pictures = torch.rand((3, 3, 64, 96), generator=torch.Generator().manual_seed(4))
    heat = network.run(pictures.numpy())
    with torch.no_grad():
        ours = [one.numpy() for one in torch_network(pictures)]
    for theirs, mine in zip((heat.heat, heat.absent, heat.facing[:, None]), ours, strict=True):
        assert np.abs(theirs - mine).max() <= MOST_APART


def test_a_file_that_says_something_else_is_not_left_behind(
    trained: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file made from other weights differs, and the export that would leave it fails."""
    ready = trained / "trial.onnx"
    torch.manual_seed(3)
    other = KeypointNetwork().eval()
    assert difference(other, ready, (96, 64)) > 100 * MOST_APART
    monkeypatch.setattr(exporting, "write_onnx", lambda network, path, size_px: path.write_bytes(ready.read_bytes()))
    with pytest.raises(ExportError, match="differ"):
        export(other, json.loads((trained / "judged.json").read_text()), tmp_path)
    assert not list(tmp_path.iterdir())


def test_one_picture_or_many(trained: Path) -> None:
    network = Network.load(trained / "trial.onnx")
    pictures = np.random.default_rng(1).random((7, 3, 64, 96), np.float32)
    many = network.run(pictures)
    assert len(many) == 7
    assert np.abs(network.run(pictures[4:5]).heat - many.heat[4:5]).max() < MOST_APART


def test_toml_comes_back_as_it_was() -> None:
    words = {
        "text": 'with "quotes", \\ and é', "number": 1.5e-05, "yes": True, "list": [0.1, 2.0], "empty": {},
        "table": {"a": 1, "deeper": {"b": ["x"], "needs quotes %": 2}},
    }  # fmt: skip
    back = tomllib.loads(to_toml(words))
    words.pop("empty")
    assert back == words


def test_the_exporter_takes_plain_networks_of_any_batch(tmp_path: Path) -> None:
    class Plain(nn.Module):
        def forward(self, picture: torch.Tensor) -> tuple[torch.Tensor, ...]:
            return picture.mean(1, keepdim=True), picture.mean((1, 2)), picture.mean((2, 3))

    write_onnx(Plain(), tmp_path / "plain.onnx", (8, 6))
    assert difference(Plain(), tmp_path / "plain.onnx", (8, 6)) < 1e-6
