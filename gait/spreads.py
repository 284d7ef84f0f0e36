"""How far each measure of a stride can be off: the doubt of its events and of its landmarks carried through.

Every measure is taken as linear in small errors. Events err each on its own, and many together (see gait.common):
touchdowns one way and lift-offs the other leaves stride times and most phases alone and moves all stances alike.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gait.common import Common
from gait.footfalls import SUPPORTS, Footfalls, common_of, states_of
from gait.nouns import Contacts
from gait.rows import Rows
from pose.tracks import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Term:
    """A measure's change per second of an event's error. change, own_s (R,): in its unit / s, and s; common_s (R, L) or
    (L,) s, how causes that many events share move it (see gait.common)."""

    change: FloatArray
    own_s: FloatArray
    common_s: FloatArray


def spread(terms: Sequence[Term]) -> FloatArray:
    """(R,) SD of a measure that changes with the events of ``terms``."""
    own = np.sum([(term.change * term.own_s) ** 2 for term in terms], axis=0)
    common = np.sum([term.change[:, None] * term.common_s for term in terms], axis=0)
    return np.asarray(np.sqrt(own + (common**2).sum(axis=1)))


def own_s(sd_s: FloatArray, common_s: FloatArray) -> FloatArray:
    """s, what is left of events' SDs without the part (same shape) that they share with others."""
    return np.sqrt(np.maximum(sd_s**2 - common_s**2, 0.0))


def event(contacts: Contacts, index: IntArray, common: Common, *, liftoff: bool) -> Term:
    """The events of the contacts ``index`` (R,) with change 1; NaN where the index is -1."""
    sd_ms = contacts.liftoff_sd_ms if liftoff else contacts.touchdown_sd_ms
    load = common.of(contacts.paw[index], liftoff=liftoff)
    own = np.where(index >= 0, own_s(sd_ms[index] / 1e3, np.sqrt((load**2).sum(axis=1))), np.nan)
    return Term(np.ones(len(index)), own, load)


def times(change: FloatArray | float, term: Term) -> Term:
    """``term`` with its change multiplied."""
    return Term(term.change * change, term.own_s, term.common_s)


def time_spreads(
    contacts: Contacts, rows: Rows, time_s: FloatArray, duty: FloatArray, common: Common
) -> dict[str, FloatArray]:
    """SDs of the times of each row and of its duty factor."""
    touch = event(contacts, rows.first, common, liftoff=False)
    lift = event(contacts, rows.first, common, liftoff=True)
    after = event(contacts, rows.after, common, liftoff=False)
    stride = spread([times(-1, touch), after])
    return {
        "stride_time_s": stride,
        "stride_rate_hz": stride / time_s**2,
        "stance_s": spread([times(-1, touch), lift]),
        "swing_s": spread([times(-1, lift), after]),
        "duty_factor": spread(duty_terms(contacts, rows, np.arange(len(rows)), time_s, duty, common)),
    }


def duty_terms(
    contacts: Contacts, rows: Rows, which: IntArray, time_s: FloatArray, duty: FloatArray, common: Common
) -> list[Term]:
    """How the duty factors (W,) of the rows ``which`` change with their three events; time_s (R,) of all rows."""
    touch = event(contacts, rows.first[which], common, liftoff=False)
    lift = event(contacts, rows.first[which], common, liftoff=True)
    after = event(contacts, rows.after[which], common, liftoff=False)
    per = 1 / time_s[which]
    return [times((duty - 1) * per, touch), times(per, lift), times(-duty * per, after)]


def phase_spreads(f: Footfalls, near: BoolArray, common: Common) -> dict[str, FloatArray]:
    """SDs of phases and lags of the hind rows; near (R,): the row belongs to the near hind."""
    found = {
        name: _share_spread(f, a, b, common)
        for name, (a, b) in {
            "limb_phase": ("start", "own_fore"),
            "hind_lag": ("start", "other_hind"),
            "fore_lag": ("own_fore", "other_fore"),
            "diagonal_advance": ("other_fore", "start"),
        }.items()
    }
    other = _share_spread(f, "other_hind", "other_fore", common)
    found["limb_phase_near"] = np.where(near, found["limb_phase"], other)
    found["limb_phase_far"] = np.where(near, other, found["limb_phase"])
    return found


def _share_spread(f: Footfalls, since: str, until: str, common: Common) -> FloatArray:
    """SD (R,) of (until - since) / stride time, a share that may lie outside 0..1."""
    stride = f.stride
    share = (getattr(f, until) - getattr(f, since)) / stride
    change = {name: np.zeros(len(stride)) for name in (since, until, "start", "end")}
    change[until] += 1 / stride
    change[since] -= 1 / stride
    change["start"] += share / stride
    change["end"] -= share / stride
    return spread([footfall(f, name, value, common) for name, value in change.items()])


def footfall(f: Footfalls, name: str, change: FloatArray, common: Common) -> Term:
    """The event ``name`` of the footfalls with its ``change`` (R,)."""
    load = common_of(name, common)
    return Term(change, own_s(f.sd[name], np.sqrt((load**2).sum())), load)


def support_spreads(
    contacts: Contacts, f: Footfalls, columns: dict[str, FloatArray], common: Common
) -> dict[str, FloatArray]:
    """SDs of the shares of each hind stride on so many paws and kinds of pairs. columns: the shares (R,).

    A share changes by what comes in or goes out at each event within the stride, and at its two ends.
    """
    time_s, state, source = states_of(contacts)
    load = np.stack([common.of(contacts.paw, liftoff=kind) for kind in (False, True)], axis=1)
    load = load.reshape(-1, load.shape[2])[source]
    sd_s = np.stack([contacts.touchdown_sd_ms, contacts.liftoff_sd_ms], axis=1).ravel()[source] / 1e3
    own = np.nan_to_num(own_s(sd_s, np.sqrt((load**2).sum(axis=1))), nan=0.0)
    known = np.isfinite(f.stride)
    first = np.where(known, np.searchsorted(time_s, f.start, side="right"), 1)
    last = np.where(known, np.searchsorted(time_s, f.end, side="left"), 1)
    ends = [footfall(f, name, np.ones(len(first)), common) for name in ("start", "end")]
    found = {}
    for name, members in SUPPORTS.items():
        within = np.isin(state, members).astype(float)
        jump = np.where(np.isfinite(time_s), np.diff(within, prepend=within[0]), 0.0)
        alone, together = _between((jump * own) ** 2, first, last), _between(-jump[:, None] * load, first, last)
        for edge, term in zip((columns[name] - within[first - 1], within[last - 1] - columns[name]), ends, strict=True):
            alone, together = alone + (edge * term.own_s) ** 2, together + edge[:, None] * term.common_s
        found[name] = np.sqrt(alone + (together**2).sum(axis=1)) / f.stride
    return found


def _between(values: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """(R, ...) sums of ``values`` (E, ...) from first to last - 1, both (R,)."""
    total = np.concatenate([np.zeros_like(values[:1]), np.cumsum(values, axis=0)])
    return np.asarray(total[last] - total[first])
