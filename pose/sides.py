"""Which paw of a pair is the near one, decided over the whole clip.

A hidden Markov model per pair. Its state is (place of the near paw, its speed, place of the far paw, its speed); a
place is one of the frame's candidates or "not seen". Evidence of one frame: how the near and the far channel of the
network share their mass between the places. Evidence between frames: a paw goes where its speed carries it, and
changes its speed gradually. That is what tells paws apart where they pass each other: the one that stands moves
back with the belt, the other swings forward, and an exchange would need both to turn round in the same instant.

Both paws move independently, so that one step of the forward and backward recursion (Rabiner 1989,
doi:10.1109/5.18626, from memory, not read) is two products of small matrices. Nothing assumes a clock: speeds and
rates of change are measured in the clip.
"""

from dataclasses import dataclass

import numpy as np

from pose.tracks import BoolArray, FloatArray, IntArray

#: Distances between places that are held at once: 2 MB.
POOLED_AT_ONCE = 250_000
#: Frames whose moves are made at once.
_PIECE = 32


@dataclass(frozen=True, slots=True)
class SideSettings:
    """How near and far are told apart. Where nothing else is said: tuned on simulated paws, no source.

    places         candidates kept per frame; two paws, their two rivals of the other pair, and one spare
    speeds         steps of speed between the fastest backward and the fastest forward, each as often
    same_bl        body lengths, places nearer than this are one place, and paws that near hide one another
    floor          share of the mass that a channel may give to any place by mistake
    mixed_up       share of its mass that a channel gives to the other paw of the pair even when it is sure
    weight         most that one frame's shares of near and far count: a network's mistakes last about a fifth of a
                   stride, which is several of the frames decided on, and both paws share them. Above 0.1, frames
                   called sure were wrong more often than said on simulated paws
    full_weight_bl body lengths that paws move between frames for which a frame counts fully; with less it repeats
                   the one before
    covered        factor for a frame in which one paw covers the other, against both being seen
    unseen         factor for a paw that is not seen although it has to be somewhere
    lose, regain   probabilities per frame that a paw stops being seen, and is seen again
    jump           factor for a move that the speed does not explain
    hops           share of the frames in which a place hops: where paws are hardly seen, as in grass, the network finds
                   now the shin, now a shadow
    hop_bl         body lengths, SD of such a hop
    least_noise_bl, most_noise_bl  body lengths, limits of the measured scatter of a place
    leap           share of changes of speed that skip steps
    bounds         how much likelier a paw gains speed towards the front at the rear end of its path than in the middle,
                   and loses it at the front end, as a logarithm: a paw turns round at the ends of its path
    least_path_bl  body lengths, half of the length of a path with less than which nothing is known of its ends
    stride_step_bl body lengths that paws move on average between the frames that are decided on: well above the
                   scatter of a place, which otherwise hides the speed. The frames between follow their neighbours
    most_step      frames, longest step between them: only paws that stand for a second and longer move less than
                   ``stride_step_bl`` in it, and places of all its frames are held against each other
    guide_bl       body lengths, how far a paw in a frame between may be from the line between its neighbours
    pool_bl        body lengths within which places of the frames around one that is decided on are the same place
    ground_share   share of the mass that lies above the ground line: paws stand for half of the time or longer in
                   every gait but the gallop
    under_bl       body lengths below the ground line from which a place is doubted: near and far side, a camera
                   that is not level, and the bounce of the trunk move a standing paw by about this much
    under_sd_bl    body lengths, how fast the doubt grows
    """

    places: int = 6
    speeds: int = 5
    same_bl: float = 0.05
    floor: float = 0.01
    mixed_up: float = 0.05
    weight: float = 0.05
    full_weight_bl: float = 0.08
    covered: float = 0.2
    unseen: float = 0.02
    lose: float = 0.03
    regain: float = 0.1
    jump: float = 1e-6
    hops: float = 0.3
    hop_bl: float = 0.15
    least_noise_bl: float = 0.008
    most_noise_bl: float = 0.05
    leap: float = 0.02
    bounds: float = 3.0
    least_path_bl: float = 0.15
    stride_step_bl: float = 0.05
    most_step: int = 60
    guide_bl: float = 0.05
    pool_bl: float = 0.06
    ground_share: float = 0.7
    under_bl: float = 0.1
    under_sd_bl: float = 0.1


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


