"""Which paw of a pair is the near one, decided over the whole clip.

A hidden Markov model per pair. Its state is (place of the near paw, its speed, place of the far paw, its speed); a
place is one of the frame's candidates or "not seen". Evidence of one frame: how the near and the far channel of the
network share their mass between the places. Evidence between frames: a paw goes where its speed carries it, and
changes its speed gradually. That is what tells paws apart where they pass each other: the one that stands moves
back with the belt, the other swings forward, and an exchange would need both to turn round in the same instant, in
the middle of their paths, where paws do not turn (``pose.motion``).

Both paws move independently, so that one step of the forward and backward recursion (Rabiner 1989,
doi:10.1109/5.18626, from memory, not read) is two products of small matrices. Nothing assumes a clock, but for a
paw that keeps still for a second of the file and then stands: speeds and rates of change are measured in the clip.
"""

from dataclasses import dataclass

import numpy as np

from pose.motion import Gait, SideSettings, measure_gait, steps_between, turns_of
from pose.tracks import BoolArray, FloatArray, IntArray

_DEFAULTS = SideSettings()

#: Distances between places that are held at once: 2 MB.
POOLED_AT_ONCE = 250_000
#: Frames whose moves are made at once.
_PIECE = 32


@dataclass(frozen=True, slots=True, eq=False)
class SidePath:
    """The decision for one pair over T frames.

    xy_px    (T, 2, 2) px, near and far paw; NaN = not seen
    mass     (T, 2) 0..1, mass of both channels at the place, or of the own channel where both paws share a place
    shared   (T,) bool, both at the same place: one covers the other
    score    (T,) 0..1, probability that near and far are the right way round
    """

    xy_px: FloatArray
    mass: FloatArray
    shared: BoolArray
    score: FloatArray


