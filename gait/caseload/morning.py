"""What a person has to look at in the morning, and in which order. Pure: records in, findings out.

Sizes of changes are held against what the same dog shows from clip to clip and from day to day without a cause.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final, Literal

import numpy as np
from scipy.special import stdtrit

from gait.compare.compare import contrast_of
from gait.compare.compared import Compared, compared
from gait.compare.lines import NO_GAIT, with_verdicts
from gait.compare.nouns import LARGER, SMALLER, ClipSet, Line
from gait.compare.rows import unrolled, values_of
from gait.compare.sets import Pair, leading_hind, sets_of
from gait.compare.settings import CompareSettings
from gait.compare.trends import LEAST_FREEDOM, repeatability
from gait.naming import UNCLEAR
from gait.nouns import GaitRecord, TrustCheck
from gait.report.comparison.naturally import day as day_words
from gait.report.comparison.naturally import goes, sentence
from gait.report.comparison.wording import told

Kind = Literal["gait_changed", "changed", "film_again", "unreadable", "unsure"]

#: What needs a person first: a dog that moves otherwise, then a dog that has to come again, then a file to look for, a
#: change that may be none, and last clips whose marks would teach the network. Our own order.
RANKS: Final[dict[str, float]] = {"gait_changed": 1, "changed": 2, "film_again": 3, "unreadable": 4, "unsure": 6}
#: Of a change of a dog whose repeatability is not known.
RANK_UNKNOWN: Final = 5.0
FILM_AGAIN: Final = "film again"


@dataclass(frozen=True, slots=True)
class MorningSettings:
    """When something is worth a person's time. Our own choice unless said.

    unsure        share of the hind strides of a clip that may be unsure before it is told
    least_unsure  strides that must be unsure, whatever their share
    mostly        share of the named strides that a gait must have to be the gait of a visit
    hardly        share above which the gait of the other visit is still there, so that it has not changed
    least_gait    strides that a visit must show of its gait
    visits        newest visits of a dog that are looked at; more tell little that is new and cost time
    """

    unsure: float = 0.25
    least_unsure: int = 2
    mostly: float = 0.6
    hardly: float = 0.2
    least_gait: int = 6
    visits: int = 8
    compare: CompareSettings = field(default_factory=CompareSettings)


DEFAULTS: Final = MorningSettings()


@dataclass(frozen=True, slots=True, eq=False)
class Read:
    """A clip that was read: its record, the numbers of both in the store, its page and its folder of results."""

    record: GaitRecord
    clip_id: int
    record_id: int
    page: str
    folder: str


@dataclass(frozen=True, slots=True)
class Unread:
    """A clip or a file that gave no record.

    says_nothing  whether it can be read but shows no dog or no strides, so that filming again helps
    """

    name: str
    reason: str
    says_nothing: bool
    clip_id: int | None = None
    date: str = ""
    page: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of the list; the fields are those of the store's table of findings. Missing is None or ""."""

    kind: Kind
    rank: float
    words: str
    advice: str = ""
    date: str = ""
    clip_id: int | None = None
    record_id: int | None = None
    measure: str = ""
    gait: str = ""
    unit: str = ""
    before: float | None = None
    now: float | None = None
    difference: float | None = None
    low: float | None = None
    high: float | None = None
    repeatability: float | None = None
    page: str = ""


def unread_finding(unread: Unread) -> Finding:
    """A clip that must be filmed again, or a file that cannot be used; what to do stands in the reason."""
    kind: Kind = "film_again" if unread.says_nothing else "unreadable"
    words = sentence(unread.reason, capital=False)
    advice = "" if "again" in words else "Look whether the file is whole, and copy or export it again."
    return Finding(kind, RANKS[kind], words, advice, unread.date, unread.clip_id, page=unread.page)


def clip_findings(read: Read, settings: MorningSettings = DEFAULTS) -> tuple[Finding, ...]:
    """Whether one clip must be filmed again, or else is unsure about sides or gait."""
    record = read.record
    of: dict[str, Any] = {"date": record.trial.date, "clip_id": read.clip_id, "record_id": read.record_id}
    of["page"] = read.page
    if record.grade == FILM_AGAIN:
        failed = [check for check in record.checks if not check.passed]
        why = [sentence(text) for text in record.notices[-1:] if not record.summaries]
        why += [_failed(check) for check in failed]
        advice = " ".join(dict.fromkeys(check.advice for check in failed if check.advice))
        return (Finding("film_again", RANKS["film_again"], " ".join(why), advice, **of),)
    words = unsure_words(record, settings)
    advice = f"Its frames, marked, teach the network: pawfall pick {read.folder}"
    return (Finding("unsure", RANKS["unsure"], words, advice, **of),) if words else ()


