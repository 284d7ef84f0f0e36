"""Shards: many drawn pictures with their truth, written by several processes, for training and judging.

One shard = ``shard-00000.i420.npy`` (N, 432, 384) uint8, I420 planes of 384 x 288 pictures, and
``shard-00000.npz`` with xy (N, 6, 2) px, hidden (N, 6), facing_right (N,), dog (N,), box (N, 4) px, unseen (N,).
"""

import argparse
import multiprocessing
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from pose.tracks import BoolArray, FloatArray
from training.augment import degrade
from training.footage.backdrop import make_backdrops
from training.footage.scene import Dog, Shot, draw_place, make_dog, shoot
from training.footage.studio import Studio

SIZE = (384, 288)
#: Dogs with these numbers are never trained on: every twentieth.
UNSEEN_EVERY = 20
_WIDE = 0.18
_EMPTY = 0.04
_BYSTANDER = 0.07


#: A picture with its truth, whether the dog is in it, whether it was mirrored, the dog's number, the packed picture.
Row = tuple[Shot, bool, bool, int, NDArray[np.uint8]]


@dataclass(frozen=True, slots=True)
class ShardSettings:
    """What to draw. dogs: how many identities, from first_dog on, each ``every``-th; pictures: of each; seed of rooms
    and movements; cards: graphics cards to share the work."""

    first_dog: int = 0
    every: int = 1
    dogs: int = 100
    pictures: int = 32
    seed: int = 1
    processes: int = 1
    dogs_per_shard: int = 40
    backdrops: int = 48
    cards: int = 1


def is_unseen(number: int) -> bool:
    """Whether dog ``number`` is kept from training."""
    return number % UNSEEN_EVERY == UNSEEN_EVERY - 1


def _one(rng: np.random.Generator, studio: Studio, dog: Dog, other: Dog | None) -> tuple[Shot, bool]:
    """A picture and whether it holds the dog (empty rooms hold none)."""
    wide = rng.random() < _WIDE
    place = draw_place(rng, dog, studio, wide)
    empty = rng.random() < _EMPTY
    if empty:  # turn the tripod round: the same room without its dog
        place = replace(place, view=replace(place.view, shift=(float(rng.choice([-2.2, 2.2])), 0.0)))
    shot = shoot(rng, studio, dog, place, other if not empty and rng.random() < _BYSTANDER else None)
    return shot, not empty


def _draw_shard(settings: ShardSettings, number: int, folder: str) -> int:
    cv2.setNumThreads(1)
    first = number * settings.dogs_per_shard
    last = min(first + settings.dogs_per_shard, settings.dogs)
    numbers = [settings.first_dog + settings.every * k for k in range(first, last)]
    rng = np.random.default_rng((settings.seed, number))
    studio = _studio(settings, number)
    rows: list[Row] = []
    other = make_dog(studio, numbers[-1] + 1 + is_unseen(numbers[-1] + 1))
    for dog_number in numbers:
        dog = make_dog(studio, dog_number)
        for _ in range(settings.pictures):
            shot, present = _one(rng, studio, dog, other)
            left = bool(rng.random() < 0.5)
            rows.append((shot, present, left, dog_number, _pack(shot, left, rng)))
        if is_unseen(dog_number):  # an unseen dog must not stand in the background of a training picture
            dog.figure.release()
        else:
            other.figure.release()
            other = dog
    studio.ctx.release()
    _write(Path(folder), number, rows)
    return len(rows)


def _studio(settings: ShardSettings, number: int) -> Studio:
    """A studio with backdrops of its own for every shard."""
    backdrops = make_backdrops(np.random.default_rng((settings.seed, 77, number)), settings.backdrops)
    return Studio(SIZE, backdrops, number % settings.cards)


def _pack(shot: Shot, left: bool, rng: np.random.Generator) -> NDArray[np.uint8]:
    rgb = shot.rgb[:, ::-1] if left else shot.rgb
    return np.asarray(cv2.cvtColor(degrade(np.ascontiguousarray(rgb), rng), cv2.COLOR_RGB2YUV_I420))


