"""A made-up comparison in closed form: every number of the report can be told from the arguments."""

from collections import Counter
from dataclasses import replace
from functools import cache

import numpy as np
from record_maker import TANSY, Wish, make_record

from gait.compare.compared import compared
from gait.compare.nouns import ClipSet, Comparison, Contrast, GroupLine, Line, Trend
from gait.nouns import GaitRecord, SideDifference
from gait.trial import Trial

DAY = "2026-05-04"
VISITS = ("2026-03-02", "2026-04-13", "2026-05-25")
SETTINGS = {"like_speed": 0.05, "least_strides": 8, "seed": 0}
SIDES = (
    SideDifference("duty_factor", "hind", "1", 0.452, 0.401, 0.021, 11.96, 3.79),
    SideDifference("stance_s", "fore", "s", 0.220, 0.215, 0.012, np.nan, np.nan),
)
TOO_FEW = "boots shows 3 strides of it; at least 8 are needed"


def make_line(measure: str, before: float, after: float, half: float, **changes: object) -> Line:
    """A compared line whose interval is the difference ± ``half``; a verdict follows from whether nought is inside."""
    row, difference = compared(measure).measure, after - before
    verdict = "no_difference_shown" if abs(difference) <= half else "larger" if difference > 0 else "smaller"
    share = 100 / before if row.zero else np.nan
    found = Line(
        measure, row.unit, "trot", 14, 12, before, after, difference, share * difference, difference - half,
        difference + half, share * (difference - half), share * (difference + half), 1.2 * half, 0.01, 0.03, verdict,
    )  # fmt: skip
    return replace(found, **changes)  # type: ignore[arg-type]


def make_declined(measure: str, reason: str = TOO_FEW, gait: str = "trot") -> Line:
    """A line that was not compared."""
    return Line(measure, compared(measure).measure.unit, gait, 14, 3, declined=reason)


LINES = (
    make_line("hind_reach_m", 0.5, 0.46, 0.015),
    make_line("topline_deg", 1.0, 3.1, 0.7),
    make_line("hind_duty_factor", 0.45, 0.42, 0.01),
    make_line("limb_phase", 0.45, 0.50, 0.02),
    make_line("tracking_up_m", 0.02, -0.02, 0.01),
    make_line("fore_protraction_deg", 25.0, 28.0, 1.0),
    make_line("stride_time_s", 0.52, 0.521, 0.008),
    make_line("stride_length_m", 0.95, 0.955, 0.02),
    make_line("fore_duty_factor", 0.46, 0.461, 0.01),
    make_declined("withers_excursion_m", "the withers are hidden by the vest in more than half of the frames"),
)


def make_clips(condition: str, *runs: tuple[str, int], clips: int = 1, **changes: object) -> ClipSet:
    """A side with so many clips, each with those runs of gait."""
    trial = replace(TANSY, condition=condition, baseline=condition == "bare", **changes)  # type: ignore[arg-type]
    records = tuple(_record(replace(trial, clip=f"{condition}-{place + 1}.mp4"), runs) for place in range(clips))
    gaits = Counter(name for record in records for name in record.strides.gait[_named(record)])
    return ClipSet(trial.dog, condition, trial.date, records, {str(k): int(n) for k, n in gaits.most_common()})


def _record(trial: Trial, runs: tuple[tuple[str, int], ...]) -> GaitRecord:
    record = make_record(Wish(runs=runs or (("trot", 14),), dropped=((2, "gap"),), trial=trial))
    return replace(record, sides=SIDES)


def _named(record: GaitRecord) -> np.ndarray:
    return record.strides.used & record.strides_of("near_hind")


BARE = make_clips("bare", clips=2)
VEST = make_clips("weighted work vest")
BOOTS = make_clips("boots", ("pace", 9), ("trot", 3))


def condition_contrasts() -> tuple[Contrast, ...]:
    """Tansy in a vest (same gait, some differences) and in boots (another gait)."""
    vest = Contrast("condition", "Tansy", BARE, VEST, True, LINES, ("The vest was put on a minute before filming.",))
    lines = (
        make_declined("topline_deg"),
        make_declined("hind_reach_m"),
        make_declined("hind_reach_m", "bare shows none of it", "pace"),
    )
    return vest, Contrast("condition", "Tansy", BARE, BOOTS, False, lines)


def visit_contrasts() -> tuple[Contrast, ...]:
    """Ember at three visits, the later two against the first."""
    sides = [make_clips("bare", dog="Ember", date=date) for date in VISITS]
    lines = (make_line("topline_deg", -1.0, 0.9, 0.6), make_line("hind_reach_bl", 1.0, 1.01, 0.03))
    return tuple(Contrast("visit", "Ember", sides[0], side, True, lines) for side in sides[1:])


def make_trend(measure: str, means: tuple[float, ...], half: float, flagged: tuple[bool, ...]) -> Trend:
    """A measure of Ember over three visits."""
    low, high = (tuple(mean + sign * half for mean in means) for sign in (-1, 1))
    unit = compared(measure).measure.unit
    told = tuple("" if np.isfinite(mean) else "10 February: known in 2 strides only" for mean in means)
    counts = (14, 12, 13)
    return Trend("Ember", "bare", "trot", measure, unit, VISITS, counts, means, low, high, half, flagged, told)


TRENDS = (
    make_trend("topline_deg", (-1.0, 0.2, 0.9), 0.6, (False, False, True)),
    make_trend("hind_reach_bl", (1.0, np.nan, 1.01), 0.03, (False, False, False)),
    make_trend("hind_duty_factor", (0.45, 0.44, 0.43), 0.01, (False, False, True)),
)


def group_contrasts() -> tuple[Contrast, ...]:
    """Brock and Pilot in the vest, so that with Tansy three dogs share a condition."""
    found = []
    for dog, after in (("Brock", 0.37), ("Pilot", 0.72)):
        before, vest = make_clips("bare", dog=dog), make_clips("weighted work vest", dog=dog)
        lines = (make_line("hind_reach_m", after + 0.03, after, 0.01), make_line("topline_deg", 4.0, 5.0, 0.5))
        found.append(Contrast("condition", dog, before, vest, True, lines))
    return tuple(found)


GROUPS = (
    GroupLine("weighted work vest", "hind_reach_m", "%", "trot", ("Tansy", "Brock", "Pilot"), (-8.0, -7.5, -4.0), -6.5,
              -11.9, -1.1, 0.03, 0.06, "smaller"),
    GroupLine("weighted work vest", "topline_deg", "deg", "trot", ("Tansy", "Brock", "Pilot"), (2.1, 1.0, 1.0), 1.4,
              -0.2, 2.9, 0.07, 0.07, "no_difference_shown"),
    GroupLine("weighted work vest", "reach_ratio", "%", "trot", (), (), declined="no dog has a compared line"),
)  # fmt: skip


@cache
def make_comparison() -> Comparison:
    """Conditions, several dogs and visits at once."""
    contrasts = (*condition_contrasts(), *group_contrasts(), *visit_contrasts())
    return Comparison(contrasts, GROUPS, TRENDS, SETTINGS, {"pawfall": "0.1.0", "numpy": np.__version__})
