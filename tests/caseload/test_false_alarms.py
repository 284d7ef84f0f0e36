"""Dogs that did not change are hardly ever called changed."""

import pytest
from false_alarms import alarms

pytestmark = pytest.mark.slow

#: Dogs, and how many of them may be called changed. Limits of each measure by itself let four through.
DOGS, MOST_FALSE = 10, 1
#: SD from day to day, in SDs from clip to clip; twice what the planted caseload has.
RESTLESS = 1.0


def test_an_unchanged_dog_is_hardly_ever_called_changed() -> None:
    assert max(alarms(DOGS, RESTLESS).values()) <= MOST_FALSE
