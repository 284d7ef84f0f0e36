"""`pawfall caseload ...`: what can be asked of many clips. Each part is loaded when it is called."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

PATH = click.Path(path_type=Path)


def of_caseload(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options by which every command finds its caseload."""
    home = click.option(
        "--home", type=PATH, default="caseload", show_default=True, help="Folder of the caseload: store and results."
    )
    database = click.option(
        "--database", metavar="URL", help="PostgreSQL (postgresql://user@host/name) instead of a file in --home."
    )
    return home(database(command))


@click.group()
def caseload() -> None:
    """Hundreds of clips: taken in, read unattended, and a short list of what needs a person."""


@caseload.command()
@click.argument("source", type=PATH, metavar="FOLDER|SHEET")
@of_caseload
@click.option("--watch", is_flag=True, help="Keep looking at FOLDER and take in what has finished copying.")
@click.option("--again", is_flag=True, help="Take in what was forgotten as well.")
def add(source: Path, home: Path, database: str | None, watch: bool, again: bool) -> None:
    """Take in the clips of FOLDER, or those that SHEET (.csv, .xlsx, .toml) names."""
    from gait.command.caseload import add_command

    sys.exit(add_command(source, home, database, watch=watch, again=again))


@caseload.command()
@of_caseload
@click.option("--network", type=PATH, help="Another network (.onnx with its card .toml beside it).")
@click.option("--precision", type=click.Choice(["auto", "fp32", "int8"]), default="auto", show_default=True)
@click.option("--workers", type=click.IntRange(1), help="Clips read at a time; as many as this machine has cores.")
@click.option("--cluster", metavar="ADDRESS", help="Scheduler of a Dask cluster that does the reading.")
@click.option("--stale", is_flag=True, help="Read again what an older network, setting or version read.")
@click.option("--retry", is_flag=True, help="Try again what failed or was set aside.")
@click.option("--films", is_flag=True, help="Write the film of each clip as well.")
@click.option("--watch", type=PATH, metavar="FOLDER", help="Keep taking in clips from FOLDER, until stopped.")
@click.option("--memory", "memory_gib", type=click.FloatRange(0.1), help="GiB that one reading may use.")
@click.option("--limit", "limit_s", type=click.FloatRange(1), help="Seconds that one reading may take.")
def run(home: Path, database: str | None, **options: Any) -> None:
    """Read every clip that is waiting, on all cores of this machine or on a cluster."""
    from gait.command.caseload_run import run_command

    sys.exit(run_command(home, database, options))


@caseload.command("list")
@of_caseload
@click.option("--all", "everything", is_flag=True, help="Every clip with its state, copies, files that cannot be used.")
def list_(home: Path, database: str | None, everything: bool) -> None:
    """What needs a person, most urgent first; the same as a page in the caseload's folder."""
    from gait.command.caseload_list import list_command

    sys.exit(list_command(home, database, everything=everything))


@caseload.command()
@click.argument("dog", metavar="DOG")
@of_caseload
def show(dog: str, home: Path, database: str | None) -> None:
    """All visits, clips and findings of DOG."""
    from gait.command.caseload_list import show_command

    sys.exit(show_command(dog, home, database))


@caseload.command()
@click.argument("out", type=PATH, metavar="TABLE")
@of_caseload
@click.option("--films", type=click.Choice(["none", "dog-only", "whole"]), default="none", show_default=True,
              help="Films beside the table: with everything but the dog blurred, or as they are.")  # fmt: skip
@click.option("--versions", is_flag=True, help="Also what older networks, settings and versions read.")
def export(out: Path, home: Path, database: str | None, films: str, versions: bool) -> None:
    """Write one tidy table of all measures for statistics: TABLE.csv, .parquet or .xlsx."""
    from gait.command.caseload import export_command

    sys.exit(export_command(out, home, database, films=films, versions=versions))


@caseload.command()
@click.argument("dog", metavar="DOG")
@of_caseload
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.option("--keep-sources", is_flag=True, help="Leave the films that were taken in where they lie.")
@click.option("--also", multiple=True, type=PATH, metavar="FOLDER",
              help="Another folder to remove copies, results and frames from; may be given again.")  # fmt: skip
def forget(dog: str, home: Path, database: str | None, **options: Any) -> None:
    """Remove DOG: records, results, films, frames. Then look for what is left, and say so."""
    from gait.command.caseload import forget_command

    sys.exit(forget_command(dog, home, database, **options))


@caseload.command()
@of_caseload
def pause(home: Path, database: str | None) -> None:
    """Let runs finish what they have begun and begin nothing new."""
    from gait.command.caseload import pause_command

    sys.exit(pause_command(home, database, paused=True))


@caseload.command()
@of_caseload
def resume(home: Path, database: str | None) -> None:
    """Let paused runs go on."""
    from gait.command.caseload import pause_command

    sys.exit(pause_command(home, database, paused=False))


@caseload.command()
@click.argument("clips", nargs=-1, required=True, type=PATH, metavar="CLIP...")
@click.option("--workers", type=click.IntRange(1), help="Most workers to measure; as many as this machine has cores.")
@click.option("--network", type=PATH, help="Another network (.onnx with its card .toml beside it).")
def bench(clips: tuple[Path, ...], workers: int | None, network: Path | None) -> None:
    """Measure clips per minute with one and more workers, and the memory of each."""
    from gait.command.caseload_bench import bench_command

    sys.exit(bench_command(clips, workers, network))
