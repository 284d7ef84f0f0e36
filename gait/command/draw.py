"""`pawfall draw`: the clips of a plan, one after another. What draws them comes as a callable: see cli.py."""

from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path
from typing import Protocol, TypeVar

import click

from gait.command.show import progress_bar


class Named(Protocol):
    """Anything with a name."""

    @property
    def name(self) -> str:
        """What to call it."""


Plan = TypeVar("Plan", bound=Named)

#: Draws one plan into a folder and reports how many of its pictures are done.
Drawer = Callable[[Plan, Path, Callable[[int, int], None]], None]


def draw_all(plans: Iterable[Plan], out: Path, draw: Drawer[Plan]) -> None:
    """Draw every plan into ``out`` with a progress bar; one line for each that is finished."""
    for plan in plans:
        with progress_bar(plan.name) as report:
            draw(plan, out, partial(report, "drawing"))
        click.echo(f"{plan.name}: {out / plan.name}.mp4")
