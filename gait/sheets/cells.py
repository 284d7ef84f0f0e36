"""The cells of a spreadsheet, CSV or XLSX, in and out; nothing here knows what they mean.

What reads and writes XLSX is loaded with the first: it takes a quarter of a second.
"""

import csv
import datetime
import io
import re
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from gait.errors import TrialError
from gait.sheets.keys import KEYS

#: What stands between two columns: a comma, a semicolon (spreadsheets set to a language with a decimal comma), a tab.
SEPARATORS: Final = (",", ";", "\t")
YES_NO: Final = {"yes": True, "y": True, "true": True, "1": True, "x": True,
                 "no": False, "n": False, "false": False, "0": False}  # fmt: skip
NUMBER: Final = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)")

Cells = list[list[Any]]


def read_cells(path: Path) -> tuple[Cells, bool]:
    """All rows of the (first) sheet in ``path``, and whether numbers in it may have a decimal comma."""
    return (_from_workbook(path), True) if path.suffix.lower() == ".xlsx" else _from_csv(path)


def write_cells(rows: Sequence[Sequence[str | float | None]], path: Path) -> None:
    """A new spreadsheet with ``rows``, the first of which names the columns."""
    if path.suffix.lower() == ".csv":
        with path.open("x", encoding="utf-8-sig", newline="") as file:  # the mark tells spreadsheets that it is UTF-8
            csv.writer(file, lineterminator="\n").writerows(rows)
        return
    from openpyxl import Workbook
    from openpyxl.styles import Font

    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title, sheet.freeze_panes = "clips", "A2"
    for row in rows:
        sheet.append(list(row))
    for column in sheet.columns:
        column[0].font = Font(bold=True)
        texts = [len(str(cell.value)) for cell in column if cell.value is not None]
        sheet.column_dimensions[column[0].column_letter].width = max(texts) + 2
    with path.open("xb") as target:
        book.save(target)


def plain_value(key: str, cell: Any, comma: bool) -> Any:
    """What a cell says, in the type that its column holds; left as it is when it cannot be that (None = empty)."""
    if isinstance(cell, str):
        cell = cell.strip()
    if cell is None or cell == "":
        return None
    kind = KEYS[key]
    if kind == "text" and isinstance(cell, int | float) and not isinstance(cell, bool):
        return f"{cell:g}"
    if kind == "text" and isinstance(cell, datetime.date):
        return cell.isoformat()
    if kind == "yes or no":
        return YES_NO.get(_word(cell), cell)
    return _number_in(cell, comma) if kind == "number" and isinstance(cell, str) else cell


def _word(cell: Any) -> str:
    return f"{cell:g}" if isinstance(cell, float) else str(cell).lower()


def _number_in(words: str, comma: bool) -> float | str:
    point = words.replace(",", ".", 1) if comma else words
    return float(point) if NUMBER.fullmatch(point) else words


def _from_csv(path: Path) -> tuple[Cells, bool]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise TrialError(f"{path.name} is not in UTF-8. Save it again as 'CSV UTF-8', or as XLSX.") from error
    except OSError as error:
        raise TrialError(f"The trial sheet {path} cannot be read: {error.strerror}.") from error
    head = text.lstrip("\r\n").split("\n", 1)[0]
    separator = max(SEPARATORS, key=head.count)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error as error:
        raise TrialError(f"{path.name} is no proper CSV ({error}). Save it again from the spreadsheet.") from error
    return [list(row) for row in rows], separator != ","


def _from_workbook(path: Path) -> Cells:
    from openpyxl import load_workbook

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl tells of drop-down lists and the like that it leaves out
            book = load_workbook(path, data_only=True)
    except Exception as error:  # a damaged workbook ends in whatever its archive, its XML or its cells lead to
        why = getattr(error, "strerror", None) or "it is no XLSX workbook"
        raise TrialError(f"The trial sheet {path} cannot be read: {why}. Save it again as XLSX or CSV.") from error
    return [list(row) for row in book.worksheets[0].iter_rows(values_only=True)] if book.worksheets else []
