"""`pawfall sheet`: starts a trial sheet from a folder of clips."""

from pathlib import Path

import click

from gait.command.edge import CANNOT_USE, EXPECTED, message, say_error
from gait.sheets.keys import DATE_FORM
from gait.sheets.start import start_sheet


def sheet_command(folder: Path, out: Path | None) -> int:
    """Start the sheet and say what to fill in; returns the exit code."""
    sheet = out or folder / "sheet.csv"
    try:
        count = start_sheet(folder, sheet)
    except FileExistsError:
        say_error(f"{sheet} is there already and stays as it is; give another name with --out, or move it away.")
        return CANNOT_USE
    except EXPECTED as error:
        say_error(message(error))
        return CANNOT_USE
    click.echo(f"{sheet}: {count} {'clip' if count == 1 else 'clips'}")
    click.echo(f"Fill in for every clip: dog, date ({DATE_FORM}) and condition,")
    click.echo("and yes under baseline for the condition that the others of that day are held against.")
    click.echo("belt_m_s gives lengths in metres (belt_kmh may take its place); the other columns may stay empty.")
    click.echo(f"Then: pawfall compare {sheet} -o results")
    return 0
