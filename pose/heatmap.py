"""Heat maps to places: probabilities, sub-pixel peaks, and for each pair of paws the places that either could be at.

Heat cell (r, c) has its centre at pixel (4c + 1.5, 4r + 1.5) of the network's picture; pixel centres lie on
whole numbers. For each landmark one softmax runs over all cells and the answer "not in this picture", so that
the mass around a place is the probability that the landmark lies there.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pose.landmarks import CROUP, PAIRS, WITHERS
from pose.tracks import FloatArray

Heatmaps = NDArray[np.float32]

STRIDE = 4
SINGLES = (WITHERS, CROUP)

#: Added before logarithms are taken; far below any mass that counts.
TINY = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class Heat:
    """What the network says about N pictures.

    heat    (N, 6, R, C) float32, raw logits per cell
    absent  (N, 6) float32, logit of "this landmark is nowhere in this picture"
    facing  (N,) float32, logit, above 0 = the dog faces right in this picture
    """

    heat: Heatmaps
    absent: NDArray[np.float32]
    facing: NDArray[np.float32]

    def __len__(self) -> int:
        return len(self.heat)


@dataclass(frozen=True, slots=True)
class PeakSettings:
    """How peaks are taken from a map.

    count       places per channel; two paws of a pair, and the two of the other pair that may be taken for them
    window      cells to each side that a peak may draw mass from; covers 5 % of body length in every usual crop
    least_mass  lowest share of the mass for a second or later place; below it the map holds noise only
    """

    count: int = 4
    window: int = 3
    least_mass: float = 0.004


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Places that landmarks of N pictures could be at, in pixels of whatever picture the caller speaks of.

    pair_xy    (N, 2, C, 2) px, candidates of the fore and of the hind pair; NaN where there are fewer
    pair_mass  (N, 2, C, 2) 0..1, mass within the radius under the near and under the far channel
    single_xy  (N, 2, 2) px, withers and croup
    single_mass (N, 2) 0..1
    absent     (N, 6) 0..1, probability that the landmark is not in the picture
    """

    pair_xy: FloatArray
    pair_mass: FloatArray
    single_xy: FloatArray
    single_mass: FloatArray
    absent: FloatArray

    def __len__(self) -> int:
        return len(self.single_xy)


def probabilities(heat: Heat, temperature: float = 1.0) -> tuple[Heatmaps, Heatmaps]:
    """Softmax over the cells and "absent": maps (N, 6, R, C) and absent (N, 6), each in 0..1."""
    top = np.maximum(heat.heat.max(axis=(2, 3)), heat.absent)
    maps = np.exp((heat.heat - top[:, :, None, None]) / np.float32(temperature))
    absent = np.exp((heat.absent - top) / np.float32(temperature))
    total = maps.sum(axis=(2, 3)) + absent
    maps /= total[:, :, None, None]
    return maps, np.asarray(absent / total, np.float32)


def places(heat: Heat, radius_px: float, temperature: float = 1.0, settings: PeakSettings = PeakSettings()) -> Places:
    """Candidates in pixels of the network's picture; mass is taken within ``radius_px`` of each."""
    maps, absent = probabilities(heat, temperature)
    padded = np.pad(maps, ((0, 0), (0, 0), (settings.window,) * 2, (settings.window,) * 2))
    cells, kept = peaks(maps, settings)
    number, channel = np.indices(cells.shape[:3])[:2]
    cell_xy = _sub_pixel(padded, number, channel, cells, settings.window)
    radius = radius_px / STRIDE
    pair_xy, pair_mass = [], []
    for near, far in PAIRS:
        xy = np.concatenate([cell_xy[:, near], cell_xy[:, far]], axis=1)
        use = np.concatenate([kept[:, near], kept[:, far]], axis=1)
        mass = np.stack([mass_near(padded[:, side], xy, radius, settings.window) for side in (near, far)], axis=-1)
        pair_xy.append(np.where(use[..., None], cells_to_px(xy), np.nan))
        pair_mass.append(np.where(use[..., None], mass, np.nan))
    single = cell_xy[:, SINGLES, 0]
    single_mass = [
        mass_near(padded[:, mark], single[:, i, None], radius, settings.window)[:, 0] for i, mark in enumerate(SINGLES)
    ]
    return Places(
        np.stack(pair_xy, axis=1), np.stack(pair_mass, axis=1),
        cells_to_px(single), np.stack(single_mass, axis=1), absent.astype(np.float64),
    )  # fmt: skip


