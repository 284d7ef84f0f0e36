"""The true landmarks of drawn dogs, read by the gait module: names and times have to be those of the drawing."""

from functools import cache

import numpy as np
import pytest
from footage_maker import FPS, body, film, pattern, steady

from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial
from training.footage.movement import Movement, move

SECONDS = 4.0
NAMED_SHARE = 0.9  # of the used strides
TIME_WITHIN = 1.0  # frames, median absolute error of touchdown and lift-off

DOGS = {"a walk": ("square", "walk"), "a trot": ("long", "trot"), "a pace": ("heavy", "pace"),
        "a walk on short legs": ("low", "walk"), "a trot of a racer": ("racer", "trot")}  # fmt: skip

drawn_dogs = pytest.mark.parametrize("words", DOGS)


@cache
def read(words: str, facing: str = "right") -> tuple[GaitRecord, Movement]:
    kind, gait = DOGS[words]
    dog = body(kind)
    movement = steady(dog, pattern(gait, dog, 1), 16, 0.01)
    return build_record(film(dog, movement, SECONDS, facing=facing), Trial()), movement


@drawn_dogs
def test_the_gait_is_named(words: str) -> None:
    record, _ = read(words)
    names = record.strides.gait[record.strides.used]
    named = names[names != "unclear"]
    assert len(names) >= 10
    assert len(named) >= NAMED_SHARE * len(names)
    assert set(named) == {DOGS[words][1]}


@drawn_dogs
def test_contacts_are_timed_within_a_frame(words: str) -> None:
    record, movement = read(words)
    contacts = record.contacts
    for found, truth in ((contacts.touchdown_s, movement.touchdown_s), (contacts.liftoff_s, movement.liftoff_s)):
        known = np.isfinite(found) & ~contacts.truncated
        off = [np.abs(truth[paw] - t).min() for paw, t in zip(contacts.paw[known], found[known], strict=True)]
        assert len(off) >= 12
        assert np.median(off) * FPS <= TIME_WITHIN


def test_a_dog_that_faces_left_keeps_near_and_far() -> None:
    (right, _), (left, _) = read("a walk"), read("a walk", "left")
    assert (right.facing, left.facing) == ("right", "left")
    assert np.array_equal(left.contacts.paw, right.contacts.paw)
    assert np.allclose(left.contacts.touchdown_s, right.contacts.touchdown_s, atol=1e-6, equal_nan=True)
    assert np.array_equal(left.strides.gait, right.strides.gait)


def test_a_pace_that_becomes_a_trot_is_two_runs() -> None:
    dog = body("heavy")
    plan = [(pattern("pace", dog, 2), 5), (pattern("trot", dog, 2), 6)]
    movement = move(np.random.default_rng(4), plan, rest_x=dog.skeleton.foot[:, 0], spread=0.01)
    seconds = float(movement.touchdown_s[2][-1]) - 1.0
    record = build_record(film(dog, movement, seconds), Trial())
    names = [run.gait for run in record.runs if run.gait not in ("unclear", "")]
    assert names[0] == "pace"
    assert names[-1] == "trot"
    assert {"pace", "trot"} == set(names)
