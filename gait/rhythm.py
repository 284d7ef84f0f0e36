"""The clip's own stride period and the local fits that everything else scales by it."""

from dataclasses import dataclass, replace

import numpy as np

from gait.body import Body
from pose.landmarks import PAIRS
from pose.tracks import FloatArray


@dataclass(frozen=True, slots=True)
class RhythmSettings:
    """How the stride period is found.

    least_swing_bl   body lengths, paws that move less under the trunk make no strides; a slow walk moves 0.5 or more;
                     common practice, no source
    least_agreement  0..1, lowest autocorrelation that counts as a rhythm; common practice
    least_in_pair    0..1, the same for two paws asked alone, which agree by chance more easily; our own choice
    near_best        1, the shortest delay that reaches this share of the best wins (twice the period fits as well)
    shortest_s       s, no dog strides faster: 4.2 Hz at 1 kg by Heglund & Taylor 1988 (from memory, not read), halved;
                     used only when the clock is known
    longest_share    share of the clip, a longer period cannot repeat within it
    window           share of the period, SD of the weights of local fits: a stance of a third holds five of them
    """

    least_swing_bl: float = 0.15
    least_agreement: float = 0.3
    least_in_pair: float = 0.7
    near_best: float = 0.8
    shortest_s: float = 0.12
    longest_share: float = 0.7
    window: float = 0.03


def stride_period(body: Body, clock_known: bool, settings: RhythmSettings) -> float:
    """s, the delay after which the paws repeat best (autocorrelation); NaN without a rhythm.

    All four are asked together; when they do not agree, each pair is, and the one that repeats better is believed:
    a pair that is lost in grass must not hide the stride that the other pair shows.
    """
    step = body.frame_s
    grid = np.arange(body.t_s[0], body.t_s[-1] + step / 2, step)
    if len(grid) < 8:
        return float("nan")
    paws = [_on_grid(body, paw, grid) for paw in range(4)]
    repeats = {
        paw: _autocorrelation(x)[: int(settings.longest_share * len(grid))]
        for paw, x in enumerate(paws)
        if len(x) and np.quantile(x, 0.95) - np.quantile(x, 0.05) > settings.least_swing_bl
    }
    lowest = max(4, int((settings.shortest_s if clock_known else 0.0) / step))
    best = _best_delay(list(repeats.values()), lowest, len(grid), settings.least_agreement, settings)
    if not np.isfinite(best[0]):
        pairs = [[repeats[paw] for paw in pair] for pair in PAIRS if all(paw in repeats for paw in pair)]
        found = [_best_delay(pair, lowest, len(grid), settings.least_in_pair, settings) for pair in pairs]
        best = max(found, key=lambda one: one[1], default=best)
    return best[0] * step


def _on_grid(body: Body, paw: int, grid: FloatArray) -> FloatArray:
    """(G,) body lengths ahead of the trunk, evenly spaced in time; empty when hardly seen."""
    x = body.relative_px[:, paw] / body.length_px
    seen = np.isfinite(x)
    if seen.mean() < 0.3:
        return np.empty(0)
    return np.interp(grid, body.t_s[seen], x[seen])


def _autocorrelation(x: FloatArray) -> FloatArray:
    """(G,) 1 at delay 0; each delay divided by the frames that overlap."""
    x = x - x.mean()
    n = len(x)
    spectrum = np.fft.rfft(x, 2 * n)
    raw = np.fft.irfft(np.abs(spectrum) ** 2)[:n] / (n - np.arange(n))
    return np.asarray(raw / raw[0])


def _best_delay(
    paws: list[FloatArray], lowest: int, count: int, least: float, settings: RhythmSettings
) -> tuple[float, float]:
    """Frames (with a parabola through the top), NaN when nothing repeats; and what that peak is worth.

    paws: the agreement of each with itself (D,) after 0, 1, 2... frames; their mean counts from ``least`` on.
    count: frames of the clip. Peaks are compared by agreement times overlap: long delays find few strides that agree
    by chance, or because both stretches miss what is bad in between (exchanged sides, a lost second).
    """
    if not paws:
        return float("nan"), 0.0
    agreement = np.mean(paws, axis=0)
    inner = agreement[1:-1]
    peaks = 1 + np.flatnonzero((inner > agreement[:-2]) & (inner >= agreement[2:]))
    peaks = peaks[(peaks >= lowest) & (agreement[peaks] >= least)]
    if not len(peaks):
        return float("nan"), 0.0
    worth = agreement[peaks] * (1 - peaks / count)
    top = int(peaks[worth >= settings.near_best * worth.max()][0])
    before, here, after = agreement[top - 1 : top + 2]
    bend = before - 2 * here + after
    return top + (0.5 * (before - after) / bend if bend < 0 else 0.0), float(worth.max())


def with_motion(body: Body, width_s: float) -> Body:
    """``body`` with its local fits made; ``width_s`` s is the SD of their weights."""
    smooth, slope = local_fit(body.t_s, body.xy_px, body.weight[..., None] * np.ones(2), width_s)
    return replace(body, smooth_px=smooth, slope_px_s=slope)


def local_fit(t_s: FloatArray, y: FloatArray, weight: FloatArray, width_s: float) -> tuple[FloatArray, FloatArray]:
    """Smoothed value and slope of ``y`` by a local parabola with Gaussian weights of SD ``width_s``.

    t_s (T,) s; y and weight (T, ...), weight 0 = missing. Returns two arrays shaped like y; NaN where fewer than
    three frames lie near.
    """
    reach = max(2, int(np.ceil(2.5 * width_s / np.median(np.diff(t_s)))))
    y0 = np.where(weight > 0, y, 0.0)
    sums = np.zeros((3, 3, *y.shape))
    right = np.zeros((3, *y.shape))
    for shift in range(-reach, reach + 1):
        dst, src = _shifted(len(t_s), shift)
        tau = (t_s[src] - t_s[dst]) / width_s
        near = weight[src] * _bell(tau).reshape(-1, *[1] * (y.ndim - 1))
        for i in range(3):
            power = tau.reshape(-1, *[1] * (y.ndim - 1)) ** i
            right[i, dst] += near * power * y0[src]
            for j in range(3):
                sums[i, j, dst] += near * power * tau.reshape(-1, *[1] * (y.ndim - 1)) ** j
    return _solve_parabola(sums, right, width_s)


def _bell(tau: FloatArray) -> FloatArray:
    return np.asarray(np.exp(-0.5 * np.minimum(tau**2, 50.0)))


def _shifted(count: int, shift: int) -> tuple[slice, slice]:
    """Slices of the frames that have a neighbour ``shift`` frames on, and of those neighbours."""
    size = max(count - abs(shift), 0)
    start = max(-shift, 0)
    return slice(start, start + size), slice(start + shift, start + shift + size)


def _solve_parabola(sums: FloatArray, right: FloatArray, width_s: float) -> tuple[FloatArray, FloatArray]:
    matrix = np.moveaxis(sums, (0, 1), (-2, -1))
    vector = np.moveaxis(right, 0, -1)[..., None]
    ridge = np.diag([0.0, 0.0, 1e-3])  # keeps three frames at the very end from swinging wildly
    usable = np.linalg.det(matrix + np.eye(3) * 1e-12) > 1e-6
    safe = np.where(usable[..., None, None], matrix + ridge, np.eye(3))
    solution = np.linalg.solve(safe, vector)[..., 0]
    value = np.where(usable, solution[..., 0], np.nan)
    slope = np.where(usable, solution[..., 1] / width_s, np.nan)
    return value, slope
