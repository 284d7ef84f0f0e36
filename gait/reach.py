"""How far paws travel: reach under the trunk, stride length on the belt, tracking up, limb angles."""

import numpy as np

from gait.body import FORWARD, UP, Body
from gait.nouns import Contacts
from gait.rows import Rows
from pose.landmarks import CROUP, WITHERS
from pose.tracks import FloatArray, IntArray

#: Longest stretch of a stride, as a share of it, in which a paw may be unseen for its reach to count; common practice.
UNSEEN = 0.35

#: Share of a stride by which a fore print must be older than a hind print to be the one that the hind comes to. Limb
#: phases of gaits lie between -0.06 and 0.75 (Hildebrand, Maes: see measures), so 0.25 to 1.06 of a stride; derived.
LEAST_BEFORE = 0.2


def reaches(body: Body, rows: Rows, windows: IntArray | None = None) -> FloatArray:
    """(R,) px, furthest forward minus furthest back of the paw ahead of the trunk's middle within each stride.

    windows (R,) paw to look at instead of the row's own, within the same span of time.
    """
    paw = rows.paw if windows is None else windows
    ahead = (
        body.smooth_px[:, :4, FORWARD]
        - ((body.smooth_px[:, WITHERS, FORWARD] + body.smooth_px[:, CROUP, FORWARD]) / 2)[:, None]
    )
    found = np.full(len(rows), np.nan)
    for i in np.flatnonzero(np.isfinite(rows.start_s) & np.isfinite(rows.end_s)):
        a, b = np.searchsorted(body.t_s, [rows.start_s[i], rows.end_s[i]])
        x = ahead[max(a - 1, 0) : b + 1, paw[i]]
        known = np.isfinite(x)
        if known.sum() >= max(4, (1 - UNSEEN) * len(x)):
            found[i] = np.ptp(x[known])
    return found


def stride_lengths(contacts: Contacts, rows: Rows) -> FloatArray:
    """(R,) px on the belt, print to next print of the same paw."""
    after = np.where(rows.after >= 0, rows.after, rows.first)
    step = contacts.print_px[after] - contacts.print_px[rows.first] if len(contacts) else rows.start_s
    return np.where(rows.after >= 0, step, np.nan)


def tracking_up(contacts: Contacts, rows: Rows) -> FloatArray:
    """(R,) px, hind print minus the print that the fore of its side made before it; NaN for fore rows.

    That print is the last one begun at least LEAST_BEFORE of a stride before the hind lands, and not a whole stride
    earlier still. So it is the same one in a pace whose fore lands a moment before its hind or a moment after.
    """
    found = np.full(len(rows), np.nan)
    time = rows.end_s - rows.start_s
    usual = float(np.nanmedian(time)) if np.isfinite(time).any() else np.nan
    for i in np.flatnonzero((rows.paw >= 2) & np.isfinite(rows.start_s) & np.isfinite(usual)):
        before = (rows.start_s[i] - contacts.touchdown_s) / (time[i] if np.isfinite(time[i]) else usual)
        fore = np.flatnonzero(
            (contacts.paw == rows.paw[i] - 2) & (before >= LEAST_BEFORE) & (before < LEAST_BEFORE + 1)
        )
        if len(fore):
            found[i] = contacts.print_px[rows.first[i]] - contacts.print_px[fore[np.argmin(before[fore])]]
    return found


def limb_angles(body: Body, contacts: Contacts, rows: Rows) -> dict[str, FloatArray]:
    """protraction_deg (at touchdown, + forward), retraction_deg (at lift-off, + backward), sweep_deg (R,) deg."""
    top = np.where(rows.paw < 2, WITHERS, CROUP)
    landing = _angle(body, rows.start_s, rows.paw, top)
    leaving = _angle(body, contacts.liftoff_s[rows.first] if len(rows) else rows.start_s, rows.paw, top)
    return {"protraction_deg": landing, "retraction_deg": -leaving, "sweep_deg": landing - leaving}


def _angle(body: Body, at_s: FloatArray, paw: IntArray, top: IntArray) -> FloatArray:
    """(R,) deg, line from a topline point down to the paw against the belt's normal, + paw forward; NaN stays NaN."""
    known = np.isfinite(at_s)
    time = np.where(known, at_s, body.t_s[0])
    right = np.clip(np.searchsorted(body.t_s, time), 1, len(body.t_s) - 1)
    share = ((time - body.t_s[right - 1]) / (body.t_s[right] - body.t_s[right - 1]))[:, None]
    line = body.smooth_px[:, :4, None, :] - body.smooth_px[:, None, 4:, :]
    line = line[right, paw, top - 4] * share + line[right - 1, paw, top - 4] * (1 - share)
    return np.where(known, np.degrees(np.arctan2(line[:, FORWARD], -line[:, UP])), np.nan)
