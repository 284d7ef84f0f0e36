"""The record laid out as the rows and lines that the page prints. No number is worked out here, only written."""

import math
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

import numpy as np

from gait.measures import MEASURES, OF_CLIP, Measure
from gait.nouns import GaitRecord, Summary, TrustCheck
from gait.report.bygait import heading
from gait.report.units import METRIC, shown
from gait.report.words import DROP_WORDS, NOT_KNOWN, UNCLEAR, either_words, number, told_slow
from pose.landmarks import PAWS

Rows = list[tuple[str, str]]

GRADES: Final = {"good": "good", "usable with care": "care", "film again": "again"}
NOTHING_TO_CHANGE: Final = (
    "Nothing. Keep camera, light and belt as they were, so that the next visit can be compared with this one."
)
#: A share of something is printed in percent of it.
SHARE: Final = "share "
BY_PERSON: Final = ", named by a person"
SLOW_MOTION: Final = (
    "The clock of this clip is not known: the file looks like slow motion, and the frame rate at which it was filmed "
    "was not given. Times, rates and speeds are those of the file, not those of the dog."
)


def head(record: GaitRecord) -> dict[str, Any]:
    """Title, grade and the facts of the filming."""
    trial = record.trial
    title = trial.dog or trial.clip or "Unnamed clip"
    subtitle = " · ".join(part for part in (trial.condition, trial.date) if part)
    grade_class = GRADES.get(record.grade, "again")
    return {
        "title": title,
        "subtitle": subtitle,
        "grade": record.grade,
        "grade_class": grade_class,
        "facts": _facts(record),
    }


def _facts(record: GaitRecord) -> Rows:
    trial, t_s = record.trial, record.tracks.t_s
    rate = (len(t_s) - 1) / (t_s[-1] - t_s[0]) if len(t_s) > 1 else math.nan
    rows = [
        ("Clip", trial.clip or NOT_KNOWN),
        ("Dog", trial.dog or NOT_KNOWN),
        ("Date", trial.date or NOT_KNOWN),
        ("Condition", (trial.condition or NOT_KNOWN) + (" (baseline)" if trial.baseline else "")),
        ("Travels to the", record.facing),
        ("Length", f"{number(float(t_s[-1] - t_s[0]))} s, {len(t_s)} frames, {number(rate)} per second"),
        ("Belt as set", _quantity(trial.belt_m_s, "m/s")),
        ("Network", record.network_hash[:12] or "none: landmarks came from a table"),
    ]
    return rows + [row for row in _said(record) if row[1] != NOT_KNOWN]


def _said(record: GaitRecord) -> Rows:
    """What a person may have said about the filming."""
    trial = record.trial
    return [
        ("Filmed at", _quantity(trial.filmed_fps, "frames per second")),
        ("Belt incline", _quantity(trial.incline_deg, "°")),
        ("Lead tension", _quantity(trial.lead_tension_n, "N")),
        ("Height at the withers", _quantity(trial.withers_cm, "cm")),
        ("Mass", _quantity(trial.mass_kg, "kg")),
        ("Notes", trial.notes or NOT_KNOWN),
    ]


def _quantity(value: float | None, unit: str) -> str:
    text = number(value)
    return text if text == NOT_KNOWN else f"{text} {unit}"


def notices(record: GaitRecord) -> list[str]:
    """The record's notices; the unknown clock of slow motion is told even when the record does not."""
    lines = list(record.notices)
    if not record.trial.clock_known and not any(told_slow(line) for line in lines):
        lines.insert(0, SLOW_MOTION)
    return lines


def measure_table(record: GaitRecord) -> dict[str, Any]:
    """Measures down, paws across; a cell is mean and sd, and n where it is not the heading's; nothing where unknown.

    What is the whole dog's is the same over the strides of any paw and stands once, as seen over those of one hind paw.
    """
    known = [row for row in record.summaries if math.isfinite(row.mean)]
    names = dict.fromkeys(row.measure for row in known)
    present = {row.paw for row in known}
    paws = [paw for paw in PAWS if paw in present] + sorted(present - set(PAWS))
    most = {paw: max(row.n for row in known if row.paw == paw) for paw in paws}
    rows: dict[bool, list[dict[str, Any]]] = {False: [], True: []}
    for name in names:
        found = {row.paw: row for row in known if row.measure == name}
        whole = any(item.whole for item in MEASURES if item.name == name)
        over = next(paw for paw in (*_REFERENCE, *found) if paw in found)
        cells = [_cell(found[over], most[over])] if whole else [_cell(found.get(paw), most[paw]) for paw in paws]
        unit = unit_words(found[over].unit)
        rows[whole].append({"label": label(name), "unit": unit, "cells": cells})
    return {
        "columns": [{"name": paw.replace("_", " ") or "whole dog", "n": most[paw]} for paw in paws],
        "rows": rows[False],
        "whole": rows[True],
        "whole_n": next((most[paw] for paw in _REFERENCE if paw in most), 0),
        "missing": [heading(item.name) for item in MEASURES if item.name not in names],
    }


