"""Shards of blobs: each landmark is a spot of its own colour on grey, so that truth can be read off the picture."""

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

SIZE = (384, 288)
#: Well apart in hue, brightness and I420's coarse colour: near fore, far fore, near hind, far hind, withers, croup.
COLOURS = ((255, 0, 0), (0, 255, 0), (0, 0, 255), (255, 255, 0), (255, 0, 255), (0, 255, 255))
#: px, of a dog that faces right, from the middle of its outline.
SHAPE = np.array([[70, 70], [40, 74], [-60, 70], [-90, 66], [45, -50], [-55, -45]], float)
OUTLINE = np.array([-110, -75, 110, 85], float)


def blob_dog(
    rng: np.random.Generator, *, right: bool, radius_px: int = 6
) -> tuple[NDArray[np.uint8], NDArray[np.float64], NDArray[np.float64]]:
    """RGB picture (288, 384, 3), landmarks (6, 2) px and outline (4,) px."""
    middle = np.array([192.0, 140.0]) + rng.uniform(-40, 40, 2)
    size = rng.uniform(0.8, 1.15)
    side = np.array([1.0 if right else -1.0, 1.0])
    xy = np.round(middle + SHAPE * size * side)
    edge = OUTLINE * size if right else (OUTLINE * size)[[2, 1, 0, 3]] * np.array([-1, 1, -1, 1])
    picture = np.full((SIZE[1], SIZE[0], 3), 128, np.uint8)
    for point, colour in zip(xy, COLOURS, strict=True):
        cv2.circle(picture, tuple(int(v) for v in point), radius_px, colour, -1)
    return picture, xy, np.tile(middle, 2) + edge


def write_shard(folder: Path, count: int, *, number: int = 0, unseen_every: int = 4, empty: int = 0) -> Path:
    """``count`` pictures of blob dogs and ``empty`` without; the dogs are one per picture, turned either way."""
    rng = np.random.default_rng((5, number))
    rights = rng.random(count + empty) < 0.5
    drawn = [blob_dog(rng, right=bool(right)) for right in rights]
    pictures = [d[0] for d in drawn[:count]] + [np.full_like(drawn[0][0], 128)] * empty
    nothing = np.arange(count + empty) >= count
    folder.mkdir(parents=True, exist_ok=True)
    np.save(
        folder / f"shard-{number:05d}.i420.npy",
        np.stack([cv2.cvtColor(picture, cv2.COLOR_RGB2YUV_I420) for picture in pictures]),
    )
    np.savez(
        folder / f"shard-{number:05d}.npz",
        xy=np.where(nothing[:, None, None], np.nan, np.stack([d[1] for d in drawn])).astype(np.float32),
        box=np.where(nothing[:, None], np.nan, np.stack([d[2] for d in drawn])).astype(np.float32),
        hidden=np.zeros((count + empty, 6), bool),
        facing_right=rights,
        dog=np.where(nothing, -1, np.arange(count + empty)).astype(np.int32),
        unseen=np.arange(count + empty) % unseen_every == unseen_every - 1,
    )
    return folder
