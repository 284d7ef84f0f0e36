"""Touchdowns and lift-offs at sub-frame times, each with its own doubt.

Around each change between stance and swing the paw's place against the belt and its height are explained by: still
before the event, a smooth departure after it (a cubic in time with priors on its coefficients). The event time's
posterior on a fine grid, the cubics integrated out, gives mean and standard deviation. A frame that shows nothing has
no weight, so an event behind a post simply gets a wide posterior. The priors of the path along the belt and of the
height are those of the clip's own mean swing (see gait.swings) where it has enough of them.
"""

from dataclasses import dataclass, field

import numpy as np

from gait.belt import Stances
from gait.body import FORWARD, Body
from gait.common import Common, softness
from gait.evidence import View, log_evidence, moments
from gait.nouns import Contacts
from gait.phases import judged, judged_for_long, per_paw
from gait.spans import frames_of, span_mean, span_median, span_sum
from gait.swings import Manner, Swings, SwingSettings, learn, list_swings, unevenness
from pose.tracks import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class ContactSettings:
    """How events are timed. Common practice, no source, unless said.

    along, along_sd    prior mean and SD of the linear, square and cubic coefficient of the forward path, in stride
                       lengths and swing durations: midway between a paw that leaves at once (0.35, 2, -1.3) and one
                       that leaves at rest (0, 3, -2), both by expansion of swings in closed form (derived)
    blind_doubt        1, SD as a share of the stretch in which the paw was not seen: its departure is then guessed from
                       further on (measured with closed-form paths behind posts)
    hidden_end         share of the stride, a swing of which one end was unseen for longer is taken to last as long as
                       usual: where it ends is only guessed then (see PhaseSettings.shortest). Shorter glimpses of a
                       paw beside a stretch of twice that count as unseen too
    least_lift_bl      body lengths, a lower swing is taken as this high: a dragged paw still rolls off
    search             share of the stride on each side in which the event is sought
    back, ahead        shares of the stance and of the swing that are looked at
    grid               1, times tried per event
    stretch            1, most by which alike errors in neighbouring frames widen the noise
    tilt               1, SD of a standing paw's own speed off the belt's, along and up, belt speeds: seen 12 deg off
                       square, perspective changes both by some 3 % in the course of a stance (derived)
    by_travel          share of the stride, SD added where heights tell nothing: a paw is at the belt's speed 0.04 of a
                       stride after it turns round, and only its height says when in between it lands (derived from
                       swings in closed form)
    sure_speed         belt speeds, scatter of standing paws' speeds up to which an event is as sure as its noise says:
                       the SD that stances are found with
    easing             strides, and what each belt speed of scatter beyond it adds to an event's SD: a paw turns from
                       2 belt speeds forward to 1 backward within a third of a stride (derived)
    shape_doubt        share of the stride, SD for not knowing how softly a paw leaves and lands, one and the same for
                       the whole clip, opposite for touchdowns and lift-offs: drawn paws that leave at once or at rest
                       come out 0.01 of a stride late or early (measured with closed-form paths)
    learned            1, share of it that is left where the clip's own swings tell how paws leave and land (measured
                       with closed-form paths)
    firm               1, how much narrower than along_sd and up_sd the path then is: what one swing has that the mean
                       has not
    swings             how mean swings are found
    """

    along: tuple[float, float, float] = (0.18, 2.3, -1.2)
    along_sd: tuple[float, float, float] = (0.12, 0.6, 1.5)
    blind_doubt: float = 0.06
    hidden_end: float = 0.09
    least_lift_bl: float = 0.03
    search: float = 0.12
    back: float = 0.7
    ahead: float = 0.4
    grid: int = 41
    stretch: float = 3.0
    tilt: float = 0.05
    by_travel: float = 0.02
    sure_speed: float = 0.25
    easing: float = 0.1
    shape_doubt: float = 0.01
    learned: float = 0.2
    firm: float = 0.5
    swings: SwingSettings = field(default_factory=SwingSettings)


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """What the fits need. belt_px (T, 4) paw places in belt coordinates, height_px (T, 4); noise_px (2,) along and up;
    shape_s s, doubt about all events of the clip together, see ContactSettings.shape_doubt; told (4,) 0..1, how far the
    heights of each paw can be believed."""

    body: Body
    belt_px: FloatArray
    height_px: FloatArray
    noise_px: FloatArray
    period_s: float
    shape_s: float
    told: FloatArray


