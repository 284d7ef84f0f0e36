"""What the clips of a trial sheet came to: the noun that every writer of a comparison's results gets."""

from dataclasses import dataclass
from pathlib import Path

from gait.compare.nouns import Comparison
from gait.nouns import GaitRecord
from gait.sheets.trial_sheet import Row, Sheet


@dataclass(frozen=True, slots=True)
class ComparingSettings:
    """How the clips of a sheet are read and shown.

    films       whether to write films of two conditions side by side
    film_clips  whether to write each clip's own film as well, which takes as long as reading it
    seed        of every random draw
    slower      seconds of a film of two conditions per real second
    """

    films: bool = True
    film_clips: bool = False
    seed: int = 0
    slower: float = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class ReadClip:
    """A clip that was read. folder: its results; reused: whether an earlier reading spared the network."""

    row: Row
    folder: Path
    record: GaitRecord
    reused: bool


@dataclass(frozen=True, slots=True)
class UnreadClip:
    """A clip that could not be read. reason: one plain sentence; exit_code as the command would give for it alone."""

    row: Row
    reason: str
    exit_code: int


@dataclass(frozen=True, slots=True, eq=False)
class SheetComparison:
    """A trial sheet with its clips, read and unread, and what they say against each other."""

    sheet: Sheet
    clips: tuple[ReadClip, ...]
    unread: tuple[UnreadClip, ...]
    comparison: Comparison
    settings: ComparingSettings = ComparingSettings()
