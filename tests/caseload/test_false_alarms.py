"""Dogs that did not change are hardly ever called changed."""

import pytest
from false_alarms import alarms

pytestmark = pytest.mark.slow

#: Of 20 dogs, 5 % may be called changed that are not.
DOGS, MOST_FALSE = 20, 1
#: SD from day to day, in SDs from clip to clip, as the planted caseload has it.
USUAL = 0.5


def test_an_unchanged_dog_is_hardly_ever_called_changed() -> None:
    assert max(alarms(DOGS, USUAL).values()) <= MOST_FALSE