def belt_coordinates(body: Body, speed_px_s: FloatArray) -> FloatArray:
    """(T, 4) px, paws in belt coordinates: X plus the integral of belt speed (T, 2) px/s of their side."""
    step = np.diff(body.t_s)[:, None] * (speed_px_s[1:] + speed_px_s[:-1]) / 2
    run = np.concatenate([np.zeros((1, 2)), np.cumsum(step, axis=0)])
    return np.asarray(body.xy_px[:, :4, FORWARD] + per_paw(run))


def time_contacts(scene: Scene, stances: Stances, settings: ContactSettings) -> tuple[Contacts, Common]:
    """One row per stance with sub-frame times, an end cut by the clip is NaN; and what their errors have in common:
    how softly paws leave and land.
    """
    prints, seen = _prints(scene, stances)
    places = scene.belt_px, scene.height_px / _lift_px(scene, settings)
    swings = list_swings(scene.body, places, prints, stances, settings.swings)
    leave, land = learn(swings, stances, settings.swings)
    liftoff = _time_events(scene, stances, (1, leave, swings), settings)
    touchdown = _time_events(scene, stances, (-1, land, swings), settings)
    common = softness(touchdown.give_s, liftoff.give_s, np.stack([touchdown.fit_s, liftoff.fit_s], axis=1))
    last = len(scene.body.t_s) - 1
    cut_start, cut_end = stances.first == 0, stances.last == last
    pair = stances.paw // 2
    touch_sd, lift_sd = (
        np.where(cut, np.nan, np.hypot(events.own_s, common.sd_s[pair, kind]))
        for kind, (events, cut) in enumerate(((touchdown, cut_start), (liftoff, cut_end)))
    )
    doubt = np.nan_to_num(np.fmax(touch_sd, lift_sd), nan=0.0) / (0.1 * scene.period_s)
    return Contacts(
        paw=stances.paw,
        touchdown_s=np.where(cut_start, np.nan, touchdown.time_s),
        liftoff_s=np.where(cut_end, np.nan, liftoff.time_s),
        touchdown_sd_ms=1e3 * touch_sd,
        liftoff_sd_ms=1e3 * lift_sd,
        confidence=seen * np.clip(1 - doubt, 0, 1),
        truncated=cut_start | cut_end,
        print_px=prints,
    ), common


def stance_noise(
    body: Body, belt_px: FloatArray, height_px: FloatArray, stances: Stances, settings: ContactSettings
) -> FloatArray:
    """(2,) px, noise of a standing paw along the belt and up, about a line; wider when neighbours err alike."""
    return np.array([_noise(body, values, stances, settings.stretch) for values in (belt_px, height_px)])


def _noise(body: Body, values: FloatArray, stances: Stances, stretch: float) -> float:
    trim = (stances.last - stances.first) // 6
    frame, span = frames_of(stances.first + trim, stances.last + 1 - trim)
    y, n = values[frame, stances.paw[span]], len(stances)
    number = np.bincount(span[np.isfinite(y)], minlength=n)
    kept = np.isfinite(y) & (number >= 5)[span]
    frame, span, y = frame[kept], span[kept], y[kept]
    floor = 1e-3 * body.length_px
    if not len(y):
        return 10 * floor
    tau = body.t_s[frame] - span_mean(body.t_s[frame], span, n)[span]
    y = y - span_mean(y, span, n)[span]
    slope = span_sum(tau * y, span, n) / np.maximum(span_sum(tau**2, span, n), 1e-30)
    rest = (y - tau * slope[span]) * np.sqrt(number / np.maximum(number - 2, 1))[span]
    pairs = np.stack([rest[:-1], rest[1:]], axis=1)[span[1:] == span[:-1]]
    sd = max(1.4826 * float(np.median(np.abs(rest))), floor)
    near = (np.abs(pairs) < 4 * sd).all(axis=1)
    alike = float(np.clip(np.mean(pairs[near, 0] * pairs[near, 1]) / sd**2, 0.0, 0.8)) if near.any() else 0.0
    return float(sd * min(np.sqrt((1 + alike) / (1 - alike)), stretch))


def _prints(scene: Scene, stances: Stances) -> tuple[FloatArray, FloatArray]:
    """Median belt coordinate (N,) px over the middle of each stance, and the share of its frames seen (N,)."""
    trim, n = (stances.last - stances.first) // 6, len(stances)
    frame, span = frames_of(stances.first + trim, stances.last + 1 - trim)
    x = scene.belt_px[frame, stances.paw[span]]
    known = np.isfinite(x)
    frame, whole = frames_of(stances.first, stances.last + 1)
    seen = span_mean(np.isfinite(scene.belt_px[frame, stances.paw[whole]]).astype(float), whole, n)
    return span_median(x[known], span[known], n), seen