@dataclass(frozen=True, slots=True, eq=False)
class Gait:
    """What the clip's own paws say about how paws move in it.

    speeds_bl_s  (V,) body lengths per second, the steps of speed
    noise_bl     body lengths, SD of the change of a place between frames that the speed does not explain
    turning      probability per frame of going to a neighbouring step of speed
    weight       how much one frame's shares of near and far count
    every        frames from one that is decided on to the next
    middle_bl, half_bl  body lengths, middle and half length of the path of a paw along the picture
    """

    speeds_bl_s: FloatArray
    noise_bl: float
    turning: float
    weight: float
    every: int
    middle_bl: float
    half_bl: float


def decide_sides(
    t_s: FloatArray, xy_px: FloatArray, mass: FloatArray, *, length_px: float, settings: SideSettings = SideSettings()
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


def measure_gait(t_s: FloatArray, xy_bl: FloatArray, mass: FloatArray, settings: SideSettings) -> Gait:
    """Speeds, scatter and rhythm from the best place of each channel, whichever paw that is."""
    rows = np.arange(len(t_s))
    best = [np.nan_to_num(mass[..., side], nan=-1.0).argmax(axis=1) for side in (0, 1)]
    x = np.stack([xy_bl[rows, choice, 0] for choice in best], axis=1)
    lag = _lag(x, settings)
    speed = _moves(x, lag) / (t_s[lag:] - t_s[:-lag])[:, None]
    speed = speed[np.isfinite(speed)]
    if len(speed) < 4:
        speed = np.zeros(4)
    low, high = np.quantile(speed, [0.03, 0.97])
    spread = max(high - low, 1e-3)
    frame_s = float(np.median(np.diff(t_s))) if len(t_s) > 1 else 1.0
    move_bl = float(np.mean(np.abs(np.clip(speed, low, high)))) * frame_s
    most = max(1, min(len(t_s) // 8, settings.most_step))
    every = int(np.clip(settings.stride_step_bl / max(move_bl, 1e-4), 1, most))
    frame_s, move_bl = frame_s * every, move_bl * every
    noise = _scatter(x, settings)
    step_bl = spread / (settings.speeds - 1) * frame_s
    rear, front = np.nanquantile(x, [0.05, 0.95]) if np.isfinite(x).any() else (0.0, 0.0)
    return Gait(
        speeds_bl_s=np.quantile(speed, np.linspace(0.03, 0.97, settings.speeds)),
        noise_bl=float(np.sqrt(2 * noise**2 + step_bl**2 / 3)),
        # a stride takes the paw about 0.7 body lengths forward and back, through all steps of speed and back again
        turning=float(np.clip(2 * (settings.speeds - 1) * move_bl / 1.4, 0.02, 0.4)),
        weight=settings.weight * float(np.clip(move_bl / settings.full_weight_bl, 0.1, 1)),
        every=every,
        middle_bl=float(rear + front) / 2,
        half_bl=float(front - rear) / 2,
    )


def _moves(x: FloatArray, lag: int) -> FloatArray:
    """(T - lag, 2) change over ``lag`` frames; NaN where the channel jumped to another paw."""
    moved = x[lag:] - x[:-lag]
    return np.where(np.abs(moved) < 0.3, moved, np.nan)


def _lag(x: FloatArray, settings: SideSettings) -> int:
    """Frames over which a paw goes a tenth of a body length, clear of the scatter, in three frames of ten or more."""
    most = max(1, min(settings.most_step, len(x) // 4))
    for lag in range(1, most):
        moved = np.abs(_moves(x, lag))
        if np.isfinite(moved).any() and np.nanquantile(moved, 0.7) >= 0.1:
            return lag
    return most


def _scatter(x: FloatArray, settings: SideSettings) -> float:
    """SD of a place, from third differences, in which smooth movement cancels; robust against jumps."""
    third = np.abs(np.diff(x, n=3, axis=0))
    third = third[np.isfinite(third)]
    scatter = float(np.quantile(third, 0.25)) / 0.3186 / np.sqrt(20) if len(third) else settings.most_noise_bl
    return float(np.clip(scatter, settings.least_noise_bl, settings.most_noise_bl))


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
    turns, pieces = _turns(gait.turning, settings), dict[int, FloatArray]()

    def move_to(i: int) -> FloatArray:
        """Made twice and in pieces: kept for every frame they would be most of the memory that a clip takes."""
        piece, place_in = divmod(i - 1, _PIECE)
        if piece not in pieces:
            pieces.clear()
            part = slice(piece * _PIECE, (piece + 1) * _PIECE)
            pieces[piece] = _steps(np.diff(t_s)[part], xy[:-1][part], xy[1:][part], turns, gait, settings)
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


def _turns(turning: float, settings: SideSettings) -> FloatArray:
    """(V, V) probability of each step of speed after each: mostly the same, sometimes a neighbour, rarely further."""
    v = settings.speeds
    away = np.abs(np.subtract.outer(np.arange(v), np.arange(v)))
    table = np.where(away == 0, 1 - turning, np.where(away == 1, turning / 2, turning * settings.leap / v))
    return np.asarray(table / table.sum(axis=1, keepdims=True))


def _steps(
    dt_s: FloatArray, xy0: FloatArray, xy1: FloatArray, turns: FloatArray, gait: Gait, settings: SideSettings
) -> FloatArray:
    """(N, KV + 1, KV + 1): how one paw may go from each place and speed in ``xy0`` (N, K, 2) to each in ``xy1``."""
    n, k, v = len(xy0), xy0.shape[1], settings.speeds
    moved = xy1[:, None] - xy0[:, :, None]
    miss = (moved[..., 0, None] - gait.speeds_bl_s * dt_s[:, None, None, None]) / gait.noise_bl
    lift = moved[..., 1, None] / (2 * gait.noise_bl)
    off = miss**2 + lift**2
    likely = np.exp(-0.5 * np.minimum(off, 60)) + settings.jump
    wide = gait.noise_bl / np.hypot(gait.noise_bl, settings.hop_bl)
    likely += settings.hops * wide**2 * np.exp(-0.5 * np.minimum(off * wide**2, 60))
    likely[np.isnan(likely)] = settings.jump
    table = np.empty((n, k * v + 1, k * v + 1))
    table[:, :-1, :-1] = (_bounded(turns, xy0, gait, settings) * likely[:, :, None]).reshape(n, k * v, k * v)
    table[:, :-1, -1] = settings.lose
    table[:, -1, :-1] = settings.regain / (v * 2)
    table[:, -1, -1] = 1 - settings.regain
    return table


def _bounded(turns: FloatArray, xy0: FloatArray, gait: Gait, settings: SideSettings) -> FloatArray:
    """(N, K, V, 1, V) probability of each step of speed after each, at places (N, K, 2): towards the middle of the
    path it is gained, away from it lost."""
    if gait.half_bl < settings.least_path_bl:
        return turns[:, None]
    out = np.nan_to_num(np.clip((xy0[..., 0] - gait.middle_bl) / gait.half_bl, -1, 1))
    way = np.sign(gait.speeds_bl_s)
    gained = np.sign(np.subtract.outer(-way, -way))
    table = turns * np.exp(-settings.bounds * out[..., None, None] * gained)
    return np.asarray((table / table.sum(axis=-1, keepdims=True))[:, :, :, None])


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
