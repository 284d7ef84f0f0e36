"""How paws leave and land, learned from all swings of a pair together.

One swing among noise does not tell how softly a paw leaves the belt; fifty laid over each other do. Each is measured by
its own length, print to print, and by the time that the middle half of its way takes, which is sharp even in noise. The
mean is fitted twice (see gait.meanpath): as a paw that leaves and lands on the move, and as one that may do so at rest.

At the beginning both fit a paw that rolls over its toes: it creeps forward while it still bears weight. Lift-offs are
therefore timed by the first fit, and the heights only follow it, since a rolling paw rises before it leaves. Nothing
rolls when a paw lands, so touchdowns are timed by the second, and the heights help to find them. What lies between the
two is doubt that all stances of the clip have in common.
"""

from dataclasses import dataclass, field

import numpy as np

from gait.belt import Stances
from gait.body import FORWARD, Body
from gait.meanpath import Course, MeanSettings, averaged, known_path
from gait.spans import frames_of, span_median, span_sum
from pose.tracks import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class SwingSettings:
    """Which swings are learned from. Our own choices.

    early, late   shares of the way between which a swing is timed: its fast half
    least         swings of a pair, with fewer nothing is learned
    least_step    body lengths, shorter ways are no swings
    alike         1, nor are those learned from that are longer or shorter than the usual one by this factor
    moving        power of time with which the speed of a paw grows that still counts as leaving on the move, so that
                  such a paw does not sit at the edge of what is tried
    resting       the same of a paw that leaves or lands at rest: with 2 even the force on it is continuous
    mean          how means are fitted
    """

    early: float = 0.25
    late: float = 0.75
    least: int = 5
    least_step: float = 0.1
    alike: float = 1.4
    moving: float = 1.1
    resting: float = 2.0
    mean: MeanSettings = field(default_factory=MeanSettings)


@dataclass(frozen=True, slots=True, eq=False)
class Swings:
    """The swings of a clip.

    before, after    (S,) numbers of the stances around each
    begin_s, fast_s  (S,) s, beginning and duration of its fast half; NaN = not seen whole
    alike            (S,) bool, about as long as the others of its pair, and no stand beside it
    course           all frames seen, time in fast halves after the beginning of its own
    swing            (M,) number of the swing of each of these frames
    """

    before: IntArray
    after: IntArray
    begin_s: FloatArray
    fast_s: FloatArray
    alike: BoolArray
    course: Course
    swing: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Manner:
    """How paws leave, or how they land. N stances, 2 pairs, fore and hind.

    known    (N,) bool, the swing beside the stance is like those that were learned from
    path     (N, 6) linear, square and cubic coefficient of the way, by shares of the swing, and those of the height
    swing_s  (N,) s, its duration
    learned  (2,) bool, there were enough swings
    give_s   (2,) s, SD, how far all events of the pair may lie further towards rest
    doubt    (2, 6, 6) 1, how independent causes (SD 1) move the coefficients: the doubt of the mean path
    """

    known: BoolArray
    path: FloatArray
    swing_s: FloatArray
    learned: BoolArray
    give_s: FloatArray
    doubt: FloatArray


#: Events of a pair below which their scatter says nothing.
LEAST_SCATTER = 6


def list_swings(
    body: Body, places: tuple[FloatArray, FloatArray], prints_px: FloatArray, stances: Stances, s: SwingSettings
) -> Swings:
    """All swings from print to print. places: (T, 4) px paws in belt coordinates, and (T, 4) heights, shares of the
    height of a swing; prints_px (N,) px."""
    belt_px, high = places
    before = np.flatnonzero(stances.paw[1:] == stances.paw[:-1])
    step = prints_px[before + 1] - prints_px[before]
    before = before[np.isfinite(step) & (step > s.least_step * body.length_px)]
    after, first = before + 1, prints_px[before]
    step = prints_px[after] - first
    middle = (stances.first + stances.last) // 2
    frame, swing = frames_of(middle[before], middle[after] + 1)
    paw = stances.paw[before][swing]
    x, t, seen = body.xy_px[frame, paw, FORWARD], body.t_s[frame], body.seen[frame, paw]
    way = (belt_px[frame, paw] - first[swing]) / step[swing]
    smooth = np.where(seen, way + (body.smooth_px[frame, paw, FORWARD] - x) / step[swing], np.nan)
    begin, end = (_rise(t, smooth, swing, len(before), level, body.frame_s) for level in (s.early, s.late))
    fast = np.where(end > begin, end - begin, np.nan)
    time = (t - begin[swing]) / fast[swing]
    pair, timed = stances.paw[before] // 2, np.isfinite(fast)
    alike = np.abs(np.log(fast / span_median(fast[timed], pair[timed], 2)[pair])) < np.log(s.alike)
    if len(body.unsteady):
        alike &= span_sum(body.unsteady[frame].astype(float), swing, len(before)) == 0
    ahead = body.relative_px[frame, paw] / step[swing]
    course = Course(time, way, ahead, high[frame, paw])
    kept = seen & np.isfinite(time) & np.isfinite(way) & np.isfinite(ahead) & np.isfinite(course.high)
    return Swings(before, after, begin, fast, alike, course.where(kept), swing[kept])


