"""Events as a table for other programs: tab-separated, with the columns that BIDS asks of an events file.

``onset`` (s from the first frame of the clip), ``duration`` (s, "n/a" = not known, 0 = a moment) and ``trial_type``
come first, as the Brain Imaging Data Structure has it (bids-specification.readthedocs.io, task events); our own columns
follow, and a file of the same name with the ending .json says what they hold. Missing is "n/a".
"""

import csv
import json
import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from gait.errors import GaitError
from gait.nouns import Contacts, Strides
from gait.stream import STRIDE, Event
from gait.tables import write_whole
from pose.landmarks import PAWS

STANCE: Final = "stance"
COLUMNS: Final = ("onset", "duration", "trial_type", "paw", "gait", "gait_probability", "dropped")
NOT_KNOWN: Final = "n/a"

#: Decimals: 0.01 ms, as in contacts.csv and strides.csv.
TIME, SHARE = 5, 4

ABOUT: Final = {
    "onset": {"Description": "Begin of the event from the first frame of the clip", "Units": "s"},
    "duration": {"Description": "Length of the event; 0 for a moment, n/a where its end was not seen", "Units": "s"},
    "trial_type": {
        "Description": "What happened",
        "Levels": {
            "stance": "A paw stands, from touchdown to lift-off",
            "stride": "From touchdown to the next touchdown of the same paw",
            "touchdown": "A paw lands (live)",
            "liftoff": "A paw leaves the ground (live)",
            "gait changed": "Enough strides in a row have another gait than before (live)",
        },
    },
    "paw": {"Description": "near_fore, far_fore, near_hind or far_hind; near is the side towards the camera"},
    "gait": {"Description": "Gait of a stride; unclear = no name is likely enough; n/a = dropped, or no stride"},
    "gait_probability": {"Description": "Probability of that gait, 0 to 1"},
    "dropped": {"Description": "Why a stride was not used"},
}


@dataclass(frozen=True, slots=True)
class Row:
    """One event. onset_s: s from the first frame; duration_s: s, NaN = not known; words are "" where there are none."""

    onset_s: float
    duration_s: float
    trial_type: str
    paw: str = ""
    gait: str = ""
    probability: float = float("nan")
    dropped: str = ""


def rows_of_clip(contacts: Contacts, strides: Strides, start_s: float) -> list[Row]:
    """Stances and strides whose begin was seen, by their begin; ``start_s`` s is the time of the first frame."""
    rows = []
    for i in np.flatnonzero(np.isfinite(contacts.touchdown_s)):
        stance = float(contacts.liftoff_s[i] - contacts.touchdown_s[i])
        rows.append(Row(float(contacts.touchdown_s[i]) - start_s, stance, STANCE, PAWS[contacts.paw[i]]))
    for i in np.flatnonzero(np.isfinite(strides.start_s)):
        time = float(strides.end_s[i] - strides.start_s[i])
        named = str(strides.gait[i]), float(strides.gait_probability[i]), str(strides.dropped[i])
        rows.append(Row(float(strides.start_s[i]) - start_s, time, STRIDE, PAWS[strides.paw[i]], *named))
    return sorted(rows, key=lambda row: row.onset_s)


def rows_of_results(folder: Path, start_s: float) -> list[Row]:
    """The same from the contacts.csv and strides.csv that ``pawfall read`` left in ``folder``."""
    rows = []
    for line in _lines(folder / "contacts.csv"):
        begin, end = _seconds(line["touchdown_s"]), _seconds(line["liftoff_s"])
        rows.append(Row(begin - start_s, end - begin, STANCE, f"{line['side']}_{line['paw']}"))
    for line in _lines(folder / "strides.csv"):
        begin, end = _seconds(line["start_s"]), _seconds(line["end_s"])
        named = line["gait"], _seconds(line["gait_probability"]), line["dropped"]
        rows.append(Row(begin - start_s, end - begin, STRIDE, f"{line['side']}_{line['paw']}", *named))
    return sorted((row for row in rows if math.isfinite(row.onset_s)), key=lambda row: row.onset_s)


def _lines(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _seconds(word: str) -> float:
    return float(word) if word else math.nan


def rows_of_events(events: Iterable[Event], start_s: float) -> list[Row]:
    """Live events by their begin; ``start_s`` s is the time of the first frame."""
    rows = []
    for one in events:
        length = one.duration_s if one.kind == STRIDE else 0.0
        begin_s = one.t_s - length - start_s
        rows.append(Row(begin_s, length, one.kind, one.paw, one.gait, one.probability, one.dropped))
    return sorted(rows, key=lambda row: row.onset_s)


def write_events(rows: Iterable[Row], path: str | Path) -> None:
    """Write ``rows`` to ``path`` (.tsv), and what its columns hold beside it (.json); each appears whole or not at all.
    """
    path = Path(path)
    lines = [COLUMNS, *(_words(row) for row in rows)]
    write_whole(path, lambda file: file.write("".join("\t".join(line) + "\n" for line in lines)))
    write_whole(path.with_suffix(".json"), lambda file: file.write(json.dumps(ABOUT, indent=1) + "\n"))


def read_events(path: str | Path) -> list[Row]:
    """The rows in ``path`` (.tsv), also of a table made elsewhere with the first three columns alone.

    Raises GaitError that names the row which cannot be used.
    """
    path = Path(path)
    with path.open(encoding="utf-8-sig", newline="") as file:
        lines = csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE)
        if tuple(lines.fieldnames or ())[:2] != COLUMNS[:2]:
            raise GaitError(f"{path.name} has to begin with the columns onset and duration, with tabs between.")
        return [_row(path.name, number, line) for number, line in enumerate(lines, start=1)]


def _words(row: Row) -> tuple[str, ...]:
    head = _number(row.onset_s, TIME), _number(row.duration_s, TIME), row.trial_type
    return *head, row.paw or NOT_KNOWN, row.gait or NOT_KNOWN, _number(row.probability, SHARE), row.dropped or NOT_KNOWN


def _number(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}" if math.isfinite(value) else NOT_KNOWN


def _row(name: str, number: int, line: dict[str, str]) -> Row:
    told = {key: "" if line.get(key) in (None, NOT_KNOWN) else line[key] for key in COLUMNS}
    try:
        onset, duration, sure = (
            float(told[key] or "nan") for key in ("onset", "duration", "gait_probability")
        )
    except ValueError as error:
        raise GaitError(f"{name}, row {number}: {error}; give seconds, or n/a.") from None
    if not math.isfinite(onset) or duration < 0:
        raise GaitError(f"{name}, row {number}: onset has to be told, and duration 0 or more; they are {line}.")
    return Row(onset, duration, told["trial_type"], told["paw"], told["gait"], sure, told["dropped"])
