"""Judging on dogs never trained on: errors as shares of withers-croup length, and the score's calibration.

Places and masses are taken from the heat maps by the same functions as when reading.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from sklearn.isotonic import IsotonicRegression
from torch import Tensor, nn

from pose.find import best_xy
from pose.heatmap import STRIDE, Heat, Places, places
from pose.landmarks import CROUP, LANDMARKS, PAIRS, WITHERS
from pose.tracks import BoolArray, FloatArray
from training.augment import Batch, CropSettings, augment
from training.data import Footage, Rows


@dataclass(frozen=True, slots=True)
class JudgeSettings:
    """How a network is judged.

    right_within  body lengths; a landmark within this is right, and its score is the probability of that
    limits        body lengths, the limits of the shares of right landmarks that are reported
    radius_px     px of the network's picture within which mass is gathered, as when reading: two heat cells
    shared_px     px, two paws found closer than this share one place: each has its own mass only
    apart         body lengths; a pair closer than this cannot be told to be exchanged
    knots         of the calibration curve: so many where most masses lie, and as many evenly over all of them, since
                  what is hard to see has a low mass, and few drawn pictures are as hard as real ones
    batch, seed   pictures at once, and of the crops
    """

    right_within: float = 0.05
    limits: tuple[float, ...] = (0.05, 0.1)
    radius_px: float = 2.0 * STRIDE
    shared_px: float = 1.0 * STRIDE
    apart: float = 0.1
    knots: int = 16
    batch: int = 64
    seed: int = 9


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """What was found in N pictures.

    error      (N, 6) body lengths; NaN = the landmark is not in the picture
    pair_free  (N, 6) the same, with the paws of a pair exchanged where that fits better
    mass       (N, 6) 0..1, mass that reading would have at the place of ``pair_free``
    presence   (N, 6) 0..1, probability that the landmark is in the picture; NaN = nobody knows whether it is
    hidden     (N, 6) bool, could not be seen
    exchanged  (N, 2) 0/1, NaN where it cannot be told
    facing     (N,) 0/1, facing found right; NaN = no dog
    """

    error: FloatArray
    pair_free: FloatArray
    mass: FloatArray
    presence: FloatArray
    hidden: BoolArray
    exchanged: FloatArray
    facing: FloatArray

    def table(self, settings: JudgeSettings = JudgeSettings()) -> dict[str, Any]:
        """Shares right (PCK) of all, seen, hidden and each landmark; exchanged pairs, facing, presence."""
        there = np.isfinite(self.error)
        groups = {"": there, "_seen": there & ~self.hidden, "_hidden": there & self.hidden}
        out: dict[str, Any] = {"pictures": len(self.error)}
        for limit in settings.limits:
            name = f"pck_{limit * 100:g}_percent"
            out |= {name + group: _share(self.error[rows] <= limit) for group, rows in groups.items()}
            out[f"{name}_sides_free"] = _share(self.pair_free[there] <= limit)
            right = self.error <= limit
            out[f"{name}_each"] = [_share(right[there[:, i], i]) for i in range(len(LANDMARKS))]
        out["median_error_percent"] = _rounded(100 * np.median(self.pair_free[there])) if there.any() else None
        off = self.off()[np.isfinite(self.off())]
        out["mean_error_percent"] = _rounded(100 * float(np.mean(off))) if len(off) else None
        out["exchanged_pairs"] = _share(self.exchanged[np.isfinite(self.exchanged)])
        out["facing_right"] = _share(self.facing[np.isfinite(self.facing)])
        known = np.isfinite(self.presence)
        out["presence_right"] = _share(((self.presence > 0.5) == there)[known])
        return {key: value for key, value in out.items() if value is not None}

    def off(self, most: float = 0.5) -> FloatArray:
        """(N,) body lengths, mean error of a picture's landmarks, none counting for more than ``most``; NaN = none."""
        capped = np.minimum(self.error, most)
        known = np.isfinite(capped)
        return np.where(known.any(1), np.nansum(capped, axis=1) / np.maximum(known.sum(1), 1), np.nan)


def _rounded(value: float) -> float:
    return round(float(value), 4)


def _share(right: NDArray[Any]) -> float | None:
    return _rounded(np.mean(right)) if np.size(right) else None


