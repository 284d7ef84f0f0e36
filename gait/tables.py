"""Writes a record as tables: contacts.csv, strides.csv, record.json. Missing is empty in CSV and null in JSON."""

import csv
import json
import math
import os
from collections.abc import Callable, Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final, TextIO

import numpy as np

from gait.footfalls import mean_phase
from gait.measures import MEASURES, NAMES, OF_CLIP
from gait.naming import SYMMETRICAL, fine_name
from gait.nouns import Contacts, GaitRecord, Strides
from pose.landmarks import PAWS

CONTACT_COLUMNS: Final = ("paw", "side", "touchdown_s", "touchdown_sd_ms", "liftoff_s", "liftoff_sd_ms", "truncated")
STRIDE_COLUMNS: Final = ("paw", "side", "start_s", "end_s", "gait", "gait_probability", "dropped")

#: Decimals written: 0.01 ms for times, so that no rounding reaches a measure.
TIME, SD, SHARE = 5, 2, 4


def write_record(record: GaitRecord, folder: str | Path) -> None:
    """Write the three files into ``folder`` (made if need be); each appears whole or not at all."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    write_whole(folder / "contacts.csv", lambda file: write_rows(file, CONTACT_COLUMNS, _contact_rows(record.contacts)))
    columns = (*STRIDE_COLUMNS, *(c for name in NAMES for c in (name, f"{name}_sd")), "candidates", "band")
    write_whole(folder / "strides.csv", lambda file: write_rows(file, columns, _stride_rows(record.strides)))
    write_whole(
        folder / "record.json",
        lambda file: file.write(json.dumps(record_as_dict(record), indent=1, allow_nan=False) + "\n"),
    )


def record_as_dict(record: GaitRecord) -> dict[str, Any]:
    """The record without its per-frame arrays, as plain values; NaN becomes None."""
    found = {
        "grade": record.grade,
        "notices": list(record.notices),
        "facing": record.facing,
        "body_length_px": record.body_length_px,
        "strides": _counts(record.strides),
        "runs": [asdict(run) for run in record.runs],
        "summary": [asdict(summary) for summary in record.summaries],
        "sides": [asdict(difference) for difference in record.sides],
        "belt": {
            name: getattr(record.belt, name)
            for name in ("speed_px_s", "speed_sd_px_s", "angle_deg", "steady", "m_per_px", "scale_source")
        },
        "checks": [asdict(check) for check in record.checks],
        "measures": [asdict(measure) for measure in (*MEASURES, *OF_CLIP)],
        "trial": asdict(record.trial),
        "settings": record.settings,
        "versions": record.versions,
        "network_hash": record.network_hash,
    }
    told: dict[str, Any] = plain(found)
    return told


def _counts(strides: Strides) -> dict[str, Any]:
    reasons, counts = np.unique(strides.dropped[~strides.used], return_counts=True)
    return {
        "found": len(strides),
        "used": int(strides.used.sum()),
        "dropped": dict(zip(map(str, reasons), map(int, counts), strict=True)),
    }


def plain(value: Any) -> Any:
    """``value`` in types that JSON knows."""
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | np.ndarray):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _contact_rows(c: Contacts) -> Iterable[list[str]]:
    for i in range(len(c)):
        side, paw = PAWS[c.paw[i]].split("_")
        yield [
            paw,
            side,
            _number(c.touchdown_s[i], TIME),
            _number(c.touchdown_sd_ms[i], SD),
            _number(c.liftoff_s[i], TIME),
            _number(c.liftoff_sd_ms[i], SD),
            str(int(c.truncated[i])),
        ]


def _stride_rows(s: Strides) -> Iterable[list[str]]:
    phase = mean_phase(s.measures["limb_phase_near"], s.measures["limb_phase_far"])
    for i in range(len(s)):
        side, paw = PAWS[s.paw[i]].split("_")
        band = fine_name(float(phase[i])) if s.gait[i] in SYMMETRICAL and math.isfinite(phase[i]) else ""
        head = [
            paw,
            side,
            _number(s.start_s[i], TIME),
            _number(s.end_s[i], TIME),
            str(s.gait[i]),
            _number(s.gait_probability[i], SHARE),
            str(s.dropped[i]),
        ]
        values = [_number(column[name][i], TIME) for name in NAMES for column in (s.measures, s.measures_sd)]
        yield [*head, *values, str(s.candidates[i]), band]


def _number(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}" if math.isfinite(value) else ""


def write_rows(file: TextIO, columns: tuple[str, ...], rows: Iterable[list[str]]) -> None:
    """Write a CSV table: the names of its columns, then its rows."""
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)


def write_whole(path: Path, fill: Callable[[TextIO], object]) -> None:
    """Write a text file that appears whole or not at all."""
    beside = path.with_name(f".{path.name}.partial-{os.getpid()}")
    try:
        with beside.open("w", encoding="utf-8", newline="") as file:
            fill(file)
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)