def _rise(t: FloatArray, way: FloatArray, swing: IntArray, count: int, level: float, frame_s: float) -> FloatArray:
    """(count,) s, when the way done first rises through the level with one frame missing at most; NaN = not seen."""
    found = np.full(count, np.nan)
    known = np.isfinite(way)
    t, way, swing = t[known], way[known], swing[known]
    rises = (way[1:] >= level) & (way[:-1] < level) & (swing[1:] == swing[:-1]) & (np.diff(t) < 2.6 * frame_s)
    at = np.flatnonzero(rises)[::-1]  # backwards, so that the first of each swing is written last
    found[swing[at]] = t[at] + (level - way[at]) / (way[at + 1] - way[at]) * (t[at + 1] - t[at])
    return found


def learn(swings: Swings, stances: Stances, s: SwingSettings) -> tuple[Manner, Manner]:
    """How paws leave and how they land."""
    n, pair_of = len(stances), stances.paw[swings.before] // 2
    learned, known, swing_s = np.zeros(2, dtype=bool), np.zeros((2, n), dtype=bool), np.ones((2, n))
    paths, give_s, doubt = np.zeros((2, n, 6)), np.zeros((2, 2)), np.zeros((2, 2, 6, 6))
    for pair in (0, 1):
        mine = swings.alike & (pair_of == pair)
        learned[pair] = mine.sum() >= s.least
        if not learned[pair]:
            continue
        course = averaged(swings.course.where(mine[swings.swing]), s.mean)
        moving = known_path(course, s.moving - 1, s.mean, heights=False)
        resting = known_path(course, s.resting - 1, s.mean, heights=True)
        for end, (fit, beside) in enumerate(((moving, swings.before[mine]), (resting, swings.after[mine]))):
            usual_s = float(np.median(swings.fast_s[mine]))
            cut = (stances.paw // 2 == pair) & ~np.isin(np.arange(n), swings.before if end == 0 else swings.after)
            known[end, cut], known[end, beside] = True, True
            paths[end, known[end] & (stances.paw // 2 == pair)] = fit.path[end]
            swing_s[end, cut], swing_s[end, beside] = usual_s, swings.fast_s[mine]
            swing_s[end, stances.paw // 2 == pair] *= np.ptp(fit.ends)
            far_s = usual_s * abs(moving.ends[end] - resting.ends[end])
            give_s[end, pair], doubt[end, pair] = far_s / np.sqrt(3), fit.root[end]  # anywhere in between (derived)
    leave, land = (Manner(known[e], paths[e], swing_s[e], learned, give_s[e], doubt[e]) for e in (0, 1))
    return leave, land


def unevenness(swings: Swings, paw: IntArray, event_s: FloatArray, own_s: FloatArray, *, leaving: bool) -> FloatArray:
    """(2,) s, fore and hind: how much more than their own SDs the times of events scatter against the fast halves of
    their swings. Not all swings of a real dog are alike, and nobody can tell a paw that leaves earlier from one that
    leaves more softly.

    paw, event_s, own_s (N,): of each stance, s and s; leaving: the events are lift-offs.
    """
    beside, edge_s = (swings.before, 0.0) if leaving else (swings.after, swings.fast_s)
    delay = (event_s[beside] - swings.begin_s - edge_s) / swings.fast_s
    mine = np.flatnonzero(swings.alike & np.isfinite(delay))
    paw, beside, delay, fast_s = paw[beside[mine]], beside[mine], delay[mine], swings.fast_s[mine]
    number = np.bincount(paw, minlength=4)
    off_s = np.abs(delay - span_median(delay, paw, 4)[paw]) * fast_s
    off_s *= np.sqrt(number / np.maximum(number - 1, 1))[paw]  # of about a dozen, the median is one
    scatter_s = 1.4826 * span_median(off_s, paw // 2, 2)
    own = span_median(own_s[beside] ** 2, paw // 2, 2)
    number = np.bincount(paw // 2, minlength=2)
    chance = 1 + 4.6 / np.sqrt(np.maximum(number, 1))  # twice the SD of a squared median deviation (derived)
    return np.where(number >= LEAST_SCATTER, np.sqrt(np.maximum(scatter_s**2 - chance * own, 0.0)), 0.0)
