"""How the paws of a clip move: their speeds and scatter, measured, and how a paw may go from one place to the next."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from pose.tracks import BoolArray, FloatArray


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
                   and loses it at the front end, as a logarithm: a paw turns round at the ends of its path. From 2 to
                   4 drawn films come out alike; 3 on simulated paws and one film of a dog in grass
    still_s, still_bl  s of the file and body lengths: a paw that stays within ``still_bl`` for so long stands, and says
                   nothing of how paws go; a slow walk filmed at 240 frames a second and shown at 30 goes a fifth of a
                   body length in a second
    least_walking  share of the frames, with fewer of which nothing is left out
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
    still_s: float = 1.0
    still_bl: float = 0.1
    least_walking: float = 0.1
    least_path_bl: float = 0.15
    stride_step_bl: float = 0.05
    most_step: int = 60
    guide_bl: float = 0.05
    pool_bl: float = 0.06
    ground_share: float = 0.7
    under_bl: float = 0.1
    under_sd_bl: float = 0.1


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


def measure_gait(t_s: FloatArray, xy_bl: FloatArray, mass: FloatArray, settings: SideSettings) -> Gait:
    """Speeds, scatter and rhythm from the best place of each channel, whichever paw that is."""
    rows = np.arange(len(t_s))
    best = [np.nan_to_num(mass[..., side], nan=-1.0).argmax(axis=1) for side in (0, 1)]
    x = np.stack([xy_bl[rows, choice, 0] for choice in best], axis=1)
    frame_s = float(np.median(np.diff(t_s))) if len(t_s) > 1 else 1.0
    noise = _scatter(x, settings)
    x = np.where(_walking(x, frame_s, settings), x, np.nan)
    lag = _lag(x, settings)
    speed = _moves(x, lag) / (t_s[lag:] - t_s[:-lag])[:, None]
    speed = speed[np.isfinite(speed)]
    if len(speed) < 4:
        speed = np.zeros(4)
    low, high = np.quantile(speed, [0.03, 0.97])
    spread = max(high - low, 1e-3)
    move_bl = float(np.mean(np.abs(np.clip(speed, low, high)))) * frame_s
    most = max(1, min(len(t_s) // 8, settings.most_step))
    every = int(np.clip(settings.stride_step_bl / max(move_bl, 1e-4), 1, most))
    frame_s, move_bl = frame_s * every, move_bl * every
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


def _walking(x: FloatArray, frame_s: float, settings: SideSettings) -> BoolArray:
    """(T, 1) bool, frames about which a paw goes somewhere; all of them when it hardly ever does."""
    size = max(2 * round(settings.still_s / frame_s / 2) + 1, 3)
    front = maximum_filter1d(np.nan_to_num(x, nan=-np.inf), size, axis=0, mode="nearest")
    rear = minimum_filter1d(np.nan_to_num(x, nan=np.inf), size, axis=0, mode="nearest")
    goes = (front - rear > settings.still_bl).any(axis=1)
    return np.asarray(goes | (goes.mean() < settings.least_walking))[:, None]


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


def turns_of(turning: float, settings: SideSettings) -> FloatArray:
    """(V, V) probability of each step of speed after each: mostly the same, sometimes a neighbour, rarely further."""
    v = settings.speeds
    away = np.abs(np.subtract.outer(np.arange(v), np.arange(v)))
    table = np.where(away == 0, 1 - turning, np.where(away == 1, turning / 2, turning * settings.leap / v))
    return np.asarray(table / table.sum(axis=1, keepdims=True))


def steps_between(
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
