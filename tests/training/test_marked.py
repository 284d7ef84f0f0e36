"""Marked pictures become rows to train on: cut out around the dog, split by dog, unmarked landmarks without weight."""

from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import torch
from marked import mark, put, words
from shard_maker import COLOURS, SHAPE, write_shard

from pose.landmarks import CROUP, LANDMARKS, WITHERS
from training.augment import CropSettings, augment
from training.data import join, load_footage, to_rgb
from training.errors import FitError, FootageError
from training.judge import judge
from training.loss import landmark_loss
from training.marked import load_marked
from training.settings import FitSettings, read_settings
from training.sources import load_sources, marked_count

CPU = torch.device("cpu")
#: px of the stored picture: whole numbers in marks and pictures, and coarse colour.
PLACE_TOLERANCE_PX = 1.5
DOGS = ("Ash", "Birch", "Cedar", "Dill")


def marked_folder(folder: Path, dogs: tuple[str | None, ...] = DOGS, **spoilt: Any) -> Path:
    """One picture of a blob dog each, 640 x 480 px, every second one facing left; ``spoilt`` goes on the first mark."""
    folder.mkdir(parents=True, exist_ok=True)
    marks, images = [], []
    for number, name in enumerate(dogs, start=1):
        side = np.array([1.0 if number % 2 else -1.0, 1.0])
        xy = SHAPE * side + np.array([300.0 + 10 * number, 220])
        picture = np.full((480, 640, 3), 128, np.uint8)
        for point, colour in zip(xy, COLOURS, strict=True):
            cv2.circle(picture, tuple(int(v) for v in point), 7, colour[::-1], -1)
        cv2.imwrite(str(folder / f"{number}.png"), picture)
        notes = {} if name is None else {"dog": name}
        images.append({"id": number, "file_name": f"{number}.png", "width": 640, "height": 480} | notes)
        marks.append(mark(number, number, xy, **(spoilt if number == 1 else {})))
    return put(folder, words(*marks, images=images))


def test_a_dog_is_cut_out_with_its_marks_on_it(tmp_path: Path) -> None:
    found = load_marked((str(marked_folder(tmp_path)),), CPU)
    rgb = to_rgb(found.footage.in_memory()).permute(0, 2, 3, 1).numpy()
    assert rgb.shape == (4, 288, 384, 3)
    for row in range(4):
        for point, colour in enumerate(COLOURS):
            x, y = found.footage.xy[row, point].round().int().tolist()
            assert np.abs(rgb[row, y, x] - np.array(colour) / 255).max() < 0.15, LANDMARKS[point]
    assert found.footage.facing_right.tolist() == [True, False, True, False]
    lengths = (found.footage.xy[:, WITHERS] - found.footage.xy[:, CROUP]).norm(dim=1)
    assert lengths.numpy() == pytest.approx(384 / 1.3 / 3.2, rel=0.25)  # the window holds about 3.2 body lengths


def test_tight_crops_show_the_whole_dog(tmp_path: Path) -> None:
    footage = load_marked((str(marked_folder(tmp_path)),), CPU).footage
    rng = torch.Generator().manual_seed(3)
    for _ in range(20):
        batch = augment(footage, rng, CropSettings(tight_share=1.0), light=None)
        assert torch.isfinite(batch.xy[:, [WITHERS, CROUP]]).all()
        assert (batch.xy[:, WITHERS, 0] > batch.xy[:, CROUP, 0]).all()


def names_of(path: Path, **how: Any) -> tuple[list[str], list[str]]:
    found = load_marked((str(path),), CPU, **how)
    return found.of(unseen=False), found.of(unseen=True)


@pytest.mark.parametrize(
    ("dogs", "how", "kept"),
    [
        (DOGS, {}, ["Cedar"]),
        (("Ash", "Ash", "Birch", "Birch"), {}, ["Birch"]),
        (("Ash", "Ash"), {}, []),
        (DOGS, {"held_out": ("Ash", "Dill")}, ["Ash", "Dill"]),
        (DOGS, {"hold_out_every": 2}, ["Birch", "Dill"]),
        ((None, None, None), {}, []),
    ],
    ids=["every third", "two dogs", "one dog", "by name", "every second", "no names: one dog"],
)
def test_the_split_is_by_dog(tmp_path: Path, dogs: tuple[str | None, ...], how: dict, kept: list[str]) -> None:
    trained, held = names_of(marked_folder(tmp_path, dogs), **how)
    assert held == kept
    assert not set(trained) & set(held)


