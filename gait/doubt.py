"""Puts together the SD of every measure of every stride."""

from dataclasses import dataclass, replace

import numpy as np

from gait.blur import Noise, common_spreads, length_spreads, limb_blur, topline_spreads
from gait.body import Body
from gait.common import Common
from gait.footfalls import HIND, Footfalls, common_of
from gait.measures import NAMES
from gait.nouns import Belt, Contacts
from gait.rows import Rows
from gait.spreads import duty_terms, event, phase_spreads, spread, support_spreads, time_spreads, times
from pose.tracks import FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Doubts:
    """Where doubt comes from. common: what errors of events have in common; side_bl (2,) px per body
    length."""

    body: Body
    contacts: Contacts
    belt: Belt
    common: Common
    noise: Noise
    side_bl: FloatArray


def spreads_of(
    d: Doubts, rows: Rows, columns: dict[str, FloatArray], strides: tuple[Footfalls, IntArray, IntArray]
) -> dict[str, FloatArray]:
    """SD (R,) of every column; NaN where none is known: leads are a choice of two.

    strides: the footfalls of the hind rows, the numbers (H,) of these rows, and of the fore row beside each, -1 = none.
    """
    found = {name: np.full(len(rows), np.nan) for name in NAMES}
    if not len(rows):
        return found
    footfalls, hind, fore = strides
    found |= time_spreads(d.contacts, rows, columns["stride_time_s"], columns["duty_factor"], d.common)
    side = rows.paw % 2
    scale = d.side_bl[side], d.belt.m_per_px[side], d.body.frame_s
    found |= length_spreads(rows, columns, found, d.noise, scale)
    found |= topline_spreads(d.body, rows, columns, d.noise)
    metres_per_bl = float(np.mean(d.belt.m_per_px * d.side_bl))
    found |= {f"{top}_excursion_m": found[f"{top}_excursion_bl"] * metres_per_bl for top in ("withers", "croup")}
    found |= _limb_spreads(d, rows, columns)
    own = {name: columns[name][hind] for name in columns}
    of_hind = phase_spreads(footfalls, rows.paw[hind] == HIND, d.common)
    of_hind |= support_spreads(d.contacts, footfalls, own, d.common)
    of_hind["duty_ratio"] = _duty_ratio(d, rows, columns, hind, fore)
    for name, sd in of_hind.items():
        found[name][hind] = sd
    return {name: np.where(np.isfinite(columns[name]), found[name], np.nan) for name in NAMES}


def shared_spreads(
    d: Doubts, rows: Rows, columns: dict[str, FloatArray], strides: tuple[Footfalls, IntArray, IntArray]
) -> dict[str, float]:
    """SDs that the strides of this clip have in common with each other but with no other clip: the doubt of the mean
    swing's fit and of the belt line. How softly the paws of this dog really land is the same in its other clips and is
    not in it.
    """
    footfalls, hind, _ = strides
    fit = Common(d.common.load_s[:, :, 1:])
    if not len(hind):
        return common_spreads(d.noise)
    pair = d.contacts.paw // 2
    contacts = replace(
        d.contacts, touchdown_sd_ms=1e3 * fit.sd_s[pair, 0], liftoff_sd_ms=1e3 * fit.sd_s[pair, 1]
    )  # nothing of their own
    sd = {name: np.full(len(hind), np.sqrt((common_of(name, fit) ** 2).sum())) for name in footfalls.sd}
    footfalls = replace(footfalls, sd=sd)
    found = time_spreads(contacts, rows, columns["stride_time_s"], columns["duty_factor"], fit)
    found |= phase_spreads(footfalls, rows.paw[hind] == HIND, fit)
    found |= support_spreads(contacts, footfalls, {name: columns[name][hind] for name in columns}, fit)
    found |= _limb_times(d, contacts, rows, columns, fit)
    usual = {name: float(np.median(sd[np.isfinite(sd)])) for name, sd in found.items() if np.isfinite(sd).any()}
    line = common_spreads(d.noise)
    return usual | {name: float(np.hypot(sd, usual.get(name, 0.0))) for name, sd in line.items()}


def _limb_spreads(d: Doubts, rows: Rows, columns: dict[str, FloatArray]) -> dict[str, FloatArray]:
    """A limb's angle is off for its ends' noise, and for the time at which it is taken while the belt carries it."""
    blur = limb_blur(d.body, rows, d.noise).angle_deg
    late = _limb_times(d, d.contacts, rows, columns, d.common)
    ends = {"protraction_deg": 1.0, "retraction_deg": 1.0, "sweep_deg": np.sqrt(2)}
    return {name: np.hypot(late[name], count * blur) for name, count in ends.items()}


def _limb_times(
    d: Doubts, contacts: Contacts, rows: Rows, columns: dict[str, FloatArray], common: Common
) -> dict[str, FloatArray]:
    """SDs (R,) deg of a limb's angles for the events of ``contacts`` alone."""
    rate = d.belt.speed_px_s[rows.paw % 2] / limb_blur(d.body, rows, d.noise).height_px
    landing = rate * np.cos(np.radians(columns["protraction_deg"])) ** 2
    leaving = rate * np.cos(np.radians(columns["retraction_deg"])) ** 2
    touch = times(-np.degrees(landing), event(contacts, rows.first, common, liftoff=False))
    lift = times(np.degrees(leaving), event(contacts, rows.first, common, liftoff=True))
    return {
        "protraction_deg": spread([touch]),
        "retraction_deg": spread([lift]),
        "sweep_deg": spread([touch, lift]),
    }


def _duty_ratio(d: Doubts, rows: Rows, columns: dict[str, FloatArray], hind: IntArray, fore: IntArray) -> FloatArray:
    """(H,) SD of fore over hind duty factor; an error that both share cancels."""
    known = fore >= 0
    ratio, terms = columns["duty_ratio"][hind], []
    for which, sign in ((np.where(known, fore, hind), 1.0), (hind, -1.0)):
        duty = columns["duty_factor"][which]
        for term in duty_terms(d.contacts, rows, which, columns["stride_time_s"], duty, d.common):
            terms.append(times(sign * ratio / duty, term))
    return np.where(known, spread(terms), np.nan)
