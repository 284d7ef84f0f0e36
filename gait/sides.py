"""Whether near and far may be exchanged, judged from the tracks themselves.

Four signs: a pair whose paths go on smoothly only when exchanged; a pair that stays on one point (both follow the same
paw); a stance at the height of the other side's ground; a far side whose ground lies below the near side's (a camera
above the belt always sees it the other way round).
"""

from dataclasses import dataclass

import numpy as np

from gait.belt import Stances
from gait.body import UP, Body
from gait.spans import frames_of, span_mean, span_median
from pose.landmarks import PAIR_NAMES, PAIRS
from pose.tracks import BoolArray, FloatArray, IntArray

_SD_OF_STEPS = 1.4826 / 2**0.5  # from the median size of steps between independent values to the SD of one


@dataclass(frozen=True, slots=True)
class SideSettings:
    """Limits of doubt about near and far.

    least_side_score  0..1, mean below this over a stride means unsure; our own choice
    exchange          1, how much better, in squared noise SDs, an exchange has to fit; our own choice, see bend
    bend              body lengths x (frames per stride)^2, SD of an honest path's bend per frame squared: a fifth of
                      the sharpest, 2 x 19 (derived, see BodySettings.spike_curve); drawn dogs of every gait at 30 to
                      120 frames per second give no false alarm and miss no exchange from walk to canter
    long_enough       frames per stride, above it lines through three frames are compared, else through two
    misfit            1, the exchanged paths must fit to within this, squared noise SDs of 8 numbers; our own choice
    merged_bl         body lengths, a pair closer than this is on one point: half a paw's width; our own choice
    merged_share      share of the stride for which it may be: paws that cross part within a twentieth (derived from
                      swing speeds of twice the belt's)
    minority          share of the clip: if the lesser side of the exchanges is longer, nobody knows which is right
    apart_sd          1, near and far ground count as apart when this many SDs of a print lie between them
    least_apart_bl    body lengths, and at least this much: half a paw's width; our own choice
    wander            1, and at least this many SDs of a paw's height within its stances, and of the difference of two
                      levels as a paw's own successive stances show it: where paws stand in grass a whole stance is
                      off by as much as its frames are, and its next one by as much again; our own choice
    """

    least_side_score: float = 0.8
    exchange: float = 20.0
    bend: float = 8.0
    long_enough: float = 36.0
    misfit: float = 40.0
    merged_bl: float = 0.04
    merged_share: float = 0.12
    minority: float = 0.35
    apart_sd: float = 4.0
    least_apart_bl: float = 0.025
    wander: float = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class SideDoubt:
    """unsure (T, 2) bool, fore and hind pair; sentences that must be shown."""

    unsure: BoolArray
    notices: tuple[str, ...]


def doubt_sides(
    body: Body, raw: Body, stances: Stances, scale: tuple[float, float], settings: SideSettings
) -> SideDoubt:
    """Frames in which near and far of the fore or the hind pair may be exchanged.

    raw: the body before spikes were taken out, since an exchange looks like one; scale: noise px, stride period s.
    """
    noise_px, period_s = scale
    unsure = np.zeros((len(body.t_s), 2), dtype=bool)
    notices: list[str] = []
    for pair, members in enumerate(PAIRS):
        unsure[:, pair] |= _low_side_score(raw.side_score[:, pair], body, period_s, settings)
        unsure[:, pair] |= _exchanged(raw, members, (noise_px, period_s), settings)
        wrong, upside = _by_ground(body, members, stances, settings)
        unsure[:, pair] |= wrong | _merged(raw, members, period_s, settings)
        if upside:
            unsure[:, pair] = True
            notices.append(
                f"The far {PAIR_NAMES[pair]} paw lands lower in the picture than the near one: "
                "sides are probably exchanged."
            )
    return SideDoubt(unsure, tuple(notices))


def _low_side_score(score: FloatArray, body: Body, period_s: float, settings: SideSettings) -> BoolArray:
    """(T,) bool, running mean over half a stride below the limit; an unjudged table (NaN) is not in doubt."""
    known = np.isfinite(score)
    if not known.any():
        return np.zeros(len(score), dtype=bool)
    width = max(int(0.5 * period_s / body.frame_s), 1)
    bell = np.ones(width)
    total = np.convolve(np.where(known, score, 0.0), bell, "same")
    count = np.convolve(known.astype(float), bell, "same")
    return np.asarray((count > 0.5) & (total < settings.least_side_score * count))


def _exchanged(body: Body, members: tuple[int, int], scale: tuple[float, float], settings: SideSettings) -> BoolArray:
    """(T,) bool, the lesser part of the clip between frames at which an exchange fits better than none."""
    gain = _gain(body, members, scale, settings)
    jumps = np.flatnonzero((gain > settings.exchange) & (gain >= np.pad(gain, 1)[:-2]) & (gain > np.pad(gain, 1)[2:]))
    if not len(jumps):
        return np.zeros(len(body.t_s), dtype=bool)
    odd = np.cumsum(np.isin(np.arange(len(body.t_s)), jumps + 1)) % 2 == 1
    if min(odd.mean(), 1 - odd.mean()) > settings.minority:
        return np.ones(len(odd), dtype=bool)
    lesser = odd if odd.mean() <= 0.5 else ~odd
    margin = np.zeros(len(odd), dtype=bool)
    for step in range(-2, 3):
        margin[np.clip(jumps + step, 0, len(odd) - 1)] = True
    return np.asarray(lesser | margin)


def _seen_px(body: Body, members: tuple[int, int]) -> FloatArray:
    """(T, 2, 2) px, the places of a pair that were seen; a filled gap proves nothing."""
    pair = list(members)
    return np.where(body.seen[:, pair, None], body.xy_px[:, pair], np.nan)


