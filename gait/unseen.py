"""Where nothing was seen, and where near and far may be exchanged, as spans of time and not of frames."""

from dataclasses import dataclass

import numpy as np

from gait.belt import Stances
from gait.body import FORWARD, Body
from gait.footfalls import EVENTS, HIND, Footfalls
from gait.phases import judged
from gait.rows import Rows
from pose.tracks import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class UnseenSettings:
    """When time without frames, or near an exchange of sides, counts as not seen.

    jump_frames  frames, a longer time between two frames is a hole in the film and no low rate: a phone in poor light
                 halves its rate (common practice, no source); and
    jump_share   share of the stride, at least this long: the shortest stance that is believed could hide in it
                 (see PhaseSettings.shortest)
    edge         share of the stride around an exchange of sides in which events are not believed: the local fits
                 reach 2.5 of their SDs of 0.03 of a stride across it (see RhythmSettings.window)
    step         stride lengths, a paw that is further on along the belt after it was not seen has stepped: halfway
                 between none and one
    """

    jump_frames: float = 2.5
    jump_share: float = 0.09
    edge: float = 0.075
    step: float = 0.5


def unseen_s(
    body: Body, period_s: float, spans: tuple[IntArray, FloatArray, FloatArray], s: UnseenSettings = UnseenSettings()
) -> FloatArray:
    """(R,) s for which a paw was not seen within each span: paw (R,), start (R,) s, end (R,) s; NaN for an open span.

    A hole in the film counts as not seen, however few frames it has.
    """
    paw, start, end = spans
    step, hole = np.diff(body.t_s), np.diff(body.t_s) > _longest_step(body, period_s, s)
    known = np.isfinite(start) & np.isfinite(end)
    low, high = (np.where(known, edge, body.t_s[0]) for edge in (start, end))
    found = np.full(len(paw), np.nan)
    for one in range(4):
        seen = body.seen[:, one].astype(float)
        share = np.where(hole, 1.0, 1 - (seen[1:] + seen[:-1]) / 2)
        total = np.concatenate([[0.0], np.cumsum(share * step)])
        mine = (paw == one) & known
        found[mine] = np.interp(high[mine], body.t_s, total) - np.interp(low[mine], body.t_s, total)
    return found


def _longest_step(body: Body, period_s: float, s: UnseenSettings) -> float:
    """s, two frames further apart than this have a hole between them."""
    return max(s.jump_frames * body.frame_s, s.jump_share * period_s)


def split_unseen(
    body: Body, stances: Stances, speed_px_s: FloatArray, period_s: float, s: UnseenSettings = UnseenSettings()
) -> Stances:
    """``stances`` with those taken apart in which the paw steps on while it is not seen; speed_px_s (T, 2) belt."""
    firsts, lasts, paws = list(stances.first), list(stances.last), list(stances.paw)
    for paw in range(4):
        for i, j in _unseen_steps(body, paw, speed_px_s[:, paw % 2], period_s, s):
            for k in np.flatnonzero((np.array(paws) == paw) & (np.array(firsts) <= i) & (np.array(lasts) >= j)):
                firsts.append(j)
                lasts.append(lasts[k])
                paws.append(paw)
                lasts[k] = i
    order = np.lexsort((firsts, paws))
    return Stances(*(np.array(column, dtype=np.int64)[order] for column in (paws, firsts, lasts)))


def _unseen_steps(
    body: Body, paw: int, speed_px_s: FloatArray, period_s: float, s: UnseenSettings
) -> list[tuple[int, int]]:
    """Pairs of frames, the last before and the first after a paw was not seen, between which it stepped on."""
    seen = np.flatnonzero(judged(body)[:, paw])
    i, j = seen[:-1], seen[1:]
    t, x = body.t_s, body.xy_px[:, paw, FORWARD]
    lost = (j - i > 1) | (t[j] - t[i] > _longest_step(body, period_s, s))
    i, j = i[lost], j[lost]
    speed = (speed_px_s[i] + speed_px_s[j]) / 2
    stepped = x[j] - x[i] + speed * (t[j] - t[i]) > s.step * speed * period_s
    return list(zip(i[stepped].tolist(), j[stepped].tolist(), strict=True))


def sides_doubted(
    t_s: FloatArray, unsure: BoolArray, f: Footfalls, period_s: float, s: UnseenSettings = UnseenSettings()
) -> BoolArray:
    """(R, 2) bool, hind strides among whose own events, fore and hind pair, sides may be exchanged.

    t_s (T,) s; unsure (T, 2) bool. A fore paw may land before its hind stride begins: the span is that of the events.
    """
    found = np.zeros((len(f.start), 2), dtype=bool)
    for pair in (0, 1):
        mine = [getattr(f, name) for name in EVENTS if ("fore" in name) == (pair == 0)]
        low, high = np.fmin.reduce([*mine, f.start]), np.fmax.reduce([*mine, f.end])
        found[:, pair] = any_between(t_s, unsure[:, pair], low - s.edge * period_s, high + s.edge * period_s)
    return found


def exchanged_beside(
    t_s: FloatArray, unsure: BoolArray, rows: Rows, period_s: float, s: UnseenSettings = UnseenSettings()
) -> BoolArray:
    """(R,) bool, strides of paws whose sides may be exchanged within them or close enough to spoil their ends."""
    near = s.edge * period_s
    pairs = [any_between(t_s, unsure[:, pair], rows.start_s - near, rows.end_s + near) for pair in (0, 1)]
    return np.where(rows.paw < HIND, pairs[0], pairs[1])


def any_between(t_s: FloatArray, flags: BoolArray, low_s: FloatArray, high_s: FloatArray) -> BoolArray:
    """(R,) bool, whether any of ``flags`` (T,), empty = none, holds from ``low_s`` to ``high_s`` (R,) s.

    False for an open span.
    """
    flags = flags if len(flags) else np.zeros(len(t_s), dtype=bool)
    count = np.concatenate([[0], np.cumsum(flags)])
    known = np.isfinite(low_s) & np.isfinite(high_s)
    first = np.searchsorted(t_s, np.where(known, low_s, t_s[0]))
    stop = np.searchsorted(t_s, np.where(known, high_s, t_s[0]), side="right")
    return known & (count[stop] > count[np.minimum(first, stop)])
