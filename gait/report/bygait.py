"""Means of each gait by itself, for a clip in which the dog changes gait."""

from typing import Any, Final

import numpy as np

from gait.measures import measure
from gait.nouns import GaitRecord
from gait.report.words import UNCLEAR, number
from pose.tracks import BoolArray, FloatArray

#: The measures that a change of gait changes most; all of the hind paws, the reference for footfall measures.
SHOWN: Final[tuple[str, ...]] = (
    "stride_time_s",
    "stride_length_bl",
    "stride_length_m",
    "duty_factor",
    "limb_phase",
    "topline_deg",
)


def by_gait(record: GaitRecord) -> dict[str, Any]:
    """Rows (gait, strides, mean ± standard deviation of each measure) over the used strides of both hind paws.

    Empty unless two gaits or more were named; measures that no stride has are left out.
    """
    strides = record.strides
    hind = (record.strides_of("near_hind") | record.strides_of("far_hind")) & strides.used
    names = [name for name in dict.fromkeys(str(name) for name in strides.gait[hind]) if name not in ("", UNCLEAR)]
    columns = [name for name in SHOWN if name in strides.measures and np.isfinite(strides.measures[name][hind]).any()]
    if len(names) < 2 or not columns:
        return {"columns": [], "rows": []}
    shown = {column: strides.measures[column] for column in columns}
    rows = [_row(name, hind & (strides.gait == name), shown) for name in names]
    return {"columns": [heading(column) for column in columns], "rows": rows}


def _row(gait: str, chosen: BoolArray, columns: dict[str, FloatArray]) -> dict[str, Any]:
    cells = [spread_words(values[chosen], measure(name).circle is not None) for name, values in columns.items()]
    return {"gait": gait, "n": int(np.count_nonzero(chosen)), "cells": cells}


def spread_words(values: FloatArray, circular: bool = False) -> str:
    """Mean and standard deviation of what is known of ``values`` (N,), as "0.520 ± 0.012"; phases go round a circle."""
    known = values[np.isfinite(values)]
    if circular and len(known):
        middle = np.angle(np.exp(2j * np.pi * known).mean()) / (2 * np.pi) % 1
        known = middle + (known - middle + 0.5) % 1 - 0.5
    if len(known) < 2:
        return number(float(known[0]) if len(known) else None)
    spread = float(known.std(ddof=1))
    return f"{number(float(known.mean()), spread)} ± {number(spread, spread)}"


def heading(name: str) -> str:
    """Label of a measure with its unit."""
    row = measure(name)
    return row.label if row.unit == "1" else f"{row.label}, {row.unit}"
