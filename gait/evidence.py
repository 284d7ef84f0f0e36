"""The evidence for each time at which a paw may have left the belt, its path after that a cubic with priors."""

from dataclasses import dataclass

import numpy as np

from pose.tracks import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """One coordinate around each event. tau, y, w (N, W) s, px, 1/px^2; scale px; base_sd px and tilt_sd px/s, prior
    SDs of the resting place and of its own speed; mean, sd (3,) or (N, 3) prior of the coefficients."""

    tau: FloatArray
    y: FloatArray
    w: FloatArray
    scale: float
    base_sd: float
    tilt_sd: float
    mean: FloatArray
    sd: FloatArray


def log_evidence(views: tuple[View, ...], grid: tuple[FloatArray, FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Log evidence (N, G) of each time on the grid: Gaussian linear models, their five coefficients integrated out; and
    how far the path after it is from the prior's mean for that time (3 per view, N, G), in SDs of the prior.

    grid: times tried (N, G) s and duration of the swing (N,) s.
    """
    offsets, swing_s = grid
    s = np.maximum(views[0].tau[:, None, :] - offsets[:, :, None], 0.0) / swing_s[:, None, None]
    square = s * s
    cube = square * s
    powers = (s, square, cube, square * square, square * cube, cube * cube)
    evidence, paths = zip(*(_log_evidence_of(view, powers) for view in views), strict=True)
    return np.asarray(sum(evidence)), np.concatenate(paths)


def _log_evidence_of(view: View, powers: tuple[FloatArray, ...]) -> tuple[FloatArray, FloatArray]:
    """The same of one view, from weighted sums of the powers 1 to 6 (N, G, W) of the share of the swing done."""
    w, tau, y = view.w, view.tau, view.y
    sums = [power @ np.stack([w, w * tau, w * y], axis=2) for power in powers[:3]]  # each (N, G, 3)
    moment = [*(each[..., 0] for each in sums), *((power @ w[..., None])[..., 0] for power in powers[3:])]
    scale = view.scale
    a, sd = (np.broadcast_to(p, (len(tau), 3)).T[:, :, None] for p in (view.mean, view.sd))
    still = [(w * values).sum(axis=1)[:, None] for values in (np.ones_like(tau), tau, tau * tau, y, tau * y, y * y)]
    m = np.empty((5, 6, *moment[0].shape))  # the normal equations, right-hand side last
    m[0, 0], m[0, 1], m[1, 1] = still[0] + 1 / view.base_sd**2, still[1], still[2] + 1 / view.tilt_sd**2
    for i in range(3):
        m[0, 2 + i], m[1, 2 + i] = scale * sums[i][..., 0], scale * sums[i][..., 1]
        for j in range(3):
            m[2 + i, 2 + j] = scale**2 * moment[i + j + 1] + (i == j) / sd[i] ** 2
    shifted = [sum(a[j] * scale**2 * moment[i + j + 1] for j in range(3)) for i in range(3)]
    m[0, 5] = still[3] - sum(a[i] * m[0, 2 + i] for i in range(3))
    m[1, 5] = still[4] - sum(a[i] * m[1, 2 + i] for i in range(3))
    along = [scale * each[..., 2] for each in sums]
    for i in range(3):
        m[2 + i, 5] = along[i] - shifted[i]
    left = still[5] + sum(a[i] * (shifted[i] - 2 * along[i]) for i in range(3))
    evidence = _integrated(m, left)
    return evidence, _last_three(m) / sd


def _integrated(m: FloatArray, left: FloatArray) -> FloatArray:
    """Log of a Gaussian integral: m (5, 6, N, G), upper half of the normal equations beside their right-hand side;
    left (N, G), what is to be explained. One elimination, in place, gives both the fit and the determinant."""
    log_size = np.zeros_like(left)
    size = len(m)
    for i in range(size):
        log_size += np.log(m[i, i])
        left = left - m[i, size] ** 2 / m[i, i]
        for j in range(i + 1, size):
            m[j, j:] -= m[i, j] / m[i, i] * m[i, j:]
    return np.asarray(-0.5 * left - 0.5 * log_size)


def _last_three(m: FloatArray) -> FloatArray:
    """(3, N, G) the last unknowns of normal equations (5, 6, N, G) after elimination."""
    third = m[4, 5] / m[4, 4]
    second = (m[3, 5] - m[3, 4] * third) / m[3, 3]
    first = (m[2, 5] - m[2, 3] * second - m[2, 4] * third) / m[2, 2]
    return np.stack([first, second, third])


def moments(offsets: FloatArray, evidence: FloatArray, paths: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean (N,) and SD (N,) of the event time over the grid (trapezoid weights), and how far each coefficient of the
    paths moves it (C, N), per SD of its prior.

    A linear fit whose unknowns have priors errs by its noise and by the unknowns themselves: unknown i, which covaries
    with the time by c when both are known afterwards, moves it by c per SD of the prior (derived).
    """
    weight = np.exp(np.maximum(evidence - evidence.max(axis=1, keepdims=True), -100.0))
    weight *= np.gradient(offsets, axis=1)
    weight /= weight.sum(axis=1, keepdims=True)
    mean = (weight * offsets).sum(axis=1)
    away = weight * (offsets - mean[:, None])
    variance = (away * offsets).sum(axis=1)
    return mean, np.sqrt(np.maximum(variance, 0.0)), (away * paths).sum(axis=2)
