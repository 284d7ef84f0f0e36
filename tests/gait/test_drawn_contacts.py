"""Touchdowns and lift-offs of drawn dogs of every build in five gaits; events were not tuned on any of these dogs.

Run with ``-s`` for the table. Legs are carried bent, so that they are long enough for their steps.
"""

import sys
from functools import cache

import numpy as np
import pytest

from gait.record import build_record
from gait.trial import Trial
from pose.tracks import FloatArray
from training.footage.build import KINDS
from training.footage.plan import ClipPlan
from training.footage.undrawn import Watching, landmarks_of, steps_of

pytestmark = pytest.mark.slow

GAITS = ("walk", "amble", "pace", "trot", "canter")
KINDS_OF_EVENT = ("touchdown", "lift-off")
RATES = (60.0, 120.0)
#: Dogs that events were not tuned on: 0 to 7, 16 to 23 and 32 to 39 are those that they were.
DOGS = (*range(8, 16), *range(24, 32))
#: Body lengths, noise of every landmark in every frame.
WATCHING = Watching(frame_bl=0.015, clip_bl=0.0)
#: s before the first and after the last whole contact of a paw; what is found beyond belongs to one that the clip cuts.
BESIDE_S = 0.1
#: ms at 60 frames per second, see test_contact_timing.py; at 120: half of each.
MEDIAN_MS, MOST_MS, BIAS_MS = 8.0, 26.0, 5.0


def plan_of(number: int, gait: str, fps: float) -> ClipPlan:
    """Eight seconds of dog ``number``, up to 8 degrees off square."""
    rng = np.random.default_rng((8300, number))
    row = {"gait": gait, "strides": 40} | ({"travel": 0.45} if gait == "canter" else {})
    return ClipPlan(
        name=f"{number} {gait}",
        dog=f"Dog {number:02d}",
        gaits=(row,),
        seed=7000 + number,
        identity=3000 + number,
        kind=KINDS[number % len(KINDS)],
        carriage={"crouch": 0.1},
        facing="left" if number % 2 else "right",
        yaw_deg=float(rng.uniform(-8, 8)),
        pitch_deg=float(rng.uniform(1, 8)),
        seconds=8.0,
        fps=fps,
    )


@cache
def errors_ms(gait: str) -> dict[tuple[float, str], FloatArray]:
    """(frame rate, kind of event) -> errors (ms) of all dogs in that gait, each against the nearest true event."""
    found: dict[tuple[float, str], list[float]] = {(fps, kind): [] for fps in RATES for kind in KINDS_OF_EVENT}
    for number in DOGS:
        steps = steps_of(plan_of(number, gait, 60.0))
        for fps in RATES:
            plan = plan_of(number, gait, fps)
            contacts = build_record(landmarks_of(plan, WATCHING), Trial()).contacts
            for kind, times in zip(KINDS_OF_EVENT, (contacts.touchdown_s, contacts.liftoff_s), strict=True):
                for i in np.flatnonzero(np.isfinite(times)):
                    step = steps[contacts.paw[i]]
                    if step.touchdown_s[0] - BESIDE_S < times[i] < step.liftoff_s[-1] + BESIDE_S:
                        off_s = times[i] - (step.touchdown_s if kind == "touchdown" else step.liftoff_s)
                        nearest = int(np.abs(off_s).argmin())
                        if step.kept[nearest, KINDS_OF_EVENT.index(kind)]:
                            found[fps, kind].append(1e3 * float(off_s[nearest]))
    return {key: np.array(values) for key, values in found.items()}


@pytest.mark.parametrize("kind", KINDS_OF_EVENT)
@pytest.mark.parametrize("gait", GAITS)
@pytest.mark.parametrize("fps", RATES)
def test_events_of_drawn_dogs(fps: float, gait: str, kind: str) -> None:
    errors = errors_ms(gait)[fps, kind]
    median, most, bias = np.median(np.abs(errors)), np.quantile(np.abs(errors), 0.95), errors.mean()
    sys.stdout.write(
        f"\n{fps:3.0f} {gait:6s} {kind:9s} {len(errors):4d} events: "
        f"median {median:.1f}, 95 % within {most:.1f}, bias {bias:+.1f} ms\n"
    )
    assert len(errors) >= 500
    assert median <= MEDIAN_MS * 60 / fps
    assert most <= MOST_MS * 60 / fps
    assert abs(bias) <= BIAS_MS * 60 / fps
