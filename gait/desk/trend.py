"""A small line over the visits of a dog: where each mean lies between the least and the largest of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

#: px of the drawing, and of the rim that keeps dots whole.
WIDTH: Final = 120
HEIGHT: Final = 32
RIM: Final = 4


@dataclass(frozen=True, slots=True)
class Trend:
    """Dots (x, y) in px of a drawing of WIDTH x HEIGHT, in order of the days."""

    dots: tuple[tuple[float, float], ...]

    @property
    def line(self) -> str:
        """The dots as SVG wants a line."""
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in self.dots)


def trend(dates: Sequence[str], means: Sequence[float | None]) -> Trend | None:
    """The line of a measure over ISO ``dates``; None with fewer than two days that tell it or that have a date.

    Days lie apart as on a calendar. The scale is that of the measure's own range, so that the height of two lines says
    nothing: the numbers beside them do.
    """
    known = [(date.fromisoformat(day).toordinal(), mean) for day, mean in zip(dates, means, strict=True)
             if day and mean is not None]  # fmt: skip
    if len(known) < 2:
        return None
    first, last = known[0][0], known[-1][0]
    low, high = min(mean for _, mean in known), max(mean for _, mean in known)
    wide, tall = WIDTH - 2 * RIM, HEIGHT - 2 * RIM
    return Trend(tuple(
        (RIM + wide * (day - first) / max(1, last - first),
         HEIGHT - RIM - tall * ((mean - low) / (high - low) if high > low else 0.5))
        for day, mean in known
    ))  # fmt: skip
