"""`pawfall compare`: a trial sheet to a folder with its comparison."""

from collections.abc import Sequence
from contextlib import AbstractContextManager
from pathlib import Path

import click

from gait.command.edge import EXPECTED, NOTHING_TO_SAY, OUR_FAULT, exit_code, message, say_error
from gait.command.read import make_writable
from gait.command.show import gait_words, progress_bar, used_words
from gait.compare.nouns import LARGER, NO_DIFFERENCE, SMALLER, Contrast
from gait.comparing import NothingReadError, check_out, check_sheet, compare_to_folder
from gait.comparison_results import ComparingSettings, ReadClip, SheetComparison, UnreadClip
from gait.reading import Progress, is_table
from gait.report.comparison.answer import card
from gait.sheets.trial_sheet import Sheet, read_sheet
from pose.network import Network, NetworkSettings
from pose.networks import current_network


def compare_command(
    sheet: Path,
    out: Path,
    results: Sequence[Path],
    network: Path | None,
    running: NetworkSettings,
    settings: ComparingSettings,
) -> int:
    """Compare and say what came of it; returns the exit code."""
    try:
        told = _sheet(sheet)
        check_out(out.resolve())
        make_writable(out)
        found = compare_to_folder(
            told,
            out,
            network=_network(told, network, running),
            settings=settings,
            results=results,
            tell=show_clip,
            bar=_bar,
        )
    except NothingReadError as error:
        say_error(message(error))
        return max(clip.exit_code for clip in error.unread)
    except EXPECTED as error:
        say_error(message(error))
        return exit_code(error)
    show_comparison(found, out)
    if not any(map(_says_something, found.comparison.contrasts)):
        say_error(f"Nothing could be compared; the reasons are in {out / 'comparison.csv'}.")
        return NOTHING_TO_SAY
    return OUR_FAULT if any(clip.exit_code == OUR_FAULT for clip in found.unread) else 0


def _says_something(contrast: Contrast) -> bool:
    """Whether a line was compared, or the gait itself is another."""
    return any(line.verdict for line in contrast.lines) or _other_gait(contrast)


def _other_gait(contrast: Contrast) -> bool:
    return not contrast.declined and not contrast.same_gait


def _sheet(path: Path) -> Sheet:
    with progress_bar(path.name) as report:
        told = read_sheet(path, lambda done, total: report("looking through", done, total))
    check_sheet(told)
    for note in told.notes:
        say_error(f"{told.name}: {note}")
    return told


def _network(sheet: Sheet, path: Path | None, running: NetworkSettings) -> Network | None:
    """The network, loaded once; none when the sheet names nothing but tables."""
    if all(is_table(row.source) for row in sheet.rows):
        return None
    return Network.load(path or current_network(), running)


def _bar(name: str) -> AbstractContextManager[Progress | None]:
    return progress_bar(name)


def show_clip(clip: ReadClip | UnreadClip) -> None:
    """One line for a clip that is done."""
    name = clip.row.trial.clip
    if isinstance(clip, UnreadClip):
        words = clip.reason if clip.row.source.name in clip.reason else f"{name}: {clip.reason}"
        say_error(f"{clip.row.place}: {words}")
        return
    again = " (read before)" if clip.reused else ""
    click.echo(f"{name}{again}: {gait_words(clip.record)}; {used_words(clip.record)}; {clip.record.grade}")


def show_comparison(found: SheetComparison, out: Path) -> None:
    """The answer in the sentences of the page, and where the rest lies."""
    for contrast in found.comparison.contrasts:
        told = card(contrast, "")
        click.echo(f"{told.title}. {' '.join((told.lead, *told.findings))}")
        click.echo(f"  {counts(contrast)}")
    for name in ("report.html", "comparison.csv"):
        click.echo(f"  {out / name}")


def counts(contrast: Contrast) -> str:
    """'17 measures: 3 larger, 1 smaller, 8 without a difference shown, 5 not compared'."""
    names = {LARGER: "larger", SMALLER: "smaller", NO_DIFFERENCE: "without a difference shown", "": "not compared"}
    verdicts = [line.verdict for line in contrast.lines]
    told = [f"{verdicts.count(verdict)} {words}" for verdict, words in names.items() if verdict in verdicts]
    return f"{len(verdicts)} measures: {', '.join(told)}" if told else "no measure compared"
