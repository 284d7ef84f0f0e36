"""The back within each stride: angle, range, vertical excursion, place and drift on the belt."""

import numpy as np

from gait.body import FORWARD, UP, Body
from gait.rows import Rows
from pose.landmarks import CROUP, WITHERS
from pose.tracks import FloatArray

COLUMNS = (
    "topline_deg",
    "topline_range_deg",
    "withers_excursion_bl",
    "croup_excursion_bl",
    "withers_second_share",
    "croup_second_share",
    "place_bl",
    "drift_bl_s",
)

#: Fewest frames of a stride that have a slope and a scatter about it (derived).
LEAST_FRAMES = 3


def topline_angle(body: Body) -> FloatArray:
    """(T,) deg, line from withers to croup against the belt line, + croup higher."""
    line = body.smooth_px[:, CROUP] - body.smooth_px[:, WITHERS]
    return np.asarray(np.degrees(np.arctan2(line[:, UP], np.abs(line[:, FORWARD]))))


def topline_columns(body: Body, rows: Rows) -> dict[str, FloatArray]:
    """Columns (R,) named in COLUMNS; NaN where a stride is cut or the back was not seen for half of it."""
    angle, place = topline_angle(body), body.trunk_px[:, FORWARD] / body.length_px
    place = np.full_like(place, np.nan) if body.held else place
    table = np.full((len(rows), len(COLUMNS)), np.nan)
    for i in range(len(rows)):
        if np.isnan(rows.start_s[i]) or np.isnan(rows.end_s[i]):
            continue
        a, b = np.searchsorted(body.t_s, [rows.start_s[i], rows.end_s[i]])
        if b - a < LEAST_FRAMES:
            continue
        t = (body.t_s[a:b] - rows.start_s[i]) / (rows.end_s[i] - rows.start_s[i])
        ups = body.smooth_px[a:b, [WITHERS, CROUP], UP] / body.length_px
        table[i, :2] = _mean_and_range(angle[a:b])
        for k in (0, 1):
            table[i, 2 + k], table[i, 4 + k] = _excursion(t, ups[:, k])
        mean, tau = place[a:b].mean(), body.t_s[a:b] - body.t_s[a:b].mean()
        table[i, 6:] = mean, tau @ place[a:b] / (tau @ tau)
    return dict(zip(COLUMNS, table.T, strict=True))


def _mean_and_range(values: FloatArray) -> tuple[float, float]:
    known = values[np.isfinite(values)]
    if 2 * len(known) < len(values) or not len(known):
        return np.nan, np.nan
    return float(known.mean()), float(np.ptp(known))


def _excursion(t: FloatArray, up_bl: FloatArray) -> tuple[float, float]:
    """Range (bl), and the share of the movement's variance with two cycles per stride (of one, two, three)."""
    known = np.isfinite(up_bl)
    if known.sum() < max(12, len(t) / 2):
        return _mean_and_range(up_bl)[1], np.nan
    t, y = t[known], up_bl[known]
    waves = [f(2 * np.pi * n * t) for n in (1, 2, 3) for f in (np.cos, np.sin)]
    parts = np.linalg.lstsq(np.stack([np.ones_like(t), t - 0.5, *waves], axis=1), y, rcond=None)[0][2:]
    power = parts[0::2] ** 2 + parts[1::2] ** 2
    total = float(power.sum())
    return float(np.ptp(y)), float(power[1] / total) if total > 1e-12 else np.nan
