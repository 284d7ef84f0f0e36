"""Names of conditions, days, gaits and sizes as they stand in a sentence."""

import math
from typing import Final

from gait.compare.nouns import ClipSet, Contrast

#: What is worn on the body stands with "in", what is held or hung on with "with". Common usage, no source.
WORN: Final = ("boot", "shoe", "sock", "vest", "harness", "coat", "sling", "suit", "brace", "jacket")
HELD: Final = ("lead", "collar", "tension", "weight", "bandage", "tape", "band", "handle")
AS_IT_IS: Final = ("bare", "with ", "without ", "in ", "on ", "no ", "after ", "before ", "off ", "under ", "at ")

INCHES: Final = "inches"
#: A tenth of a degree, of a percent or of a centimetre is as fine as a film of a dog ever tells.
MOST_DECIMALS: Final = 1
#: Units of which a tenth would be coarser than that.
MORE_DECIMALS: Final = {INCHES: 2}

VERBS: Final = {
    "pace": "paces",
    "amble": "ambles",
    "walk": "walks",
    "trot": "trots",
    "canter": "canters",
    "bound": "bounds",
    "stand": "stands",
}


def wearing(condition: str) -> str:
    """A condition within a sentence: "in boots", "in the harness", "with lead tension", "bare"."""
    low = condition.lower()
    if not low:
        return "without a named condition"
    if low.startswith(AS_IT_IS):
        return condition
    if any(word in low for word in WORN):
        plural = low.endswith("s") and not low.endswith("ss")
        return f"in {condition}" if plural else f"in the {condition}"
    if any(word in low for word in HELD):
        return f"with {condition}"
    return f"in the condition “{condition}”"


def day(iso: str) -> str:
    """A day as it stands in a sentence: as ISO 8601 writes it, so that nobody takes the month for the day."""
    return iso or "a day not named"


def side_words(contrast: Contrast, side: ClipSet) -> str:
    """One side of a contrast within a sentence: "in boots", or "on 2026-03-02"."""
    return f"on {day(side.date)}" if contrast.kind == "visit" else wearing(side.condition)


def side_name(contrast: Contrast, side: ClipSet) -> str:
    """One side of a contrast by itself, as a heading of a column: "boots", or "2026-03-02"."""
    return day(side.date) if contrast.kind == "visit" else side.condition or "not named"


def dog_name(side: ClipSet) -> str:
    """The dog's name, or "the dog"."""
    return side.dog or "the dog"


def goes(gait: str) -> str:
    """A gait as a verb: "trots", "goes at a walking trot"."""
    if gait in VERBS:
        return VERBS[gait]
    if gait == "unclear":
        return "shows no clear gait"
    return f"goes {'with' if gait == 'uneven steps' else 'at a'} {gait}"


def sentence(text: str, *, capital: bool = True) -> str:
    """With one full stop at the end and, unless asked not to, a capital at the start."""
    text = text.strip()
    end = "" if not text or text[-1] in ".!?" else "."
    return f"{text[:1].upper() if capital else text[:1]}{text[1:]}{end}"


def joined(words: list[str], last: str = "and") -> str:
    """ "a, b and c"."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}" if words else ""


def decimals_for(spread: float, unit: str = "") -> int:
    """Decimals that show one digit of ``spread``, one at most, two of inches: what an owner reads; the table gives
    more."""
    most = MORE_DECIMALS.get(unit, MOST_DECIMALS)
    if not math.isfinite(spread) or spread <= 0:
        return most
    return min(most, max(0, -math.floor(math.log10(spread))))


def figure(value: float, decimals: int) -> str:
    """``value`` with that many decimals and a true minus; nought has no sign."""
    text = f"{value:.{decimals}f}"
    return text.replace("-", "−") if float(text) else text.lstrip("-")
