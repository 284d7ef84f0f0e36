"""A record held against the truth of its drawn dog: which names are right, how far measures are off."""

from collections import Counter
from dataclasses import dataclass, field

import numpy as np
from generator import Truth

from gait.footfalls import wrap, wrap_half
from gait.nouns import GaitRecord
from pose.tracks import FloatArray

HIND = 2


@dataclass
class Count:
    """Strides of all paws. used, right, wrong, unclear; reasons of the dropped; measure -> (error, its stated SD)."""

    used: int = 0
    right: int = 0
    wrong: int = 0
    unclear: int = 0
    made_up: int = 0
    reasons: Counter[str] = field(default_factory=Counter)
    errors: dict[str, list[tuple[float, float]]] = field(default_factory=dict)

    def add(self, other: "Count") -> None:
        """Count the strides of ``other`` too."""
        for name in ("used", "right", "wrong", "unclear", "made_up"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.reasons.update(other.reasons)
        for name, pairs in other.errors.items():
            self.errors.setdefault(name, []).extend(pairs)

    def within(self, sds: float) -> float:
        """Share of all errors within so many of their SDs; 1 when there is none."""
        pairs = [pair for pairs in self.errors.values() for pair in pairs]
        return float(np.mean([abs(e) <= sds * sd for e, sd in pairs])) if pairs else 1.0

    def __str__(self) -> str:
        reasons = ", ".join(f"{count} {reason}" for reason, count in sorted(self.reasons.items()))
        named = f"{self.right} right, {self.wrong} wrong, {self.unclear} unclear, {self.made_up} made up"
        return f"{self.used} used: {named}; {self.within(3):.3f} within 3 SD; dropped: {reasons or 'none'}"


def reckon(record: GaitRecord, truth: Truth, name: str) -> Count:
    """What became of the strides of a dog whose every stride is called ``name``."""
    strides, count = record.strides, Count()
    count.reasons.update(str(reason) for reason in strides.dropped[~strides.used])
    for row in np.flatnonzero(strides.used).tolist():
        count.used += 1
        gait = str(strides.gait[row])
        count.right, count.wrong = count.right + (gait == name), count.wrong + (gait not in (name, "unclear"))
        count.unclear += gait == "unclear"
        true = true_measures(truth, int(strides.paw[row]), float(strides.start_s[row]))
        if abs(true["start_s"] - strides.start_s[row]) > 0.3 * true["stride_time_s"]:
            count.made_up += 1
            continue
        for measure in true.keys() & strides.measures.keys():
            value, sd = float(strides.measures[measure][row]), float(strides.measures_sd[measure][row])
            if np.isfinite(value) and np.isfinite(sd):
                error = value - true[measure]
                error = float(wrap_half(np.array(error))) if measure in PHASES else error
                count.errors.setdefault(measure, []).append((error, sd))
    return count


PHASES = ("limb_phase", "hind_lag", "fore_lag", "diagonal_advance")


def true_measures(truth: Truth, paw: int, start_s: float) -> dict[str, float]:
    """Measures of the true stride of ``paw`` that begins nearest to ``start_s``, and that beginning."""
    touch, lift = truth.touchdown_s[paw], truth.liftoff_s[paw]
    k = min(int(np.argmin(np.abs(touch - start_s))), len(touch) - 2)
    stride, stance = float(touch[k + 1] - touch[k]), float(lift[k] - touch[k])
    true = {"start_s": float(touch[k]), "stride_time_s": stride, "stance_s": stance, "duty_factor": stance / stride}
    return true | (_true_phases(truth, paw, float(touch[k]), stride) if paw >= HIND else {})


def _true_phases(truth: Truth, paw: int, start_s: float, stride_s: float) -> dict[str, float]:
    other_hind = _nearest(truth.touchdown_s[paw ^ 1], start_s + stride_s / 2)
    own_fore = _nearest(truth.touchdown_s[paw - HIND], start_s)
    other_fore = _nearest(truth.touchdown_s[(paw - HIND) ^ 1], own_fore + stride_s / 2)
    shares = {
        "limb_phase": own_fore - start_s,
        "hind_lag": other_hind - start_s,
        "fore_lag": other_fore - own_fore,
        "diagonal_advance": start_s - other_fore,
    }
    return {name: float(wrap(np.array(share / stride_s))) for name, share in shares.items()}


def _nearest(times: FloatArray, at_s: float) -> float:
    return float(times[np.argmin(np.abs(times - at_s))])