def _truth(shot: Shot, present: bool, left: bool) -> tuple[FloatArray, BoolArray, FloatArray]:
    """xy, hidden and box after mirroring; nothing where the dog is not in the picture."""
    xy, box = shot.xy.copy(), shot.box.copy()
    if left:
        xy[:, 0] = SIZE[0] - 1 - xy[:, 0]
        box = np.array([SIZE[0] - 1 - box[2], box[1], SIZE[0] - 1 - box[0], box[3]])
    outside = np.any((xy < 0) | (xy > np.array(SIZE) - 1), axis=1)
    xy[outside] = np.nan
    if not present or outside.all():
        return np.full((6, 2), np.nan), np.zeros(6, bool), np.full(4, np.nan)
    return xy, shot.hidden & ~outside, box


def _write(folder: Path, number: int, rows: list[Row]) -> None:
    truth = [_truth(shot, present, left) for shot, present, left, _, _ in rows]
    dogs = np.array([-1 if np.isnan(t[2]).any() else row[3] for t, row in zip(truth, rows, strict=True)], np.int32)
    unseen = np.array([is_unseen(row[3]) for row in rows])
    np.save(folder / f"shard-{number:05d}.i420.npy", np.stack([row[4] for row in rows]))
    np.savez(
        folder / f"shard-{number:05d}.npz",
        xy=np.stack([t[0] for t in truth]).astype(np.float32),
        hidden=np.stack([t[1] for t in truth]),
        box=np.stack([t[2] for t in truth]).astype(np.float32),
        facing_right=np.array([not row[2] for row in rows]),
        dog=dogs,
        unseen=unseen,
    )


def _finished(jobs: list[Future[int]]) -> Iterator[Future[int]]:
    """Each job as it ends; those that were cancelled meanwhile are passed over."""
    left = set(jobs)
    while left := {job for job in left if not job.cancelled()}:
        done, left = wait(left, timeout=5, return_when=FIRST_COMPLETED)
        yield from done


def draw_shards(
    settings: ShardSettings,
    folder: Path,
    progress: Callable[[int, int], None] | None = None,
    *,
    stop_after_s: float = 1e9,
) -> int:
    """Draw all shards into ``folder``; returns the number of pictures. progress(done, all) in shards.

    After ``stop_after_s`` no new shard is begun: a machine lent for a while draws what it can.
    """
    start = time.monotonic()
    folder.mkdir(parents=True, exist_ok=True)
    count = -(-settings.dogs // settings.dogs_per_shard)
    total = 0
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(settings.processes, mp_context=spawn) as pool:
        jobs = [pool.submit(_draw_shard, settings, n, str(folder)) for n in range(count)]
        for done, job in enumerate(_finished(jobs), 1):
            total += job.result()
            if progress:
                progress(done, count)
            if time.monotonic() - start > stop_after_s:
                for waiting in jobs:
                    waiting.cancel()
    return total


def main() -> None:
    """``python -m training.footage.shards FOLDER DOGS PICTURES PROCESSES [SEED [SECONDS]]``: training footage."""
    parser = argparse.ArgumentParser(prog="training.footage.shards")
    parser.add_argument("folder", type=Path)
    for name in ("dogs", "pictures", "processes"):
        parser.add_argument(name, type=int)
    parser.add_argument("seed", type=int, nargs="?", default=1)
    parser.add_argument("seconds", type=float, nargs="?", default=1e9, help="begin no new shard after so long")
    parser.add_argument("--first", type=int, default=0, help="number of the first dog")
    parser.add_argument("--every", type=int, default=1, help="10 from 9 on: every second dog is an unseen one")
    parser.add_argument("--cards", type=int, default=1, help="graphics cards that share the work")
    given = parser.parse_args()
    settings = ShardSettings(
        given.first, given.every, given.dogs, given.pictures, given.seed, given.processes, cards=given.cards
    )
    start = time.monotonic()

    def show(done: int, count: int) -> None:
        """A line of progress."""
        sys.stdout.write(f"shard {done} of {count}, {time.monotonic() - start:.0f} s\n")
        sys.stdout.flush()

    total = draw_shards(settings, given.folder, show, stop_after_s=given.seconds)
    sys.stdout.write(f"{total} pictures, {total / (time.monotonic() - start):.0f} a second\n")


if __name__ == "__main__":
    main()
