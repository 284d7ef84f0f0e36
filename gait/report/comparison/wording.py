"""A line of a comparison as one sentence for an owner: what is larger or smaller, by how much, between which bounds."""

import math
from dataclasses import dataclass
from typing import Final, Literal

from gait.compare.compared import compared
from gait.compare.nouns import LARGER, Line
from gait.report.comparison.naturally import INCHES, decimals_for, figure
from gait.report.words import NO_BREAK

#: percent = of the baseline; unit = in the measure's unit; share = a share of the stride, in % of it.
Form = Literal["percent", "unit", "share"]


@dataclass(frozen=True, slots=True)
class Phrase:
    """How a difference is told; {size} stands for the number with its unit, without a sign."""

    larger: str
    smaller: str
    form: Form


def _excursion(who: str) -> Phrase:
    return Phrase(f"the {who} up and down {{size}} more", f"the {who} up and down {{size}} less", "percent")


def _limb(pair: str) -> dict[str, Phrase]:
    return {
        f"{pair}_reach": Phrase(f"{pair} reach is {{size}} longer", f"{pair} reach is {{size}} shorter", "percent"),
        f"{pair}_duty_factor": Phrase(
            f"the near {pair} paw is on the belt for {{size}} of the stride more",
            f"the near {pair} paw is on the belt for {{size}} of the stride less",
            "share",
        ),
        f"{pair}_protraction": Phrase(
            f"the {pair} leg lands {{size}} further forward", f"the {pair} leg lands {{size}} less far forward", "unit"
        ),
        f"{pair}_retraction": Phrase(
            f"the {pair} leg leaves the belt {{size}} further back",
            f"the {pair} leg leaves the belt {{size}} less far back",
            "unit",
        ),
    }


_BEYOND: Final = "against the print of the fore paw"
#: By the name of the line, less its unit.
PHRASES: Final[dict[str, Phrase]] = {
    **_limb("fore"),
    **_limb("hind"),
    "topline_range": Phrase(
        "the topline rocks {size} more within a stride", "the topline rocks {size} less within a stride", "percent"
    ),
    "stride_time": Phrase("stride time is {size} longer", "stride time is {size} shorter", "percent"),
    "stride_length": Phrase("strides are {size} longer", "strides are {size} shorter", "percent"),
    "reach_ratio": Phrase(
        "fore reach is {size} larger in relation to hind reach",
        "fore reach is {size} smaller in relation to hind reach",
        "percent",
    ),
    "limb_phase": Phrase(
        "the fore paw lands {size} of the stride later after the hind paw of its side",
        "the fore paw lands {size} of the stride sooner after the hind paw of its side",
        "share",
    ),
    "tracking_up": Phrase(
        f"the hind paw lands {{size}} further forward {_BEYOND}",
        f"the hind paw lands {{size}} less far forward {_BEYOND}",
        "unit",
    ),
    "withers_excursion": _excursion("withers move"),
    "croup_excursion": _excursion("croup moves"),
}
#: Of several dogs, some of which may be croup-high and others not.
TOPLINE: Final = Phrase(
    "the croup stands {size} higher in relation to the withers",
    "the croup stands {size} lower in relation to the withers",
    "unit",
)
#: Factor and words: units in which an owner thinks.
UNITS: Final[dict[str, tuple[float, str]]] = {
    "deg": (1.0, "degrees"),
    "m": (100.0, "cm"),
    "in": (1.0, INCHES),
    "bl": (100.0, "% of body length"),
    "s": (1000.0, "ms"),
    "%": (1.0, "%"),
    "1": (1.0, ""),
}
SHARE: Final = (100.0, "%")
SHARES: Final = ("duty_factor", "limb_phase")


#: Units that are words, and what one of them is called.
ONE: Final = {"degrees": "degree", "inches": "inch"}


@dataclass(frozen=True, slots=True)
class Size:
    """A difference with its interval in the unit in which it is told, all with the sign of the difference."""

    value: float
    low: float
    high: float
    unit: str

    @property
    def decimals(self) -> int:
        """Decimals that the interval warrants."""
        return decimals_for((self.high - self.low) / 2, self.unit)

    def words(self) -> str:
        """The size without a sign: "8 %"."""
        return counted(figure(abs(self.value), self.decimals), self.unit)

    def interval(self) -> str:
        """The interval in the direction of the difference: "(5 to 11 %)"; a bound beyond nought keeps its minus."""
        sign = -1.0 if self.value < 0 else 1.0
        low, high = sorted((sign * self.low, sign * self.high))
        if not (math.isfinite(low) and math.isfinite(high)):
            return "(interval not known)"
        return f"({figure(low, self.decimals)} to {figure(high, self.decimals)}{_spaced(self.unit)})".replace(
            " to ", f"{NO_BREAK}to{NO_BREAK}"
        )