def _merged(body: Body, members: tuple[int, int], period_s: float, settings: SideSettings) -> BoolArray:
    """(T,) bool, spans in which both paws of a pair keep to one point for longer than paws that cross."""
    xy = _seen_px(body, members)
    close = np.asarray(
        ((xy[:, 0] - xy[:, 1]) ** 2).sum(axis=1) < (settings.merged_bl * body.length_px) ** 2, dtype=bool
    )
    edges = np.flatnonzero(np.diff(np.pad(close.astype(np.int8), 1)))
    least = max(settings.merged_share * period_s / body.frame_s, 3.0)
    for first, stop in zip(edges[::2], edges[1::2], strict=True):
        close[first:stop] = stop - first >= least
    return close


def _gain(body: Body, members: tuple[int, int], scale: tuple[float, float], settings: SideSettings) -> FloatArray:
    """(T,) how much better the paths fit from each frame to the next when the pair is exchanged there."""
    noise_px, period_s = scale
    per_stride = period_s / body.frame_s
    count, width = len(body.t_s), 3 if per_stride > settings.long_enough else 2
    gain = np.zeros(count)
    before, after = _lines(_seen_px(body, members), width)
    slack = settings.bend * body.length_px / per_stride**2
    reach = width / 2
    tau2 = (width**2 - 1) / 12 * width  # sum of squared times about the middle of the window
    place_var = 2 * noise_px**2 * (1 / width + reach**2 / tau2) + (reach**2 * slack) ** 2
    pace_var = 2 * noise_px**2 / tau2 + (width * slack) ** 2
    costs = []
    for order in ([0, 1], [1, 0]):
        place, pace = before[0] - after[0][:, order], before[1] - after[1][:, order]
        costs.append((place**2).sum(axis=(1, 2)) / place_var + (pace**2).sum(axis=(1, 2)) / pace_var)
    fits = costs[1] < settings.misfit  # a slip of the tracker fits neither way
    gain[width - 1 : count - width] = np.where(fits, np.nan_to_num(costs[0] - costs[1], nan=0.0), 0.0)
    return gain


def _lines(xy: FloatArray, width: int) -> tuple[tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
    """Lines through ``width`` frames before and after each step between frames: place there, pace per frame.

    xy (T, 2, 2); four arrays (T - 2 width + 1, 2, 2).
    """
    tau = np.arange(width) - (width - 1) / 2
    parts = [xy[k : len(xy) - width + 1 + k] for k in range(width)]
    stack = np.stack(parts)
    mean, pace = stack.mean(axis=0), np.tensordot(tau, stack, axes=1) / (tau**2).sum()
    early, late = slice(0, len(mean) - width), slice(width, len(mean))
    half = width / 2
    return (mean[early] + half * pace[early], pace[early]), (mean[late] - half * pace[late], pace[late])


def _by_ground(
    body: Body, members: tuple[int, int], stances: Stances, settings: SideSettings
) -> tuple[BoolArray, bool]:
    """(T,) bool frames of stances whose ground lies on the wrong side of the other paw's; and whether most do.

    Each stance is compared with the stance of the other paw nearest in time, so a camera that sways does no harm.
    """
    wrong = np.zeros(len(body.t_s), dtype=bool)
    near, far = (_levels(body, stances, paw) for paw in members)
    if min(len(near[0]), len(far[0])) < 3:
        return wrong, False
    own, other = (near, far) if len(near[0]) >= len(far[0]) else (far, near)
    partner = _nearest(own[1], other[1])
    apart = (other[2][partner] - own[2]) * (1 if own is near else -1)
    spread = 1.4826 * float(np.median(np.abs(np.abs(apart) - np.median(np.abs(apart)))))
    within = float(np.sqrt(np.mean(np.concatenate([near[3], far[3]]) ** 2)))
    between = _SD_OF_STEPS * float(np.median(np.abs(np.concatenate([np.diff(near[2]), np.diff(far[2])]))))
    wander = settings.wander * max(within, float(np.sqrt(2)) * between)
    limit = max(settings.apart_sd * spread / 2, settings.least_apart_bl * body.length_px, wander)
    if np.median(np.abs(apart)) < limit:
        return wrong, False
    for k in np.flatnonzero(apart < 0):
        for i in (own[0][k], other[0][partner[k]]):
            wrong[stances.first[i] : stances.last[i] + 1] = True
    return wrong, bool(np.median(apart) < 0)


def _nearest(times: FloatArray, others: FloatArray) -> IntArray:
    """Number of the one of ``others`` (rising) nearest to each of ``times``."""
    right = np.clip(np.searchsorted(others, times), 0, len(others) - 1)
    left = np.maximum(right - 1, 0)
    return np.where(np.abs(others[left] - times) <= np.abs(others[right] - times), left, right).astype(np.int64)


def _levels(body: Body, stances: Stances, paw: int) -> tuple[IntArray, FloatArray, FloatArray, FloatArray]:
    """Numbers of the paw's stances, their middle times (s), the median height of each (px) and its SD within (px)."""
    mine = np.flatnonzero(stances.paw == paw)
    frame, span = frames_of(stances.first[mine], stances.last[mine] + 1)
    n = len(mine)
    time = span_mean(body.t_s[frame], span, n)
    y = body.xy_px[frame, paw, UP]
    known = np.isfinite(y)
    y, span = y[known], span[known]
    level = span_median(y, span, n)
    scatter = 1.4826 * span_median(np.abs(y - level[span]), span, n)
    enough = np.bincount(span, minlength=n) >= 3
    return mine[enough], time[enough], level[enough], scatter[enough]
