"""How far each measure of a stride can be off: the doubt of its events and of its landmarks carried through.

Every measure is taken as linear in small errors. Events err each on its own, and all of a clip together: touchdowns one
way and lift-offs the other (see gait.contacts). That leaves stride times and phases alone and moves all stances alike.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gait.footfalls import LIFTOFFS, SUPPORTS, Footfalls, states_of
from gait.nouns import Contacts
from gait.rows import Rows
from pose.tracks import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Term:
    """A measure's change per second of an event's error. change, own_s (R,): in its unit / s, and s; way 1 or -1, how
    the event moves when all stances of the clip are longer: lift-offs later, touchdowns earlier."""

    change: FloatArray
    own_s: FloatArray
    way: int


def spread(terms: Sequence[Term], shared_s: float) -> FloatArray:
    """(R,) SD of a measure that changes with the events of ``terms``; shared_s s, what all events have in common."""
    own = np.sum([(term.change * term.own_s) ** 2 for term in terms], axis=0)
    common = shared_s * np.sum([term.change * term.way for term in terms], axis=0)
    return np.asarray(np.sqrt(own + common**2))


def own_s(sd_s: FloatArray, shared_s: float) -> FloatArray:
    """s, what is left of events' SDs without the part that all events share."""
    return np.sqrt(np.maximum(sd_s**2 - shared_s**2, 0.0))


def event(contacts: Contacts, index: IntArray, *, liftoff: bool, shared_s: float) -> Term:
    """The events of the contacts ``index`` (R,) with change 1; NaN where the index is -1."""
    sd_ms = contacts.liftoff_sd_ms if liftoff else contacts.touchdown_sd_ms
    own = np.where(index >= 0, own_s(sd_ms[index] / 1e3, shared_s), np.nan)
    return Term(np.ones(len(index)), own, 1 if liftoff else -1)


def times(change: FloatArray | float, term: Term) -> Term:
    """``term`` with its change multiplied."""
    return Term(term.change * change, term.own_s, term.way)


def time_spreads(
    contacts: Contacts, rows: Rows, time_s: FloatArray, duty: FloatArray, shared_s: float
) -> dict[str, FloatArray]:
    """SDs of the times of each row and of its duty factor."""
    touch = event(contacts, rows.first, liftoff=False, shared_s=shared_s)
    lift = event(contacts, rows.first, liftoff=True, shared_s=shared_s)
    after = event(contacts, rows.after, liftoff=False, shared_s=shared_s)
    stride = spread([times(-1, touch), after], shared_s)
    return {
        "stride_time_s": stride,
        "stride_rate_hz": stride / time_s**2,
        "stance_s": spread([times(-1, touch), lift], shared_s),
        "swing_s": spread([times(-1, lift), after], shared_s),
        "duty_factor": spread(duty_terms(contacts, rows, np.arange(len(rows)), time_s, duty, shared_s), shared_s),
    }


def duty_terms(
    contacts: Contacts, rows: Rows, which: IntArray, time_s: FloatArray, duty: FloatArray, shared_s: float
) -> list[Term]:
    """How the duty factors (W,) of the rows ``which`` change with their three events; time_s (R,) of all rows."""
    touch = event(contacts, rows.first[which], liftoff=False, shared_s=shared_s)
    lift = event(contacts, rows.first[which], liftoff=True, shared_s=shared_s)
    after = event(contacts, rows.after[which], liftoff=False, shared_s=shared_s)
    per = 1 / time_s[which]
    return [times((duty - 1) * per, touch), times(per, lift), times(-duty * per, after)]


def phase_spreads(f: Footfalls, near: BoolArray, shared_s: float) -> dict[str, FloatArray]:
    """SDs of phases and lags of the hind rows; near (R,): the row belongs to the near hind."""
    found = {
        name: _share_spread(f, a, b, shared_s)
        for name, (a, b) in {
            "limb_phase": ("start", "own_fore"),
            "hind_lag": ("start", "other_hind"),
            "fore_lag": ("own_fore", "other_fore"),
            "diagonal_advance": ("other_fore", "start"),
        }.items()
    }
    other = _share_spread(f, "other_hind", "other_fore", shared_s)
    found["limb_phase_near"] = np.where(near, found["limb_phase"], other)
    found["limb_phase_far"] = np.where(near, other, found["limb_phase"])
    return found


def _share_spread(f: Footfalls, since: str, until: str, shared_s: float) -> FloatArray:
    """SD (R,) of (until - since) / stride time, a share that may lie outside 0..1."""
    stride = f.stride
    share = (getattr(f, until) - getattr(f, since)) / stride
    change = {name: np.zeros(len(stride)) for name in (since, until, "start", "end")}
    change[until] += 1 / stride
    change[since] -= 1 / stride
    change["start"] += share / stride
    change["end"] -= share / stride
    return spread([footfall(f, name, value, shared_s) for name, value in change.items()], shared_s)


def footfall(f: Footfalls, name: str, change: FloatArray, shared_s: float) -> Term:
    """The event ``name`` of the footfalls with its ``change`` (R,)."""
    return Term(change, own_s(f.sd[name], shared_s), 1 if name in LIFTOFFS else -1)


def support_spreads(
    contacts: Contacts, f: Footfalls, columns: dict[str, FloatArray], shared_s: float
) -> dict[str, FloatArray]:
    """SDs of the shares of each hind stride on so many paws and kinds of pairs. columns: the shares (R,).

    A share changes by what comes in or goes out at each event within the stride, and at its two ends.
    """
    time_s, state, source = states_of(contacts)
    sd_s = np.stack([contacts.touchdown_sd_ms, contacts.liftoff_sd_ms], axis=1).ravel()[source] / 1e3
    own = np.nan_to_num(own_s(sd_s, shared_s), nan=0.0)
    way = np.where(source % 2 == 1, 1.0, -1.0)
    known = np.isfinite(f.stride)
    first = np.where(known, np.searchsorted(time_s, f.start, side="right"), 1)
    last = np.where(known, np.searchsorted(time_s, f.end, side="left"), 1)
    ends = [footfall(f, name, np.ones(len(first)), shared_s) for name in ("start", "end")]
    found = {}
    for name, members in SUPPORTS.items():
        within = np.isin(state, members).astype(float)
        jump = np.where(np.isfinite(time_s), np.diff(within, prepend=within[0]), 0.0)
        alone, common = _between((jump * own) ** 2, first, last), _between(-jump * way, first, last)
        for edge, term in zip((columns[name] - within[first - 1], within[last - 1] - columns[name]), ends, strict=True):
            alone, common = alone + (edge * term.own_s) ** 2, common + edge * term.way
        found[name] = np.sqrt(alone + (shared_s * common) ** 2) / f.stride
    return found


def _between(values: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """(R,) sums of ``values`` (E,) from first to last - 1, both (R,)."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    return np.asarray(total[last] - total[first])
