"""What the person at the command sees: progress with time left, and one line per finished reading."""

from collections.abc import Iterator
from contextlib import contextmanager

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeRemainingColumn

from gait.nouns import GaitRecord
from gait.reading import Progress as Report
from gait.reading import Reading


@contextmanager
def progress_bar(name: str) -> Iterator[Report]:
    """A bar on the error stream, one line per stage; silent where no one watches."""
    console = Console(stderr=True)
    share = TextColumn("{task.percentage:>3.0f} %")
    columns = (TextColumn("{task.description}"), BarColumn(), share, TimeRemainingColumn())
    with Progress(*columns, console=console, disable=not console.is_terminal, transient=True) as bar:
        stages: dict[str, TaskID] = {}

        def report(stage: str, done: int, total: int) -> None:
            """Move the stage's line on."""
            if stage not in stages:
                stages[stage] = bar.add_task(f"{stage} {name}", total=total)
            bar.update(stages[stage], completed=done, total=max(done, total))

        yield report


def show_reading(reading: Reading) -> None:
    """Say what was read and where it lies."""
    record = reading.record
    name = record.trial.clip or reading.folder.name
    click.echo(f"{name}: {gait_words(record)}; {used_words(record)}; {record.grade}")
    for notice in record.notices:
        click.echo(f"  note: {notice}")
    click.echo(f"  {reading.folder / 'report.html'}")


def gait_words(record: GaitRecord) -> str:
    """The runs of gait in words: 'pace for 3 strides, then trot for 8 strides'."""
    runs = [f"{run.gait} for {run.strides} {'stride' if run.strides == 1 else 'strides'}" for run in record.runs]
    return ", then ".join(runs) or "no gait named"


def used_words(record: GaitRecord) -> str:
    """'31 of 38 strides used: 5 gap, 2 truncated'."""
    dropped = [str(reason) for reason in record.strides.dropped if reason]
    kept = f"{len(record.strides) - len(dropped)} of {len(record.strides)} strides used"
    why = ", ".join(f"{dropped.count(reason)} {reason.replace('_', ' ')}" for reason in sorted(set(dropped)))
    return f"{kept}: {why}" if why else kept


def told(count: int, noun: str) -> str:
    """'1 clip', '2 clips'."""
    return f"{count} {noun}{'' if count == 1 else 's'}"
