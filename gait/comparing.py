"""The order of steps from a trial sheet to a folder with its comparison, for every caller."""

import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Final

from gait.command.edge import EXPECTED, OUR_FAULT, exit_code, fault, message
from gait.compare.compare import NEEDED, compare_records
from gait.comparison_results import ComparingSettings, ReadClip, SheetComparison, UnreadClip
from gait.comparison_tables import write_csv, write_json
from gait.errors import GaitError, TrialError
from gait.overruling import overruled
from gait.overrulings_file import said_near
from gait.placing import check_place, partial_of, put_in_place
from gait.reading import Progress, ReadingSettings, folder_names
from gait.reuse import Asked, Earlier, find_earlier, read_or_reuse
from gait.sheets.trial_sheet import Row, Sheet
from gait.showing import write_shown
from gait.workbook import write_workbook
from pose.network import Network

DEFAULTS: Final = ComparingSettings()

#: Writes one part of the results into a folder.
Writer = Callable[[SheetComparison, Path], None]
#: Everything that a comparison leaves, in this order; whoever adds a page or films adds its writer here.
WRITERS: Final[tuple[Writer, ...]] = (write_json, write_csv, write_workbook, write_shown)

#: What a finished comparison consists of, besides the clips' own results.
RESULT_FILES: Final = ("comparison.json", "comparison.csv", "strides.xlsx", "report.html", "report.pdf", "films")
#: Each clip's results, which stay when a comparison is made anew.
CLIPS: Final = "clips"

#: Tells of one clip as soon as it is done.
Teller = Callable[[ReadClip | UnreadClip], None]
#: Shows the progress of what has that name.
Bar = Callable[[str], AbstractContextManager[Progress | None]]


class NothingReadError(GaitError, LookupError):
    """No clip of a sheet could be read. unread: why, clip by clip."""

    def __init__(self, words: str, unread: tuple[UnreadClip, ...]) -> None:
        super().__init__(words)
        self.unread = unread


def compare_to_folder(
    sheet: Sheet,
    out: Path,
    *,
    network: Network | None = None,
    settings: ComparingSettings = DEFAULTS,
    results: Sequence[Path] = (),
    tell: Teller = lambda _: None,
    bar: Bar = lambda _: nullcontext(),
) -> SheetComparison:
    """Read every clip of ``sheet`` (or re-use what is there), compare, and leave everything in ``out``.

    network  for films and folders of pictures; landmark tables need none
    results  folders in which results of earlier readings may lie, besides ``out``; where one is a caseload or lies in
             one, what people said there against the reading of a clip is followed

    A clip that cannot be read is told and listed; the others go on. Raises TrialError or GaitError when nothing can be
    compared, OSError when the results cannot be written.
    """
    check_sheet(sheet)
    out = out.resolve()
    check_out(out)
    earlier = find_earlier([out / CLIPS, *results])
    done: list[ReadClip | UnreadClip] = []
    for clip in _read_all(sheet, out / CLIPS, earlier, network, settings, bar):
        done.append(_as_said(clip, results) if isinstance(clip, ReadClip) else clip)
        tell(done[-1])
    clips = tuple(clip for clip in done if isinstance(clip, ReadClip))
    unread = tuple(clip for clip in done if isinstance(clip, UnreadClip))
    if not clips:
        raise NothingReadError(f"None of the {len(done)} clips of {sheet.name} could be read.", unread)
    comparison = compare_records([clip.record for clip in clips], seed=settings.seed)
    found = SheetComparison(sheet, clips, unread, comparison, settings)
    write_comparison(found, out)
    return found


def _as_said(clip: ReadClip, results: Sequence[Path]) -> ReadClip:
    """The clip with what people said of it in a caseload; its own folder keeps the reading itself."""
    return replace(clip, record=overruled(clip.record, said_near(results, clip.row.sha256)))


def check_sheet(sheet: Sheet) -> None:
    """Raise TrialError, before any time is spent on reading, when the sheet holds nothing to compare."""
    for one, two in combinations([row.trial for row in sheet.rows], 2):
        visits = one.condition == two.condition and one.date != two.date
        conditions = one.condition != two.condition and one.date == two.date and (one.baseline or two.baseline)
        if one.dog == two.dog and (visits or conditions):
            return
    raise TrialError(f"{sheet.name} holds nothing to compare: {NEEDED}")


def check_out(out: Path) -> None:
    """Raise FileExistsError when ``out`` holds anything but an earlier comparison, whole or begun."""
    begun = out / CLIPS
    if out.is_dir() and [item.name for item in out.iterdir()] == [CLIPS] and all(map(Path.is_dir, begun.iterdir())):
        return
    check_place(out, "comparison.json", "comparison")


def write_comparison(found: SheetComparison, out: Path) -> None:
    """Write the results into ``out``, where they appear when all are done; the clips' own results stay."""
    partial = partial_of(out)
    shutil.rmtree(partial, ignore_errors=True)
    try:
        partial.mkdir(parents=True)
        for write in WRITERS:
            write(found, partial)
        put_in_place(partial, out, RESULT_FILES)
    finally:
        shutil.rmtree(partial, ignore_errors=True)


def _read_all(
    sheet: Sheet, folder: Path, earlier: Earlier, network: Network | None, settings: ComparingSettings, bar: Bar
) -> Iterator[ReadClip | UnreadClip]:
    for row, name in zip(sheet.rows, folder_names(row.source for row in sheet.rows), strict=True):
        how = ReadingSettings(fps=row.fps, film=settings.film_clips, seed=settings.seed)
        asked = Asked(row.source, row.sha256, row.trial, how, network)
        with bar(row.trial.clip) as report:
            done = _read_one(row, asked, folder / name, earlier, report)
        yield done


def _read_one(row: Row, asked: Asked, folder: Path, earlier: Earlier, report: Progress | None) -> ReadClip | UnreadClip:
    try:
        reading, reused = read_or_reuse(asked, folder, earlier, report)
    except EXPECTED as error:
        return UnreadClip(row, message(error), exit_code(error))
    except Exception as error:  # one clip that shows a fault of ours must not stop a night of others
        return UnreadClip(row, fault(error), OUR_FAULT)
    return ReadClip(row, folder, reading.record, reused)
