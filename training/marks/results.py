"""What `pawfall read` left in a folder, as far as choosing frames needs it."""

import csv
import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pose.errors import TableError
from pose.exchange import READERS
from pose.landmarks import PAWS
from pose.table import read_table
from pose.tracks import Tracks

#: What a result always has; a folder with all of these is one.
FILES = ("record.json", "landmarks.csv", "strides.csv")


@dataclass(frozen=True, slots=True)
class Stride:
    """One stride of one paw.

    paw             0..3
    start_s, end_s  s; NaN where the clip cut it off
    dropped         "" or why it was not used
    length_bl       body lengths that the belt went under it; NaN = not known
    sd_bl           standard deviation of the same; 0 = not told
    """

    paw: int
    start_s: float
    end_s: float
    dropped: str
    length_bl: float
    sd_bl: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Result:
    """One clip that was read.

    folder      where the result lies
    source      name of the film or the folder of pictures
    sha256      of its content
    dog, date, condition   as the trial sheet says; "" = not told
    facing      "left", "right" or None
    body_length_px  px, median distance from withers to croup; NaN = not known
    opening     what pose.clip.open_clip needs besides the path, to give the frames that were read
    """

    folder: Path
    source: str
    sha256: str
    dog: str
    date: str
    condition: str
    facing: str | None
    body_length_px: float
    opening: Mapping[str, Any]
    tracks: Tracks
    strides: tuple[Stride, ...]


def find_results(roots: Iterable[Path]) -> list[Path]:
    """Folders at or below ``roots`` that hold a result, each once; unfinished ones (with a dot) are passed over.

    Raises TableError for a root without any.
    """
    found: dict[Path, Path] = {}
    for root in roots:
        here = [file.parent for file in sorted(root.rglob("record.json"))] if root.is_dir() else []
        here = [folder for folder in here if not folder.name.startswith(".") and (folder / FILES[1]).is_file()]
        if not here:
            raise TableError(f"{root} holds no result of a reading. Give a folder that `pawfall read` has written.")
        found |= {folder.resolve(): folder for folder in here}
    return list(found.values())


def read_result(folder: Path) -> Result:
    """The result in ``folder``. Raises TableError when it cannot be used to choose frames."""
    told = _record(folder)
    trial, reading = _section(told, "trial"), _section(_section(told, "settings"), "reading")
    source, digest = str(reading.get("input") or ""), str(reading.get("source_sha256") or "")
    if not source or not digest:
        raise TableError(f"{folder} does not say which clip it was read from. Read the clip again with this version.")
    if Path(source).name != source:
        raise TableError(f"{folder} was read from {source!r}, which is no plain name. Read the clip again.")
    if Path(source).suffix.lower() in READERS:
        raise TableError(f"{folder} was read from the table {source}, which has no pictures. Read the film itself.")
    return Result(
        folder=folder,
        source=source,
        sha256=digest,
        **{name: str(trial.get(name) or "") for name in ("dog", "date", "condition")},
        facing=told.get("facing") if told.get("facing") in ("left", "right") else None,
        body_length_px=_number(told.get("body_length_px")),
        opening=_opening(reading),
        tracks=read_table(folder / "landmarks.csv"),
        strides=_strides(folder / "strides.csv"),
    )


def _opening(reading: Mapping[str, Any]) -> dict[str, Any]:
    names = ("fps", "rotate_deg", "filmed_fps", "start_s", "stop_s")
    return {name: reading[name] for name in names if reading.get(name) is not None}


def _record(folder: Path) -> Mapping[str, Any]:
    path = folder / "record.json"
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise TableError(f"{path} cannot be read ({error}). Read the clip again.") from error
    return told if isinstance(told, dict) else {}


def _section(told: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    part = told.get(name)
    return part if isinstance(part, dict) else {}


def _strides(path: Path) -> tuple[Stride, ...]:
    if not path.is_file():
        raise TableError(f"{path} is missing. Read the clip again.")
    with path.open(encoding="utf-8", newline="") as file:
        return tuple(_stride(row, number, path) for number, row in enumerate(csv.DictReader(file), start=1))


def _stride(row: Mapping[str, str], number: int, path: Path) -> Stride:
    try:
        paw = PAWS.index(f"{row['side']}_{row['paw']}")
        values = (_number(row[name] or None) for name in ("start_s", "end_s", "stride_length_bl"))
        start_s, end_s, length_bl = values
        sd_bl = float(row.get("stride_length_bl_sd") or 0.0)
        return Stride(paw, start_s, end_s, row["dropped"], length_bl, sd_bl)
    except (KeyError, ValueError) as error:
        raise TableError(f"{path.name}, row {number}: {error} cannot be used. Read the clip again.") from error


def _number(value: Any) -> float:
    """A number; NaN for what is missing."""
    return math.nan if value is None else float(value)
