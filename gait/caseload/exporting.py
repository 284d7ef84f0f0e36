"""One tidy table for statistics: a line per measure of a gait of a record, with all that is known of its clip."""

import csv
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final

import openpyxl
import pyarrow
import pyarrow.parquet
from sqlalchemy import func, select

from gait.caseload.errors import CaseloadError
from gait.caseload.overruling import catch_up
from gait.caseload.store import Store
from gait.caseload.tables import Clip, Dog, MeasureRow, RecordRow, TrialRow, Visit
from gait.tables import write_whole

_TEXT, _YES, _NUMBER, _COUNT = pyarrow.string(), pyarrow.bool_(), pyarrow.float64(), pyarrow.int64()

#: Every column of the table, what it holds, and where it comes from.
SOURCES: Final[dict[str, tuple[Any, Any]]] = {
    "dog": (Dog.name, _TEXT),
    "date": (Visit.date, _TEXT),
    "condition": (TrialRow.condition, _TEXT),
    "baseline": (TrialRow.baseline, _YES),
    "clip": (Clip.name, _TEXT),
    "sha256": (Clip.sha256, _TEXT),
    "belt_m_s": (TrialRow.belt_m_s, _NUMBER),
    "filmed_fps": (TrialRow.filmed_fps, _NUMBER),
    "incline_deg": (TrialRow.incline_deg, _NUMBER),
    "lead_tension_n": (TrialRow.lead_tension_n, _NUMBER),
    "withers_cm": (TrialRow.withers_cm, _NUMBER),
    "mass_kg": (TrialRow.mass_kg, _NUMBER),
    "facing": (RecordRow.facing, _TEXT),
    "grade": (RecordRow.grade, _TEXT),
    "main_gait": (RecordRow.gait, _TEXT),
    "overruled": (RecordRow.overruled, _TEXT),
    "gait": (MeasureRow.gait, _TEXT),
    "measure": (MeasureRow.measure, _TEXT),
    "unit": (MeasureRow.unit, _TEXT),
    "n": (MeasureRow.n, _COUNT),
    "mean": (MeasureRow.mean, _NUMBER),
    "sd": (MeasureRow.sd, _NUMBER),
    "network": (RecordRow.network_name, _TEXT),
    "network_hash": (RecordRow.network_hash, _TEXT),
    "version": (RecordRow.version, _TEXT),
    "stale": (func.coalesce(RecordRow.key != Clip.wanted, False), _YES),
    "current": (RecordRow.current, _YES),
    "read_at": (RecordRow.read_at, _NUMBER),
}
COLUMNS: Final = tuple(SOURCES)
#: Lines that a sheet of a workbook can hold, its head among them.
MOST_LINES: Final = 1_048_576

Rows = Sequence[tuple[Any, ...]]


def export(store: Store, out: Path, *, versions: bool = False) -> int:
    """Write the table to ``out`` (.csv, .parquet or .xlsx), which appears whole; returns its lines.

    versions  also records that a newer one of the same clip has replaced

    What a person overruled is part of the numbers; the column ``overruled`` tells how many strides and how. Raises
    CaseloadError for another ending, OSError when it cannot be written.
    """
    catch_up(store)
    write = WRITERS.get(out.suffix.lower())
    if write is None:
        raise CaseloadError(f"{out.name} cannot be written; a table is {', '.join(WRITERS)}.")
    with store.reading() as connection:
        rows = connection.execute(_measures(versions)).all()
    if len(rows) >= MOST_LINES and write is _write_xlsx:
        raise CaseloadError(f"A workbook cannot hold {len(rows)} lines; write .csv or .parquet.")
    out.parent.mkdir(parents=True, exist_ok=True)
    write(rows, out)
    return len(rows)


def _measures(versions: bool) -> Any:
    found: Any = (
        select(*(column.label(name) for name, (column, _) in SOURCES.items()))
        .select_from(MeasureRow)
        .join(RecordRow, RecordRow.id == MeasureRow.record_id)
        .join(Clip, Clip.id == RecordRow.clip_id)
        .outerjoin(TrialRow, TrialRow.clip_id == Clip.id)
        .outerjoin(Visit, Visit.id == TrialRow.visit_id)
        .outerjoin(Dog, Dog.id == Visit.dog_id)
        .order_by(Dog.name, Visit.date, TrialRow.condition, Clip.name, RecordRow.id, MeasureRow.id)
    )
    return found if versions else found.where(RecordRow.current)


def _write_csv(rows: Rows, out: Path) -> None:
    def fill(file: Any) -> None:
        """The head and the lines; missing is empty."""
        table = csv.writer(file, lineterminator="\n")
        table.writerow(COLUMNS)
        table.writerows([_word(value) for value in row] for row in rows)

    write_whole(out, fill)


def _word(value: Any) -> Any:
    return ("yes" if value else "no") if isinstance(value, bool) else value


def _write_parquet(rows: Rows, out: Path) -> None:
    columns = list(zip(*rows, strict=True)) or [()] * len(COLUMNS)
    kinds = pyarrow.schema([(name, kind) for name, (_, kind) in SOURCES.items()])
    table = pyarrow.Table.from_arrays(
        [pyarrow.array(column, field.type) for column, field in zip(columns, kinds, strict=True)], schema=kinds
    )
    _whole(out, lambda path: pyarrow.parquet.write_table(table, path))


def _write_xlsx(rows: Rows, out: Path) -> None:
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("measures")
    sheet.append(COLUMNS)
    for row in rows:
        sheet.append(tuple(row))
    _whole(out, book.save)


def _whole(out: Path, write: Callable[[Path], object]) -> None:
    """Write beside ``out`` and rename."""
    beside = out.with_name(f".{out.name}.partial{out.suffix}")
    try:
        write(beside)
        beside.replace(out)
    finally:
        beside.unlink(missing_ok=True)


WRITERS: Final[dict[str, Callable[[Rows, Path], None]]] = {
    ".csv": _write_csv,
    ".parquet": _write_parquet,
    ".xlsx": _write_xlsx,
}
