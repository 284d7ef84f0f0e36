"""The back within each stride: angle, range, vertical excursion, place and drift on the belt."""

from collections.abc import Callable

import numpy as np

from gait.body import FORWARD, UP, Body
from gait.rows import Rows
from gait.spans import frames_of, span_mean, span_range, span_sum
from pose.landmarks import CROUP, WITHERS
from pose.tracks import FloatArray, IntArray

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
    whole = np.isfinite(rows.start_s) & np.isfinite(rows.end_s)
    first, stop = (np.searchsorted(body.t_s, np.where(whole, at, body.t_s[0])) for at in (rows.start_s, rows.end_s))
    frame, span = frames_of(first, stop)
    angle, place = topline_angle(body), body.trunk_px[:, FORWARD] / body.length_px
    place = np.full_like(place, np.nan) if body.held else place
    whole &= stop - first >= LEAST_FRAMES
    time = np.where(whole, rows.end_s - rows.start_s, 1.0)
    share = (body.t_s[frame] - rows.start_s[span]) / time[span]
    drawn = {"topline_deg": _of_known(angle[frame], span, len(rows), span_mean)}
    drawn["topline_range_deg"] = _of_known(angle[frame], span, len(rows), span_range)
    for name, landmark in (("withers", WITHERS), ("croup", CROUP)):
        up = body.smooth_px[frame, landmark, UP] / body.length_px
        drawn[f"{name}_excursion_bl"] = _of_known(up, span, len(rows), span_range)
        drawn[f"{name}_second_share"] = _second_share(share, up, span, len(rows))
    mean = span_mean(place[frame], span, len(rows))
    tau = body.t_s[frame] - span_mean(body.t_s[frame], span, len(rows))[span]
    spread = span_sum(tau**2, span, len(rows))
    drawn["place_bl"] = mean
    drawn["drift_bl_s"] = span_sum(tau * place[frame], span, len(rows)) / np.where(spread > 0, spread, np.nan)
    return {name: np.where(whole, drawn[name], np.nan) for name in COLUMNS}


def _of_known(values: FloatArray, span: IntArray, count: int, of: Callable[..., FloatArray]) -> FloatArray:
    """``of`` the known values of each span; NaN where fewer than half of them are known."""
    known = np.isfinite(values)
    enough = 2 * np.bincount(span[known], minlength=count) >= np.bincount(span, minlength=count)
    return np.where(enough, of(values[known], span[known], count), np.nan)


def _second_share(share: FloatArray, up_bl: FloatArray, span: IntArray, count: int) -> FloatArray:
    """(count,) share of the movement's power with two cycles per stride, of one, two and three; least squares."""
    known = np.isfinite(up_bl)
    number = np.bincount(span[known], minlength=count)
    enough = number >= np.maximum(12, np.bincount(span, minlength=count) / 2)
    kept = known & enough[span]
    share, up_bl, span = share[kept], up_bl[kept], span[kept]
    found, full = np.full(count, np.nan), np.flatnonzero(enough)
    if not len(full):
        return found
    waves = [f(2 * np.pi * n * share) for n in (1, 2, 3) for f in (np.cos, np.sin)]
    base = np.stack([np.ones_like(share), share - 0.5, *waves], axis=1)
    begin = np.searchsorted(span, full)
    matrix = np.add.reduceat(base[:, :, None] * base[:, None, :], begin, axis=0)
    vector = np.add.reduceat(base * up_bl[:, None], begin, axis=0)
    fits = np.linalg.cond(matrix) < 1e10  # a stride seen in one part only tells no waves
    parts = np.linalg.solve(np.where(fits[:, None, None], matrix, np.eye(8)), vector[..., None])[:, 2:, 0]
    power = parts[:, 0::2] ** 2 + parts[:, 1::2] ** 2
    total = power.sum(axis=1)
    found[full] = np.where(fits & (total > 1e-12), power[:, 1] / np.maximum(total, 1e-12), np.nan)
    return found
