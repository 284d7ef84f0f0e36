"""The facts of a judgement of two networks, on clips of three dogs and on a set of pictures."""

from typing import Any

import numpy as np
from walker import trotting

from gait.record import build_record
from gait.trial import Trial
from gait.truth import Truth
from gait.wholeline import Compared, compare, line_facts, nothing_found
from pose.curves import calibration, curves, dog_by_dog
from pose.judging import table
from pose.precision import Finds, precision_facts

NAMES = ("pawfall-own", "pawfall-older")


def make_compared(dog: str, clip: str, late_s: float) -> Compared:
    """A trot whose truth is ``late_s`` s earlier than it was found."""
    record = build_record(trotting(seconds=2.5), Trial(belt_m_s=2.0))
    found = record.contacts
    down, up = (np.nan_to_num(times, nan=0.5) - late_s for times in (found.touchdown_s, found.liftoff_s))
    ends = np.array([0.0]), np.array([9.0])
    truth = Truth(record.tracks, record.facing, found.paw, down, up, *ends, ("trot",))
    if late_s > 0.1:
        return compare(nothing_found(truth), None, truth, clip=clip, dog=dog, not_read="No dog was found in it.")
    return compare(record.tracks, record, truth, clip=clip, dog=dog)


def make_side(late_s: float) -> dict[str, Any]:
    """What one network gave."""
    filmed = (("Tansy", "tansy_trot_bare"), ("Tansy", "tansy_trot_boots"), ("Brock", "brock_walk_bare"), ("Ember", "e"))
    clips = [make_compared(dog, clip, late_s * number) for number, (dog, clip) in enumerate(filmed, start=1)]
    judged, dogs = clips[0].judged, [("Tansy", "Brock", "Ember")[row % 3] for row in range(len(clips[0].tracks))]
    finds = Finds(np.linspace(0.5, 1, len(dogs)), np.linspace(0, 1, len(dogs)), np.ones(len(dogs)))
    return {
        **table(judged), "curve": curves(judged), "calibration": calibration(judged),
        "precision": precision_facts(finds, dogs), "over_dogs": dog_by_dog(judged, dogs),
        "whole_line": line_facts(clips), "not_read": {one.clip: one.not_read for one in clips if one.not_read},
    }  # fmt: skip


def make_judged() -> dict[str, Any]:
    """judged.json of both."""
    sides = [make_side(0.004), make_side(0.03)]
    both = {**sides[0], "against": sides[1]}
    change = {"change_percent": {"mean": -1.2, "low": -2.0, "high": -0.1, "dogs": 3, "pictures": 9}}
    bare = [{key: value for key, value in side.items() if key not in ("whole_line", "not_read")} for side in sides]
    clips = {
        "name": "drawn dogs", "kind": "clips", "dogs_left_out": ["Pilot"], "clips": 4, "frames": 600,
        "dog_not_told": 0, **both, "change": change,
    }  # fmt: skip
    pictures = {
        "name": "marks-anna.json", "kind": "pictures", "dogs_left_out": [], "pictures": 9, "dog_not_told": 2,
        "dogs_judged": 9, "no_dog_found": [], **bare[0], "against": bare[1], "change": change,
    }  # fmt: skip
    return {"network": NAMES[0], "against": {"network": NAMES[1]}, "domains": [clips, pictures]}
