"""Which sides are shown together: all conditions of a dog on a day, or all visits of a dog in one condition."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from gait.compare.nouns import ClipSet, Comparison, Contrast, Kind
from gait.nouns import GaitRecord
from gait.report.comparison.answer import main_gait
from gait.report.comparison.naturally import day, dog_name, side_name
from gait.report.palette import BLUE, BLUISH_GREEN, INK, ORANGE, REDDISH_PURPLE, VERMILLION
from pose.tracks import BoolArray

#: Beyond this, lines over each other are no longer told apart: first the baseline, then the last ones.
MOST_SIDES: Final = 6


@dataclass(frozen=True, slots=True)
class Look:
    """How one side is drawn; line and marker tell it apart in grey too. As in matplotlib."""

    colour: str
    line: str | tuple[float, tuple[float, ...]]
    marker: str


LOOKS: Final = (
    Look(INK, "-", "o"),
    Look(VERMILLION, (0.0, (5.0, 1.6)), "s"),
    Look(BLUE, (0.0, (1.2, 1.2)), "^"),
    Look(BLUISH_GREEN, (0.0, (6.0, 1.5, 1.2, 1.5)), "D"),
    Look(ORANGE, (0.0, (9.0, 2.0)), "v"),
    Look(REDDISH_PURPLE, (0.0, (3.0, 1.0, 1.0, 1.0, 1.0, 1.0)), "P"),
)


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """One side with its name and look. ``gait`` is the gait whose strides the figures show, "" when none was named."""

    name: str
    clips: ClipSet
    look: Look
    gait: str

    def chosen(self, record: GaitRecord) -> BoolArray:
        """(S,) bool, the used strides of ``record`` in the gait that is shown, of every paw."""
        return np.asarray(record.strides.used & (record.strides.gait == self.gait))


@dataclass(frozen=True, slots=True, eq=False)
class Family:
    """Sides that are shown together, the baseline or the first visit in front, and their contrasts."""

    key: str
    kind: Kind
    title: str
    sides: tuple[Side, ...]
    contrasts: tuple[Contrast, ...]
    left_out: int = 0

    def facing(self) -> dict[str, list[str]]:
        """Each way that the dog faces, with the names of the sides in whose clips it does."""
        found: dict[str, list[str]] = {}
        for side in self.sides:
            for way in sorted({record.facing for record in side.clips.records}):
                found.setdefault(way, []).append(side.name)
        return found


def families(comparison: Comparison) -> tuple[Family, ...]:
    """The contrasts of a comparison in the order in which they came, put together where they share a side."""
    groups: dict[tuple[str, ...], list[Contrast]] = {}
    for contrast in comparison.contrasts:
        new = contrast.condition
        shared = new.date if contrast.kind == "condition" else new.condition
        groups.setdefault((contrast.kind, contrast.dog, shared), []).append(contrast)
    return tuple(_family(f"f{number}", tuple(group)) for number, group in enumerate(groups.values(), 1))


def _family(key: str, contrasts: tuple[Contrast, ...]) -> Family:
    first = contrasts[0]
    clips = {(side.condition, side.date): (contrast, side) for contrast, side in _sides(contrasts)}
    found = list(clips.values())
    shown = found if len(found) <= MOST_SIDES else [found[0], *found[1 - MOST_SIDES :]]
    sides = tuple(
        Side(side_name(contrast, side), side, LOOKS[place], main_gait(side))
        for place, (contrast, side) in enumerate(shown)
    )
    return Family(key, first.kind, _title(first), sides, contrasts, len(found) - len(shown))


def _sides(contrasts: Iterable[Contrast]) -> Iterator[tuple[Contrast, ClipSet]]:
    """Every side with a contrast that it is part of; baselines come before what is set against them."""
    found = list(contrasts)
    bases = [(contrast, contrast.baseline) for contrast in found if contrast.baseline is not None]
    everything = [*bases, *((contrast, contrast.condition) for contrast in found)]
    yield from sorted(everything, key=lambda item: item[1].date) if found[0].kind == "visit" else everything


def _title(first: Contrast) -> str:
    name, side = dog_name(first.condition), first.condition
    name = f"{name[:1].upper()}{name[1:]}"
    return f"{name}, {side.condition}: visits" if first.kind == "visit" else f"{name}, {day(side.date)}"


def hind_rows(side: Side, record: GaitRecord) -> BoolArray:
    """(S,) bool, the near hind strides that the figures of ``side`` show."""
    return np.asarray(side.chosen(record) & record.strides_of("near_hind"))