def _failed(check: TrustCheck) -> str:
    value, limit = (_value(number, check.unit) for number in (check.value, check.limit))
    return f"{sentence(check.name)[:-1]}: {value} (limit {limit})."


def _value(value: float, unit: str) -> str:
    if not np.isfinite(value):
        return "not known"
    if unit.startswith("share of"):
        return f"{100 * value:.0f} % {unit.removeprefix('share ')}"
    return f"{value:.3g}{'' if unit == '1' else f' {unit}'}"


def unsure_words(record: GaitRecord, settings: MorningSettings = DEFAULTS) -> str:
    """In which strides sides or gait of a clip are unsure, and when; "" when in too few to matter."""
    s = record.strides
    hind = (s.paw == leading_hind(s)) & (s.dropped != "truncated")
    parts = {
        "near and far cannot be told apart": hind & (s.dropped == "sides_unsure"),
        "the gait has no clear name": hind & s.used & (s.gait == UNCLEAR),
    }
    found = []
    for words, rows in parts.items():
        n = int(rows.sum())
        if n >= settings.least_unsure and n > settings.unsure * hind.sum():
            when = f"{float(np.nanmin(s.start_s[rows])):.1f} to {float(np.nanmax(s.end_s[rows])):.1f} s"
            found.append(f"{words} in {n} of {int(hind.sum())} strides ({when})")
    return sentence("; ".join(found))


def visit_findings(
    reads: Sequence[Read], settings: MorningSettings = DEFAULTS, *, seed: int = 0
) -> tuple[Finding, ...]:
    """How one dog's newest visit differs from the last one in the same condition and at the same speed of the belt.

    Clips that must be filmed again, and clips without a day or a condition, are left out. All lines of the visit are
    corrected together for their number (Holm), whatever their condition, gait and speed; a change has to exceed the
    dog's own repeatability as well, corrected in the same way.
    """
    records = [read.record for read in reads if _tells(read.record)]
    newest = max((record.trial.date for record in records), default="")
    found: list[Finding] = []
    lines: list[tuple[Line, list[ClipSet]]] = []
    for days in alike(records, settings):
        if len(days) > 1 and days[-1].date == newest:
            found += _gait_change(days[-2], days[-1], settings)
            contrast = contrast_of(Pair("visit", days[-2], days[-1]), settings.compare, seed)
            lines += [(line, days) for line in contrast.lines if not line.declined]
    alpha = settings.compare.alpha
    for line, (_, days) in zip(with_verdicts([line for line, _ in lines], alpha), lines, strict=True):
        found += _change(line, days, len(lines), settings)
    return tuple(found)


def _tells(record: GaitRecord) -> bool:
    return bool(record.grade != FILM_AGAIN and record.trial.date and record.trial.condition)


def alike(records: Sequence[GaitRecord], settings: MorningSettings = DEFAULTS) -> list[list[ClipSet]]:
    """The visits of one dog, in order, for each condition and speed of the belt; the newest ones alone."""
    groups: dict[tuple[str, float | None], list[GaitRecord]] = {}
    speeds = _speeds([r.trial.belt_m_s for r in records], settings.compare.most_speed_gap)
    for record in records:
        # a visit is held against a visit here, whichever condition the sheet calls the baseline
        trial = replace(record.trial, baseline=False, dog=record.trial.dog or "the dog")
        speed = record.trial.belt_m_s
        key = (trial.condition, None if speed is None else speeds[speed])
        groups.setdefault(key, []).append(replace(record, trial=trial))
    return [list(sets_of(group))[-settings.visits :] for group in groups.values()]


def _speeds(belts: Iterable[float | None], gap: float) -> dict[float, float]:
    """Each speed of a belt -> the lowest one of those that are alike."""
    found: dict[float, float] = {}
    lowest = 0.0
    for speed in sorted({speed for speed in belts if speed is not None}):
        lowest = lowest if speed <= lowest * (1 + gap) else speed
        found[speed] = lowest
    return found


def _gait_change(before: ClipSet, now: ClipSet, settings: MorningSettings) -> list[Finding]:
    """Another gait than at the last visit; nothing where the speed of the belt is not known."""
    old, new = _gait_of(before, settings), _gait_of(now, settings)
    belt = now.records[0].trial.belt_m_s
    if belt is None or not (old and new) or old == new:
        return []
    if _share(now, old) > settings.hardly or _share(before, new) > settings.hardly:
        return []
    words = (
        f"{now.dog} {goes(new)} ({_count(now, new)}; {now.condition}) at the speed of the belt, {belt:.3g} m/s, at "
        f"which it showed a {old} on {day_words(before.date)} ({_count(before, old)})."
    )
    return [Finding("gait_changed", RANKS["gait_changed"], words, "", now.date, gait=new)]


