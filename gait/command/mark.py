"""`pawfall mark` and `pawfall marks`: what the person at the command sees of marking."""

import json
import webbrowser
from collections.abc import Callable, Iterable
from pathlib import Path
from threading import Timer
from typing import Any

import click

from gait.command.edge import CANNOT_USE, EXPECTED, exit_code, message, say_error

#: s after which the browser is opened: the page answers by then.
BROWSER_WAIT_S = 0.8


def guarded(work: Callable[[], int]) -> int:
    """Do ``work``; an error that was foreseen becomes one line. Returns the exit code."""
    try:
        return work()
    except EXPECTED as error:
        say_error(message(error))
        return exit_code(error)


def serve_page(address: str, serve: Callable[[], None], marking: Any, browser: bool) -> int:
    """Say where the page is, open it, and serve it until stopped; returns the exit code."""
    finished = sum(state.finished for state in marking.states.values())
    click.echo(f"{marking.folder}: {finished} of {len(marking.pictures)} pictures finished by {marking.marker}")
    click.echo(f"  {address}   (this machine alone; Ctrl+C stops, everything is saved as you go)")
    if browser:
        opening = Timer(BROWSER_WAIT_S, webbrowser.open, [address])
        opening.daemon = True
        opening.start()
    serve()
    return 0


def show_agreement(facts: dict[str, Any], names: tuple[str, str], out: Path | None) -> int:
    """The table of agreement, in words; the figures go to ``out`` as JSON when it is given."""
    click.echo(f"{names[0]} and {names[1]}: {facts['dogs']} dogs marked by both")
    click.echo(f"{'':<14}{'marks':>6}{'mean distance':>16}{'sigma':>9}{'of one':>9}{'by box':>9}{'by one alone':>14}")
    for name, row in facts["landmarks"].items():
        mean = "-" if row["mean_percent"] is None else f"{row['mean_percent']:.2f} % of bl"
        sigmas = "".join(
            f"{'-' if row[key] is None else format(row[key], '.4f'):>9}"
            for key in ("sigma", "sigma_of_one", "sigma_box")
        )
        click.echo(
            f"{name.replace('_', ' '):<14}{row['pictures']:>6}{mean:>16}{sigmas}{row['placed_by_one_alone']:>14}"
        )
    click.echo("sigma: rms of distance / body length between the two; of one: sigma / root 2, one person's spread;")
    click.echo("by box: rms of distance / root of the area of the box around the landmarks")
    for name, exchanged, told in zip(("fore", "hind"), facts["pairs"]["exchanged"], facts["pairs"]["of"], strict=True):
        click.echo(f"near and far taken the other way round: {exchanged} of {told} {name} pairs")
    same = sum(row["on_one_place"] for row in facts["landmarks"].values())
    if facts["begun_from_network"]:
        click.echo(
            f"note: both began from a network's answer in {facts['begun_from_network']} of {facts['dogs']} dogs, "
            f"and {same} marks lie on one place; what both left as it was agrees by itself. Use mark --blank."
        )
    if out:
        out.write_text(json.dumps(facts, indent=1, allow_nan=False) + "\n", encoding="utf-8")
        click.echo(f"  {out}")
    return 0


def show_faults(faults: Iterable[object], path: Path) -> int:
    """One line for each fault; returns 0 when there is none."""
    lines = [str(fault) for fault in faults]
    for line in lines:
        click.echo(line)
    click.echo(f"{path.name}: {len(lines)} to look at" if lines else f"{path.name}: nothing to look at")
    return CANNOT_USE if lines else 0


def say_done(path: Path) -> int:
    """Where the file lies that was written."""
    click.echo(f"{path}")
    return 0
