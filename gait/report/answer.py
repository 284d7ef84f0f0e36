"""The answer of the page: a handful of sentences, each with its interval and unit, or said to be not known."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from gait.nouns import GaitRecord, Summary
from gait.report.words import (
    NO_BREAK,
    NOT_KNOWN,
    UNCLEAR,
    clock_doubted,
    gait_sentence,
    half_interval,
    number,
    use_sentence,
    with_interval,
)

Find = Callable[..., Summary | None]


@dataclass(frozen=True, slots=True)
class Item:
    """One line of the answer: what it is about, and the finding."""

    name: str
    text: str


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer in order. ``use`` is the sentence on the strides used; ``remarks`` qualify the items."""

    gait: str
    use: str
    items: tuple[Item, ...]
    remarks: tuple[str, ...]


#: The hind paw is the reference for footfall measures; the near one is seen best.
REFERENCE: Final = ("near_hind", "far_hind")


def answer(record: GaitRecord) -> Answer:
    """What this clip shows, in plain sentences."""
    find = finder(record)
    use = use_sentence(record.strides)
    items = [
        Item("Strides", f"{use} Strides of all four paws are counted." if len(record.strides) else use),
        Item("Stride time", _stride_time(find, clock_doubted(record))),
        Item("Stride length", _stride_length(find)),
        Item("Duty factor", _duty(find)),
        Item("Topline", _topline(find)),
    ]
    return Answer(gait_sentence(record), use, tuple(items), tuple(_remarks(record)))


def finder(record: GaitRecord) -> Find:
    """A look-up of summaries: ``find(measure, *paws)`` gives the first known one, any paw when none is named."""

    def find(measure: str, *paws: str) -> Summary | None:
        """The first known summary of ``measure`` at ``paws``."""
        rows = [row for row in record.summaries if row.measure == measure and np.isfinite(row.mean)]
        if not paws:
            return rows[0] if rows else None
        return next((row for paw in paws for row in rows if row.paw == paw), None)

    return find


def _stride_time(find: Find, doubted: bool) -> str:
    row = find("stride_time_s", *REFERENCE)
    if row is None:
        return f"{_capital(NOT_KNOWN)}."
    clock = " on the clock of the file, whose slow motion is not known" if doubted else ""
    return f"{with_interval(row, 's')} from one touchdown of the {words(row.paw)} to the next{clock}."


def _stride_length(find: Find) -> str:
    relative, metric = find("stride_length_bl", *REFERENCE), find("stride_length_m", *REFERENCE)
    if relative is None and metric is None:
        return f"{_capital(NOT_KNOWN)}."
    parts = [] if relative is None else [with_interval(relative, "body lengths (withers to croup)")]
    parts.append("in metres not known, since no scale is known" if metric is None else with_interval(metric, "m"))
    return f"{'; '.join(parts)}."


def _duty(find: Find) -> str:
    parts = []
    for paw in ("near_fore", "near_hind"):
        row = find("duty_factor", paw, paw.replace("near", "far"))
        if row is not None:
            parts.append(f"{words(row.paw)} {with_interval(row, '%', 100)}")
    return f"On the belt: {' and '.join(parts)} of the stride." if parts else f"{_capital(NOT_KNOWN)}."


#: From drawn dogs and the outside dog that tests read: what all strides of a clip share and no spread of strides shows.
_PLACED = (
    "Where withers and croup are placed can shift all angles of a dog alike, by 1 to 2°; "
    "from one clip to another much of that cancels."
)


def _topline(find: Find) -> str:
    row = find("topline_deg", "", *REFERENCE)
    if row is None:
        return f"{_capital(NOT_KNOWN)}."
    half = half_interval(row)
    size = Summary(row.measure, row.paw, row.unit, abs(row.mean), row.sd, row.sem, row.cv, row.n)
    if np.isfinite(half) and abs(row.mean) <= half:
        return f"Level within what this footage can show ({number(row.mean, half)} ± {number(half, half)}°)."
    higher = "croup" if row.mean > 0 else "withers"
    return f"The {higher} higher by {with_interval(size, '°').replace(f'{NO_BREAK}°', '°')} on average. {_PLACED}"


def _remarks(record: GaitRecord) -> list[str]:
    """What has to be known to read the items rightly."""
    names = {run.gait for run in record.runs} - {UNCLEAR, "stand"}
    if len(names) > 1:
        told = ", ".join(sorted(names))
        return [f"The means above mix strides of {len(names)} gaits ({told}); the table below gives each by itself."]
    return []


def words(paw: str) -> str:
    """ "near_hind" as "near hind paw"."""
    return f"{paw.replace('_', ' ')} paw"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
