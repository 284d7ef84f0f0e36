"""A tiny run on marked pictures: it learns, ends early with its best weights, resumes to the same, leaves a card."""

import csv
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import torch
from shard_maker import write_shard
from test_marked import marked_folder

from gait.command.fit import step_lines
from pose.network import Network
from training import fit as fitting
from training.augment import CropSettings
from training.checkpoint import new_run
from training.errors import FitError
from training.fit import fit, take_step
from training.settings import FitSettings, read_settings
from training.sources import load_sources

pytestmark = pytest.mark.slow

CPU = torch.device("cpu")
ROOT = Path(__file__).parents[2]
#: Weights of layers are kept in half precision, with 11 bits.
HALF = 2.0**-10
NAMES = ("Ash", "Ash", "Birch", "Birch", "Cedar", "Cedar", "Dill", "Elm", "Fir")


@pytest.fixture
def settings(tmp_path: Path) -> FitSettings:
    return FitSettings(
        name="own", marks=(str(marked_folder(tmp_path / "marks", NAMES)),), marks_share=1.0, start="imagenet",
        steps=12, batch=4, lr=2e-3, frozen=6, patience=2, judge_every=2, judge_pictures=8, report_every=2,
        crop=CropSettings(size_px=(96, 64)),
    )  # fmt: skip


def no_export(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fitting, "export", lambda *_, **__: None)


