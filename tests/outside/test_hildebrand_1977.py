"""Asymmetrical gaits: Hildebrand 1977, J Mammal 58:131 (as quoted by others, paper not opened).

Within a pair the first foot down is the trailing, the second the leading one. Bound: both pairs land together (lead
below 10 % of the stride); half-bound: the hinds together, the fores not; gallop: neither.
"""

import numpy as np
import pytest
from generator import Pattern, name_of
from squares import exact

JUST = 0.02  # share of the stride on either side of the limit of 10 %


@pytest.mark.parametrize(
    ("hinds", "fores", "name"),
    [
        (0.10 - JUST, 0.10 - JUST, "bound"),
        (0.10 - JUST, 0.10 + JUST, "half-bound"),
        (0.10 + JUST, 0.10 + JUST, "transverse gallop"),
        (0.10 + JUST, -(0.10 + JUST), "rotary gallop"),
        (-(0.10 + JUST), 0.10 + JUST, "rotary gallop"),
        (-(0.10 - JUST), -(0.10 - JUST), "bound"),
    ],
    ids=["bound", "half-bound", "gallop", "gallop, fores exchanged", "gallop, hinds exchanged", "bound, far first"],
)
def test_limits_of_a_tenth(hinds: float, fores: float, name: str) -> None:
    assert name_of(Pattern(0.36, 0.28, 0.28, 0.5, hinds, fores)) == name


@pytest.mark.parametrize("lag", np.round(np.arange(-0.35, 0.36, 0.1), 2).tolist())
def test_the_second_foot_down_leads(lag: float) -> None:
    found = exact(Pattern(0.4, 0.27, 0.27, 0.5, lag, -lag))
    assert found["hind_lead_near"] == float(lag < 0)
    assert found["fore_lead_near"] == float(lag > 0)
