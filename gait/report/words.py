"""Numbers and findings as plain words. What is not known is said to be not known."""

import math
from collections import Counter
from typing import Final

import numpy as np
from scipy.special import stdtrit

from gait.nouns import GaitRecord, Run, Strides, Summary
from pose.landmarks import NEAR_HIND
from pose.tracks import BoolArray

NOT_KNOWN: Final = "not known"
UNCLEAR: Final = "unclear"
STAND: Final = "stand"

#: Digits kept of an uncertainty: two tell 0.012 from 0.018, a third would claim too much. Common practice, no source.
SPREAD_DIGITS: Final = 2
PLAIN_DIGITS: Final = 3
#: Beyond a thousandth of a second, of a body length or of a degree no film tells anything.
MOST_DECIMALS: Final = 3

#: Share of the interval given beside a mean; customary in the trade's own literature.
COVERAGE: Final = 0.95

#: A space at which no line breaks, so that a number stays with its interval and its unit.
NO_BREAK: Final = "\u00a0"

DROP_WORDS: Final = {
    "gap": "gap",
    "truncated": "truncated",
    "low_score": "low score",
    "sides_unsure": "sides unsure",
    "belt_changing": "belt changing",
    "not_steady": "not steady",
    "outlier": "outlier",
    "left_out": "left out by a person",
}


def number(value: float | None, spread: float = math.nan) -> str:
    """``value`` with as many decimals as ``spread`` (same unit) warrants, or "not known"."""
    if value is None or not math.isfinite(value):
        return NOT_KNOWN
    text = f"{value:.{_decimals(value, spread)}f}"
    return text.replace("-", "−") if float(text) else text.lstrip("-")


def _decimals(value: float, spread: float) -> int:
    if not math.isfinite(spread) and value == round(value):
        return 0
    measure, digits = (spread, SPREAD_DIGITS) if math.isfinite(spread) and spread > 0 else (abs(value), PLAIN_DIGITS)
    if measure == 0:
        return 0
    return min(MOST_DECIMALS, max(0, digits - 1 - math.floor(math.log10(measure))))


def half_interval(summary: Summary) -> float:
    """Half the 95 % interval of the mean (Student's t times the standard error); NaN below two strides."""
    if summary.n < 2 or not math.isfinite(summary.sem):
        return math.nan
    return float(stdtrit(summary.n - 1, 0.5 + COVERAGE / 2) * summary.sem)


def with_interval(summary: Summary, unit: str, factor: float = 1.0) -> str:
    """The mean times ``factor`` with its 95 % interval, as "0.520 ± 0.008 s"."""
    half = factor * half_interval(summary)
    mean = number(factor * summary.mean, half)
    if mean == NOT_KNOWN:
        return NOT_KNOWN
    spread = f" ± {number(half, half)}" if math.isfinite(half) else ""
    unsure = "" if spread else " (uncertainty not known)"
    return f"{mean}{spread} ".replace(" ", NO_BREAK) + unit + unsure


def strides_word(count: int) -> str:
    """ "1 stride", "2 strides"."""
    return f"{count} stride{'' if count == 1 else 's'}"


def clock_doubted(record: GaitRecord) -> bool:
    """Whether the times of the record are only those of the file: slow motion of unknown rate."""
    return not record.trial.clock_known or any(told_slow(line) for line in record.notices)


def told_slow(notice: str) -> bool:
    """Whether a notice speaks of slow motion."""
    return "slow motion" in notice.lower().replace("-", " ")


def gait_sentence(record: GaitRecord) -> str:
    """The runs of gait in the order of the clip: "Trot for 11 strides, then pace for 6 strides."."""
    if not record.runs:
        return "No gait could be named in this clip."
    parts = [_run_words(run, record.strides) for run in record.runs]
    text = ", then ".join(parts)
    return f"{text[0].upper()}{text[1:]}."


def _run_words(run: Run, strides: Strides) -> str:
    if run.gait == STAND:
        return f"stand for {number(run.end_s - run.start_s)} s"
    words = f"{run.gait} for {strides_word(run.strides)}"
    either = either_words(candidates(run, strides))
    if run.gait == UNCLEAR:
        words += f" ({either})" if either else ""
    elif inside := np.count_nonzero(unclear_within(run, strides)):
        words += f", with {inside} unclear among them{f' ({either})' if either else ''}"
    if run.steps_to:
        words += f" (the change took {strides_word(run.steps_to)})"
    return words


def unclear_within(run: Run, strides: Strides) -> BoolArray:
    """(S,) bool, strides of the near hind paw inside ``run`` whose own name is unclear."""
    middle = (strides.start_s + strides.end_s) / 2
    inside = (middle >= run.start_s) & (middle <= run.end_s) & (strides.paw == NEAR_HIND)
    return np.asarray(inside & (strides.gait == UNCLEAR) & strides.used)


def candidates(run: Run, strides: Strides) -> list[str]:
    """The gaits between which the unclear strides of ``run`` lie, commonest first; two at most."""
    pairs = strides.candidates[unclear_within(run, strides)]
    counted = Counter(name for pair in pairs for name in str(pair).split("/") if name)
    return [name for name, _ in counted.most_common(2)]


def either_words(names: list[str]) -> str:
    """Two candidates as "trot or pace"."""
    return " or ".join(names)


def use_sentence(strides: Strides) -> str:
    """How many candidate strides were used, and why not the others: "31 of 38 strides used: 5 gap, 2 truncated."."""
    total, used = len(strides), int(np.count_nonzero(strides.used))
    if not total:
        return "No stride was found."
    reasons = Counter(str(reason) for reason in strides.dropped if reason)
    why = ", ".join(f"{count} {DROP_WORDS.get(reason, reason)}" for reason, count in reasons.most_common())
    return f"{used} of {strides_word(total)} used{': ' + why if why else ''}."
