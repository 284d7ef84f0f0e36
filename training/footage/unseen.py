"""Plans of clips for judging the whole line: dogs, gaits and rooms that no training picture shows.

``python -m training.footage.unseen COUNT FOLDER [KIND]`` draws that many clips with their truth; KIND may be
``small`` (the dog takes an eighth of a picture of 1280 x 720) or ``passed`` (a second dog walks by behind it).
"""

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from training.errors import DrawError
from training.footage.build import KINDS
from training.footage.clips import draw_clip
from training.footage.plan import ClipPlan
from training.footage.staging import build_of, pattern_of
from training.footage.undrawn import steps_of

#: Identities of training dogs come from another stream of random numbers; these dogs are shared with no shard.
_FIRST_IDENTITY = 1000
_GAITS = ("walk", "trot", "walk", "trot", "pace", "amble")
_SECONDS = {"walk": 4.5, "amble": 4.0, "pace": 3.5, "trot": 3.5}
#: Shares of the drawn length of a step that are tried: a paw that a short leg drags off the belt has no clear lift-off.
_STEPS = np.linspace(1.0, 0.5, 21)

#: Identities of the dogs that walk by.
_FIRST_PASSER = 5000
KINDS_OF_CLIP: dict[str, dict[str, Any]] = {
    "plain": {},
    "small": {"size": (1280, 720), "fill": 0.12},
    "passed": {"size": (640, 360), "fill": 0.4},
}


def unseen_plan(number: int, kind: str = "plain") -> ClipPlan:
    """Clip ``number``: any build and coat, walk to pace, 60 frames a second, both ways, to 12 degrees off square."""
    rng = np.random.default_rng((8200, number))
    gait = _GAITS[number % len(_GAITS)]
    plan = ClipPlan(
        name=f"unseen_{number:03d}_{gait}",
        dog=f"unseen {number}",
        gaits=({"gait": gait, "strides": 30},),
        seed=5000 + number,
        identity=_FIRST_IDENTITY + number,
        kind=str(rng.choice(KINDS)),
        size=(480, 270),
        facing="left" if number % 2 else "right",
        seconds=_SECONDS[gait],
        dark=bool(rng.random() < 0.15),
        noise=float(rng.uniform(1, 5)),
        yaw_deg=float(rng.uniform(-12, 12)),
        pitch_deg=float(rng.uniform(1, 9)),
        fill=float(rng.uniform(0.5, 0.7)),
    )
    changed = dict(KINDS_OF_CLIP[kind])
    if kind != "plain":
        changed["name"] = f"{kind}_{number:03d}_{gait}"
    if kind == "passed":
        changed["passer"] = _FIRST_PASSER + number
    return _within_reach(replace(plan, **changed))


def _within_reach(plan: ClipPlan) -> ClipPlan:
    """The plan with the longest steps on which every paw comes down and leaves at the place of its stance; DrawError
    when there are none."""
    row = plan.gaits[0]
    travel = pattern_of(plan, row, build_of(plan).withers_m)[0].travel
    tries = (replace(plan, gaits=({**row, "travel": share * travel},)) for share in _STEPS)
    within = next((tried for tried in tries if all(paw.kept.all() for paw in steps_of(tried))), None)
    if within is None:
        raise DrawError(f"{plan.name}: the legs of this dog reach no step of half the usual length; leave it out.")
    return within


def main() -> None:
    """Draw the clips named on the command line."""
    cv2.setNumThreads(1)
    kind = sys.argv[3] if len(sys.argv) > 3 else "plain"
    if kind not in KINDS_OF_CLIP:
        raise SystemExit(f"{kind} is no kind of clip; it can be one of {', '.join(KINDS_OF_CLIP)}")
    first, last = (int(v) for v in sys.argv[1].split(":")) if ":" in sys.argv[1] else (0, int(sys.argv[1]))
    for number in range(first, last):
        plan = unseen_plan(number, kind)
        draw_clip(plan, Path(sys.argv[2]))
        sys.stdout.write(f"{plan.name}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
