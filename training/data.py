"""Footage: drawn pictures with their truth, read from shards and handed out in batches by seed."""

import hashlib
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from training.errors import FootageError

Rows = NDArray[np.int64]

#: Width and height of a stored picture, px, and its I420 planes one above the other.
STORED_SIZE = (384, 288)
_PLANES = (STORED_SIZE[1] * 3 // 2, STORED_SIZE[0])
#: Shapes after (N,) of what a shard's .npz holds.
_TRUTH: dict[str, tuple[int, ...]] = {
    "xy": (6, 2), "hidden": (6,), "facing_right": (), "dog": (), "box": (4,), "unseen": (),
}  # fmt: skip
#: Share of a graphics card's free memory that pictures may fill.
_MOST_OF_MEMORY = 0.6


@dataclass(frozen=True, slots=True, eq=False)
class Shelf:
    """Pictures that stay on disk: parts (N, 432, 384) uint8, one per shard; ``shelf[rows]`` brings some to a device."""

    parts: tuple[NDArray[np.uint8], ...]
    device: torch.device

    def __len__(self) -> int:
        return sum(len(part) for part in self.parts)

    def __getitem__(self, rows: Tensor) -> Tensor:
        starts = np.cumsum([0, *(len(part) for part in self.parts)])
        wanted = rows.cpu().numpy()
        which = np.searchsorted(starts, wanted, side="right") - 1
        found = np.stack([self.parts[p][r - starts[p]] for p, r in zip(which, wanted, strict=True)])
        return torch.from_numpy(found).to(self.device)


@dataclass(frozen=True, slots=True, eq=False)
class Footage:
    """Pictures with their truth, all on one device.

    pictures (N, 432, 384) uint8 I420, in memory or on disk
    xy (N, 6, 2) px of the stored picture, NaN = not in it; hidden (N, 6) bool; facing_right (N,) bool
    dog (N,) identity, -1 = none; box (N, 4) px x0, y0, x1, y1 of its outline; unseen (N,) bool, kept from training
    known (N, 6) bool, whether ``xy`` says anything of the landmark: a person may have left it out
    """

    pictures: Tensor | Shelf
    xy: Tensor
    hidden: Tensor
    facing_right: Tensor
    dog: Tensor
    box: Tensor
    unseen: Tensor
    known: Tensor

    def __len__(self) -> int:
        return len(self.pictures)

    def rows(self, unseen: bool) -> Rows:
        """Numbers of the pictures of unseen (or of training) dogs."""
        return np.flatnonzero(self.unseen.cpu().numpy() == unseen).astype(np.int64)

    def dogs(self, unseen: bool) -> int:
        """How many different dogs those pictures show."""
        dogs = self.dog[self.unseen == unseen]
        return len(torch.unique(dogs[dogs >= 0]))

    def digest(self) -> str:
        """Hash of all the truth, in hexadecimal digits: the same footage has the same."""
        parts = (getattr(self, key).cpu().numpy().tobytes() for key in _TRUTH)
        return hashlib.sha256(b"".join(parts)).hexdigest()

    def in_memory(self) -> Tensor:
        """All pictures (N, 432, 384) in the device's memory."""
        return self.pictures if isinstance(self.pictures, Tensor) else self.pictures[torch.arange(len(self))]

    def take(self, rows: Rows) -> "Footage":
        """The pictures of those numbers, in memory."""
        index = torch.as_tensor(rows, device=self.xy.device)
        return Footage(*(getattr(self, one.name)[index] for one in fields(self)))


def load_footage(
    folder: Path, device: torch.device, limit: int | None = None, *, resident: bool | None = None
) -> Footage:
    """All shards of ``folder``, or the first ``limit`` pictures, for use on ``device``.

    resident  whether pictures are held in the device's memory; None = on a graphics card, when they fit
    Raises FootageError when there are none or when one cannot be used.
    """
    names = sorted(folder.glob("shard-*.npz"))
    if not names:
        raise FootageError(f"{folder}: there is no footage here (shard-*.npz); draw some first, or name its folder.")
    truth, parts, left = [], [], limit or 10**12
    for name in names:
        if left > 0:
            columns, pictures = _read_shard(name)
            truth.append({key: value[:left] for key, value in columns.items()})
            parts.append(pictures[:left])
            left -= len(parts[-1])
    joined = {key: torch.from_numpy(np.concatenate([t[key] for t in truth])).to(device) for key in _TRUTH}
    known = torch.ones_like(joined["hidden"])
    return Footage(_pictures(Shelf(tuple(parts), device), resident), **joined, known=known)


def join(parts: list[Footage]) -> Footage:
    """All pictures of ``parts``, in their order, in memory."""
    if len(parts) == 1:
        return parts[0]
    pictures = torch.cat([part.in_memory() for part in parts])
    rest = [one.name for one in fields(Footage) if one.name != "pictures"]
    return Footage(pictures, *(torch.cat([getattr(part, name) for part in parts]) for name in rest))


def _read_shard(name: Path) -> tuple[dict[str, NDArray[Any]], NDArray[np.uint8]]:
    """Truth and pictures (left on disk) of one shard."""
    stored = name.with_name(name.stem + ".i420.npy")
    try:
        with np.load(name) as file:
            truth = {key: file[key] for key in _TRUTH}
        pictures = np.load(stored, mmap_mode="r")
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile) as error:
        raise FootageError(f"{name}: this shard cannot be read ({error}); draw it again.") from error
    wanted = {key: (len(pictures), *shape) for key, shape in _TRUTH.items()}
    found = {key: value.shape for key, value in truth.items()}
    if pictures.shape[1:] != _PLANES or pictures.dtype != np.uint8 or found != wanted:
        raise FootageError(f"{name}: holds {found} for pictures {pictures.shape}; {wanted} is needed. Draw it again.")
    return truth, pictures


