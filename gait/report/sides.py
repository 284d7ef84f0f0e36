"""Near against far as the table that the page prints."""

import math
from typing import Any

from gait.measures import SIDE_WARNING
from gait.nouns import GaitRecord, SideDifference
from gait.report.sections import label, unit_words
from gait.report.units import METRIC, shown
from gait.report.words import number


def sides_table(record: GaitRecord) -> dict[str, Any]:
    """Rows of what was compared, and the warning; no rows where nothing could be."""
    return {"rows": [side_row(item) for item in record.sides], "warning": SIDE_WARNING}


def side_row(item: SideDifference, units: str = METRIC) -> dict[str, Any]:
    """One measure as printed: near, far, error, and the two indices or why they are not told."""
    told = math.isfinite(item.symmetry_index)
    near, far, spread = (shown(value, item.unit, units)[0] for value in (item.near, item.far, item.error))
    return {
        "label": f"{label(item.measure)}, {item.pair} paws",
        "unit": unit_words(shown(1.0, item.unit, units)[1]),
        "near": number(near, spread),
        "far": number(far, spread),
        "error": number(spread, spread),
        "index": f"{number(item.symmetry_index, 1.0)} %" if told else "",
        "angle": f"{number(item.symmetry_angle, 1.0)} %" if told else "",
        "why": "" if told else "the error is not known" if not math.isfinite(spread) else "within the error",
    }
