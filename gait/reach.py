"""How far paws travel: reach under the trunk, stride length on the belt, tracking up, limb angles."""

import numpy as np

from gait.body import FORWARD, UP, Body
from gait.nouns import Contacts
from gait.rows import Rows
from gait.spans import frames_of, span_range
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
    whole = np.isfinite(rows.start_s) & np.isfinite(rows.end_s)
    first, stop = (np.searchsorted(body.t_s, np.where(whole, at, body.t_s[0])) for at in (rows.start_s, rows.end_s))
    frame, span = frames_of(np.maximum(first - 1, 0), np.minimum(stop + 1, len(body.t_s)))
    x = ahead[frame, paw[span]]
    known = np.isfinite(x)
    number = np.bincount(span[known], minlength=len(rows))
    enough = number >= np.maximum(4, (1 - UNSEEN) * np.bincount(span, minlength=len(rows)))
    return np.where(whole & enough, span_range(x[known], span[known], len(rows)), np.nan)


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
    if not len(contacts):
        return found
    time = rows.end_s - rows.start_s
    usual = float(np.nanmedian(time)) if np.isfinite(time).any() else np.nan
    time = np.where(np.isfinite(time), time, usual)
    for paw in (2, 3):
        mine = np.flatnonzero((rows.paw == paw) & np.isfinite(rows.start_s) & np.isfinite(time))
        fores = np.flatnonzero((contacts.paw == paw - 2) & np.isfinite(contacts.touchdown_s))
        if len(fores):
            came, latest = contacts.touchdown_s[fores], rows.start_s[mine] - LEAST_BEFORE * time[mine]
            last = np.searchsorted(came, latest, side="right") - 1
            known = (last >= 0) & (came[last] > latest - time[mine])
            found[mine[known]] = (contacts.print_px[rows.first[mine]] - contacts.print_px[fores[last]])[known]
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
