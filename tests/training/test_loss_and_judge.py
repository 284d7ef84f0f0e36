"""The loss pulls towards the truth; judging counts what is right and what is exchanged."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
import torch
from shard_maker import write_shard
from torch import Tensor, nn

from training.augment import Batch, CropSettings, augment
from training.data import load_footage
from training.judge import Judged, judge, judge_both, score_knots
from training.loss import cells_of, facing_loss, landmark_loss

CPU = torch.device("cpu")
ROWS, COLUMNS = 64, 80


def batch_of(xy: Tensor, *, right: float = 1.0, tight: bool = False) -> Batch:
    n = len(xy)
    return Batch(
        torch.zeros(n, 3, 256, 320), xy, torch.zeros(n, 6, dtype=torch.bool), torch.ones(n, 6),
        torch.full((n,), right), torch.ones(n), torch.full((n,), tight),
    )  # fmt: skip


def test_the_middle_of_a_cell() -> None:
    assert cells_of(torch.tensor([1.5, 5.5, 3.5])).tolist() == [0.0, 1.0, 0.5]


def test_the_loss_has_its_least_where_the_landmark_is() -> None:
    xy = torch.full((1, 6, 2), 103.25)
    heat = torch.zeros(1, 6, ROWS, COLUMNS, requires_grad=True)
    absent = torch.zeros(1, 6, requires_grad=True)
    optimiser = torch.optim.Adam([heat, absent], lr=0.3)
    for _ in range(200):
        optimiser.zero_grad()
        landmark_loss(heat, absent, batch_of(xy), 1.0).backward()
        optimiser.step()
    share = torch.softmax(torch.cat([heat.flatten(2), absent[..., None]], 2), 2)[0, 0].detach()
    cells = share[:-1].reshape(ROWS, COLUMNS)
    goal = float(cells_of(xy)[0, 0, 0])
    assert float((cells.sum(0) * torch.arange(COLUMNS)).sum()) == pytest.approx(goal, abs=0.1)
    assert float((cells.sum(1) * torch.arange(ROWS)).sum()) == pytest.approx(goal, abs=0.1)
    assert float(share[-1]) < 0.01


def test_an_absent_landmark_belongs_nowhere() -> None:
    gone, here = torch.full((1, 6, 2), torch.nan), torch.full((1, 6, 2), 100.0)
    heat = torch.zeros(1, 6, ROWS, COLUMNS)
    losses = {
        (name, logit): float(landmark_loss(heat, torch.full((1, 6), logit), batch_of(xy), 1.0))
        for name, xy in (("gone", gone), ("here", here))
        for logit in (-5.0, 15.0)
    }
    assert losses["gone", 15.0] < 0.1 < losses["gone", -5.0]
    assert losses["here", -5.0] < losses["here", 15.0]


def test_facing_is_learnt_from_wide_crops_alone() -> None:
    logits = torch.full((2, 1), 3.0)
    wrong = batch_of(torch.zeros(2, 6, 2), right=0.0)
    assert float(facing_loss(logits, wrong)) == pytest.approx(3.0486, abs=1e-3)  # ln(1 + e^3)
    assert float(facing_loss(logits, batch_of(torch.zeros(2, 6, 2), right=0.0, tight=True))) == 0.0


class Oracle(nn.Module):
    """Answers from the truth, which the tests hand over: sharp bells at ``xy`` (N, 6, 2), in order of the calls."""

    def __init__(self, xy: Tensor) -> None:
        super().__init__()
        self.xy, self.done = xy, 0

    def forward(self, picture: Tensor) -> tuple[Tensor, Tensor, Tensor]:
        xy = cells_of(self.xy[self.done : self.done + len(picture)])
        self.done += len(picture)
        there = torch.isfinite(xy[..., 0])
        down = -((torch.arange(ROWS)[:, None] - xy[..., 1, None, None]) ** 2)
        across = -((torch.arange(COLUMNS) - xy[..., 0, None, None]) ** 2)
        heat = torch.where(there[..., None, None], (down + across) / 2, -20.0)
        return heat, torch.where(there, -20.0, 20.0), torch.ones(len(picture), 1)


def judged(tmp_path: Path, change: object) -> Judged:
    """An oracle whose answers were changed, judged on tight crops."""
    footage = load_footage(write_shard(tmp_path, 12, empty=2), CPU)
    rows, crop = np.arange(14), CropSettings(tight_share=1.0)
    truth = augment(footage, torch.Generator().manual_seed(9 * 100003), crop, light=None).xy
    return judge(Oracle(change(truth)), footage, rows, crop=crop)  # type: ignore[operator]


def exchanged(xy: Tensor) -> Tensor:
    return xy[:, [1, 0, 2, 3, 4, 5]]


def missed(xy: Tensor) -> Tensor:
    length = (xy[:, 4] - xy[:, 5]).norm(dim=-1)
    out = xy.clone()
    out[:, 4, 1] -= 0.07 * length
    return out


@pytest.mark.parametrize(
    ("change", "five", "ten", "pairs"),
    [(lambda xy: xy, 1.0, 1.0, 0.0), (exchanged, 4 / 6, 4 / 6, 0.5), (missed, 5 / 6, 1.0, 0.0)],
    ids=["all right", "fore paws exchanged", "withers off by 7 % of body length"],
)
def test_shares_of_right_landmarks(tmp_path: Path, change: object, five: float, ten: float, pairs: float) -> None:
    table = judged(tmp_path, change).table()
    assert table["pck_5_percent"] == pytest.approx(five, abs=0.02)
    assert table["pck_10_percent"] == pytest.approx(ten, abs=0.02)
    assert table["exchanged_pairs"] == pytest.approx(pairs, abs=0.02)
    assert table["presence_right"] == 1.0
    assert table["facing_right"] == 1.0
    assert table["pck_10_percent_sides_free"] == 1.0


def test_both_kinds_of_crops_are_judged(tmp_path: Path) -> None:
    footage = load_footage(write_shard(tmp_path, 4), CPU)
    tight, wide = judge_both(Oracle(torch.full((8, 6, 2), 30.0)), footage, np.arange(4), CropSettings())
    assert len(tight.error) == len(wide.error) == 4
    assert np.nanmax(np.abs(tight.error - wide.error)) > 0


def plain_judged(mass: np.ndarray, error: np.ndarray) -> Judged:
    nothing = np.zeros_like(mass)
    return Judged(error, error, mass, nothing, nothing > 0, np.zeros((len(mass), 2)), np.ones(len(mass)))


def test_the_score_curve_finds_what_a_mass_is_worth() -> None:
    """Points that are right with the square of their mass: the curve says so to within the noise of 60,000 draws."""
    rng = np.random.default_rng(2)
    mass = rng.random((10000, 6))
    knots = score_knots(plain_judged(mass, np.where(rng.random(mass.shape) < mass**2, 0.0, 0.2)))
    assert np.all(np.diff(knots["mass"]) > 0)
    assert np.all(np.diff(knots["probability"]) >= 0)
    for at in (0.3, 0.6, 0.9):
        assert np.interp(at, knots["mass"], knots["probability"]) == pytest.approx(at**2, abs=0.05)


def test_the_score_curve_holds_where_few_masses_lie() -> None:
    """Drawn pictures are mostly easy: nine masses in ten lie above 0.8, and the low ones still get their worth."""
    rng = np.random.default_rng(3)
    mass = np.where(rng.random((10000, 6)) < 0.9, rng.uniform(0.8, 0.95, (10000, 6)), rng.uniform(0.0, 0.8, (10000, 6)))
    knots = score_knots(plain_judged(mass, np.where(rng.random(mass.shape) < mass**3, 0.0, 0.2)))
    for at in (0.2, 0.4, 0.6, 0.9):
        assert np.interp(at, knots["mass"], knots["probability"]) == pytest.approx(at**3, abs=0.05)


def test_nothing_judged_gives_no_curve() -> None:
    gone = np.full((3, 6), np.nan)
    assert score_knots(plain_judged(np.zeros((3, 6)), gone)) == {}
    assert "pck_5_percent" not in dataclasses.replace(plain_judged(np.zeros((3, 6)), gone)).table()
