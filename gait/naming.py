"""One gait name per stride from its footfall pattern, with the probability that the name is right."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from gait.common import NOTHING_COMMON, Common
from gait.footfalls import EVEN_WITHIN, Footfalls, Pattern, mean_phase, sample_patterns, wrap_half
from pose.tracks import BoolArray, FloatArray, IntArray

#: The last is no gait and never a stride's name: a pair lands neither evenly nor as in a canter, gallop or bound. It is
#: shown among the candidates of an unclear stride, where it says why.
GAITS: Final = (
    "pace",
    "amble",
    "walk",
    "walking trot",
    "trot",
    "running single-foot",
    "diagonal-sequence walk",
    "diagonal-sequence run",
    "canter",
    "transverse gallop",
    "rotary gallop",
    "half-bound",
    "bound",
    "uneven steps",
)
SYMMETRICAL: Final = frozenset(GAITS[:8])
#: Gaits in which a pair of paws lands together, so that neither of it leads.
TOGETHER: Final = {"hind": ("half-bound", "bound"), "fore": ("bound",)}
UNCLEAR: Final = "unclear"
STAND: Final = "stand"
_CODE: Final = {name: code for code, name in enumerate(GAITS)}

#: Hildebrand's eight bands of limb phase, each an eighth wide, the first centred on 0. Edges from memory, not read.
FINE_BANDS: Final = (
    "pace",
    "lateral-sequence, lateral couplets",
    "lateral-sequence single-foot",
    "lateral-sequence, diagonal couplets",
    "trot",
    "diagonal-sequence, diagonal couplets",
    "diagonal-sequence single-foot",
    "diagonal-sequence, lateral couplets",
)


@dataclass(frozen=True, slots=True)
class NamingSettings:
    """Edges between gaits, shares of the stride.

    symmetry        a pair's lag may differ from one half by this much: 10 % (Schmitt et al. 2006, J Exp Biol 209:2042)
    running         hind duty factor below which a gait is a run (Hildebrand)
    pace_edge       limb phase within this of 0 is pace or amble: four classes of Biknevicius & Reilly 2006,
                    J Exp Zool 305A:923 (edges from memory, not read). A dog's walk has 0.16 +/- 0.05 (Maes 2008)
    run_trot_edge   running: limb phase within this of 0.5 is a trot: the same four classes; a real trot lands the
                    fore 4-6 % of a stride before its hind
    walk_trot_edge  walking: limb phase within this of 0.5 is a walking trot: Hildebrand's eight bands (from memory)
    together        feet that land within this land together: 10 % (Hildebrand 1977, quoted by others, paper not opened)
    least_probability  a likelier name is shown, else "unclear"; our own choice
    least_in_a_row  hind strides, both sides in turn, that must share a name to be believed beside other names in the
                    clip; a single odd one is more often a slip of the tracks than a gait; our own choice
    draws           1, random draws of the event times per stride; SD of a probability of 0.8 is then 0.025 (derived)
    """

    symmetry: float = EVEN_WITHIN
    running: float = 0.50
    pace_edge: float = 0.125
    run_trot_edge: float = 0.125
    walk_trot_edge: float = 0.0625
    together: float = 0.10
    least_probability: float = 0.8
    least_in_a_row: int = 3
    draws: int = 256


@dataclass(frozen=True, slots=True, eq=False)
class Names:
    """gait (R,) str, probability (R,) 0..1 (NaN = not tried), candidates (R,) str: two likeliest of an unclear one."""

    gait: np.ndarray
    probability: FloatArray
    candidates: np.ndarray


def name_strides(
    footfalls: Footfalls, settings: NamingSettings, common: Common = NOTHING_COMMON, *, seed: int = 0
) -> Names:
    """Names of the strides (R,): event times drawn at random within their SDs, every draw named, the names counted."""
    patterns = sample_patterns(footfalls, settings.draws, common, seed=seed)
    known = (
        np.isfinite(patterns.hind_lag[:, 0]) & np.isfinite(patterns.fore_lag[:, 0]) & np.isfinite(patterns.duty[:, 0])
    )
    codes = name_pattern(patterns, settings)
    counts = np.stack([(codes == code).sum(axis=1) for code in range(len(GAITS))], axis=1)
    return _choose(np.where(known[:, None], counts, 0) / settings.draws, settings)


def _choose(share: FloatArray, settings: NamingSettings) -> Names:
    """share (R, names), of all draws. When only two names are in doubt of which one takes in the other, the wider word
    is used: a walking trot is a trot, and an amble is a pace by its footfalls (the classes of Biknevicius & Reilly 2006
    go by limb phase alone, whatever the duty factor). A walk is neither: its limb phase is another one."""
    share = _widen(share, settings.least_probability)
    order = np.argsort(-share, axis=1, kind="stable")
    best = np.take_along_axis(share, order, axis=1)
    words = np.array([*GAITS[:-1], UNCLEAR])
    tried = best[:, 0] > 0
    clear = (best[:, 0] >= settings.least_probability) & (order[:, 0] != _CODE["uneven steps"])
    gait = np.where(clear, words[order[:, 0]], UNCLEAR)
    pair = [_two(order[i], best[i]) if tried[i] and not clear[i] else "" for i in range(len(share))]
    return Names(gait.astype(np.str_), np.where(tried, best[:, 0], np.nan), np.array(pair, dtype=np.str_))


def _widen(share: FloatArray, least: float) -> FloatArray:
    """``share`` with the narrower word counted as the wider where neither is likely enough alone but both together."""
    share = share.copy()
    for wide, narrow in (("trot", "walking trot"), ("pace", "amble")):
        two = share[:, [_CODE[wide], _CODE[narrow]]]
        torn = (two.max(axis=1) < least) & (two.sum(axis=1) >= least)
        share[torn, _CODE[wide]] = two[torn].sum(axis=1)
        share[torn, _CODE[narrow]] = 0.0
    return share


def _two(order: IntArray, best: FloatArray) -> str:
    return "/".join(GAITS[code] for code, share in zip(order[:2], best[:2], strict=True) if share > 0)


def name_pattern(p: Pattern, settings: NamingSettings = NamingSettings()) -> IntArray:
    """Number in GAITS of the gait that has this pattern, any shape; a NaN pattern has "uneven steps"."""
    even = [np.abs(lag - 0.5) <= settings.symmetry for lag in (p.hind_lag, p.fore_lag)]
    phase = mean_phase(p.limb_phase_own, p.limb_phase_other)
    return np.where(even[0] & even[1], _symmetrical(phase, p.duty, settings), _asymmetrical(p, settings))


def _symmetrical(phase: FloatArray, duty: FloatArray, s: NamingSettings) -> IntArray:
    run = duty < s.running
    off_pace, off_trot = np.abs(wrap_half(phase)), np.abs(wrap_half(phase - 0.5))
    trotting = np.where(run, off_trot <= s.run_trot_edge, off_trot <= s.walk_trot_edge)
    lateral = phase < 0.5
    return np.select(
        [off_pace < s.pace_edge, trotting, lateral],
        [
            np.where(run, _CODE["pace"], _CODE["amble"]),
            np.where(run, _CODE["trot"], _CODE["walking trot"]),
            np.where(run, _CODE["running single-foot"], _CODE["walk"]),
        ],
        np.where(run, _CODE["diagonal-sequence run"], _CODE["diagonal-sequence walk"]),
    )


def _asymmetrical(p: Pattern, s: NamingSettings) -> IntArray:
    """Times count from the own hind's touchdown; the second foot of a pair to land leads."""
    hinds, fores = np.abs(wrap_half(p.hind_lag)), np.abs(wrap_half(p.fore_lag))
    hind_leads, fore_leads = wrap_half(p.hind_lag) < 0, wrap_half(p.fore_lag) < 0  # the own limb does
    lead_hind = np.where(hind_leads, 0.0, p.hind_lag)
    trail_fore = p.limb_phase_own + np.where(fore_leads, p.fore_lag, 0.0)
    gap = np.abs(wrap_half(trail_fore - lead_hind))
    same_side = hind_leads == fore_leads
    galloping = (hinds < 0.5 - s.symmetry) & (fores < 0.5 - s.symmetry)
    return np.select(
        [
            (hinds < s.together) & (fores < s.together),
            hinds < s.together,
            galloping & same_side & (gap < s.together),
            galloping & same_side,
            galloping,
        ],
        [_CODE["bound"], _CODE["half-bound"], _CODE["canter"], _CODE["transverse gallop"], _CODE["rotary gallop"]],
        _CODE["uneven steps"],
    )


def lone_names(gait: np.ndarray, least: int) -> BoolArray:
    """(H,) bool, strides (near and far hind in turn) in too short a row of one name, where the clip has a long one.

    Unclear and dropped ("") strides end no row.
    """
    lone = np.zeros(len(gait), dtype=bool)
    named = np.flatnonzero(~np.isin(gait, ("", UNCLEAR)))
    edges = np.flatnonzero(gait[named][1:] != gait[named][:-1]) + 1
    rows = np.split(named, edges)
    if max(len(row) for row in rows) >= least:
        for row in rows:
            lone[row] = len(row) < least
    return lone


def fine_name(limb_phase: float) -> str:
    """Hildebrand's band of a symmetrical gait's limb phase (0..1)."""
    return FINE_BANDS[int((limb_phase + 1 / 16) % 1.0 * 8)]
