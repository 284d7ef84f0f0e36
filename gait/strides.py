"""Rows become strides: drop reasons, measures, names."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from gait.blur import Noise, without_noise
from gait.body import FORWARD
from gait.common import Common
from gait.contacts import Scene
from gait.doubt import Doubts, shared_spreads, spreads_of
from gait.footfalls import HIND, Footfalls, footfall_columns, footfalls_of, lead, nearest, support_columns, wrap_half
from gait.measures import NAMES
from gait.naming import TOGETHER, UNCLEAR, NamingSettings, lone_names, name_strides
from gait.nouns import Belt, Contacts, Strides
from gait.reach import limb_angles, reaches, stride_lengths, tracking_up
from gait.rows import Rows, list_rows
from gait.spans import frames_of, span_median
from gait.topline import topline_columns
from gait.unseen import any_between, exchanged_beside, sides_doubted, unseen_s
from pose.tracks import BoolArray, FloatArray, IntArray, Tracks

GRAVITY_M_S2 = 9.81

#: Columns of the hind rows for which fore paws do not matter.
OF_HINDS = ("hind_lag", "hind_lead_near")


@dataclass(frozen=True, slots=True)
class StrideSettings:
    """When a stride is dropped. Common practice without a source unless said.

    most_event_doubt   share of the stride, SD of a touchdown above which the stride has a gap
    most_unseen        share of a stride for which its paw may be missing, in the frames or with them
    hiding             share of the usual stride: a paw that makes an odd stride and was unseen for this long may have
                       made a stance there (see PhaseSettings.shortest)
    least_score        0..1, mean score of its paw below which a stride is dropped
    belt_change        1, change of belt speed within a stride
    most_drift         body lengths, the trunk's travel in the picture within one stride
    odd_time           1, a stride time off the running median of its paw by more than this factor is an outlier (a
                       stance missed or made up: 2 or 1/2)
    odd_length         1, the same for stride length
    own_strides        strides of a paw from which on its own median is asked; of fewer, half may be the odd ones: then
                       the rhythm of the clip is, and the length of the strides of all paws
    shortest_duty, longest_duty   share of the stride: outside, no dog's stance
    """

    most_event_doubt: float = 0.08
    most_unseen: float = 0.45
    hiding: float = 0.09
    least_score: float = 0.4
    belt_change: float = 0.05
    most_drift: float = 0.35
    odd_time: float = 1.5
    odd_length: float = 1.5
    own_strides: int = 3
    shortest_duty: float = 0.1
    longest_duty: float = 0.93


@dataclass(frozen=True, slots=True, eq=False)
class Material:
    """All that strides are made of. speed_px_s (T, 2); unsure (T, 2) bool; side_bl (2,) px per bl; noise of
    landmarks and belt; common: what errors of the clip's events have in common."""

    tracks: Tracks
    scene: Scene
    speed_px_s: FloatArray
    belt: Belt
    contacts: Contacts
    unsure: BoolArray
    side_bl: FloatArray
    withers_m: float
    noise: Noise
    common: Common


def build_strides(m: Material, naming: NamingSettings, settings: StrideSettings, *, seed: int) -> Strides:
    """One row per candidate stride, named and measured; a row that cannot be used says why."""
    rows = list_rows(m.contacts)
    measures, sds, common = _measure(m, rows)
    dropped = _drop(m, rows, measures, settings)
    gait, probability, candidates = _names(m, rows, dropped, naming, seed)
    measures |= sure_leads(rows.paw, measures, sds, gait)
    events = rows.paw, rows.start_s, rows.end_s
    return Strides(*events, gait, probability, candidates, dropped, measures, sds, common)


