"""Colours and line styles of every figure, chosen so that the page reads without colour too.

Okabe & Ito 2008, "Color Universal Design", as quoted by others, page not opened. In grey the near
side is dark and the far side pale; fore and hind differ by their lane, line style and marker as well.
"""

from dataclasses import dataclass
from typing import Final

BLACK: Final = "#000000"
ORANGE: Final = "#E69F00"
SKY_BLUE: Final = "#56B4E9"
BLUISH_GREEN: Final = "#009E73"
YELLOW: Final = "#F0E442"
BLUE: Final = "#0072B2"
VERMILLION: Final = "#D55E00"
REDDISH_PURPLE: Final = "#CC79A7"

#: Greys of the drawing itself; every figure stands on the same light card in light and in dark.
CARD: Final = "#FFFFFF"
INK: Final = "#20262B"
QUIET: Final = "#5E6870"
RULE: Final = "#C9CFD4"
WASH: Final = "#EEF1F3"


@dataclass(frozen=True, slots=True)
class PawStyle:
    """How one paw is drawn everywhere. ``line`` is a matplotlib line style, ``marker`` a matplotlib marker."""

    label: str
    colour: str
    line: str
    marker: str


PAW_STYLES: Final = {
    "near_fore": PawStyle("near fore", BLUE, "-", "o"),
    "far_fore": PawStyle("far fore", SKY_BLUE, "--", "o"),
    "near_hind": PawStyle("near hind", VERMILLION, "-", "D"),
    "far_hind": PawStyle("far hind", ORANGE, "--", "D"),
}

#: Lanes from top to bottom: the two paws of a side lie together, so that a pace and a trot look different at a glance.
LANES: Final = ("near_fore", "near_hind", "far_fore", "far_hind")
