"""What a frame grid does to events.

An event rounded to the nearest frame is off by frame / sqrt 12, a duration by frame / sqrt 6, a duty factor by that
over the stride time (derived: uniform error, two independent events).
"""

import numpy as np
import pytest
from generator import TROT, Scene, dog

from gait.record import build_record
from gait.trial import Trial

#: frames per second; SD of an event (ms), of a duration (ms), of the duty factor at 0.50 s and 0.75 s (% points).
TABLE = [
    (25, 11.5, 16.3, 3.3, 2.2),
    (30, 9.6, 13.6, 2.7, 1.8),
    (50, 5.8, 8.2, 1.6, 1.1),
    (60, 4.8, 6.8, 1.4, 0.91),
    (100, 2.9, 4.1, 0.82, 0.54),
    (120, 2.4, 3.4, 0.68, 0.45),
    (240, 1.2, 1.7, 0.34, 0.23),
]
IDS = [f"{row[0]} fps" for row in TABLE]


@pytest.mark.parametrize(("fps", "event", "duration", "duty_half", "duty_three_quarters"), TABLE, ids=IDS)
def test_rounding_to_frames(
    fps: int, event: float, duration: float, duty_half: float, duty_three_quarters: float
) -> None:
    rng = np.random.default_rng(0)
    times = rng.uniform(0, 1, (2, 200_000))
    error = np.round(times * fps) / fps - times
    assert 1e3 * error[0].std() == pytest.approx(event, rel=0.02)
    assert 1e3 * (error[1] - error[0]).std() == pytest.approx(duration, rel=0.02)
    assert 100 * (error[1] - error[0]).std() / 0.50 == pytest.approx(duty_half, rel=0.04)
    assert 100 * (error[1] - error[0]).std() / 0.75 == pytest.approx(duty_three_quarters, rel=0.04)


@pytest.mark.parametrize("fps", [25, 30, 50, 60, 120])
def test_our_events_are_no_worse_than_the_nearest_frame(fps: int) -> None:
    # between frames the path itself tells the time; the scatter must stay within that of rounding, with 1 % noise
    tracks, truth = dog(TROT, Scene(fps=fps, noise_bl=0.01, spread=0.012))
    contacts = build_record(tracks, Trial()).contacts
    errors = [
        t - truth.touchdown_s[p][np.argmin(np.abs(truth.touchdown_s[p] - t))]
        for p in range(4)
        for t in contacts.touchdown_s[(contacts.paw == p) & np.isfinite(contacts.touchdown_s)]
    ]
    assert np.std(errors) <= max(1 / fps / np.sqrt(12), 0.004)


def test_doubt_grows_with_the_frame_time() -> None:
    doubts = []
    for fps in (25, 60, 240):
        contacts = build_record(dog(TROT, Scene(fps=fps, noise_bl=0.015))[0], Trial()).contacts
        doubts.append(np.nanmedian(contacts.touchdown_sd_ms))
    assert doubts[0] > doubts[1] > doubts[2]
