"""Two networks on the same domain: what changed, dog by dog, and whether the newer one may take over."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pose.bydog import OverDogs, means_of_dogs, over_dogs
from pose.tracks import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Change:
    """One domain, read by an older and a newer network.

    old, new   mean error over dogs, % of body length, a landmark counting for one body length at most
    change     new - old, of the same dogs
    left_out   names of dogs that a network was trained on: they show nothing
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
        told: dict[str, Any] = {"domain": self.name} | {key: value.as_dict() for key, value in parts.items()}
        each = {dog: [round(one, 2) for one in pair] for dog, pair in (self.each or {}).items()}
        return told | {"dogs_left_out": list(self.left_out), "dogs": each}


def compare_errors(
    name: str, dogs: Sequence[str], old: FloatArray, new: FloatArray, *, left_out: Sequence[str] = ()
) -> Change:
    """Errors (N,) body lengths of all that is marked, NaN = not judged, as a change over ``dogs``, N names."""
    names = list(dogs)
    both = np.isfinite(old) & np.isfinite(new)
    old_percent, new_percent = (np.where(both, 100 * one, math.nan) for one in (old, new))
    own = [means_of_dogs(one, names) for one in (old_percent, new_percent)]
    return Change(
        name,
        over_dogs(old_percent, names),
        over_dogs(new_percent, names),
        over_dogs(new_percent - old_percent, names),
        tuple(left_out),
        {dog: (own[0][dog], own[1][dog]) for dog in own[0]},
    )


def change_words(change: Change) -> str:
    """'marks.json: error 12.1 to 8.4 % of body length, change -3.7 (-5.0 to -2.2) over 6 dogs, 80 pictures'."""
    if not change.change.dogs:
        return f"{change.name}: no dog that could be judged"
    left = f"; left out, trained on: {', '.join(change.left_out)}" if change.left_out else ""
    return f"{change.name}: {told_change(change.as_dict())}{left}"


def told_change(told: dict[str, Any]) -> str:
    """The same without the name, from plain values; "" when nothing could be judged."""
    if "mean" not in told["change_percent"]:
        return ""
    return _change_words(told["old_percent"], told["new_percent"], told["change_percent"])


def _change_words(old: dict[str, Any], new: dict[str, Any], change: dict[str, Any]) -> str:
    dogs = f"{change['dogs']} {'dog' if change['dogs'] == 1 else 'dogs'}, {change['pictures']} pictures"
    span = f"({change['low']:+.1f} to {change['high']:+.1f})" if "low" in change else "(too few dogs for an interval)"
    words = f"error {old['mean']:.1f} to {new['mean']:.1f} % of body length, change {change['mean']:+.1f} {span}"
    return f"{words} over {dogs}"
