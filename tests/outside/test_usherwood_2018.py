"""Usherwood & Smith 2018 (figshare 6275360; title and legend of the animation, read there).

With duty factor 0.75 on all feet, limb phase 0.25 and opposite feet half a stride apart, exactly three feet are down
at every instant.
"""

import numpy as np
import pytest
from generator import Pattern, square_contacts

from gait.footfalls import support_columns


def test_three_feet_at_every_instant() -> None:
    contacts = square_contacts(Pattern(1.0, 0.75, 0.75, 0.25))
    starts = np.linspace(2.0, 5.0, 31)
    shares = support_columns(contacts, starts, starts + 0.1)
    assert shares["paws_down_3"] == pytest.approx(1.0, abs=1e-9)
    assert shares["paws_down_2"] + shares["paws_down_4"] == pytest.approx(0.0, abs=1e-9)
