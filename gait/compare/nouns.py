"""The nouns of a comparison: frozen, columnar where there is a column. Missing is NaN (numbers) or "" (words)."""

from dataclasses import dataclass, field
from typing import Any, Final, Literal

from gait.nouns import GaitRecord

Kind = Literal["condition", "visit"]

#: The three verdicts; a line that could not be compared has none.
LARGER: Final = "larger"
SMALLER: Final = "smaller"
NO_DIFFERENCE: Final = "no_difference_shown"


@dataclass(frozen=True, slots=True)
class Line:
    """One measure of one gait: a condition against its baseline, or a visit against an earlier one.

    measure, unit          name and unit as in gait.compare.compared
    n_baseline, n_condition   strides with a value
    baseline_mean, condition_mean, difference   in ``unit``; difference = condition - baseline
    low, high              95 % interval of the difference, in ``unit``
    percent, percent_low, percent_high   the same in % of the baseline mean; NaN for measures that have no zero
    resolution             the smallest difference that this footage could have shown, in ``unit``
    p, p_holm              two-sided probability of such a difference by chance; corrected for all lines of the contrast
    verdict                LARGER, SMALLER, NO_DIFFERENCE, or "" when declined
    declined               why the line was not compared, a plain sentence, else ""; then no number but the n is known
    """

    measure: str
    unit: str
    gait: str
    n_baseline: int
    n_condition: int
    baseline_mean: float = float("nan")
    condition_mean: float = float("nan")
    difference: float = float("nan")
    percent: float = float("nan")
    low: float = float("nan")
    high: float = float("nan")
    percent_low: float = float("nan")
    percent_high: float = float("nan")
    resolution: float = float("nan")
    p: float = float("nan")
    p_holm: float = float("nan")
    verdict: str = ""
    declined: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class ClipSet:
    """All clips of one dog in one condition on one day.

    records  one record per clip, in the order of their names
    gaits    name of each gait -> hind strides that carry it, most frequent first; "unclear" among them
    """

    dog: str
    condition: str
    date: str
    records: tuple[GaitRecord, ...]
    gaits: dict[str, int]

    @property
    def strides_found(self) -> int:
        """Candidate strides of the near hind paw in all clips."""
        return sum(int(record.strides_of("near_hind").sum()) for record in self.records)

    @property
    def strides_used(self) -> int:
        """Used strides of the near hind paw in all clips."""
        return sum(int((record.strides_of("near_hind") & record.strides.used).sum()) for record in self.records)


@dataclass(frozen=True, slots=True, eq=False)
class Contrast:
    """A condition against the baseline of the same dog and day, or a visit against an earlier one in one condition.

    baseline  None when there is none to compare with; ``declined`` then says so
    same_gait whether both sides show the same most frequent gait
    lines     every measure of every gait that either side shows
    notes     plain sentences that must be known to read the lines
    declined  why nothing at all was compared, else ""
    """

    kind: Kind
    dog: str
    baseline: ClipSet | None
    condition: ClipSet
    same_gait: bool
    lines: tuple[Line, ...]
    notes: tuple[str, ...] = ()
    declined: str = ""


@dataclass(frozen=True, slots=True)
class GroupLine:
    """One measure of one gait in one condition against baseline over several dogs; each dog counts once.

    unit           "%" (of each dog's baseline) for lengths and times, else the measure's own unit
    dogs           (D,) names of the dogs with a compared line
    differences    (D,) difference of each, in ``unit``
    mean, low, high   over dogs, with its 95 % interval (Student's t); NaN with fewer than two dogs
    p, p_holm, verdict, declined   as in Line
    """

    condition: str
    measure: str
    unit: str
    gait: str
    dogs: tuple[str, ...]
    differences: tuple[float, ...]
    mean: float = float("nan")
    low: float = float("nan")
    high: float = float("nan")
    p: float = float("nan")
    p_holm: float = float("nan")
    verdict: str = ""
    declined: str = ""


@dataclass(frozen=True, slots=True)
class Trend:
    """One measure of one gait of one dog in one condition over its visits.

    dates          (V,) ISO dates, rising
    n              (V,) strides
    mean, low, high   (V,) in ``unit`` with their 95 % interval
    repeatability  change between two visits that the dog shows without any cause, in ``unit``: from clips of the same
                   day and condition; NaN = not known
    flagged        (V,) whether the change since the first visit is beyond repeatability and shown by the footage
    declined       (V,) why a visit has no value, else ""
    """

    dog: str
    condition: str
    gait: str
    measure: str
    unit: str
    dates: tuple[str, ...]
    n: tuple[int, ...]
    mean: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    repeatability: float
    flagged: tuple[bool, ...]
    declined: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """Everything that a trial sheet's clips say against each other."""

    contrasts: tuple[Contrast, ...]
    groups: tuple[GroupLine, ...] = ()
    trends: tuple[Trend, ...] = ()
    settings: dict[str, Any] = field(default_factory=dict)
    versions: dict[str, str] = field(default_factory=dict)
