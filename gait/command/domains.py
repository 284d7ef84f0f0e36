"""Two networks on the same marked pictures: what changed, dog by dog, and whether the newer one may take over."""

import math
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from gait.command.judge import JudgeSettings, Outcome, judge_marks
from gait.reading import Progress
from pose.bydog import OverDogs, means_of_dogs, over_dogs
from pose.coco import Marks, picture_paths, read_marks
from pose.judging import badness
from pose.network import Network
from pose.tracks import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Domain:
    """One file of marks, read by an older and a newer network.

    old, new   mean error over dogs, % of body length, a landmark counting for one body length at most
    change     new - old, of the same dogs
    left_out   names of dogs that the newer network was trained on: they show nothing
    each       per dog: old and new error, %
    """

    name: str
    old: OverDogs
    new: OverDogs
    change: OverDogs
    left_out: tuple[str, ...] = ()
    each: dict[str, tuple[float, float]] | None = None

    @property
    def worse(self) -> bool:
        """Whether the newer one is worse beyond the interval, or at all where dogs are too few for one."""
        return self.change.low > 0 if self.change.certain else not self.change.mean <= 0

    @property
    def better(self) -> bool:
        """Whether the newer one is better beyond the interval; never shown by fewer dogs than an interval needs."""
        return self.change.certain and self.change.high < 0

    def as_dict(self) -> dict[str, Any]:
        """Plain values."""
        parts = {"old_percent": self.old, "new_percent": self.new, "change_percent": self.change}
        told: dict[str, Any] = {"marks": self.name} | {key: value.as_dict() for key, value in parts.items()}
        each = {dog: [round(one, 2) for one in pair] for dog, pair in (self.each or {}).items()}
        return told | {"dogs_left_out": list(self.left_out), "dogs": each}


def judge_domain(
    source: Path, older: Network, newer: Network, trained: Collection[str] = (), progress: Progress | None = None
) -> Domain:
    """Both networks on the marks in ``source``; dogs that are ``trained`` on are left out."""
    marks = read_marks(source)
    paths = picture_paths(marks, source.parent)
    old, new = (_errors(judge_marks(marks, paths, one, JudgeSettings(), progress)) for one in (older, newer))
    return compare_errors(source.name, marks, old, new, trained)


def compare_errors(name: str, marks: Marks, old: FloatArray, new: FloatArray, trained: Collection[str] = ()) -> Domain:
    """Errors (N,) body lengths of every marked dog, NaN = not judged, as a domain."""
    names = dog_names(marks, Path(name).stem)
    seen = np.array([dog in set(trained) for dog in names], bool)
    both = np.isfinite(old) & np.isfinite(new) & ~seen
    old_percent, new_percent = (np.where(both, 100 * one, math.nan) for one in (old, new))
    own = [means_of_dogs(one, names) for one in (old_percent, new_percent)]
    return Domain(
        name,
        over_dogs(old_percent, names),
        over_dogs(new_percent, names),
        over_dogs(new_percent - old_percent, names),
        tuple(sorted({dog for dog, gone in zip(names, seen, strict=True) if gone})),
        {dog: (own[0][dog], own[1][dog]) for dog in own[0]},
    )


def dog_names(marks: Marks, nameless: str) -> list[str]:
    """N names, one per marked dog; pictures that do not say whose they are count as one dog, ``nameless``."""
    return [str(marks.image_notes[picture].get("dog") or nameless) for picture in marks.picture]


def _errors(outcome: Outcome) -> FloatArray:
    """(N,) body lengths, one per marked dog; NaN = not judged."""
    out = np.full(len(outcome.marks), math.nan)
    out[outcome.dogs] = badness(outcome.judged)
    return out


def change_words(domain: Domain) -> str:
    """'marks.json: error 12.1 to 8.4 % of body length, change -3.7 (-5.0 to -2.2) over 6 dogs, 80 pictures'."""
    change = domain.change
    if not change.dogs:
        return f"{domain.name}: no dog that could be judged"
    dogs = f"{change.dogs} {'dog' if change.dogs == 1 else 'dogs'}, {change.pictures} pictures"
    span = f"({change.low:+.1f} to {change.high:+.1f})" if change.certain else "(too few dogs for an interval)"
    words = f"error {domain.old.mean:.1f} to {domain.new.mean:.1f} % of body length, change {change.mean:+.1f} {span}"
    left = f"; left out, trained on: {', '.join(domain.left_out)}" if domain.left_out else ""
    return f"{domain.name}: {words} over {dogs}{left}"
