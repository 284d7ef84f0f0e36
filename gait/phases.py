"""Which paw is down in which frame: a two-state chain per paw on its motion with the belt and its height."""

from dataclasses import dataclass

import numpy as np

from gait.body import FORWARD, UP, Body
from gait.spans import median
from pose.tracks import BoolArray, FloatArray

DOWN, LIFTED = 0, 1


@dataclass(frozen=True, slots=True)
class PhaseSettings:
    """How likely a motion and a height are in stance and in swing. Our own choices from drawn paw paths unless said.

    Combined position and velocity rules did best of five on treadmills (J Appl Biomech 2019); the dog rule of
    25 % of the forward speed held against measured duty factors (as quoted by others, paper not opened).

    stance_speed    1, SD of a standing paw's speed against the belt, belt speeds: the 25 % rule
    swing_speed     1, mean of a swinging paw's: 1 / (1 - duty factor) = 2.2 at duty 0.55 (derived)
    swing_spread    1, SD of the same: from rest to the fastest part of a swing
    stance_height_bl, swing_height_bl, swing_height_spread_bl   body lengths above the paw's own ground
    slip            1, share of frames whose motion says nothing (tracker slips)
    switches        1, changes of state per stride: one touchdown, one lift-off
    most_spread     belt speeds, most that the scatter of standing paws measured in the clip widens stance_speed to
    fast            1, frames with more than this against the belt travel forward for certain; our own choice
    least_told, well_told   0..1, chance that a paw travelling forward is higher than one going with the belt: up to the
                    first (near a coin's) heights say nothing, from the second on they count in full; our own choice.
                    Nor do they when standing paws scatter as much in height as a swing is high
    distinct        frames per stride beyond which neighbouring frames repeat each other's errors: a network's
                    mistakes outlast a thirtieth of a stride (measured on drawn and real dogs)
    shortest        share of the stride, shorter stances or swings are not believed: the shortest stance in
                    galloping dogs is 70 of 300 ms (Walter & Carrier 2007, as quoted by others, paper not opened)
    ground_window   strides over which the ground under a paw is taken as level
    """

    stance_speed: float = 0.25
    swing_speed: float = 2.0
    swing_spread: float = 1.0
    stance_height_bl: float = 0.025
    swing_height_bl: float = 0.12
    swing_height_spread_bl: float = 0.09
    slip: float = 0.02
    switches: float = 2.0
    most_spread: float = 0.6
    fast: float = 1.2
    least_told: float = 0.7
    well_told: float = 0.9
    distinct: float = 30.0
    shortest: float = 0.09
    ground_window: float = 3.0


def find_phases(
    body: Body, speed_px_s: FloatArray, period_s: float, settings: PhaseSettings, width_s: float, noise_px: float
) -> tuple[BoolArray, FloatArray, FloatArray]:
    """Down or not, height over the paw's own ground, and how far the heights can be believed.

    speed_px_s (T, 2) belt, near and far side; width_s s, SD of the local fits; noise_px px.
    Returns (T, 4) bool, (T, 4) px (NaN = missing) and (4,) 0..1.
    """
    against = body.slope_px_s[:, :4, FORWARD] / per_paw(speed_px_s) + 1.0
    up = body.smooth_px[:, :4, UP]
    ground = ground_under(body, up, np.abs(against) < 2 * settings.stance_speed, period_s, settings)
    height = up - ground
    jitter = slope_sd(noise_px, width_s, body.frame_s) / per_paw(speed_px_s)
    seen = judged(body) & np.isfinite(against) & np.isfinite(height)
    against, up_bl = np.where(seen, against, 0.0), np.where(seen, height / body.length_px, 0.0)
    spread = Spread(_stance_spread(against, seen, jitter, settings), *_heights(against, up_bl, seen, settings))
    odds = _log_odds(against, up_bl, spread, noise_px / body.length_px, settings)
    odds *= min(1.0, settings.distinct * body.frame_s / period_s)
    step_s = np.maximum(np.diff(body.t_s, prepend=body.t_s[0]), period_s / settings.distinct)
    stay = np.clip(settings.switches * step_s / period_s, 1e-6, 0.5)
    down = _best_path(np.where(seen, odds, 0.0), np.log(stay))
    shortest = max(2, round(settings.shortest * period_s / body.frame_s))
    return _without_short(down, shortest), body.xy_px[:, :4, UP] - ground, spread.told


def judged(body: Body) -> BoolArray:
    """(T, 4) bool, frames that can tell stance from swing: the paw is seen there and just before and after."""
    seen = np.pad(body.seen[:, :4], ((1, 1), (0, 0)), mode="edge")
    return np.asarray(seen[:-2] & seen[1:-1] & seen[2:])


