"""The belt as standing paws show it: speed of the near and far side, slope, steadiness, scale."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import median_filter

from gait.body import FORWARD, UP, Body
from gait.nouns import Belt
from gait.phases import slope_sd
from gait.spans import frames_of, span_sum
from gait.trial import Trial
from pose.landmarks import WITHERS
from pose.tracks import BoolArray, FloatArray, IntArray

SIDES = (0, 1)


@dataclass(frozen=True, slots=True)
class BeltSettings:
    """How the belt is read from the paws.

    slowest_bl      body lengths per stride, below it nothing moves backwards; common practice, no source
    side_range      1, far and near differ by at most this share (a camera 3 m from a belt 0.5 m wide: 17 %, derived)
    steady_share    1, a drift of the belt's speed below this within the clip counts as steady; common practice
    kernel          strides, SD of the running mean of belt speed when it changes
    whole           1, a stance shorter than this share of the usual one is a piece, cut by the clip or by a gap, and
                    mostly the end at which a paw eases in or out; our own choice
    neighbours      stances, two strides and one, whose median a stance's speed is held against; our own choice
    near            1, a stance whose speed is off that median by this share is a slip; our own choice
    odd             1, and no belt slows down to less than this share of its usual speed, or speeds up as much, in a
                    clip without being stopped; our own choice
    core            1, middle share of a stance whose speed counts: at its ends a paw rolls and eases in and out
    steepest_deg    deg, a steeper belt line is a mistake: treadmills incline up to 15 %, 8.5 deg, and a tripod's roll
    most_doubt      1, a spread of stance speeds above this share of the speed: the belt is not known
    """

    slowest_bl: float = 0.1
    side_range: float = 0.3
    steady_share: float = 0.05
    kernel: float = 0.75
    whole: float = 0.5
    neighbours: int = 9
    near: float = 0.5
    odd: float = 0.33
    core: float = 0.6
    steepest_deg: float = 15.0
    most_doubt: float = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Stances:
    """Runs of frames in which a paw is down. paw, first, last (N,) int: paw and frames, both ends included."""

    paw: IntArray
    first: IntArray
    last: IntArray

    def __len__(self) -> int:
        return len(self.paw)


def stances_of(down: BoolArray) -> Stances:
    """The stances of (T, 4) frames, ordered by paw and time."""
    edge = np.diff(np.pad(down, ((1, 1), (0, 0))).astype(np.int8), axis=0)
    paw, first = np.nonzero(edge.T == 1)
    _, last = np.nonzero(edge.T == -1)
    return Stances(paw.astype(np.int64), first.astype(np.int64), (last - 1).astype(np.int64))


def first_speed(body: Body, period_s: float, width_s: float, noise_px: float, settings: BeltSettings) -> FloatArray:
    """(2,) px/s near and far: the backward speed that low paws share most often (the mode); NaN when none do."""
    speed = np.where(_low(body.smooth_px[:, :4, UP]), -body.slope_px_s[:, :4, FORWARD], np.nan)
    slowest = settings.slowest_bl * body.length_px / period_s
    blur = slope_sd(noise_px, width_s, body.frame_s)
    common = _mode(speed, slowest, np.inf, blur)
    low, high = common * (1 - settings.side_range), common * (1 + settings.side_range)
    sides = np.array([_mode(speed[:, side::2], low, high, blur) for side in SIDES])
    return np.where(np.isnan(sides), common, sides)


def _low(up_px: FloatArray) -> BoolArray:
    """(T, 4) frames in which a paw is in the lower 60 % of its heights."""
    low = np.zeros(up_px.shape, dtype=bool)
    for paw in range(up_px.shape[1]):
        known = np.isfinite(up_px[:, paw])
        if known.any():
            low[known, paw] = up_px[known, paw] <= np.quantile(up_px[known, paw], 0.6)
    return low


def _mode(speed: FloatArray, low: float, high: float, blur: float) -> float:
    """px/s, top of a smoothed histogram between ``low`` and ``high``; NaN with fewer than five values."""
    values = speed[np.isfinite(speed)]
    values = values[(values > low) & (values < high)]
    if len(values) < 5:
        return float("nan")
    width = max(float(np.median(values)) * 0.1, blur)
    grid = np.linspace(values.min(), values.max(), 300)
    counts = np.array([np.exp(-0.5 * np.minimum(((values - c) / width) ** 2, 50.0)).sum() for c in grid])
    return float(grid[int(np.argmax(counts))])


def stance_lines(body: Body, stances: Stances, settings: BeltSettings) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Straight lines through the middle of each stance: mid time (N,) s, backward speed (N,) px/s, its SD (N,)."""
    n = len(stances)
    frame, span = _cores(body, stances, settings.core)
    t, x, w = body.t_s[frame], body.xy_px[frame, stances.paw[span], FORWARD], body.weight[frame, stances.paw[span]]
    number, total = np.bincount(span, minlength=n), span_sum(w, span, n)
    enough = number >= 3
    total = np.where(enough, total, 1.0)
    centre = span_sum(w * t, span, n) / total
    tau, away = t - centre[span], x - (span_sum(w * x, span, n) / total)[span]
    spread = span_sum(w * tau**2, span, n)
    enough &= spread > 0
    spread = np.where(enough, spread, 1.0)
    speed = -span_sum(w * tau * away, span, n) / spread
    left = span_sum(w * (away + speed[span] * tau) ** 2, span, n) / total * number / np.maximum(number - 2, 1)
    sd = np.sqrt(np.maximum(left, (1e-4 * body.length_px) ** 2) / spread * total / np.maximum(number, 1))
    return tuple(np.where(enough, values, np.nan) for values in (centre, speed, sd))  # type: ignore[return-value]


