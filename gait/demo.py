"""`pawfall demo`: reads the clips that come with the tool, and compares two of them."""

import importlib.resources
from contextlib import ExitStack
from pathlib import Path
from typing import Final

import click

from gait.command.compare import compare_command
from gait.command.edge import CANNOT_USE, say_error
from gait.command.read import Request, run
from gait.comparison_results import ComparingSettings
from gait.reading import ReadingSettings
from pose.network import NetworkSettings

#: The sheet of the demo comparison, and the folder that it fills.
SHEET: Final = "tansy.csv"
COMPARED: Final = "tansy-boots-against-bare"


def run_demo(out: Path, *, film: bool = True) -> int:
    """Read every clip of samples/ with its sheet into ``out``, compare Tansy in boots with Tansy bare, and say where
    the pages are; returns the exit code."""
    with ExitStack() as stack:
        folder = stack.enter_context(importlib.resources.as_file(importlib.resources.files("samples")))
        clips = sorted(folder.glob("*.mp4"))
        if not clips:
            say_error("no demo clips came with this installation; install pawfall again from its wheel.")
            return CANNOT_USE
        click.echo(f"Reading {len(clips)} drawn clips of invented dogs into {out.resolve()}")
        code = run(clips, Request(out, settings=ReadingSettings(film=film)))
        click.echo("Comparing Tansy's trot in boots with her trot bare")
        settings = ComparingSettings(films=film)
        code = code or compare_command(folder / SHEET, out / COMPARED, [out], None, NetworkSettings(), settings)
    click.echo("Not every clip could be read; see above." if code else "Open any report.html in a browser.")
    return code
