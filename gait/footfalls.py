"""Which paw lands when: limb phases, lags, diagonal advance, and how many paws are down."""

from dataclasses import dataclass

import numpy as np

from gait.common import Common
from gait.nouns import Contacts
from gait.rows import Rows
from pose.tracks import BoolArray, FloatArray, IntArray

HIND = 2


@dataclass(frozen=True, slots=True, eq=False)
class Footfalls:
    """Event times around each hind stride, and their SDs (R,) s; NaN where a paw's contact is not known.

    own = the row's own side, other = the opposite. start, end: touchdowns of the own hind.
    """

    start: FloatArray
    end: FloatArray
    own_liftoff: FloatArray
    other_hind: FloatArray
    other_liftoff: FloatArray
    own_fore: FloatArray
    other_fore: FloatArray
    sd: dict[str, FloatArray]

    @property
    def stride(self) -> FloatArray:
        """(R,) s, stride times."""
        return self.end - self.start


EVENTS = ("start", "end", "own_liftoff", "other_hind", "other_liftoff", "own_fore", "other_fore")
LIFTOFFS = ("own_liftoff", "other_liftoff")
FORES = ("own_fore", "other_fore")


@dataclass(frozen=True, slots=True, eq=False)
class Pattern:
    """Shares of the stride, any shape. lags and phases 0..1; duty = mean of both hind paws where both are known."""

    limb_phase_own: FloatArray
    limb_phase_other: FloatArray
    hind_lag: FloatArray
    fore_lag: FloatArray
    duty: FloatArray


def footfalls_of(contacts: Contacts, rows: Rows, hind: IntArray) -> Footfalls:
    """Events of the hind strides ``hind`` (row numbers)."""
    start, end = rows.start_s[hind], rows.end_s[hind]
    stride = end - start
    paw = rows.paw[hind]
    index = {"start": rows.first[hind], "own_liftoff": rows.first[hind], "end": rows.after[hind]}
    index["other_hind"] = nearest(contacts, paw ^ 1, start + stride / 2, stride)
    index["other_liftoff"] = index["other_hind"]
    index["own_fore"] = nearest(contacts, paw - HIND, start, stride)
    own_fore = _pick(contacts.touchdown_s, index["own_fore"])
    index["other_fore"] = nearest(contacts, (paw - HIND) ^ 1, own_fore + stride / 2, stride)
    times = {e: _pick(contacts.liftoff_s if e in LIFTOFFS else contacts.touchdown_s, index[e]) for e in EVENTS}
    sds = {
        e: _pick(contacts.liftoff_sd_ms if e in LIFTOFFS else contacts.touchdown_sd_ms, index[e]) / 1e3 for e in EVENTS
    }
    return Footfalls(**times, sd=sds)


def _pick(values: FloatArray, index: IntArray) -> FloatArray:
    """``values`` at ``index``; NaN where the index is -1."""
    if not len(values):
        return np.full(len(index), np.nan)
    return np.where(index >= 0, values[index], np.nan)


def nearest(contacts: Contacts, paw: IntArray, at_s: FloatArray, stride_s: FloatArray) -> IntArray:
    """(R,) number of the contact of ``paw`` that begins nearest to ``at_s``; -1 when none within 0.6 strides."""
    found = np.full(len(paw), -1, dtype=np.int64)
    for p in range(4):
        mine = np.flatnonzero((contacts.paw == p) & np.isfinite(contacts.touchdown_s))
        rows = np.flatnonzero((paw == p) & np.isfinite(at_s) & np.isfinite(stride_s))
        if not len(mine) or not len(rows):
            continue
        times = contacts.touchdown_s[mine]
        right = np.clip(np.searchsorted(times, at_s[rows]), 0, len(mine) - 1)
        left = np.maximum(right - 1, 0)
        closer = np.where(np.abs(times[left] - at_s[rows]) <= np.abs(times[right] - at_s[rows]), left, right)
        near = np.abs(times[closer] - at_s[rows]) <= 0.6 * stride_s[rows]
        found[rows] = np.where(near, mine[closer], -1)
    return found


def pattern_of(f: Footfalls) -> Pattern:
    """Phases, lags and duty factor (R,)."""
    return _pattern({name: getattr(f, name) for name in EVENTS})


def sample_patterns(f: Footfalls, draws: int, common: Common, *, seed: int) -> Pattern:
    """The same for ``draws`` random draws of all event times within their SDs (R, draws), which have the part
    ``common`` in common with each other."""
    rng = np.random.default_rng(seed)
    causes = rng.standard_normal((common.load_s.shape[2], draws))
    drawn = {}
    for name in EVENTS:
        load = common_of(name, common)
        own = np.sqrt(np.maximum(f.sd[name] ** 2 - (load**2).sum(), 0.0))
        drawn[name] = getattr(f, name)[:, None] + own[:, None] * rng.standard_normal((len(f.start), draws))
        drawn[name] += load @ causes
    return _pattern(drawn)


def common_of(name: str, common: Common) -> FloatArray:
    """(L,) s, what the event ``name`` has in common with others."""
    return np.asarray(common.load_s[int(name not in FORES), int(name in LIFTOFFS)])