def cells_to_px(xy_cells: FloatArray) -> FloatArray:
    """Pixels (..., 2) of the network's picture from cell coordinates (..., 2), both as (x, y)."""
    return np.asarray((xy_cells + 0.5) * STRIDE - 0.5)


def peaks(maps: Heatmaps, settings: PeakSettings) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Cells (N, 6, count, 2) as (row, column) of the highest local maxima, highest first, and which are real.

    The highest cell of a map always counts, however low. Only cells above ``least_mass`` are looked at, which are few.
    """
    n, k, rows, columns = maps.shape
    flat = maps.reshape(n * k, rows, columns)
    cells = np.zeros((n * k, settings.count, 2), np.int64)
    kept = np.zeros((n * k, settings.count), bool)
    top = flat.reshape(n * k, -1).argmax(axis=1)
    cells[:, 0], kept[:, 0] = np.stack(np.divmod(top, columns), axis=-1), True
    which, row, column = _summits(flat, settings.least_mass)
    rest = row * columns + column != top[which]
    which, row, column = which[rest], row[rest], column[rest]
    order = np.lexsort((-flat[which, row, column], which))
    which, row, column = which[order], row[order], column[order]
    rank = np.arange(len(which)) - np.searchsorted(which, which) + 1
    fits = rank < settings.count
    cells[which[fits], rank[fits]] = np.stack([row[fits], column[fits]], axis=-1)
    kept[which[fits], rank[fits]] = True
    return cells.reshape(n, k, settings.count, 2), kept.reshape(n, k, settings.count)


def _summits(flat: Heatmaps, least: float) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """(map, row, column) of the cells above ``least`` that no neighbour exceeds."""
    which, row, column = np.nonzero(flat > least)
    here = flat[which, row, column]
    last_row, last_column = flat.shape[1] - 1, flat.shape[2] - 1
    best = np.ones(len(which), bool)
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            beside = flat[which, np.clip(row + down, 0, last_row), np.clip(column + right, 0, last_column)]
            best &= here >= beside
    return which[best], row[best], column[best]


def _sub_pixel(
    padded: Heatmaps, number: NDArray[np.int64], channel: NDArray[np.int64], cells: NDArray[np.int64], edge: int
) -> FloatArray:
    """(x, y) in cells (N, 6, count, 2): top of the parabola through the logarithm, exact for a Gaussian hill."""
    row, column = cells[..., 0] + edge, cells[..., 1] + edge
    tiny = np.float32(TINY)
    here = np.log(padded[number, channel, row, column] + tiny)
    x = _parabola(
        np.log(padded[number, channel, row, column - 1] + tiny),
        here,
        np.log(padded[number, channel, row, column + 1] + tiny),
    )
    y = _parabola(
        np.log(padded[number, channel, row - 1, column] + tiny),
        here,
        np.log(padded[number, channel, row + 1, column] + tiny),
    )
    return np.stack([cells[..., 1] + x, cells[..., 0] + y], axis=-1).astype(np.float64)


def _parabola(before: Heatmaps, here: Heatmaps, after: Heatmaps) -> Heatmaps:
    """Offset of the top, at most half a cell; none where a neighbour lies outside the map."""
    bend = before - 2 * here + after
    usable = (bend < -1e-6) & (np.minimum(before, after) > np.log(np.float32(TINY)) + 1e-3)
    offset = np.where(usable, 0.5 * (before - after) / np.where(usable, bend, -1), 0)
    return np.asarray(np.clip(offset, -0.5, 0.5), np.float32)


def mass_near(padded: Heatmaps, xy_cells: FloatArray, radius: float, edge: int) -> FloatArray:
    """Mass (N, C) of one channel (N, R + 2 edge, C + 2 edge) within ``radius`` cells of places (N, C, 2)."""
    column, row = (np.rint(xy_cells[..., i]).astype(np.int64) for i in (0, 1))
    steps = np.arange(-edge, edge + 1)
    number = np.arange(len(padded))[:, None, None, None]
    around = padded[number, (row + edge)[..., None, None] + steps[:, None], (column + edge)[..., None, None] + steps]
    dx = column[..., None] + steps - xy_cells[..., 0, None]
    dy = row[..., None] + steps - xy_cells[..., 1, None]
    distance = np.hypot(dx[..., None, :], dy[..., :, None])
    # a cell on the rim counts with the share of it that lies inside, taken along the radius
    return np.asarray((around * np.clip(radius + 0.5 - distance, 0, 1)).sum(axis=(-1, -2)), np.float64)