def _measure(m: Material, rows: Rows) -> tuple[dict[str, FloatArray], dict[str, FloatArray], dict[str, float]]:
    """All columns of the table of measures (R,), the SDs that are known, and what of these all strides share."""
    columns = {name: np.full(len(rows), np.nan) for name in NAMES}
    columns |= time_columns(m.contacts, rows)
    columns |= _lengths(m, rows, columns["stride_time_s"])
    columns |= topline_columns(m.scene.body, rows) | limb_angles(m.scene.body, m.contacts, rows)
    columns |= without_noise(m.scene.body, columns, m.noise)
    metres_per_bl = float(np.mean(m.belt.m_per_px * m.side_bl))
    columns |= {f"{top}_excursion_m": columns[f"{top}_excursion_bl"] * metres_per_bl for top in ("withers", "croup")}
    hind = np.flatnonzero(rows.paw >= HIND)
    footfalls = footfalls_of(m.contacts, rows, hind)
    found = footfall_columns(footfalls, rows.paw[hind] == HIND)
    found |= support_columns(m.contacts, footfalls.start, footfalls.end)
    fore = _fore_rows(m.contacts, rows, hind)
    found |= _ratios(m, rows, (hind, fore), columns)
    doubted = sides_doubted(m.scene.body.t_s, m.unsure, footfalls, m.scene.period_s)
    for name, values in found.items():
        blank = doubted[:, 1] if name in OF_HINDS else doubted.any(axis=1)
        columns[name][hind] = np.where(blank, np.nan, values)
    doubts = Doubts(m.scene.body, m.contacts, m.belt, m.common, m.noise, m.side_bl)
    strides = footfalls, hind, fore
    return columns, spreads_of(doubts, rows, columns, strides), shared_spreads(doubts, rows, columns, strides)


def sure_leads(
    paw: IntArray, columns: Mapping[str, FloatArray], sds: Mapping[str, FloatArray], gait: np.ndarray
) -> dict[str, FloatArray]:
    """The leads (R,) by the lags of the pairs, NaN where neither of a pair leads: it lands together by the gait's name
    (R,), or within the doubt of its lag (95 %)."""
    found = {}
    for pair, together in TOGETHER.items():
        lag = columns[f"{pair}_lag"]
        doubt = 1.96 * np.nan_to_num(sds[f"{pair}_lag"], nan=0.0)
        none = np.isin(gait, together) | (np.abs(wrap_half(lag)) <= doubt)
        found[f"{pair}_lead_near"] = np.where(none, np.nan, lead(lag, paw % 2 == 0))
    return found


def time_columns(contacts: Contacts, rows: Rows) -> dict[str, FloatArray]:
    """Columns (R,) that the events of the paw itself give: stride time and rate, stance, swing, duty factor."""
    time = rows.end_s - rows.start_s
    stance = contacts.liftoff_s[rows.first] - rows.start_s
    return {
        "stride_time_s": time,
        "stride_rate_hz": 1 / time,
        "stance_s": stance,
        "swing_s": time - stance,
        "duty_factor": stance / time,
    }


def _lengths(m: Material, rows: Rows, time: FloatArray) -> dict[str, FloatArray]:
    side = rows.paw % 2
    bl, metre = m.side_bl[side], m.belt.m_per_px[side]
    length, reach = stride_lengths(m.contacts, rows), reaches(m.scene.body, rows)
    up = tracking_up(m.contacts, rows)
    own = length * metre / time / np.sqrt(GRAVITY_M_S2 * m.withers_m)
    return {
        "stride_length_bl": length / bl,
        "stride_length_m": length * metre,
        "speed_bl_s": length / bl / time,
        "speed_m_s": length * metre / time,
        "speed_dimensionless": own,
        "froude": own**2,
        "reach_bl": reach / bl,
        "reach_m": reach * metre,
        "tracking_up_bl": up / bl,
        "tracking_up_m": up * metre,
    }


def _ratios(
    m: Material, rows: Rows, pairs: tuple[np.ndarray, np.ndarray], columns: dict[str, FloatArray]
) -> dict[str, FloatArray]:
    """Fore against hind of the same side: reach within the same span, duty factor of the fore stride begun nearest."""
    hind, match = pairs
    span = Rows(rows.paw[hind] - HIND, rows.first[hind], rows.after[hind], rows.start_s[hind], rows.end_s[hind])
    fore = reaches(m.scene.body, span)
    duty = np.where(match >= 0, columns["duty_factor"][match], np.nan)
    side_bl = m.side_bl[rows.paw[hind] % 2]
    return {
        "reach_ratio": fore / side_bl / columns["reach_bl"][hind],
        "duty_ratio": duty / columns["duty_factor"][hind],
    }