def _pattern(e: dict[str, FloatArray]) -> Pattern:
    stride = e["end"] - e["start"]
    stride = np.where(stride > 0, stride, np.nan)
    own, other = (e["own_liftoff"] - e["start"]) / stride, (e["other_liftoff"] - e["other_hind"]) / stride
    duty = np.where(np.isnan(own), other, np.where(np.isnan(other), own, (own + other) / 2))
    return Pattern(
        limb_phase_own=wrap((e["own_fore"] - e["start"]) / stride),
        limb_phase_other=wrap((e["other_fore"] - e["other_hind"]) / stride),
        hind_lag=wrap((e["other_hind"] - e["start"]) / stride),
        fore_lag=wrap((e["other_fore"] - e["own_fore"]) / stride),
        duty=duty,
    )


def wrap(share: FloatArray) -> FloatArray:
    """``share`` of a cycle brought to 0..1."""
    return np.asarray(share - np.floor(share))


def wrap_half(share: FloatArray) -> FloatArray:
    """``share`` of a cycle brought to -0.5..0.5."""
    return np.asarray(share - np.round(share))


def mean_phase(a: FloatArray, b: FloatArray) -> FloatArray:
    """Circular mean of two phases, 0..1; the known one where the other is NaN."""
    half = wrap(a + wrap_half(b - a) / 2)
    return np.where(np.isnan(a), b, np.where(np.isnan(b), a, half))


def footfall_columns(f: Footfalls, near: FloatArray) -> dict[str, FloatArray]:
    """Columns of the hind rows (R,); ``near`` (R,) bool: the row belongs to the near hind."""
    p = pattern_of(f)
    diagonal = wrap_half((f.start - f.other_fore) / f.stride)
    return {
        "limb_phase": p.limb_phase_own,
        "limb_phase_near": np.where(near, p.limb_phase_own, p.limb_phase_other),
        "limb_phase_far": np.where(near, p.limb_phase_other, p.limb_phase_own),
        "hind_lag": p.hind_lag,
        "fore_lag": p.fore_lag,
        "diagonal_advance": diagonal,
        "hind_lead_near": lead(p.hind_lag, near),
        "fore_lead_near": lead(p.fore_lag, near),
    }


#: share of the stride; a pair steps evenly when the second lands within this of half a stride after the first
#: (Schmitt et al. 2006, J Exp Biol 209:2042, Fig. 2: 10 % or less; reading it as 0.40-0.60 is ours).
EVEN_WITHIN = 0.1


def lead(lag: FloatArray, near: FloatArray | BoolArray) -> FloatArray:
    """(R,) 1 when the near limb lands second, 0 when first; NaN: unknown, or an even pair. lag (R,) 0..1, other after
    own; near (R,) whether the own limb is the near one."""
    own_second = lag > 0.5
    even = np.abs(lag - 0.5) <= EVEN_WITHIN
    return np.where(np.isnan(lag) | even, np.nan, np.where(near, own_second, ~own_second).astype(float))


#: Sets of paws that count for each share of a stride, one bit per paw.
SUPPORTS = {f"paws_down_{n}": [s for s in range(16) if s.bit_count() == n] for n in range(5)} | {
    "on_fore_pair": [0b0011],
    "on_hind_pair": [0b1100],
    "on_lateral_pair": [0b0101, 0b1010],
    "on_diagonal_pair": [0b1001, 0b0110],
}


def support_columns(contacts: Contacts, start_s: FloatArray, end_s: FloatArray) -> dict[str, FloatArray]:
    """Shares (R,) of each stride on 0 to 4 paws and on the kinds of pairs, from exact interval lengths."""
    edges, state, _ = states_of(contacts)
    return {name: _share(edges, np.isin(state, states), start_s, end_s) for name, states in SUPPORTS.items()}


def states_of(contacts: Contacts) -> tuple[FloatArray, IntArray, IntArray]:
    """Times of all changes (E,), the set of paws down after each (E,), one bit per paw, and which event it is (E,):
    twice the contact's number, one more for a lift-off, -1 for the beginning of time. Cut ends reach for ever."""
    number = np.arange(len(contacts))
    touch = np.where(np.isnan(contacts.touchdown_s), -np.inf, contacts.touchdown_s)
    lift = np.where(np.isnan(contacts.liftoff_s), np.inf, contacts.liftoff_s)
    time = np.concatenate([[-np.inf], touch, lift])
    change = np.concatenate([[0], 1 << contacts.paw, -(1 << contacts.paw)])
    order = np.argsort(time, kind="stable")
    return time[order], np.cumsum(change[order]), np.concatenate([[-1], 2 * number, 2 * number + 1])[order]


def _share(edges: FloatArray, inside: BoolArray, start_s: FloatArray, end_s: FloatArray) -> FloatArray:
    """Share of each span in which ``inside`` holds; NaN for an open span."""
    finite = np.isfinite(edges)
    known = np.isfinite(start_s) & np.isfinite(end_s)
    if not finite.any() or not known.any():
        return np.full(len(start_s), np.nan)
    before = bool(inside[np.flatnonzero(~finite & (edges < 0))[-1]])
    times, holds = edges[finite], inside[finite]
    low, high = min(times[0], start_s[known].min()), max(times[-1], end_s[known].max())
    knots = np.concatenate([[low], times, [high]])
    spent = np.concatenate([[0.0], np.cumsum(np.diff(knots) * np.concatenate([[before], holds]))])
    inside_s = np.interp(np.where(known, end_s, low), knots, spent) - np.interp(
        np.where(known, start_s, low), knots, spent
    )
    return np.where(known, inside_s / np.where(known, end_s - start_s, 1.0), np.nan)