def _spaced(unit: str) -> str:
    """A unit behind its number, from which no line breaks it away."""
    return f"{NO_BREAK}{unit}" if unit else ""


def counted(number: str, unit: str) -> str:
    """A number with its unit, of which one is one: "1 degree", "1.0 degrees", "8 %"."""
    return number + _spaced(ONE.get(unit, unit) if number == "1" else unit)


def stem(name: str) -> str:
    """The name of a line less its unit, so that metres and body lengths share their words."""
    for tail in ("_deg", "_m", "_bl", "_s"):
        name = name.removesuffix(tail)
    return name


def label(name: str) -> str:
    """The name of a line in words."""
    return compared(name).label


def scale(name: str, unit: str) -> tuple[float, str]:
    """Factor and words of the unit in which a measure is told; shares of the stride are told in % of it."""
    return SHARE if unit == "1" and stem(name).endswith(SHARES) else UNITS[unit]


def form_of(line: Line) -> Form:
    """In which form a line is told; percent only where it has one."""
    if stem(line.measure) == "topline":
        return "unit"
    form = PHRASES[stem(line.measure)].form
    return "unit" if form == "percent" and not math.isfinite(line.percent) else form


def size_of(line: Line) -> Size:
    """The difference of a line in the unit in which it is told."""
    form = form_of(line)
    if form == "percent":
        return Size(line.percent, line.percent_low, line.percent_high, "%")
    factor, unit = scale(line.measure, line.unit)
    return Size(factor * line.difference, factor * line.low, factor * line.high, unit)


def resolution_words(line: Line) -> str:
    """The smallest difference that could have been seen: "3 %"; "" where not known."""
    factor, unit = scale(line.measure, line.unit)
    value = factor * line.resolution
    if form_of(line) == "percent":
        value, unit = 100 * line.resolution / line.baseline_mean, "%"
    share = " of the stride" if form_of(line) == "share" else ""
    return f"{counted(figure(value, decimals_for(value, unit)), unit)}{share}" if math.isfinite(value) else ""


def told(line: Line) -> str:
    """The sentence of a line with a verdict, without capital and full stop."""
    size = size_of(line)
    if stem(line.measure) == "topline":
        return f"{_topline(line, size)} {size.interval()}"
    phrase = PHRASES[stem(line.measure)]
    words = (phrase.larger if line.verdict == LARGER else phrase.smaller).format(size=size.words())
    return f"{words} {size.interval()}{_both(line)}"


def _topline(line: Line, size: Size) -> str:
    """Croup-high is above nought, withers-high below; a line that crosses from one to the other is told as such."""
    before, after = line.baseline_mean, line.condition_mean
    if before * after < 0:
        ends = f"from {pole(before, size.decimals)} to {pole(after, size.decimals)}"
        return f"the topline goes {ends}, a change of {size.words()}"
    side = "croup-high" if before + after > 0 else "withers-high"
    more = "more" if abs(after) > abs(before) else "less"
    return f"the topline is {size.words()} {more} {side}"


def pole(value_deg: float, decimals: int) -> str:
    """A topline angle in words: "2.1 degrees croup-high", "level"."""
    text = figure(abs(value_deg), decimals)
    return f"{text}{NO_BREAK}degrees {'croup' if value_deg > 0 else 'withers'}-high" if float(text) else "level"


def _both(line: Line) -> str:
    """The two values themselves, where a difference alone says too little."""
    form, name = form_of(line), stem(line.measure)
    if name == "tracking_up":
        return f": {_print(line.condition_mean, line)} instead of {_print(line.baseline_mean, line)}"
    if form != "share":
        return ""
    places = size_of(line).decimals
    after, before = (figure(100 * value, places) for value in (line.condition_mean, line.baseline_mean))
    return f": {after}{NO_BREAK}% instead of {before}{NO_BREAK}%"


def _print(value: float, line: Line) -> str:
    factor, unit = scale(line.measure, line.unit)
    text = figure(abs(factor * value), size_of(line).decimals)
    return f"{text}{_spaced(unit)} {'beyond' if value > 0 else 'short of'} it" if float(text) else "on it"