def _named(clips: ClipSet) -> dict[str, int]:
    return {gait: count for gait, count in clips.gaits.items() if gait not in NO_GAIT}


def _share(clips: ClipSet, gait: str) -> float:
    named = _named(clips)
    return named.get(gait, 0) / max(1, sum(named.values()))


def _count(clips: ClipSet, gait: str) -> str:
    return f"{clips.gaits[gait]} of {sum(clips.gaits.values())} strides"


def _gait_of(clips: ClipSet, settings: MorningSettings) -> str:
    """The gait that most strides of a visit carry, "" when none does clearly."""
    gait = next(iter(_named(clips)), "")
    enough = gait and clips.gaits[gait] >= settings.least_gait and _share(clips, gait) >= settings.mostly
    return gait if enough else ""


def _change(line: Line, days: Sequence[ClipSet], of: int, settings: MorningSettings) -> list[Finding]:
    """A finding when the line, one ``of`` so many, differs by more than the dog's own repeatability where known."""
    if line.verdict not in (LARGER, SMALLER):
        return []
    own = own_repeatability(days, line.gait, compared(line.measure), settings.compare.alpha, of=of)
    known = bool(np.isfinite(own))
    if known and abs(line.difference) <= own:
        return []
    rank = RANKS["changed"] + 1 / (1 + abs(line.difference) / own) if known and own > 0 else RANKS["changed"]
    words = sentence(f"{line.gait}, {days[-1].condition}, since {day_words(days[-2].date)}: {told(line)}")
    return [
        Finding(
            "changed",
            rank if known else RANK_UNKNOWN,
            words,
            "" if known else NOT_KNOWN,
            days[-1].date,
            measure=line.measure,
            gait=line.gait,
            unit=line.unit,
            before=line.baseline_mean,
            now=line.condition_mean,
            difference=line.difference,
            low=line.low,
            high=line.high,
            repeatability=own if known else None,
        )
    ]


NOT_KNOWN: Final = (
    "How far this dog differs without a cause is not known, so this may be nothing: film each condition two or three "
    "times at every visit."
)


#: Share of the measures that count as looked at by themselves. After three visits 0 to 3 % of drawn dogs that did not
#: change are called changed where all count, 3 % with half, 5 to 12 % with a quarter (tests/caseload/false_alarms.py).
APART: Final = 0.5


def own_repeatability(days: Sequence[ClipSet], gait: str, row: Compared, alpha: float, *, of: int = 1) -> float:
    """The change that the dog shows without a cause, in the unit of ``row``; NaN when not known.

    The larger of two: from clip to clip of one day (gait.compare.trends), and from day to day over the visits before
    the newest one, where there are at least three. Clips count that face as the newest do.

    of  measures that are looked at together. One of many exceeds its own 95 % limit sooner than a given one, so the
        limit from clip to clip is that of all of them together (Bonferroni), of which half count: measures of one
        stride hang together (APART). The limit from day to day, which can only raise it, is that of one measure: from
        three days, one of all would be wider than any change.

    The limit is that of two single clips, as gait.compare.trends has it, though visits are means of several: what is
    left over is for days and the place of the camera, which differ besides and which fewer visits do not tell.
    """
    faced = [record.facing for record in days[-1].records]
    way = max(sorted(set(faced)), key=faced.count)
    same = [replace(day, records=tuple(r for r in day.records if r.facing == way)) for day in days]
    found = (repeatability(same, gait, row, alpha / max(1.0, APART * of)), _day_to_day(same[:-1], gait, row, alpha))
    return max((value for value in found if np.isfinite(value)), default=float("nan"))


def _day_to_day(days: Sequence[ClipSet], gait: str, row: Compared, alpha: float) -> float:
    """sqrt(2) x t x SD of the means of days, as gait.compare.trends has it for clips; NaN for fewer than three days."""
    values = unrolled(row, [values_of(day.records, gait, row) for day in days])
    means = np.array([np.concatenate(clips).mean() for clips in values if clips])
    freedom = len(means) - 1
    if freedom < LEAST_FREEDOM:
        return float("nan")
    return float(stdtrit(freedom, 1 - alpha / 2) * np.sqrt(2) * means.std(ddof=1))
