"""What is compared: a measure at one pair of limbs, or of the whole dog. One table for lines, pages and tests."""

from dataclasses import dataclass
from typing import Final

from gait.measures import Measure, measure


@dataclass(frozen=True, slots=True)
class Compared:
    """One row of every comparison.

    name    of the line; a limb pair is part of it
    column  the measure of gait.measures that it is made of
    pair    "fore" or "hind": strides of the near paw of that pair; "" = of the whole dog, by strides of the near hind
    label   in words
    """

    name: str
    column: str
    pair: str
    label: str

    @property
    def measure(self) -> Measure:
        """The row of gait.measures that it is made of."""
        return measure(self.column)


def _pairs(column: str) -> tuple[Compared, Compared]:
    label = measure(column).label
    return Compared(f"fore_{column}", column, "fore", f"fore {label}"), Compared(
        f"hind_{column}", column, "hind", f"hind {label}"
    )


def _whole(column: str) -> Compared:
    return Compared(column, column, "", measure(column).label)


#: Stride rate, speed and the shares on so many paws follow from these and would only be counted twice. Lengths come
#: twice; a contrast takes the metres where both sides have a scale, else the body lengths.
COMPARED: Final[tuple[Compared, ...]] = (
    _whole("topline_deg"),
    _whole("topline_range_deg"),
    _whole("stride_time_s"),
    _whole("stride_length_m"),
    _whole("stride_length_bl"),
    *_pairs("reach_m"),
    *_pairs("reach_bl"),
    _whole("reach_ratio"),
    *_pairs("duty_factor"),
    *_pairs("protraction_deg"),
    *_pairs("retraction_deg"),
    _whole("limb_phase"),
    _whole("tracking_up_m"),
    _whole("tracking_up_bl"),
    _whole("withers_excursion_m"),
    _whole("withers_excursion_bl"),
    _whole("croup_excursion_m"),
    _whole("croup_excursion_bl"),
)


def rows_for(metres: bool) -> tuple[Compared, ...]:
    """The rows of a contrast: lengths in metres, or in body lengths."""
    left_out = "_bl" if metres else "_m"
    return tuple(row for row in COMPARED if not row.column.endswith(left_out))


def compared(name: str) -> Compared:
    """The row with that name; KeyError for an unknown one."""
    for row in COMPARED:
        if row.name == name:
            return row
    raise KeyError(f"No compared measure is called {name!r}; known are {', '.join(row.name for row in COMPARED)}.")
