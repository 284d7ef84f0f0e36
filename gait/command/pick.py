"""`pawfall pick`: frames of clips that were read, chosen for people to mark.

What chooses comes as a callable: see cli.py.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from glob import escape
from pathlib import Path
from typing import Protocol

import click

from gait.command.edge import EXPECTED, NOTHING_TO_SAY, OUR_FAULT, exit_code, fault, message, say_error
from gait.command.judge import check_writable
from gait.command.show import progress_bar
from gait.hashing import content_hash
from gait.reading import Progress
from pose.errors import ClipError
from pose.network import Network
from pose.networks import current_network

#: Folders above a result in which its clip is looked for: results of `read` lie one below what was named, those of
#: `compare` two, and either is often made beside the clips.
LEVELS_ABOVE = 3


class Picked(Protocol):
    """What came of picking; see training.marks.gathering."""

    @property
    def frames(self) -> int:
        """Frames that were added."""

    @property
    def clips(self) -> int:
        """Clips that they come from."""

    @property
    def dogs(self) -> int:
        """Dogs that they show."""

    @property
    def reasons(self) -> tuple[tuple[str, int], ...]:
        """Reasons and their numbers of frames."""

    @property
    def left_out(self) -> tuple[str, ...]:
        """Sentences about what could not be used."""

    @property
    def short(self) -> str:
        """Why fewer were found than asked for, or ""."""


Locate = Callable[[Path, str, str], Path | None]
Picker = Callable[[Sequence[Path], Path, Locate, Network, Progress], Picked]


@dataclass(frozen=True, slots=True)
class Searched:
    """Where clips are looked for: folders named by a person, with all that lies below, and those above a result."""

    folders: tuple[Path, ...] = ()

    def __post_init__(self) -> None:
        for folder in self.folders:
            if not folder.is_dir():
                raise ClipError(f"{folder} is no folder. Give the folder in which the clips lie.")

    def __call__(self, result: Path, name: str, sha256: str) -> Path | None:
        """The clip called ``name`` whose content has the hash ``sha256``, beside its ``result`` or in the folders."""
        beside = [folder / name for folder in (result.resolve(), *result.resolve().parents[:LEVELS_ABOVE])]
        named = [path for folder in self.folders for path in sorted(folder.rglob(escape(name)))]
        there = (path for path in (*named, *beside) if path.exists())
        return next((path for path in there if content_hash(path) == sha256), None)


def pick_command(
    pick: Picker, results: Sequence[Path], out: Path, sources: Sequence[Path], network: Path | None
) -> int:
    """Choose frames from ``results``, add them to the marks in ``out``, say how many and why; returns the exit code."""
    try:
        searched = Searched(tuple(sources))
        check_writable(out.resolve())
        used = Network.load(network or current_network())
        with progress_bar("frames") as report:
            picked = pick(results, out, searched, used, report)
    except EXPECTED as error:
        say_error(message(error))
        return exit_code(error)
    except Exception as error:
        say_error(fault(error))
        return OUR_FAULT
    return say_picked(picked, out)


def say_picked(picked: Picked, out: Path) -> int:
    """Say what was picked, why, and what was left out; returns the exit code."""
    for sentence in picked.left_out:
        say_error(f"left out: {sentence}")
    if not picked.frames:
        say_error(f"no frame was picked. {picked.short}")
        return NOTHING_TO_SAY
    reasons = ", ".join(f"{count} {reason}" for reason, count in picked.reasons)
    counts = ((picked.frames, "frame"), (picked.clips, "clip"), (picked.dogs, "dog"))
    frames, clips, dogs = (f"{count} {noun}{'' if count == 1 else 's'}" for count, noun in counts)
    click.echo(f"{frames} of {clips}, {dogs}: {reasons}")
    if picked.short:
        click.echo(f"  {picked.short}")
    click.echo(f"  {out / 'picked.json'}")
    return 0