@dataclass(frozen=True, slots=True, eq=False)
class _Events:
    """time_s, own_s (N,) s: times of lift-offs or touchdowns and the SD that each has for itself; for fore and hind, s:
    give_s (2,), how much further towards rest all of them may lie together; fit_s (2,), how far the doubt of the mean
    swing's fit moves those of a pair."""

    time_s: FloatArray
    own_s: FloatArray
    give_s: FloatArray
    fit_s: FloatArray


def _time_events(scene: Scene, stances: Stances, of: tuple[int, Manner, Swings], settings: ContactSettings) -> _Events:
    """Lift-offs (way 1) or touchdowns (way -1, time run backwards); of: the way, how paws do it, all swings."""
    way, manner, swings = of
    if not len(stances):
        return _Events(np.empty(0), np.empty(0), np.full(2, scene.shape_s), np.zeros(2))
    edge, stance_s, swing_s = _around(scene, stances, way, settings)
    swing_s = np.where(manner.known, manner.swing_s, swing_s)
    blind = _blind(scene, stances, edge, way, settings)
    rows, weight = _rows(scene, stances, (edge, stance_s, swing_s, *blind), way, settings)
    tau = way * (scene.body.t_s[rows] - edge[:, None])
    offsets = _grid(scene, (stance_s, swing_s, *blind), settings)
    views = _views(scene, stances, (rows, weight, tau, swing_s), (way, manner), settings)
    mean, sd, moved = moments(offsets, *log_evidence(views, (offsets, swing_s)))
    time_s = edge + way * mean
    own, give, fit = _of_path(scene, stances.paw // 2, manner, (sd, moved), settings)
    unseen = settings.blind_doubt * np.maximum(sum(blind) - 2 * scene.body.frame_s, 0.0)
    eased = settings.easing * scene.period_s * _uneven_speed(scene, stances, settings)
    untold = settings.by_travel * scene.period_s * (1 - scene.told[stances.paw])
    own = np.sqrt(own**2 + unseen**2 + eased**2 + untold**2)
    uneven = unevenness(swings, stances.paw, time_s, own, leaving=way == 1)
    return _Events(time_s, np.hypot(own, uneven[stances.paw // 2]), give, fit)


def _of_path(
    scene: Scene, pair: IntArray, manner: Manner, found: tuple[FloatArray, FloatArray], settings: ContactSettings
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """SDs, s: what each event (N,) has for itself, and what all of a pair (2,) have in common, give_s and fit_s of
    _Events. pair (N,); found: SD (N,) s of each event, and how far the path's coefficients move it (C, N) s.

    Learned paths leave their doubt to the fit of the mean swing. Where nothing is learned, what the priors leave open
    is the same for all events of a pair; the lower quartile is taken, so that a clear event keeps a doubt of its own.
    """
    sd, moved = found
    of_path = np.minimum(np.sqrt((moved**2).sum(axis=0)), sd)
    lean = moved / (settings.firm * np.array(settings.along_sd + settings.swings.mean.up_sd))[:, None]
    give, fit = np.hypot(manner.give_s, settings.learned * scene.shape_s), np.zeros(2)
    for p in (0, 1):
        mine = pair == p
        if not manner.learned[p]:
            give[p] = np.hypot(np.quantile(of_path[mine], 0.25) if mine.any() else 0.0, scene.shape_s)
        elif (mine & manner.known).any():
            moves = lean[:, mine & manner.known].T @ manner.doubt[p]
            fit[p] = np.median(np.sqrt((moves**2).sum(axis=1)))
    alone = np.where(manner.known, sd**2 - of_path**2, sd**2 + scene.shape_s**2 - give[pair] ** 2)
    return np.sqrt(np.maximum(alone, 0.0)), give, fit


def _uneven_speed(scene: Scene, stances: Stances, settings: ContactSettings) -> FloatArray:
    """(N,) belt speeds, how much more than ``sure_speed`` the paw of each stance scatters in speed while it stands."""
    scatter, seen = np.zeros(4), judged(scene.body)
    run = scene.belt_px - scene.body.xy_px[:, :4, FORWARD]
    for paw in range(4):
        standing = np.zeros(len(seen), dtype=bool)
        for i in np.flatnonzero(stances.paw == paw):
            standing[max(stances.first[i], 1) : min(stances.last[i] + 1, len(seen) - 1)] = True
        rows = np.flatnonzero(standing & seen[:, paw] & np.isfinite(scene.body.slope_px_s[:, paw, FORWARD]))
        if len(rows):
            belt = (run[rows + 1, paw] - run[rows - 1, paw]) / (scene.body.t_s[rows + 1] - scene.body.t_s[rows - 1])
            off = scene.body.slope_px_s[rows, paw, FORWARD] + belt
            scatter[paw] = (
                1.4826 * float(np.median(np.abs(off - np.median(off)))) / max(float(np.median(np.abs(belt))), 1e-9)
            )
    return np.sqrt(np.maximum(np.minimum(scatter, 1.0) ** 2 - settings.sure_speed**2, 0.0))[stances.paw]


def _views(
    scene: Scene,
    stances: Stances,
    rows: tuple[IntArray, FloatArray, FloatArray, FloatArray],
    how: tuple[int, Manner],
    settings: ContactSettings,
) -> tuple[View, View]:
    """The paw along the belt (mirrored when time runs backwards) and its height."""
    way, manner = how
    index, weight, tau, swing_s = rows
    paw, length = stances.paw[:, None], scene.body.length_px
    lift = _lift_px(scene, settings)
    forward, up = way * scene.belt_px[index, paw], scene.height_px[index, paw]
    weight = np.where(np.isfinite(forward) & np.isfinite(up), weight, 0.0)
    forward, up = np.where(weight > 0, forward, 0.0), np.where(weight > 0, up, 0.0)
    forward = np.where(weight > 0, forward - _still(forward, weight, tau)[:, None], 0.0)
    along_w, up_w = (weight / noise**2 for noise in scene.noise_px)
    up_w *= scene.told[paw]
    up_w *= _fade(settings.ahead * swing_s[:, None] - tau, scene)  # further on a swing is no cubic in height
    stride = _stride_length(scene, stances)
    tilt = settings.tilt * stride / scene.period_s
    known, firm = manner.known[:, None], np.where(manner.known, settings.firm, 1.0)[:, None]
    usual, up_sd = settings.swings.mean.up, settings.swings.mean.up_sd
    return (
        View(
            tau,
            forward,
            along_w,
            stride,
            length,
            tilt,
            np.where(known, manner.path[:, :3], settings.along),
            firm * settings.along_sd,
        ),
        View(tau, up, up_w, lift, 0.02 * length, tilt, np.where(known, manner.path[:, 3:], usual), firm * up_sd),
    )


def _lift_px(scene: Scene, settings: ContactSettings) -> float:
    """px, height of the swings: the top 5 % of all heights."""
    height = scene.height_px[np.isfinite(scene.height_px)]
    usual = float(np.quantile(height, 0.95)) if len(height) else 0.0
    return max(usual, settings.least_lift_bl * scene.body.length_px)


def _around(
    scene: Scene, stances: Stances, way: int, settings: ContactSettings
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Middle of the frame pair at the event (N,) s, duration of the stance (N,) s and of the swing beside it (N,) s."""
    t, last = scene.body.t_s, len(scene.body.t_s) - 1
    inside = stances.last if way == 1 else stances.first
    outside = np.clip(inside + way, 0, last)
    edge = (t[inside] + t[outside]) / 2
    stance = np.clip(t[stances.last] - t[stances.first], scene.body.frame_s, 2 * scene.period_s)  # a stand is long
    beyond = _beyond(stances, way, last)
    usual = max(scene.period_s - float(np.median(stance)), 0.2 * scene.period_s)
    longest_s = settings.hidden_end * scene.period_s + 2 * scene.body.frame_s  # its neighbours are not judged either
    hidden = _swing_hidden(scene, stances, way, longest_s, settings)
    swing = np.where(hidden, usual, np.abs(t[beyond] - edge))
    return edge, stance, np.clip(swing, 0.15 * scene.period_s, usual * 1.5)


def _swing_hidden(
    scene: Scene, stances: Stances, way: int, longest_s: float, settings: ContactSettings
) -> BoolArray:
    """(N,) bool, swings after (way 1) or before (way -1) each stance, one end unseen for ``longest_s`` s."""
    t, last = scene.body.t_s, len(scene.body.t_s) - 1
    inside = {1: stances.last, -1: stances.first}
    edges = {w: (t[inside[w]] + t[np.clip(inside[w] + w, 0, last)]) / 2 for w in (1, -1)}
    hidden = {w: sum(_blind(scene, stances, edges[w], w, settings)) > longest_s for w in (1, -1)}
    return np.asarray(hidden[way] | np.roll(hidden[-way], -way))


def _beyond(stances: Stances, way: int, last: int) -> IntArray:
    """(N,) frame at which the swing after (way 1) or before (way -1) each stance ends."""
    same = stances.paw[1:] == stances.paw[:-1]
    if way == 1:
        return np.append(np.where(same, stances.first[1:], last), last)
    return np.insert(np.where(same, stances.last[:-1], 0), 0, 0)


def _stride_length(scene: Scene, stances: Stances) -> float:
    """px, the clip's usual distance between prints of a paw, for the scale of the priors."""
    prints, _ = _prints(scene, stances)
    step = np.diff(prints)[stances.paw[1:] == stances.paw[:-1]]
    step = step[np.isfinite(step) & (step > 0.1 * scene.body.length_px)]
    return float(np.median(step)) if len(step) else scene.body.length_px


def _blind(
    scene: Scene, stances: Stances, edge: FloatArray, way: int, settings: ContactSettings
) -> tuple[FloatArray, FloatArray]:
    """(N,) s from each edge back to the last frame of the stance that was seen, and on to the first seen beyond it."""
    t, seen = scene.body.t_s, judged_for_long(scene.body, settings.hidden_end * scene.period_s / scene.body.frame_s)
    number = np.arange(len(t))[:, None]
    before = np.maximum.accumulate(np.where(seen, number, 0), axis=0)
    after = np.minimum.accumulate(np.where(seen, number, len(t) - 1)[::-1], axis=0)[::-1]
    inside = stances.last if way == 1 else stances.first
    outside = np.clip(inside + way, 0, len(t) - 1)
    early, late = (before, after) if way == 1 else (after, before)
    back = np.abs(edge - t[early[inside, stances.paw]])
    return back, np.abs(t[late[outside, stances.paw]] - edge)


def _rows(
    scene: Scene, stances: Stances, spans: tuple[FloatArray, ...], way: int, settings: ContactSettings
) -> tuple[IntArray, FloatArray]:
    """Frames (N, W) looked at for each event and their weights (N, W), 0 outside the event's own span.

    spans (N,) s each: edge, stance, swing, blind stretch before and after the edge.
    """
    t = scene.body.t_s
    edge, stance_s, swing_s, back, ahead = spans
    low = edge - way * np.maximum(settings.back * stance_s, np.minimum(back + 0.3 * stance_s, stance_s))
    high = edge + way * np.maximum(settings.ahead * swing_s, np.minimum(ahead + 0.3 * swing_s, swing_s))
    early, late = np.minimum(low, high), np.maximum(low, high)
    first, stop = np.searchsorted(t, early), np.searchsorted(t, late, side="right")
    rows = first[:, None] + np.arange(max(int((stop - first).max()), 1))
    inside = rows < stop[:, None]
    rows = np.clip(rows, 0, len(t) - 1)
    fade = _fade(t[rows] - early[:, None], scene) * _fade(late[:, None] - t[rows], scene)
    paw = stances.paw[:, None]
    seen = inside & scene.body.seen[rows, paw]  # a bridge over a gap says nothing about the event within
    return rows, np.where(seen, fade * scene.body.weight[rows, paw], 0.0)


def _fade(inside_s: FloatArray, scene: Scene) -> FloatArray:
    """Weight that rises from 0 at the end of a span to 1 two frames within, so that no frame comes in with a jump."""
    return np.clip(inside_s / (2 * scene.body.frame_s), 0.0, 1.0)


def _grid(scene: Scene, spans: tuple[FloatArray, ...], settings: ContactSettings) -> FloatArray:
    """(N, G) s, event times tried, + into the swing; wide enough for a stretch in which the paw was not seen."""
    stance_s, swing_s, back, ahead = spans
    unit = np.linspace(-1.0, 1.0, settings.grid)
    span = settings.search * scene.period_s
    low = np.maximum(np.minimum(span, 0.5 * stance_s), back)
    high = np.maximum(np.minimum(span, 0.3 * swing_s), ahead)
    return np.where(unit < 0, unit * low[:, None], unit * high[:, None])


def _still(y: FloatArray, weight: FloatArray, tau: FloatArray) -> FloatArray:
    """(N,) mean of ``y`` over the frames before the event, to keep the numbers small."""
    w = np.where(tau < 0, weight, 0.0)
    return np.asarray((w * y).sum(axis=1) / np.maximum(w.sum(axis=1), 1e-9))
