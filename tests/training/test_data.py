"""Shards to footage, and footage to batches."""

from itertools import islice
from pathlib import Path

import cv2
import numpy as np
import pytest
import torch
from shard_maker import blob_dog, write_shard

from training.data import Footage, Shelf, batches, load_footage, to_rgb
from training.errors import FootageError

CPU = torch.device("cpu")
#: RGB 0..1: I420 keeps colour at half the resolution, and everything in whole numbers.
COLOUR_TOLERANCE = 0.02


def test_colours_come_back_as_opencv_reads_them() -> None:
    rng = np.random.default_rng(1)
    soft = cv2.resize(rng.integers(0, 256, (9, 12, 3), dtype=np.uint8), (384, 288), interpolation=cv2.INTER_CUBIC)
    stored = cv2.cvtColor(soft, cv2.COLOR_RGB2YUV_I420)
    theirs = cv2.cvtColor(stored, cv2.COLOR_YUV2RGB_I420) / 255
    ours = to_rgb(torch.from_numpy(stored)[None])[0].permute(1, 2, 0).numpy()
    assert ours.shape == theirs.shape
    assert np.abs(ours - theirs).mean() < COLOUR_TOLERANCE


@pytest.mark.parametrize("resident", [True, False], ids=["in memory", "left on disk"])
def test_pictures_are_the_same_in_memory_and_on_disk(tmp_path: Path, resident: bool) -> None:
    write_shard(tmp_path, 3, number=0)
    write_shard(tmp_path, 4, number=1)
    footage = load_footage(tmp_path, CPU, resident=resident)
    assert isinstance(footage.pictures, torch.Tensor if resident else Shelf)
    stored = np.concatenate([np.load(name) for name in sorted(tmp_path.glob("*.npy"))])
    rows = np.array([6, 0, 3, 2])
    part = footage.take(rows)
    assert len(footage) == 7
    assert np.array_equal(part.in_memory().numpy(), stored[rows])
    assert np.array_equal(part.dog.numpy(), [3, 0, 0, 2])


def test_a_limit_takes_the_first_pictures_and_their_truth(tmp_path: Path) -> None:
    write_shard(tmp_path, 3, number=0)
    write_shard(tmp_path, 4, number=1)
    whole, footage = load_footage(tmp_path, CPU), load_footage(tmp_path, CPU, 5)
    assert len(footage) == len(footage.xy) == 5
    assert torch.equal(footage.xy, whole.xy[:5])
    assert footage.digest() != whole.digest()


def test_unseen_dogs_are_kept_apart(tmp_path: Path) -> None:
    footage = load_footage(write_shard(tmp_path, 8, empty=1, unseen_every=4), CPU)
    assert footage.rows(unseen=True).tolist() == [3, 7]
    assert footage.rows(unseen=False).tolist() == [0, 1, 2, 4, 5, 6, 8]
    assert (footage.dogs(unseen=True), footage.dogs(unseen=False)) == (2, 6)


def spoil_nothing(folder: Path) -> None:
    for name in folder.iterdir():
        name.unlink()


def spoil_truth(folder: Path) -> None:
    (folder / "shard-00000.npz").write_bytes(b"not a file of arrays")


def spoil_pictures(folder: Path) -> None:
    (folder / "shard-00000.i420.npy").unlink()


def spoil_count(folder: Path) -> None:
    np.save(folder / "shard-00000.i420.npy", np.zeros((2, 432, 384), np.uint8))


def spoil_columns(folder: Path) -> None:
    np.savez(folder / "shard-00000.npz", xy=np.zeros((3, 6, 2), np.float32))


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (spoil_nothing, "no footage here"),
        (spoil_truth, "cannot be read"),
        (spoil_pictures, "cannot be read"),
        (spoil_count, "Draw it again"),
        (spoil_columns, "cannot be read"),
    ],
    ids=["empty folder", "truth is garbage", "no pictures", "fewer pictures than truth", "columns missing"],
)
def test_what_cannot_be_used_says_so(tmp_path: Path, spoil: object, words: str) -> None:
    write_shard(tmp_path, 3)
    spoil(tmp_path)  # type: ignore[operator]
    with pytest.raises(FootageError, match=words):
        load_footage(tmp_path, CPU)


def test_batches_show_every_picture_once_a_pass_in_a_new_order() -> None:
    rows = np.arange(100, 112)
    passes = [np.concatenate(part) for part in zip(*[iter(list(islice(batches(rows, 4, 1), 6)))] * 3, strict=True)]
    assert all(sorted(one) == rows.tolist() for one in passes)
    assert passes[0].tolist() != passes[1].tolist()


@pytest.mark.parametrize("skipped", [1, 3, 7], ids=["within a pass", "a whole pass", "into the third pass"])
def test_batches_go_on_where_they_were_left(skipped: int) -> None:
    rows = np.arange(13)
    whole = list(islice(batches(rows, 4, 7), 10))
    rest = list(islice(batches(rows, 4, 7, skipped), 10 - skipped))
    assert all(np.array_equal(a, b) for a, b in zip(whole[skipped:], rest, strict=True))


def test_another_seed_gives_another_order() -> None:
    first, second = (next(batches(np.arange(50), 50, seed)) for seed in (1, 2))
    assert first.tolist() != second.tolist()


def test_no_pictures_to_train_on_is_an_error_and_not_an_endless_wait() -> None:
    with pytest.raises(FootageError, match="no pictures"):
        next(batches(np.array([], np.int64), 4, 1))


def test_blobs_lie_where_the_maker_says(tmp_path: Path) -> None:
    picture, xy, _ = blob_dog(np.random.default_rng(3), right=False)
    assert picture[int(xy[0, 1]), int(xy[0, 0])].tolist() == [255, 0, 0]
    footage = load_footage(write_shard(tmp_path, 2), CPU)
    assert isinstance(footage, Footage)