def _fore_rows(contacts: Contacts, rows: Rows, hind: np.ndarray) -> np.ndarray:
    """(H,) row of the fore stride of the same side that begins nearest to each hind stride; -1 = none."""
    contact = nearest(contacts, rows.paw[hind] - HIND, rows.start_s[hind], rows.end_s[hind] - rows.start_s[hind])
    row_of = np.full(len(contacts) + 1, -1)
    row_of[rows.first] = np.arange(len(rows))
    return np.asarray(row_of[contact])


def _drop(m: Material, rows: Rows, measures: dict[str, FloatArray], s: StrideSettings) -> np.ndarray:
    """(R,) str, first reason that holds, or ""; an outlier is a stride for which no other reason is known."""
    time = measures["stride_time_s"]
    usual_time = _usual(rows, time, s.own_strides, m.scene.period_s)
    usual_length = _usual(rows, measures["stride_length_bl"], s.own_strides)
    duty, length = measures["duty_factor"], measures["stride_length_bl"]
    odd = _off(time, usual_time, s.odd_time) | _off(length, usual_length, s.odd_length)
    odd |= (duty < s.shortest_duty) | (duty > s.longest_duty)
    doubt = np.fmax(
        m.contacts.touchdown_sd_ms[rows.first],
        np.where(rows.after >= 0, m.contacts.touchdown_sd_ms[rows.after], np.nan),
    )
    sums = _sums(m, rows)
    hiding = odd & (sums["unseen"] * time > s.hiding * m.scene.period_s)
    reasons = {
        "truncated": ~np.isfinite(time) | ~np.isfinite(duty),
        "sides_unsure": sums["unsure"] | (odd & exchanged_beside(m.scene.body.t_s, m.unsure, rows, m.scene.period_s)),
        "low_score": sums["score"] < s.least_score,
        "gap": (sums["unseen"] > s.most_unseen) | (doubt / 1e3 > s.most_event_doubt * time) | hiding,
        "belt_changing": sums["belt"] > s.belt_change,
        "not_steady": (sums["travel"] > s.most_drift) | sums["unsteady"] | (odd & sums["beside"]),
        "outlier": odd,
    }
    return np.select(list(reasons.values()), list(reasons), "").astype(np.str_)


def _off(values: FloatArray, usual: FloatArray, factor: float) -> BoolArray:
    return np.asarray((values > factor * usual) | (values < usual / factor))


def _usual(rows: Rows, values: FloatArray, own_strides: int, known: float = float("nan")) -> FloatArray:
    """(R,) what a stride of each paw usually has: the running median of its own strides, or where it has fewer than
    ``own_strides`` what is ``known`` of the clip, NaN = the median of all paws: all make the same strides."""
    usual = _running_median(rows, values)
    there = np.isfinite(values)
    if not there.any():
        return usual
    few = np.bincount(rows.paw[there], minlength=4)[rows.paw] < own_strides
    return np.where(few & there, known if np.isfinite(known) else np.median(values[there]), usual)


def _running_median(rows: Rows, values: FloatArray, reach: int = 3) -> FloatArray:
    """(R,) median of a paw's own strides up to ``reach`` before and after."""
    usual = np.full(len(rows), np.nan)
    for paw in range(4):
        mine = np.flatnonzero((rows.paw == paw) & np.isfinite(values))
        place = np.arange(len(mine))
        around, span = frames_of(np.maximum(place - reach, 0), np.minimum(place + reach + 1, len(mine)))
        usual[mine] = span_median(values[mine[around]], span, len(mine))
    return usual


