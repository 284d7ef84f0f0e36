"""Backdrops: pictures to hang behind the dog and lay under it: noise, stripes, blobs and free sample photographs."""

from collections.abc import Sequence
from functools import cache
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage import data
from sklearn.datasets import load_sample_image

SIZE = (384, 256)
Picture = NDArray[np.uint8]
Point = Sequence[int]


def _noise(rng: np.random.Generator, cells: int) -> NDArray[np.float32]:
    small = rng.random((max(2, cells * SIZE[1] // SIZE[0]), cells)).astype(np.float32)
    return np.asarray(cv2.resize(small, SIZE, interpolation=cv2.INTER_CUBIC))


def _clouds(rng: np.random.Generator) -> Picture:
    layers = ((3, 1.0), (9, 0.6), (30, 0.45), (100, rng.uniform(0.1, 0.5)))
    field = np.asarray(sum(_noise(rng, cells) * share for cells, share in layers))
    field = (field - field.min()) / np.ptp(field)
    grey = rng.random((4, 1)) ** rng.uniform(0.6, 2.0) * 255
    knots = grey * np.clip(1 + rng.choice([0.12, 0.5], p=[0.7, 0.3]) * rng.standard_normal((4, 3)), 0, 1.6)
    knots = np.clip(
        knots * (rng.uniform(0.8, 1.1), 1.0, rng.uniform(0.6, 1.05)), 0, 255
    )  # foliage, earth and walls are warmer than blue
    return np.stack([np.interp(field, np.linspace(0, 1, 4), knots[:, c]) for c in range(3)], axis=-1).astype(np.uint8)


def _colour(rng: np.random.Generator) -> tuple[int, ...]:
    grey = rng.uniform(0, 256) + rng.choice([12.0, 60.0]) * rng.standard_normal(3)
    return tuple(int(v) for v in np.clip(grey, 0, 255))


def _shapes(rng: np.random.Generator) -> Picture:
    clouded = rng.random() < 0.6
    plain = None if clouded else np.full((SIZE[1], SIZE[0], 3), _colour(rng), np.uint8)
    picture = (_clouds(rng) * 0.5 + 60).astype(np.uint8) if plain is None else plain
    for _ in range(int(rng.integers(5, 60))):
        a, b = rng.integers(0, SIZE, (2, 2)).tolist()
        _SHAPES[int(rng.integers(4))](picture, rng, a, b)
    return picture


def _oblong(picture: Picture, rng: np.random.Generator, a: Point, b: Point) -> None:
    cv2.rectangle(picture, a, b, _colour(rng), -1)


def _stroke(picture: Picture, rng: np.random.Generator, a: Point, b: Point) -> None:
    cv2.line(picture, a, b, _colour(rng), int(rng.integers(1, 12)), cv2.LINE_AA)


def _disc(picture: Picture, rng: np.random.Generator, a: Point, _: Point) -> None:
    cv2.circle(picture, a, int(rng.integers(2, 40)), _colour(rng), -1, cv2.LINE_AA)


def _oval(picture: Picture, rng: np.random.Generator, a: Point, _: Point) -> None:
    axes, turn = (int(rng.integers(3, 60)), int(rng.integers(2, 30))), int(rng.integers(180))
    cv2.ellipse(picture, a, axes, turn, 0, 360, _colour(rng), -1)


_SHAPES: Final = (_oblong, _stroke, _disc, _oval)


def _trunks(rng: np.random.Generator) -> Picture:
    """Vertical things on clouds, like trees, bars or curtains, with a bright sky in the upper part."""
    picture = _clouds(rng)
    for _ in range(int(rng.integers(4, 40))):
        x, w = int(rng.integers(SIZE[0])), int(rng.integers(1, 20))
        lean = int(rng.normal(0, 12))
        cv2.line(picture, (x, 0), (x + lean, int(rng.uniform(0.5, 1.0) * SIZE[1])), _colour(rng), w, cv2.LINE_AA)
    sky = np.clip(np.linspace(rng.uniform(0, 1.5), -1, SIZE[1]), 0, 1)[:, None, None]
    return (picture * (1 - sky) + sky * rng.uniform(120, 255)).astype(np.uint8)


@cache
def _photographs() -> tuple[Picture, ...]:
    """Photographs that scikit-learn (CC BY) and scikit-image (CC0 or public domain) carry; no dog is in them."""
    free: Any = data
    grounds = [np.repeat(ground()[..., None], 3, axis=2) for ground in (free.grass, free.gravel, free.brick)]
    scenes = [free.coffee(), free.rocket()]
    return (*(load_sample_image(name) for name in ("china.jpg", "flower.jpg")), *scenes, *grounds)


def _photo(rng: np.random.Generator) -> Picture:
    """A crop of a photograph, its colours changed."""
    photo = _photographs()[int(rng.integers(len(_photographs())))]
    h = int(rng.integers(120, photo.shape[0] - 1))
    w = min(int(h * 1.4), photo.shape[1])
    y, x = int(rng.integers(0, photo.shape[0] - h + 1)), int(rng.integers(0, max(1, photo.shape[1] - w)))
    crop = cv2.resize(photo[y : y + h, x : x + w], SIZE, interpolation=cv2.INTER_AREA)
    crop = crop[:, ::-1] if rng.random() < 0.5 else crop
    tinted = np.clip(crop * rng.uniform(0.5, 1.3) * rng.uniform(0.75, 1.2, 3), 0, 255).astype(np.uint8)
    return np.ascontiguousarray(tinted[..., rng.permutation(3)])


def make_backdrops(rng: np.random.Generator, count: int) -> NDArray[np.uint8]:
    """(count, 256, 384, 3) uint8 RGB pictures."""
    makers = (_clouds, _shapes, _trunks, _photo)
    return np.stack([makers[int(rng.choice(4, p=[0.27, 0.25, 0.16, 0.32]))](rng) for _ in range(count)])