def _cores(body: Body, stances: Stances, share: float) -> tuple[IntArray, IntArray]:
    """Seen frames in the middle ``share`` of every stance (M,), and the stance each belongs to (M,)."""
    trim = ((stances.last - stances.first + 1) * (1 - share) / 2).astype(np.int64)
    frame, span = frames_of(stances.first + trim, stances.last + 1 - trim)
    seen = body.weight[frame, stances.paw[span]] > 0
    return frame[seen], span[seen]


@dataclass(frozen=True, slots=True, eq=False)
class BeltSpeed:
    """speed_px_s (T, 2) near and far over time; mean_px_s, sd_px_s (2,) px/s; steady within the clip."""

    speed_px_s: FloatArray
    mean_px_s: FloatArray
    sd_px_s: FloatArray
    steady: bool


def refine_speed(
    body: Body, stances: Stances, first_px_s: FloatArray, period_s: float, settings: BeltSettings
) -> BeltSpeed:
    """Belt speed from the stances, near and far; over time when it changed, else one number per side."""
    mid, speed, sd = stance_lines(body, stances, settings)
    frames = stances.last - stances.first
    speed = np.where(frames < settings.whole * np.median(frames), np.nan, speed) if len(frames) else speed
    mean, error = first_px_s.copy(), np.full(2, np.nan)
    over_time = np.ones((len(body.t_s), 2)) * first_px_s
    kept = np.zeros(len(stances), dtype=bool)
    sound = _alike(mid, speed / first_px_s[stances.paw % 2], settings)
    for side in SIDES:
        mine = (stances.paw % 2 == side) & sound
        if mine.sum() >= 2:
            mean[side], error[side] = _weighted(speed[mine], sd[mine])
        kept |= mine
    share = speed / mean[stances.paw % 2] if len(stances) else speed
    course = _course(body.t_s, mid[kept], share[kept], (sd / mean[stances.paw % 2])[kept], settings.kernel * period_s)
    steady = bool(np.ptp(course) <= settings.steady_share)
    over_time = mean * (np.ones_like(course) if steady else course)[:, None]
    return BeltSpeed(over_time, mean, error, steady)


def _alike(mid_s: FloatArray, share: FloatArray, settings: BeltSettings) -> BoolArray:
    """(N,) bool, stances whose speed lies near that of the stances around them in time, wherever the belt went.

    share (N,) speeds as shares of the side's first speed; nine stances are two strides.
    """
    order = np.argsort(mid_s, kind="stable")
    order = order[np.isfinite(share[order]) & (share[order] > settings.odd) & (share[order] < 1 / settings.odd)]
    found = np.zeros(len(share), dtype=bool)
    if len(order):
        usual = median_filter(share[order], size=settings.neighbours, mode="nearest")
        found[order] = np.abs(share[order] / usual - 1) < settings.near
    return found


def _weighted(values: FloatArray, sd: FloatArray) -> tuple[float, float]:
    """Weighted mean of the values within three spreads of their median, and its standard error."""
    middle = np.median(values)
    spread = max(1.4826 * float(np.median(np.abs(values - middle))), 1e-3 * abs(float(middle)))
    near = np.abs(values - middle) <= 3 * spread
    values, weight = values[near], 1 / (sd[near] ** 2 + spread**2)
    mean = float(np.average(values, weights=weight))
    return mean, float(np.sqrt(np.average((values - mean) ** 2, weights=weight) / len(values)))