def judged_for_long(body: Body, least: float) -> BoolArray:
    """(T, 4) bool, as ``judged``, but for glimpses shorter than ``least`` frames, the shortest stance, beside a stretch
    without such frames that could hide two. A few frames show a jerk of the landmark rather than whether the paw stood
    or swung all the while."""
    seen = judged(body)
    for paw in range(4):
        edges = np.flatnonzero(np.diff(seen[:, paw].astype(np.int8), prepend=-1, append=-1))
        length = np.diff(edges)
        for k in range(1, len(length) - 1):
            if seen[edges[k], paw] and length[k] < least <= max(length[k - 1], length[k + 1]) / 2:
                seen[edges[k] : edges[k + 1], paw] = False
    return seen


def per_paw(sides: FloatArray) -> FloatArray:
    """(..., 4) in the order of the paws from (..., 2) near and far."""
    return np.asarray(sides[..., [0, 1, 0, 1]])


def slope_sd(noise_px: float, width_s: float, frame_s: float) -> float:
    """px/s, SD of a local slope: noise / sqrt(sum of tau^2) over the frames under the bell (derived)."""
    k = np.arange(-50, 51) * frame_s
    bell = np.exp(-0.5 * np.minimum((k / width_s) ** 2, 50.0))
    return float(noise_px * np.sqrt((bell**2 * k**2).sum()) / (bell * k**2).sum())


def smooth_gain(width_s: float, frame_s: float) -> float:
    """1, variance that a local parabola leaves of white noise: the sum of its squared weights (derived)."""
    k = np.arange(-50, 51) * frame_s / width_s
    bell = np.exp(-0.5 * np.minimum(k**2, 50.0))
    second, fourth = (bell * k**2).sum(), (bell * k**4).sum()
    weight = bell * (fourth - second * k**2)
    return float((weight**2).sum() / weight.sum() ** 2)


def ground_under(
    body: Body, up_px: FloatArray, slow: BoolArray, period_s: float, settings: PhaseSettings
) -> FloatArray:
    """(T, 4) px, height of the ground under each paw: running median over frames in which it goes with the belt."""
    window = settings.ground_window * period_s
    centres = np.arange(body.t_s[0], body.t_s[-1] + window / 2, window / 2)
    ground = np.empty_like(up_px)
    for paw in range(4):
        ok = slow[:, paw] & np.isfinite(up_px[:, paw])
        slow_s, slow_px = body.t_s[ok], up_px[ok, paw]
        levels = np.array([_median_near(slow_s, slow_px, c, window) for c in centres])
        known = np.isfinite(levels)
        low = up_px[np.isfinite(up_px[:, paw]), paw]
        fallback = np.quantile(low, 0.2) if len(low) else np.nan
        ground[:, paw] = np.interp(body.t_s, centres[known], levels[known]) if known.any() else fallback
    return ground


def _median_near(t_s: FloatArray, y: FloatArray, centre: float, window: float) -> float:
    a, b = np.searchsorted(t_s, [centre - window / 2, centre + window / 2])
    return median(y[a:b]) if b - a >= 3 else float("nan")


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """What the clip's own paws say about how far frames can be believed.

    stance_speed   (T, 4) belt speeds, SD of standing paws against the belt
    stance_height  (4,) body lengths, SD of their heights
    told           (4,) 0..1, how far heights tell forward from backward travel
    """

    stance_speed: FloatArray
    stance_height: FloatArray
    told: FloatArray


def _stance_spread(against: FloatArray, seen: BoolArray, jitter: FloatArray, s: PhaseSettings) -> FloatArray:
    """(T, 4) belt speeds, the settings' SD, or as wide as the clip's own paws scatter where they go backward."""
    back = seen & (np.abs(against) < 1.0)
    own = [1.4826 * float(np.median(np.abs(a[b]))) if b.any() else 0.0 for a, b in zip(against.T, back.T, strict=True)]
    return np.asarray(np.hypot(np.clip(own, s.stance_speed, s.most_spread), jitter))