def _sums(m: Material, rows: Rows) -> dict[str, np.ndarray]:
    """Per row (R,): near and far in doubt, mean score, share unseen, change of belt speed, travel of the trunk (bl)."""
    body, t = m.scene.body, m.scene.body.t_s
    first = np.searchsorted(t, np.nan_to_num(rows.start_s, nan=t[0]))
    last = np.maximum(np.searchsorted(t, np.nan_to_num(rows.end_s, nan=t[-1])), first + 1).clip(max=len(t))
    first = np.minimum(first, last - 1)
    score = np.where(np.isnan(m.tracks.score[:, :4]), 1.0, m.tracks.score[:, :4])
    unsure = np.stack([_span_mean(m.unsure[:, pair].astype(float), first, last) for pair in (0, 1)], axis=1)
    speed = m.speed_px_s[:, 0]
    place = body.trunk_px[:, FORWARD]
    return {
        "unsure": np.take_along_axis(unsure, (rows.paw // 2)[:, None], axis=1)[:, 0] > 0,
        "score": _of_paw(score, rows, first, last),
        "unseen": unseen_s(body, m.scene.period_s, (rows.paw, rows.start_s, rows.end_s)) / (rows.end_s - rows.start_s),
        "belt": np.abs(speed[last - 1] / speed[first] - 1),
        "unsteady": any_between(t, body.unsteady, rows.start_s, rows.end_s),
        "beside": any_between(t, body.unsteady, rows.start_s, rows.end_s + m.scene.period_s),
        "travel": np.abs(place[last - 1] - place[first]) / body.length_px,
    }


def _of_paw(values: FloatArray, rows: Rows, first: np.ndarray, last: np.ndarray) -> FloatArray:
    spans = np.stack([_span_mean(values[:, paw], first, last) for paw in range(4)], axis=1)
    return np.asarray(np.take_along_axis(spans, rows.paw[:, None], axis=1)[:, 0])


def _span_mean(values: FloatArray, first: np.ndarray, last: np.ndarray) -> FloatArray:
    """Mean of ``values`` (T,) over each span of frames."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    return np.asarray((total[last] - total[first]) / (last - first))


def _names(
    m: Material, rows: Rows, dropped: np.ndarray, naming: NamingSettings, seed: int
) -> tuple[np.ndarray, FloatArray, np.ndarray]:
    """Names of the hind strides; a fore stride takes that of the hind stride of its side that begins nearest."""
    gait, candidates = np.full(len(rows), UNCLEAR, dtype="U64"), np.full(len(rows), "", dtype="U64")
    probability = np.full(len(rows), np.nan)
    hind = np.flatnonzero((rows.paw >= HIND) & np.isfinite(rows.start_s) & np.isfinite(rows.end_s))
    footfalls = footfalls_of(m.contacts, rows, hind)
    names = name_strides(footfalls, naming, m.common, seed=seed)
    in_doubt = _in_doubt(m, rows, hind, footfalls, dropped)
    gait[hind] = np.where(in_doubt, UNCLEAR, names.gait)
    probability[hind] = np.where(in_doubt, np.nan, names.probability)
    candidates[hind] = np.where(in_doubt, "", names.candidates)
    gait[dropped != ""] = ""
    lone = hind[lone_names(gait[hind], naming.least_in_a_row)]
    gait[lone], candidates[lone] = UNCLEAR, gait[lone]
    for row in np.flatnonzero(rows.paw < HIND).tolist():
        source = hind_beside(rows, row, hind[dropped[hind] == ""])
        if source >= 0 and dropped[row] == "":
            gait[row], probability[row], candidates[row] = gait[source], probability[source], candidates[source]
    candidates[gait != UNCLEAR] = ""
    probability[gait == ""] = np.nan
    return gait.astype(np.str_), probability, candidates.astype(np.str_)


def hind_beside(rows: Rows | Strides, row: int, hind: np.ndarray) -> int:
    """Row of the stride among ``hind`` (H,), of the same side as that of a fore paw in ``row``, whose start lies
    nearest, within half a stride; -1 = none."""
    same = hind[rows.paw[hind] == rows.paw[row] + HIND]
    if not len(same) or np.isnan(rows.start_s[row]):
        return -1
    best = int(same[np.argmin(np.abs(rows.start_s[same] - rows.start_s[row]))])
    return best if abs(rows.start_s[best] - rows.start_s[row]) <= 0.6 * (rows.end_s[best] - rows.start_s[best]) else -1


def _in_doubt(m: Material, rows: Rows, hind: np.ndarray, footfalls: Footfalls, dropped: np.ndarray) -> BoolArray:
    """(H,) bool, strides among whose events near and far are in doubt, or a paw makes a stride that cannot be."""
    t = m.scene.body.t_s
    impossible = np.zeros(len(t), dtype=bool)
    for row in np.flatnonzero(dropped == "outlier"):
        impossible |= (t >= rows.start_s[row]) & (t <= rows.end_s[row])
    doubted = sides_doubted(t, m.unsure, footfalls, m.scene.period_s).any(axis=1)
    return doubted | any_between(t, impossible, rows.start_s[hind], rows.end_s[hind])
