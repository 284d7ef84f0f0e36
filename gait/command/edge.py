"""The edge of the command: every error becomes one line and an exit code, here and nowhere else."""

import sys
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from gait.errors import GaitError, TooFewStridesError
from pose.errors import NoDogError, PoseError, TooShortError

OUR_FAULT = 1
CANNOT_USE = 2
NOTHING_TO_SAY = 3

EXPECTED = (PoseError, GaitError, OSError)


class OneLineGroup(click.Group):
    """A group of commands whose usage errors take one line, as all other errors do."""

    def main(self, args: Sequence[str] | None = None, *rest: Any, **more: Any) -> Any:
        """Run the command and leave with its exit code."""
        more["standalone_mode"] = False
        try:
            code = super().main(args, *rest, **more)
        except click.exceptions.NoArgsIsHelpError as error:
            click.echo(error.format_message())
            code = CANNOT_USE
        except click.ClickException as error:
            say_error(error.format_message())
            code = CANNOT_USE
        except click.Abort:
            say_error("stopped; nothing unfinished is left behind.")
            code = 130
        sys.exit(code if isinstance(code, int) else 0)


def exit_code(error: Exception) -> int:
    """2 = the input or the request cannot be used, 3 = it can be read but says nothing."""
    return NOTHING_TO_SAY if isinstance(error, NoDogError | TooShortError | TooFewStridesError) else CANNOT_USE


def message(error: Exception) -> str:
    """What ``error`` says, in one line."""
    if isinstance(error, OSError) and error.strerror:
        where = f"{error.filename}: " if error.filename else ""
        return f"{where}{error.strerror}. Choose a folder that can be written, with room on its disk."
    return " ".join(str(error).split())


def fault(error: Exception) -> str:
    """One line for an error that nobody foresaw: what it is and where it arose."""
    last = traceback.extract_tb(error.__traceback__)[-1]
    place = f"{Path(last.filename).name}, line {last.lineno}"
    return f"a fault of pawfall itself ({type(error).__name__} in {place}: {error}). Please report it with this line."


def say_error(words: str) -> None:
    """Write one line to the error stream."""
    click.echo(f"pawfall: {' '.join(words.split())}", err=True)