def _heights(
    against: FloatArray, height_bl: FloatArray, seen: BoolArray, s: PhaseSettings
) -> tuple[FloatArray, FloatArray]:
    """(4,) body lengths, SD of heights where paws go with the belt; and (4,) 0..1, how far heights can be believed."""
    sd, told = np.full(4, s.stance_height_bl), np.ones(4)
    for paw in range(4):
        low = height_bl[seen[:, paw] & (np.abs(against[:, paw]) < 2 * s.stance_speed), paw]
        high = height_bl[seen[:, paw] & (against[:, paw] > s.fast), paw]
        if min(len(low), len(high)) >= 3:
            sd[paw] = max(sd[paw], 1.4826 * float(np.median(np.abs(low - np.median(low)))))
            higher = float(np.searchsorted(np.sort(low), high).mean() / len(low))
            clear = (s.swing_height_bl - sd[paw]) / (s.swing_height_bl - s.stance_height_bl)
            told[paw] = np.clip(min((higher - s.least_told) / (s.well_told - s.least_told), clear), 0.0, 1.0)
    return sd, told


def _log_odds(
    against: FloatArray, height: FloatArray, spread: Spread, height_noise: float, settings: PhaseSettings
) -> FloatArray:
    """(T, 4) log of how much likelier the frame is in stance than in swing."""
    s = settings
    swing_sd = np.hypot(s.swing_spread, np.sqrt(np.maximum(spread.stance_speed**2 - s.stance_speed**2, 0.0)))
    flat = np.log(s.slip / 10.0)
    speed = np.logaddexp(_log_normal(against, 0.0, spread.stance_speed), flat)
    speed = speed - np.logaddexp(_log_normal(against, s.swing_speed, swing_sd), flat)
    low_sd = np.hypot(spread.stance_height, height_noise)
    high_sd = np.hypot(np.maximum(s.swing_height_spread_bl, spread.stance_height), height_noise)
    low = np.logaddexp(_log_normal(height, 0.0, low_sd), flat)
    low = low - np.logaddexp(_log_normal(height, s.swing_height_bl, high_sd), flat)
    return np.asarray(speed + spread.told * low)


def _log_normal(x: FloatArray, mean: float, sd: FloatArray | float) -> FloatArray:
    z = np.clip((x - mean) / sd, -25.0, 25.0)
    return np.asarray(-0.5 * z**2 - np.log(sd))


#: Log odds. Where nothing is seen all moments to switch are equally good; rounding must not choose between them.
TIE = 1e-6


def _best_path(odds: FloatArray, log_switch: FloatArray) -> BoolArray:
    """(T, 4) Viterbi path of two states that share one cost of switching; odds (T, 4) in favour of stance.

    lead, the best score ending down minus the best ending lifted, is kept within the cost of a switch either way and
    moved by the odds. Such steps joined are such a step again, so all are found by doubling in log2(T) rounds.
    """
    cost = -log_switch[:, None]
    move, low, high = odds.copy(), odds - cost, odds + cost  # lead after = clip(lead before + move, low, high)
    shift = 1
    while shift < len(odds):
        late = move[shift:], low[shift:], high[shift:]
        early = move[:-shift] + late[0], low[:-shift] + late[0], high[:-shift] + late[0]
        joined = early[0], np.clip(early[1], late[1], late[2]), np.clip(early[2], late[1], late[2])
        for whole, part in zip((move, low, high), joined, strict=True):
            whole[shift:] = part
        shift *= 2
    lead = np.clip(move, low, high)  # before the first frame nothing leads
    before = np.concatenate([np.zeros((1, odds.shape[1])), lead[:-1]])
    return _traced(lead[-1] > 0, before < -cost - TIE, before > cost + TIE)


def _traced(last: BoolArray, came_down: BoolArray, came_up: BoolArray) -> BoolArray:
    """(T, 4) states, from the last (4,) back: before a frame at which a paw came down for sure it was lifted."""
    count = len(came_down)
    told = np.concatenate([(came_down | came_up)[1:], np.ones((1, len(last)), dtype=bool)])
    value = np.concatenate([came_up[1:], last[None]])
    frame = np.where(told, np.arange(count)[:, None], count - 1)
    source = np.minimum.accumulate(frame[::-1], axis=0)[::-1]
    return np.asarray(np.take_along_axis(value, source, axis=0))


def _without_short(down: BoolArray, shortest: int) -> BoolArray:
    """``down`` with stances and swings of fewer frames joined to what lies around them, the shortest first.

    A short beginning or end of the clip is joined too: nobody can tell a swing of two frames from a slip.
    """
    down = down.copy()
    for paw in range(down.shape[1]):
        while True:
            edges = np.concatenate([[0], np.flatnonzero(np.diff(down[:, paw])) + 1, [len(down)]])
            lengths = np.diff(edges)
            worst = int(np.argmin(lengths))
            if len(lengths) < 2 or lengths[worst] >= shortest:
                break
            down[edges[worst] : edges[worst + 1], paw] ^= True
    return down
