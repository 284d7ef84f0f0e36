"""`pawfall fit`: which settings a run has, and what the person at the command sees of it."""

import time
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import click

from gait.errors import TrialError


def settings_file(given: Path | None, marks: tuple[Path, ...]) -> Path:
    """The settings that were given, or those for marked pictures that come with pawfall. Raises TrialError when there
    are neither settings nor marks."""
    if given is None and not marks:
        raise TrialError("Give SETTINGS.toml, or --marks FILE.json to teach the shipped network with your marks.")
    return given or Path(str(files("training") / "marks.toml"))


def overrides(footage: Path | None, marks: tuple[Path, ...], held_out: tuple[str, ...]) -> dict[str, Any]:
    """Settings that flags replace."""
    given: dict[str, Any] = {"footage": footage and str(footage), "marks": tuple(map(str, marks)), "held_out": held_out}
    return {key: value for key, value in given.items() if value}


def step_lines(clock: Callable[[], float] = time.monotonic) -> Callable[[int, int, float], None]:
    """What prints one line per report of the training, from the second on with the time that is left at most."""
    first: list[tuple[int, float]] = []

    def show(step: int, steps: int, loss: float) -> None:
        """The line."""
        left = ""
        if first and step > first[0][0]:
            each_s = (clock() - first[0][1]) / (step - first[0][0])
            left = f", {_span(each_s * (steps - step))} left" if step < steps else ""
        first.append((step, clock()))
        click.echo(f"step {step} of {steps}, loss {loss:.3f}{left}")

    return show


def _span(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"
