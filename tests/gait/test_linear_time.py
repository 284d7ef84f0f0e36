"""How long the whole analysis of a table of landmarks takes, against the length of the clip."""

import time

import pytest
from generator import TROT, Scene, dog

from gait.record import build_record
from gait.trial import Trial

#: Lengths of clips, s, all at 60 frames per second.
SHORT_S, MINUTE_S, LONG_S = 10, 60, 300
#: s of one core for a minute of footage.
MOST_S = 1.0
#: 1, how much dearer a second of a clip five times as long may be: what does not fit the caches takes longer.
DEARER = 1.5


def core_s(seconds: float) -> float:
    """s of processor time, best of five, for a noisy trotting dog."""
    tracks, _ = dog(TROT, Scene(seconds=seconds, noise_bl=0.01, spread=0.01))
    spent = []
    for _ in range(5):
        begun = time.process_time()
        build_record(tracks, Trial())
        spent.append(time.process_time() - begun)
    return min(spent)


@pytest.mark.slow
def test_time_grows_with_the_length_of_the_clip() -> None:
    short, minute, long = (core_s(seconds) for seconds in (SHORT_S, MINUTE_S, LONG_S))
    assert minute <= MOST_S
    assert minute / MINUTE_S <= DEARER * short / SHORT_S
    assert long / LONG_S <= DEARER * minute / MINUTE_S