def _pictures(shelf: Shelf, resident: bool | None) -> Tensor | Shelf:
    """The shelf itself, or its whole content in the device's memory."""
    size = len(shelf) * _PLANES[0] * _PLANES[1]
    if resident is None:
        on_card = shelf.device.type == "cuda"
        resident = on_card and size < _MOST_OF_MEMORY * torch.cuda.mem_get_info(shelf.device)[0]
    if not resident:
        return shelf
    pictures = torch.empty((len(shelf), *_PLANES), dtype=torch.uint8, device=shelf.device)
    start = 0
    for part in shelf.parts:
        pictures[start : start + len(part)] = torch.from_numpy(np.array(part))
        start += len(part)
    return pictures


def to_rgb(i420: Tensor) -> Tensor:
    """(N, 3, 288, 384) RGB 0..1 of I420 planes (N, 432, 384) uint8 (BT.601, limited range, as OpenCV writes them)."""
    n, (w, h) = len(i420), STORED_SIZE
    y = (i420[:, :h].float() - 16.0) * (1.0 / 219.0)
    chroma = i420[:, h:].reshape(n, 2, h // 2, w // 2).float() - 128.0
    u, v = torch.nn.functional.interpolate(chroma, scale_factor=2.0, mode="bilinear", align_corners=False).unbind(1)
    red, blue = y + 1.402 / 224 * v, y + 1.772 / 224 * u
    green = y - (0.344136 * u + 0.714136 * v) / 224
    return torch.stack([red, green, blue], dim=1).clamp(0, 1)


def batches(rows: Rows, size: int, seed: int, start: int = 0) -> Iterator[Rows]:
    """Batches of picture numbers without end, each pass in a new order; ``start`` skips that many batches (resume).

    A batch is never short: what is left of a pass is left out, unless there are fewer pictures than one batch.
    """
    if not len(rows):
        raise FootageError("There are no pictures of dogs to train on; all of this footage is kept for judging.")
    each = max(1, len(rows) // size)
    number = start
    while True:
        order = np.random.default_rng((seed, number // each)).permutation(rows)
        for k in range(number % each, each):
            yield order[k * size : (k + 1) * size]
            number += 1