def _course(t_s: FloatArray, mid_s: FloatArray, share: FloatArray, sd: FloatArray, width_s: float) -> FloatArray:
    """(T,) running weighted mean of stance speeds, as shares of the mean, shrunk towards 1 by their own doubt.

    Stances of other paws at the same time stand on the same belt: where they disagree by more than their own doubts
    say, all doubts are larger by that much (Birge 1932, doi:10.1103/PhysRev.40.207, from memory, not read).
    """
    if len(mid_s) < 4:
        return np.ones(len(t_s))
    knots = np.arange(t_s[0], t_s[-1] + width_s, width_s / 2)
    order = np.argsort(mid_s, kind="stable")
    mid_s, share, var = mid_s[order], share[order], (sd**2 + 0.02**2)[order]
    others, spread = _running(mid_s, mid_s, share, var, width_s, own=False)
    var = var * max(1.0, float(np.mean((share - others) ** 2 / (var + spread**2))))
    mean, doubt = _running(knots, mid_s, share, var, width_s)
    signal = max(float(np.var(mean)) - float(np.mean(doubt**2)), 0.0)
    return np.asarray(np.interp(t_s, knots, 1 + (mean - 1) * signal / (signal + doubt**2)))


def _running(
    at_s: FloatArray, mid_s: FloatArray, share: FloatArray, var: FloatArray, width_s: float, *, own: bool = True
) -> tuple[FloatArray, FloatArray]:
    """(K,) mean of the stances around each ``at_s``, and its SD; without ``own`` each stance is told by the others."""
    first = np.searchsorted(mid_s, at_s - 6 * width_s)  # what lies further off has no weight
    stop = np.searchsorted(mid_s, at_s + 6 * width_s)
    # but one either side there is
    near, place = frames_of(np.maximum(first - 1, 0), np.minimum(stop + 1, len(mid_s)))
    tau = np.minimum(((at_s[place] - mid_s[near]) / width_s) ** 2, 80.0)
    weight = np.exp(-0.5 * tau) / var[near] * (1.0 if own else near != place)
    total = span_sum(weight, place, len(at_s))
    mean = span_sum(weight * share[near], place, len(at_s)) / total
    return mean, np.sqrt(span_sum(weight**2 * var[near], place, len(at_s))) / total


def belt_slope(body: Body, stances: Stances, settings: BeltSettings) -> float:
    """deg, + rising forward: one slope through the standing paws of each side; 0 when too few stand."""
    top = bottom = 0.0
    frame, span = _cores(body, stances, settings.core)
    for side in SIDES:
        mine = stances.paw[span] % 2 == side
        if not mine.any() or span[mine][0] == span[mine][-1]:
            continue
        xy = body.xy_px[frame[mine], stances.paw[span[mine]]]
        x, y = xy[:, FORWARD] - xy[:, FORWARD].mean(), xy[:, UP] - xy[:, UP].mean()
        top, bottom = top + (x * y).sum(), bottom + (x * x).sum()
    if bottom == 0.0:
        return 0.0
    slope = float(np.degrees(np.arctan(top / bottom)))
    return slope if abs(slope) <= settings.steepest_deg else 0.0


def describe_belt(body: Body, speed: BeltSpeed, ground_px: FloatArray, trial: Trial) -> tuple[Belt, tuple[str, ...]]:
    """The noun, and sentences about the scale that must be shown. ground_px (T, 4) px, the ground under each paw."""
    by_belt = trial.belt_m_s / speed.mean_px_s if trial.belt_m_s and trial.clock_known else np.full(2, np.nan)
    by_height = _scale_by_height(body, ground_px, trial)
    source = "belt" if np.isfinite(by_belt).all() else "length" if np.isfinite(by_height) else ""
    if source == "length":
        by_belt = by_height * speed.mean_px_s.mean() / speed.mean_px_s
    sign = 1.0 if body.facing == "right" else -1.0
    belt = Belt(speed.mean_px_s, speed.sd_px_s, sign * body.angle_deg, speed.steady, by_belt, source)
    return belt, _scale_conflict(float(np.mean(by_belt)), by_height, source)


def _scale_by_height(body: Body, ground_px: FloatArray, trial: Trial) -> float:
    """m/px from the height of the withers over the ground, when a person gave it."""
    height = body.xy_px[:, WITHERS, UP] - ground_px.mean(axis=1)
    height = height[np.isfinite(height)]
    if trial.withers_cm is None or not len(height):
        return float("nan")
    return trial.withers_cm / 100 / float(np.median(height))


def _scale_conflict(by_belt: float, by_height: float, source: str) -> tuple[str, ...]:
    if source != "belt" or not abs(by_height / by_belt - 1) > 0.05:
        return ()
    return (
        f"Belt speed and withers height disagree on the scale by {100 * (by_height / by_belt - 1):.0f} %; "
        "the belt speed was used. Check both entries.",
    )
