"""strides.xlsx: every stride of every clip, the comparison, and what each number means."""

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, Final

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

from gait.compare.compared import COMPARED
from gait.comparison_results import ReadClip, SheetComparison
from gait.comparison_tables import COLUMNS, comparison_rows
from gait.measures import MEASURES, OF_CLIP, Measure
from gait.tables import plain
from pose.landmarks import PAWS

OF_STRIDE: Final = ("clip", "dog", "date", "condition", "paw", "side", "start (s)", "end (s)", "gait", "probability",
                    "dropped")  # fmt: skip
#: Decimals of a stride's numbers, as in strides.csv.
DECIMALS: Final = 5
#: Widest column in signs; longer texts go on in the next line of their cell. Common practice, no source.
WIDEST: Final = 60

#: What stands in the other columns: name, meaning.
MEANINGS: Final = (
    ("start, end", "touchdown, and the next touchdown of the same paw, on the clock of the clip"),
    ("probability", "of the gait name, from the doubt about touchdowns and lift-offs; empty where a person named it"),
    ("dropped", "why a stride was not used; left_out = by a person; empty = used"),
    ("baseline_mean, condition_mean", "over the strides with a value, of each side; n is their number"),
    ("difference", "condition minus baseline, in the unit; percent: the same in % of the baseline mean"),
    ("low, high", "95 % interval of the difference, in the unit, by resampling blocks of strides within clips"),
    ("resolution", "the smallest difference that this footage could have shown, in the unit"),
    ("verdict", "larger, smaller, or no_difference_shown; corrected for all lines of one contrast together (Holm)"),
    ("declined", "why a line was not compared"),
)
OWN: Final = "our own definition"

Rows = Sequence[Sequence[Any]]


def write_workbook(found: SheetComparison, folder: Path) -> None:
    """Write strides.xlsx into ``folder``."""
    book = Workbook(write_only=True)
    names = (*OF_STRIDE, *(header(measure) for measure in MEASURES))
    _add_sheet(book, "strides", names, [row for clip in found.clips for row in _stride_rows(clip)])
    _add_sheet(book, "comparison", COLUMNS, list(comparison_rows(found.comparison)))
    _add_sheet(book, "definitions", ("label", "name", "unit", "definition", "source"), list(_definitions()))
    book.save(folder / "strides.xlsx")


def header(measure: Measure) -> str:
    """'stride length (m)'; a bare number has no unit to tell."""
    return measure.label if measure.unit == "1" else f"{measure.label} ({measure.unit})"


def _stride_rows(clip: ReadClip) -> Iterator[list[Any]]:
    strides, trial = clip.record.strides, clip.record.trial
    head = (trial.clip, trial.dog, trial.date, trial.condition)
    for row in range(len(strides)):
        side, paw = PAWS[strides.paw[row]].split("_")
        told = [strides.start_s[row], strides.end_s[row], strides.gait[row], strides.gait_probability[row]]
        values = [strides.measures[measure.name][row] for measure in MEASURES]
        yield [*head, paw, side, *map(_cell, told), _cell(strides.dropped[row]), *map(_cell, values)]


def _cell(value: Any) -> Any:
    known = plain(value)
    return round(known, DECIMALS) if isinstance(known, float) else known


def _definitions() -> Iterator[tuple[str, ...]]:
    for measure in (*MEASURES, *OF_CLIP):
        yield measure.label, measure.name, measure.unit, measure.definition, measure.source
    for row in COMPARED:
        if row.name != row.column:
            about = f"{row.measure.definition}; strides of the near {row.pair} paw"
            yield row.label, row.name, row.measure.unit, about, row.measure.source
    for name, meaning in MEANINGS:
        yield name, "", "", meaning, OWN


def _add_sheet(book: Workbook, title: str, names: Sequence[str], rows: Rows) -> None:
    """A sheet with its first row bold and always in view, its columns as wide as what stands in them."""
    sheet = book.create_sheet(title)
    sheet.freeze_panes = "A2"
    for number, name in enumerate(names):
        longest = max((len(str(row[number])) for row in rows if row[number] is not None), default=0)
        letter = get_column_letter(number + 1)
        sheet.column_dimensions[letter].width = min(max(longest, len(name)) + 2, WIDEST)
    heads = [_text_cell(sheet, name) for name in names]
    for cell in heads:
        cell.font = Font(bold=True)
    sheet.append(heads)
    for row in rows:
        sheet.append(list(_shown(sheet, row)))


def _shown(sheet: Any, row: Iterable[Any]) -> Iterator[Any]:
    return (_text_cell(sheet, value) if isinstance(value, str) else value for value in row)


def _text_cell(sheet: Any, words: str) -> Any:
    """A cell that stays text, even when it begins as a formula would; long text goes on in the next line."""
    cell = WriteOnlyCell(sheet, words)
    cell.data_type = "s"
    cell.alignment = Alignment(vertical="top", wrap_text=len(words) + 2 > WIDEST)
    return cell