#: Paws over whose strides the whole dog is measured, the first that has any.
_REFERENCE: Final = ("near_hind", "far_hind")


def _cell(row: Summary | None, usual: int) -> dict[str, Any] | None:
    if row is None:
        return None
    spread = number(row.sd, row.sd)
    steadiness = number(row.cv, max(row.cv, 0.1)) if math.isfinite(row.cv) else ""
    spread = "" if spread == NOT_KNOWN else spread
    return {"mean": number(row.mean, row.sd), "sd": spread, "cv": steadiness, "n": row.n if row.n != usual else 0}


def label(measure: str) -> str:
    """The name of a measure in plain words."""
    return next((item.label for item in MEASURES if item.name == measure), measure.replace("_", " "))


def clip_label(name: str) -> str:
    """The name, in plain words, of what is worked out from the means of a clip."""
    return next(item.label for item in OF_CLIP if item.name == name)


def unit_words(unit: str) -> str:
    """A unit as printed; a pure number has none."""
    return "" if unit == "1" else unit


def stride_table(record: GaitRecord) -> list[dict[str, str]]:
    """One row per candidate stride in the order of the record."""
    strides = record.strides
    said = {row for one in record.overruled for row in one.strides if one.gait}
    return [
        {
            "paw": PAWS[int(strides.paw[row])].replace("_", " "),
            "start": _moment(strides.start_s[row]),
            "end": _moment(strides.end_s[row]),
            "gait": _gait(str(strides.gait[row]), str(strides.candidates[row])) + (BY_PERSON if row in said else ""),
            "probability": _moment(strides.gait_probability[row], 2),
            "dropped": DROP_WORDS.get(str(strides.dropped[row]), str(strides.dropped[row])),
        }
        for row in range(len(strides))
    ]


def _moment(value: float, decimals: int = 3) -> str:
    return f"{value:.{decimals}f}" if np.isfinite(value) else NOT_KNOWN


def _gait(name: str, either: str) -> str:
    if name == UNCLEAR and either:
        return f"{UNCLEAR}: {either_words(either.split('/'))}"
    return name or "not named"


def checks(record: GaitRecord) -> list[dict[str, Any]]:
    """Trust checks with value and limit."""
    return [
        {"name": item.name, "value": _with_unit(item.value, item.unit), "limit": _limit(item), "passed": item.passed}
        for item in record.checks
    ]


def _with_unit(value: float, unit: str) -> str:
    if unit.startswith(SHARE):
        value, unit = 100 * value, f"% {unit.removeprefix(SHARE)}"
    text = number(value)
    return text if text == NOT_KNOWN or unit in ("", "1") else f"{text} {unit}"


def _limit(item: TrustCheck) -> str:
    """The limit, with its sense read off the verdict; a value on the limit or a missing one does not tell the sense."""
    text = _with_unit(item.limit, item.unit)
    if text == NOT_KNOWN or not math.isfinite(item.value) or item.value == item.limit:
        return text
    return f"{'at least' if (item.value > item.limit) == item.passed else 'at most'} {text}"


def advice(record: GaitRecord) -> list[str]:
    """What to change when filming again: the advice of every check that does not hold, each line once."""
    return list(dict.fromkeys(item.advice for item in record.checks if not item.passed and item.advice))


def definitions(record: GaitRecord) -> list[dict[str, str]]:
    """The definitions of the measures that this page speaks of, or of all when it speaks of none."""
    return define(_spoken_of(record))


def define(measures: Iterable[Measure], units: str = METRIC) -> list[dict[str, str]]:
    """The definitions of ``measures``; one that is given in two units is defined once. units: of lengths and speeds."""
    found: dict[tuple[str, str], dict[str, str]] = {}
    for item in measures:
        unit = unit_words(shown(1.0, item.unit, units)[1])
        entry = {
            "label": item.label,
            "unit": unit,
            "definition": item.definition,
            "source": item.source,
        }
        if (known := found.setdefault((item.label, item.definition), entry)) is not entry:
            known["unit"] += f", {unit}"
    return list(found.values())


def _spoken_of(record: GaitRecord) -> tuple[Measure, ...]:
    shown = {row.measure for row in record.summaries}
    if not shown:
        return (*MEASURES, *OF_CLIP)
    sides = [item for item in OF_CLIP if record.sides or not item.name.startswith("symmetry")]
    return (*(item for item in MEASURES if item.name in shown), *sides)


def making(record: GaitRecord) -> Rows:
    """Versions and the network's hash."""
    return [("Network hash", record.network_hash or "none")] + [
        (f"Version of {name}", str(value)) for name, value in record.versions.items()
    ]


def settings(record: GaitRecord) -> Rows:
    """All settings, one line each, nested names joined by a full stop."""
    return list(flat(record.settings))


def flat(values: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, str]]:
    """Names joined by a full stop, and values as printed, of nested settings."""
    for name, value in values.items():
        if isinstance(value, Mapping):
            yield from flat(value, f"{prefix}{name}.")
        else:
            yield f"{prefix}{name}", NOT_KNOWN if value is None or value != value else str(value)