def test_stopping_and_resuming_with_marks_gives_the_same_network(
    settings: FitSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    no_export(monkeypatch)
    settings = replace(settings, marks_share=0.5, footage=str(write_shard(tmp_path / "drawn", 8)), steps=6, patience=9)
    straight, parted = tmp_path / "straight", tmp_path / "parted"
    assert fit(settings, straight)
    sittings = 1
    while not fit(settings, parted, resume=True, stop_after_s=1e-9):
        sittings += 1
    assert sittings == 3
    one, other = (torch.load(folder / "checkpoint.pt", weights_only=True) for folder in (straight, parted))
    for part in ("network", "average"):
        assert all(torch.equal(one[part][key], other[part][key]) for key in one[part])
    assert (one["best"]["step"], one["best"]["error"]) == (other["best"]["step"], other["best"]["error"])
    assert (straight / "judged.csv").read_text() == (parted / "judged.csv").read_text()
    assert (straight / "weights.pt").read_bytes() == (parted / "weights.pt").read_bytes()


def test_it_ends_when_dogs_held_out_get_no_better_and_keeps_the_best(
    settings: FitSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    no_export(monkeypatch)
    spoiling = replace(settings, lr=0.3, clip=1e3, backbone_lr=1.0, start="imagenet")
    assert fit(spoiling, tmp_path / "out")
    rows = list(csv.DictReader((tmp_path / "out" / "judged.csv").read_text().splitlines()))
    errors = [float(row["error_percent"]) for row in rows]
    state = torch.load(tmp_path / "out" / "checkpoint.pt", weights_only=True)
    best = int(np.argmin(errors))
    assert state["best"]["step"] == int(rows[best]["step"])
    assert len(rows) - 1 - best == settings.patience and int(rows[-1]["step"]) < settings.steps
    kept = torch.load(tmp_path / "out" / "weights.pt", weights_only=True)
    key = "heat.1.weight"
    assert torch.equal(kept[key], state["best"]["weights"][key].half())
    assert not torch.equal(kept[key], state["average"][key].half())


def test_a_share_of_the_start_is_mixed_into_what_was_learned(
    settings: FitSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    no_export(monkeypatch)
    few = replace(settings, steps=2, patience=0, judge_every=0)
    assert fit(few, tmp_path / "start")
    start = tmp_path / "start" / "weights.pt"
    again = replace(few, start=str(start), seed=2)
    assert fit(again, tmp_path / "all") and fit(replace(again, start_share=0.25), tmp_path / "mixed")
    key = "heat.1.weight"
    began, learned, mixed = (
        torch.load(path, weights_only=True)[key].float()
        for path in (start, tmp_path / "all" / "weights.pt", tmp_path / "mixed" / "weights.pt")
    )
    assert not torch.equal(began, learned)
    torch.testing.assert_close(mixed, 0.75 * learned + 0.25 * began, atol=HALF, rtol=HALF)


def test_frozen_blocks_stay_as_they_are_norms_too(settings: FitSettings) -> None:
    sources = load_sources(settings, CPU)
    run = new_run(settings, CPU)
    before = {key: value.clone() for key, value in run.network.state_dict().items()}
    feed = sources.feed(settings)
    losses = [float(take_step(run, next(feed), replace(settings, steps=40))) for _ in range(25)]
    after = run.network.state_dict()
    same = {key for key in before if torch.equal(before[key], after[key])}
    frozen = ("backbone.stem.", *(f"backbone.blocks.{number}." for number in range(5)))
    assert same == {key for key in before if key.startswith(frozen)}
    assert np.mean(losses[-5:]) < 0.9 * np.mean(losses[:3])


def test_changed_marks_cannot_be_resumed_with(
    settings: FitSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    no_export(monkeypatch)
    assert not fit(settings, tmp_path / "out", stop_after_s=1e-9)
    moved = replace(settings, marks=(str(marked_folder(tmp_path / "moved", NAMES)),))
    assert not fit(moved, tmp_path / "out", resume=True, stop_after_s=1e-9)
    changed = replace(settings, marks=(str(marked_folder(tmp_path / "more", (*NAMES, "Gorse"))),))
    with pytest.raises(FitError, match="marks have changed"):
        fit(changed, tmp_path / "out", resume=True)


def test_the_card_tells_of_the_marks(settings: FitSettings, tmp_path: Path) -> None:
    drawn = str(write_shard(tmp_path / "drawn", 8))
    assert fit(replace(settings, steps=2, marks_share=0.5, footage=drawn), tmp_path / "out")
    network = Network.load(tmp_path / "out" / "own.onnx")
    text = (tmp_path / "out" / "own.toml").read_text(encoding="utf-8")
    card = tomllib.loads(text)
    assert network.name == "own"
    assert "then further with 6 marked pictures of 4 dogs" in card["about"]
    data = card["data"]
    assert (data["marked_dogs"], data["held_out_dogs"]) == (["Ash", "Birch", "Dill", "Elm"], ["Cedar", "Fir"])
    assert (data["held_out_pictures"], data["marked_share_of_batch"], data["training_pictures"]) == (3, 0.5, 6)
    kinds = ("marked_held_out_dogs", "drawn_unseen_dogs")
    assert set(card["errors"]) == {"drawn_unseen_dogs_small", *kinds, *(f"{kind}_before" for kind in kinds)}
    assert card["change"]["marked_held_out_dogs"]["dogs"] == 2 and "low" not in card["change"]["marked_held_out_dogs"]
    assert str(tmp_path) not in text


def test_the_settings_for_marks_start_from_the_shipped_network(tmp_path: Path) -> None:
    settings = read_settings(ROOT / "training" / "marks.toml", marks=(str(marked_folder(tmp_path)),))
    assert (settings.start, settings.marks_share) == ("shipped", 1.0)
    assert new_run(settings, CPU).step == 0


def test_lines_of_progress_tell_the_time_that_is_left(capsys: pytest.CaptureFixture[str]) -> None:
    clock = iter([100.0, 130.0, 130.0, 160.0, 160.0, 190.0])
    show = step_lines(lambda: next(clock))
    for step in (10, 20, 40):
        show(step, 100, 3.0)
    assert capsys.readouterr().out.splitlines() == [
        "step 10 of 100, loss 3.000", "step 20 of 100, loss 3.000, 4 min left", "step 40 of 100, loss 3.000, 2 min left"
    ]  # fmt: skip