def decide_sides(
    t_s: FloatArray, xy_px: FloatArray, mass: FloatArray, *, length_px: float, settings: SideSettings = _DEFAULTS
) -> SidePath:
    """Near and far paw of one pair.

    t_s    (T,) s
    xy_px  (T, C, 2) px, candidates; NaN = none
    mass   (T, C, 2) 0..1, mass at each under the near and the far channel
    length_px  px, body length
    """
    xy, mass = _distinct(xy_px / length_px, mass, settings)
    ground_bl = _ground(xy, mass, settings)
    gait = measure_gait(t_s, xy, mass, settings)
    evidence, shared = _evidence(xy, mass, ground_bl, gait, settings)
    if gait.every == 1:
        chosen, score = _order(_forward_backward(t_s, xy, evidence, gait, settings), shared)
        return _read_off(xy * length_px, mass, shared, chosen, score)
    keys = np.unique(np.append(np.arange(0, len(t_s), gait.every), len(t_s) - 1))
    key_xy, key_mass = _pooled(xy, mass, keys, gait.every // 2, settings)
    key_evidence, key_shared = _evidence(key_xy, key_mass, ground_bl, gait, settings)
    key_chosen, key_score = _order(_forward_backward(t_s[keys], key_xy, key_evidence, gait, settings), key_shared)
    chosen = _between(t_s, t_s[keys], _picked(key_xy, key_chosen), xy, evidence, settings)
    return _read_off(xy * length_px, mass, shared, chosen, np.interp(np.arange(len(t_s)), keys, key_score))


def _ground(xy: FloatArray, mass: FloatArray, settings: SideSettings) -> float:
    """Body lengths, height in the picture (down is more) above which ``ground_share`` of the mass lies."""
    y, weight = xy[..., 1].ravel(), mass.sum(axis=-1).ravel()
    y, weight = y[np.isfinite(y)], weight[np.isfinite(y)]
    if not len(y):
        return np.inf
    order = np.argsort(y)
    total = np.cumsum(weight[order])
    return float(y[order][np.searchsorted(total, settings.ground_share * total[-1])])


def _pooled(
    xy: FloatArray, mass: FloatArray, keys: IntArray, half: int, settings: SideSettings
) -> tuple[FloatArray, FloatArray]:
    """Places (M, K, 2) and masses (M, K, 2) about the frames ``keys``, averaged over ``half`` frames to each side.

    Paws hardly move in between, so that what stays is seen, and what comes and goes was noise.
    """
    near = np.clip(keys[:, None] + np.arange(-half, half + 1), 0, len(xy) - 1)
    size = max(POOLED_AT_ONCE // (near.shape[1] * xy.shape[1]) ** 2, 1)
    parts = [_pool(xy, mass, near[first : first + size], settings) for first in range(0, len(near), size)]
    places, masses = zip(*parts, strict=True)
    return np.concatenate(places), np.concatenate(masses)


def _pool(xy: FloatArray, mass: FloatArray, near: IntArray, settings: SideSettings) -> tuple[FloatArray, FloatArray]:
    """The same about some of them, from the frames ``near`` (M, F)."""
    places = xy[near].reshape(len(near), -1, 2)
    weight = np.nan_to_num(mass[near].reshape(len(near), -1, 2)) / near.shape[1]
    gap = np.hypot(*np.moveaxis(places[:, :, None] - places[:, None], -1, 0)) / settings.pool_bl
    kernel = np.nan_to_num(np.clip(1 - gap**2, 0, 1))
    sums = kernel @ weight
    pull = kernel * weight.sum(axis=-1)[:, None]
    middle = (pull @ np.nan_to_num(places)) / np.maximum(pull.sum(axis=-1), 1e-12)[..., None]
    seen = np.isfinite(places[..., :1])
    return _distinct(np.where(seen, middle, np.nan), np.where(seen, sums, np.nan), settings)


def _picked(xy: FloatArray, chosen: IntArray) -> FloatArray:
    """(M, 2, 2) places of near and far; NaN = not seen."""
    padded = np.concatenate([xy, np.full((len(xy), 1, 2), np.nan)], axis=1)
    return np.asarray(padded[np.arange(len(xy))[:, None], chosen])


def _distinct(xy: FloatArray, mass: FloatArray, settings: SideSettings) -> tuple[FloatArray, FloatArray]:
    """The strongest candidates, none within ``same_bl`` / 2 of a stronger one: (T, K, 2) and (T, K, 2)."""
    strength = np.where(np.isfinite(mass).all(axis=-1), mass.sum(axis=-1), -1.0)
    order = np.argsort(-strength, axis=1)
    xy, mass = np.take_along_axis(xy, order[..., None], 1), np.take_along_axis(mass, order[..., None], 1)
    kept: BoolArray = np.isfinite(np.concatenate([xy, mass], axis=-1)).all(axis=-1)
    apart = np.hypot(*np.moveaxis(xy[:, :, None] - xy[:, None], -1, 0))
    for k in range(1, xy.shape[1]):
        kept[:, k] &= ~np.any(kept[:, :k] & (apart[:, k, :k] < settings.same_bl / 2), axis=1)
    order = np.argsort(~kept, axis=1, kind="stable")[:, : settings.places]
    kept = np.take_along_axis(kept, order, 1)[..., None]
    xy, mass = np.take_along_axis(xy, order[..., None], 1), np.take_along_axis(mass, order[..., None], 1)
    return np.where(kept, xy, np.nan), np.where(kept, mass, np.nan)


def _evidence(
    xy: FloatArray, mass: FloatArray, ground_bl: float, gait: Gait, settings: SideSettings
) -> tuple[FloatArray, BoolArray]:
    """Likelihood (T, K + 1, K + 1) of each place for near and far, the last meaning not seen; and shared (T, K, K)."""
    t, k = mass.shape[:2]
    mass0 = np.nan_to_num(mass)
    total = mass0.sum(axis=-1)
    under = np.maximum(np.nan_to_num(xy[..., 1]) - ground_bl - settings.under_bl, 0) / settings.under_sd_bl
    there = np.isfinite(mass[..., 0]) * (np.minimum(total, 1.0) + settings.floor) * np.exp(-0.5 * under**2)
    share = (mass0 + settings.mixed_up) / (total + 2 * settings.mixed_up)[..., None]
    own = np.full((t, k + 1, 2), settings.unseen * 0.5**gait.weight)
    own[:, :k] = there[..., None] * share**gait.weight
    joint = own[:, :, None, 0] * own[:, None, :, 1]
    shared = np.hypot(*np.moveaxis(xy[:, :, None] - xy[:, None], -1, 0)) < settings.same_bl
    # one place for two paws: each channel has to account for it by itself
    both = np.minimum(mass0[:, :, None, 0] + settings.floor, mass0[:, None, :, 1] + settings.floor)
    same = there[:, :, None] * both * settings.covered * 0.25**gait.weight
    joint[:, :k, :k] = np.where(shared & (np.arange(k)[:, None] == np.arange(k)), same, joint[:, :k, :k])
    return joint, shared


def _forward_backward(
    t_s: FloatArray, xy: FloatArray, evidence: FloatArray, gait: Gait, settings: SideSettings
) -> FloatArray:
    """Posterior (T, K + 1, K + 1) of the places of near and far, speeds summed out."""
    t, k = xy.shape[:2]
    v = settings.speeds
    place = np.append(np.repeat(np.arange(k), v), k)
    grid, starts = np.ix_(place, place), np.append(np.arange(0, k * v, v), k * v)
    ahead = np.empty((t, len(place), len(place)), np.float32)
    ahead[0] = evidence[0][grid] / evidence[0].max()
    turns, pieces = turns_of(gait.turning, settings), dict[int, FloatArray]()

    def move_to(i: int) -> FloatArray:
        """Made twice and in pieces: kept for every frame they would be most of the memory that a clip takes."""
        piece, place_in = divmod(i - 1, _PIECE)
        if piece not in pieces:
            pieces.clear()
            part = slice(piece * _PIECE, (piece + 1) * _PIECE)
            pieces[piece] = steps_between(np.diff(t_s)[part], xy[:-1][part], xy[1:][part], turns, gait, settings)
        return np.asarray(pieces[piece][place_in])

    for i in range(1, t):
        move = move_to(i)
        message = (move.T @ ahead[i - 1] @ move) * evidence[i][grid]
        ahead[i] = message / message.max()
    posterior = np.empty((t, k + 1, k + 1))
    back = np.ones((len(place), len(place)))
    for i in range(t - 1, -1, -1):
        both = ahead[i] * back
        posterior[i] = np.add.reduceat(np.add.reduceat(both, starts, axis=0), starts, axis=1) / both.sum()
        if i:
            move = move_to(i)
            back = move @ (back * evidence[i][grid]) @ move.T
            back /= back.max()
    return posterior


def _order(posterior: FloatArray, shared: BoolArray) -> tuple[IntArray, FloatArray]:
    """The most probable places (T, 2) of near and far, K = not seen, and how sure (T,) their order is."""
    t, states = posterior.shape[:2]
    rows = np.arange(t)
    chosen = np.stack(np.divmod(posterior.reshape(t, -1).argmax(axis=1), states), axis=-1)
    near, far = chosen.T
    share, other = posterior[rows, near, far], posterior[rows, far, near]
    told = ~_alike(chosen, shared) & (share + other > 0)
    if not told.any():
        return chosen, np.full(t, 0.5)
    # where both paws share a place their order means nothing; it is taken from the frames around
    return chosen, np.interp(rows, rows[told], share[told] / (share[told] + other[told]))


def _alike(chosen: IntArray, shared: BoolArray) -> BoolArray:
    """(T,) whether near and far have the same place, or are both not seen."""
    k = shared.shape[-1]
    seen = (chosen < k).all(axis=1)
    inside = np.minimum(chosen, k - 1)
    same = chosen[:, 0] == chosen[:, 1]
    return np.asarray(same | (seen & shared[np.arange(len(chosen)), inside[:, 0], inside[:, 1]]))


def _between(
    t_s: FloatArray, key_s: FloatArray, path: FloatArray, xy: FloatArray, evidence: FloatArray, settings: SideSettings
) -> IntArray:
    """Places (T, 2) in all frames: those with the best evidence near the lines through ``path`` (M, 2, 2)."""
    t, k = xy.shape[:2]
    near_line = np.ones((t, k + 1, 2))
    for paw in (0, 1):
        seen = np.isfinite(path[:, paw, 0])
        if not seen.any():
            continue
        line = np.stack([np.interp(t_s, key_s[seen], path[seen, paw, axis]) for axis in (0, 1)], axis=-1)
        off = np.hypot(*np.moveaxis(xy - line[:, None], -1, 0)) / settings.guide_bl
        near_line[:, :k, paw] = np.nan_to_num(np.exp(-0.5 * np.minimum(off**2, 60)))
        near_line[:, k, paw] = np.exp(-0.5 * 3.0**2)
    joint = evidence * near_line[:, :, None, 0] * near_line[:, None, :, 1]
    return np.stack(np.divmod(joint.reshape(t, -1).argmax(axis=1), k + 1), axis=-1)


def _read_off(xy_px: FloatArray, mass: FloatArray, shared: BoolArray, chosen: IntArray, score: FloatArray) -> SidePath:
    """Places and masses of the chosen candidates."""
    t = len(mass)
    rows = np.arange(t)
    near, far = chosen.T
    padded = np.concatenate([xy_px, np.full((t, 1, 2), np.nan)], axis=1)
    weight = np.concatenate([np.nan_to_num(mass), np.zeros((t, 1, 2))], axis=1)
    alike = _alike(chosen, shared)
    own = np.stack([weight[rows, near, 0], weight[rows, far, 1]], axis=1)
    both = np.stack([weight[rows, near].sum(axis=-1), weight[rows, far].sum(axis=-1)], axis=1)
    return SidePath(
        xy_px=np.stack([padded[rows, near], padded[rows, far]], axis=1),
        mass=np.where(alike[:, None], own, np.minimum(both, 1.0)),
        shared=alike & (near < xy_px.shape[1]),
        score=score,
    )