@torch.no_grad()
def judge(
    network: nn.Module,
    footage: Footage,
    rows: Rows,
    *,
    crop: CropSettings,
    settings: JudgeSettings = JudgeSettings(),
) -> Judged:
    """Errors of ``network`` on crops of those pictures (at least one), light, sharpness, shapes as they were drawn."""
    network.eval()
    parts = []
    for start in range(0, len(rows), settings.batch):
        rng = torch.Generator(footage.xy.device)
        rng.manual_seed(settings.seed * 100003 + start)
        batch = augment(footage.take(rows[start : start + settings.batch]), rng, replace(crop, bend=0.0), light=None)
        parts.append(_judge_batch(network, batch, settings))
    names = Judged.__dataclass_fields__
    return Judged(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def judge_both(network: nn.Module, footage: Footage, rows: Rows, crop: CropSettings) -> tuple[Judged, Judged]:
    """Tight crops, as the window that follows a dog shows it, and wide ones, as the search for a dog shows it."""
    tight, wide = (judge(network, footage, rows, crop=replace(crop, tight_share=share)) for share in (1.0, 0.0))
    return tight, wide


def _judge_batch(network: nn.Module, batch: Batch, settings: JudgeSettings) -> Judged:
    maps, absent, facing = network(batch.picture.contiguous(memory_format=torch.channels_last))
    heat = Heat(_plain(maps), _plain(absent), _plain(facing[:, 0]))
    truth, right = _plain(batch.xy).astype(np.float64), _plain(batch.right)
    length = np.hypot(*(truth[:, WITHERS] - truth[:, CROUP]).T)
    known = _plain(batch.weight) > 0
    truth[~known] = np.nan
    found = places(heat, settings.radius_px)
    xy, own = best_xy(found)
    error = np.hypot(*np.moveaxis(xy - truth, -1, 0)) / length[:, None]
    free_xy, mass, exchanged = _sides_free(found, xy, own, truth, settings)
    free = np.hypot(*np.moveaxis(free_xy - truth, -1, 0)) / length[:, None]
    exchanged[_unclear(truth, free, length, settings)] = np.nan
    facing = np.where(_plain(batch.dog) > 0, (heat.facing > 0) == right, np.nan)
    presence = np.where(known, 1.0 - found.absent, np.nan)
    return Judged(error, free, mass, presence, _plain(batch.hidden), exchanged, facing)


def _plain(tensor: Tensor) -> NDArray[Any]:
    return np.asarray((tensor.float() if tensor.is_floating_point() else tensor).cpu().numpy())


def _sides_free(
    found: Places, xy: FloatArray, own: FloatArray, truth: FloatArray, settings: JudgeSettings
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Places (N, 6, 2) with the paws of a pair in the order that fits better, their mass (N, 6), exchanged (N, 2)."""
    xy, mass = xy.copy(), own.copy()
    exchanged = np.zeros((len(xy), len(PAIRS)))
    for pair, marks in enumerate(PAIRS):
        here = xy[:, marks]
        apart = np.hypot(*(here[:, 0] - here[:, 1]).T)
        both = np.stack([_mass_of_both(found, pair, here[:, i]) for i in (0, 1)], axis=1)
        mass[:, marks] = np.where((apart > settings.shared_px)[:, None], both, own[:, marks])
        kept, swapped = (np.hypot(*np.moveaxis(one - truth[:, marks], -1, 0)).sum(1) for one in (here, here[:, ::-1]))
        turn = swapped < kept
        exchanged[:, pair] = turn
        xy[:, marks] = np.where(turn[:, None, None], here[:, ::-1], here)
        mass[:, marks] = np.where(turn[:, None], mass[:, marks[::-1]], mass[:, marks])
    return xy, mass, exchanged


def _mass_of_both(found: Places, pair: int, xy: FloatArray) -> FloatArray:
    """Mass (N,) of the near and far channels together at the candidate that lies at ``xy`` (N, 2)."""
    distance = np.nan_to_num(np.hypot(*np.moveaxis(found.pair_xy[:, pair] - xy[:, None], -1, 0)), nan=np.inf)
    at = found.pair_mass[np.arange(len(xy)), pair, distance.argmin(axis=1)]
    return np.asarray(np.minimum(np.nan_to_num(at).sum(axis=1), 1.0))


def _unclear(truth: FloatArray, free: FloatArray, length: FloatArray, settings: JudgeSettings) -> BoolArray:
    """(N, 2): pairs too close together, not wholly in the picture, or not found at all."""
    out = np.empty((len(truth), len(PAIRS)), bool)
    for pair, marks in enumerate(PAIRS):
        apart = np.hypot(*(truth[:, marks[0]] - truth[:, marks[1]]).T) / length
        clear = (apart > settings.apart) & (free[:, marks] < settings.apart).all(axis=1)
        out[:, pair] = ~clear
    return out


def score_knots(judged: Judged, settings: JudgeSettings = JudgeSettings()) -> dict[str, list[float]]:
    """Knots of a rising curve from mass to the share of landmarks within ``right_within``; {} when nothing was judged.

    Sides are left out of it: when reading, their probability is found over the whole clip and multiplied on top.
    """
    fine = np.isfinite(judged.pair_free)
    if not fine.any():
        return {}
    mass, right = judged.mass[fine], (judged.pair_free[fine] <= settings.right_within).astype(float)
    curve = IsotonicRegression(y_min=0.0, y_max=1.0, out_of_bounds="clip").fit(mass, right)
    shares = np.linspace(0, 1, settings.knots)
    knots = np.unique(np.concatenate([np.quantile(mass, shares), shares * mass.max()]).round(4))
    share = np.where(knots > 0, np.maximum.accumulate(curve.predict(knots)), 0.0).round(4)  # no mass is no place
    return {"mass": knots.tolist(), "probability": share.tolist()}
