"""Where exactly each landmark lies, in the words of the page; the definition is in ``pose.landmarks``."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Guide:
    """One landmark. where: what to look for; instead: what it is taken for by mistake."""

    where: str
    instead: str


_PAW = "The middle of the foot between the tips of the toes and the back of the main pad, at the height of the pads."
_FORE = Guide(_PAW, "Not the carpus, also when the foot is folded in swing.")
_HIND = Guide(_PAW, "Not the hock, also when the foot is folded in swing.")
_WITHERS = Guide(
    "On the outline of the back, over the top edge of the shoulder blades: in a standing dog straight above the back "
    "of the elbow.",
    "Coat counts as outline where the skin cannot be seen. Under gear it is hidden, not moved.",
)
_CROUP = Guide(
    "On the outline of the back, halfway between the point over the front of the pelvis (hip-bone crest) and the root "
    "of the tail.",
    "Not the root of the tail. Coat counts as outline; under gear it is hidden, not moved.",
)

#: In the order of LANDMARKS.
GUIDE: Final = (_FORE, _FORE, _HIND, _HIND, _WITHERS, _CROUP)