@pytest.mark.parametrize(
    ("spoilt", "known"),
    [
        ({"visibility": [2, 0, 2, 1, 2, 2]}, [1, 0, 1, 1, 1, 1]),
        ({"attributes": {"sides_sure": {"fore": True, "hind": False}}}, [1, 1, 0, 0, 1, 1]),
    ],
    ids=["not marked", "sides not sure"],
)
def test_what_is_not_known_weighs_nothing(tmp_path: Path, spoilt: dict, known: list[int]) -> None:
    footage = load_marked((str(marked_folder(tmp_path, **spoilt)),), CPU).footage
    assert footage.known[0].int().tolist() == known and footage.known[1:].all()
    batch = augment(footage, torch.Generator().manual_seed(1), CropSettings(tight_share=1.0), light=None)
    assert (batch.weight[0] > 0).int().tolist() == known
    heat = torch.zeros(4, 6, 64, 80, requires_grad=True)
    absent = torch.zeros(4, 6, requires_grad=True)
    landmark_loss(heat, absent, batch, 1.0).backward()
    assert (heat.grad.abs().sum((2, 3))[0] > 0).int().tolist() == known
    assert (absent.grad[0] != 0).int().tolist() == known


class Nowhere(torch.nn.Module):
    """Finds every landmark in one corner."""

    def forward(self, picture: torch.Tensor) -> tuple[torch.Tensor, ...]:
        heat = torch.zeros(len(picture), 6, 64, 80)
        heat[:, :, 5, 5] = 20.0
        return heat, torch.full((len(picture), 6), -20.0), torch.ones(len(picture), 1)


def test_judging_leaves_out_what_is_not_known(tmp_path: Path) -> None:
    path = marked_folder(tmp_path, visibility=[2, 0, 2, 2, 2, 2])
    footage = load_marked((str(path),), CPU).footage
    found = judge(Nowhere(), footage, np.arange(4), crop=CropSettings(tight_share=1.0))
    assert np.isnan(found.error[0, 1]) and np.isnan(found.presence[0, 1])
    assert np.isfinite(found.error[:, [WITHERS, CROUP]]).all()
    assert found.off() == pytest.approx(np.full(4, 0.5))


@pytest.mark.parametrize(
    ("spoilt", "how", "said"),
    [
        ({}, {"held_out": ("Elm",)}, "held_out names Elm, which no mark shows; there are Ash, Birch"),
        ({}, {"held_out": DOGS}, "leave some to train on"),
        ({"visibility": [2, 2, 7, 2, 2, 2]}, {}, "keypoint near_hind has the visibility 7"),
    ],
    ids=["unknown dog", "all held out", "bad mark"],
)
def test_marks_that_cannot_be_used_say_why(tmp_path: Path, spoilt: dict, how: dict, said: str) -> None:
    with pytest.raises(FootageError, match=said):
        load_marked((str(marked_folder(tmp_path, **spoilt)),), CPU, **how)


def test_dogs_that_cannot_be_cut_out_are_counted(tmp_path: Path) -> None:
    path = marked_folder(tmp_path, visibility=[2, 2, 2, 2, 0, 2])
    found = load_marked((str(path),), CPU)
    assert (len(found.footage), found.left_out) == (3, 1)


@pytest.mark.parametrize(
    ("share", "batch", "count"), [(0.5, 16, 8), (1.0, 16, 16), (0.01, 16, 1), (0.99, 4, 3)], ids=str
)
def test_batches_hold_the_stated_share(tmp_path: Path, share: float, batch: int, count: int) -> None:
    settings = FitSettings(
        footage=str(write_shard(tmp_path / "drawn", 12)), marks=(str(marked_folder(tmp_path / "marks")),),
        marks_share=share, batch=batch,
    )  # fmt: skip
    assert marked_count(settings) == count
    sources = load_sources(settings, CPU)
    assert (sources.drawn is None) == (share == 1)
    feed, again = sources.feed(settings), sources.feed(settings, start=2)
    parts = [next(feed) for _ in range(3)]
    assert all(len(part) == count + min(batch - count, 9) for part in parts)
    assert torch.equal(parts[2].in_memory(), next(again).in_memory())
    assert sources.marked.of(unseen=True) == ["Cedar"]
    assert not any(part.unseen[-count:].any() for part in parts)
    assert {sources.marked.names[dog] for part in parts for dog in part.dog[-count:]} == {"Ash", "Birch", "Dill"}


def test_joined_footage_keeps_its_order(tmp_path: Path) -> None:
    footage = load_footage(write_shard(tmp_path, 5), CPU)
    both = join([footage.take(np.array([3])), footage.take(np.array([0, 1]))])
    assert both.dog.tolist() == [3, 0, 1] and both.known.all()


def test_other_marks_have_another_hash(tmp_path: Path) -> None:
    def digest(name: str, **spoilt: Any) -> str:
        settings = FitSettings(marks=(str(marked_folder(tmp_path / name, **spoilt)),), marks_share=1.0)
        return load_sources(settings, CPU).digest()

    assert digest("a") == digest("b") != digest("c", visibility=[2, 2, 2, 2, 2, 1])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("marks = 'one.json'", "a list of texts"),
        ("marks_share = 0.0", "marks_share is 0.0"),
        ("patience = 3\njudge_every = 0", "patience needs looks"),
        ("marks = ['a.json']\nbatch = 1", "two pictures at least"),
    ],
    ids=["no list", "no share", "no looks", "no room"],
)
def test_settings_of_marks_are_checked(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "run.toml").write_text(text)
    with pytest.raises(FitError, match=said):
        read_settings(tmp_path / "run.toml")
