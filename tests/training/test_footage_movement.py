"""Movement of the drawn dogs: the truth that is written down is what the dog does."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from footage_maker import Body, body, pattern, places, steady

from pose.landmarks import CROUP, WITHERS
from training.footage.build import KINDS
from training.footage.clips import Take, truth_of
from training.footage.movement import GAITS, Movement, move
from training.footage.plan import ClipPlan
from training.footage.posing import Carriage

SLIP = 1e-3  # withers heights that a paw may slip in stance where its limb reaches
#: Of stance instants, over all kinds of dog; when written it was 4.0 % of a walk, 2.6 % of a trot, 1.2 % of a pace.
CLAMPED_SHARE = 0.05
CLAMPED_SLIP = 0.05  # withers heights, where the limb is too short for the step
PITCH = 0.05  # rad

every_gait = pytest.mark.parametrize("gait", GAITS)


@every_gait
def test_duty_factors_and_phases_of_the_pattern_come_back(gait: str) -> None:
    dog = body("square")
    step = pattern(gait, dog)
    movement = steady(dog, step)
    touch, lift = np.array(movement.touchdown_s), np.array(movement.liftoff_s)
    length = np.diff(touch, axis=1)
    assert np.allclose(length, step.stride_s)
    assert np.allclose((lift - touch)[:, :-1] / length, step.duties()[:, None])
    assert np.allclose((touch - touch[2]) / step.stride_s, step.phases()[:, None])


@pytest.mark.parametrize("gait", ["walk", "trot", "pace"])
def test_spread_changes_single_strides_but_not_their_mean(gait: str) -> None:
    dog, strides, spread = body("square"), 200, 0.01
    step = pattern(gait, dog)
    movement = steady(dog, step, strides, spread)
    touch, lift = np.array(movement.touchdown_s), np.array(movement.liftoff_s)
    duty = (lift - touch)[:, :-1] / step.stride_s
    assert 0.5 * spread < duty.std(axis=1).min()
    assert np.allclose(duty.mean(axis=1), step.duties(), atol=6 * spread / strides**0.5)
    assert np.allclose(np.diff(touch, axis=1).mean(), step.stride_s, rtol=6 * spread / strides**0.5)


@every_gait
@pytest.mark.parametrize("spread", [0.0, 0.015], ids=["even strides", "uneven strides"])
def test_each_paw_comes_down_and_lifts_in_turn(gait: str, spread: float) -> None:
    movement = steady(body("square"), pattern(gait, body("square")), 30, spread)
    for touch, lift in zip(movement.touchdown_s, movement.liftoff_s, strict=True):
        assert np.all(lift > touch)
        assert np.all(touch[1:] > lift[:-1])


def belt_slips(dog: Body, movement: Movement, seconds: float) -> tuple[np.ndarray, np.ndarray]:
    """(T, 4) how far each posed paw is from its place at touchdown on the belt, withers heights; NaN in swing.

    And (T, 4) the height of the paw over where it stands.
    """
    t_s = np.arange(0.0, seconds, 1 / 60)
    marks = places(dog, movement, t_s)
    slip, high = np.full((len(t_s), 4), np.nan), marks[:, :4, 1] - dog.skeleton.foot[:, 1]
    for p in range(4):
        for touch, lift in zip(movement.touchdown_s[p], movement.liftoff_s[p], strict=True):
            if touch >= seconds:
                continue
            down = (t_s >= touch) & (t_s <= lift)
            landed = movement.paw(p, float(touch) + 1e-9)[0]
            slip[down, p] = marks[down, p, 0] + movement.speed * (t_s[down] - touch) - landed
    return slip, np.where(np.isnan(slip), np.nan, high)


@pytest.mark.parametrize("gait", ["walk", "trot", "pace"])
@pytest.mark.parametrize("kind", ["square", "low", "heavy"])
def test_a_paw_in_stance_stands_still_on_the_belt(kind: str, gait: str) -> None:
    dog = body(kind)
    slip, high = belt_slips(dog, steady(dog, replace(pattern(gait, dog), travel=0.5), 8, 0.01), 1.5)
    assert np.nanmax(np.abs(slip)) < SLIP
    assert np.nanmax(np.abs(high)) < SLIP


@pytest.mark.parametrize("gait", ["walk", "trot", "pace"])
def test_limbs_too_short_for_their_step_are_seldom_and_slip_little(gait: str) -> None:
    slips = np.concatenate(
        [belt_slips(dog, steady(dog, pattern(gait, dog, n), 6, 0.01), 0.8)[0].ravel()
         for n, dog in enumerate(map(body, KINDS))]
    )  # fmt: skip
    slips = np.abs(slips[np.isfinite(slips)])
    assert np.mean(slips > SLIP) < CLAMPED_SHARE
    assert slips.max() < CLAMPED_SLIP


@every_gait
def test_paws_do_not_jump_and_swing_above_the_belt(gait: str) -> None:
    movement, step_s = steady(body("square"), pattern(gait, body("square")), 8, 0.01), 1e-3
    t_s = np.arange(0.0, 1.5, step_s)
    for p in range(4):
        x, high, _, down = (np.array(v) for v in zip(*(movement.paw(p, float(t)) for t in t_s), strict=True))
        assert np.abs(np.diff(x)).max() < 6 * movement.speed * step_s + 0.01
        assert np.abs(np.diff(high)).max() < 0.01
        assert np.all(high[down] == 0.0)
        assert high[~down].max() > 0.04


def test_a_change_of_gait_passes_through_one_stride_between() -> None:
    dog = body("heavy")
    plan = [(pattern("pace", dog), 5), (pattern("trot", dog), 6)]
    movement = move(np.random.default_rng(1), plan, rest_x=dog.skeleton.foot[:, 0])
    names = [step.gait for step in movement.patterns]
    assert names == ["pace"] * 6 + ["change"] + ["trot"] * 8  # one stride leads in, two lead out
    between = movement.patterns[6]
    assert between.limb_phase == pytest.approx((plan[0][0].limb_phase + plan[1][0].limb_phase) / 2)


def take_of(dog: Body, movement: Movement, count: int) -> tuple[Take, list[Any]]:
    """What is known of a clip of that dog, and the rows of truth of its pictures."""
    plan, times = ClipPlan("clip", "dog", ({"gait": "trot", "strides": 8},)), np.arange(count) / 60
    drawn: Any = type("Drawn", (), {"skeleton": dog.skeleton, "skin": dog.skin})()
    marks = places(dog, movement, times) * dog.withers_m
    nowhere: Any = None
    return Take(plan, drawn, movement, Carriage(), nowhere, times), [(row, np.zeros(6), row[:, :2]) for row in marks]


def test_the_written_truth_is_that_of_the_posed_dog() -> None:
    dog = body("square")
    step = pattern("trot", dog)
    movement = steady(dog, step)
    take, rows = take_of(dog, movement, 40)
    truth = truth_of(take, rows)
    back = np.array([row[0][CROUP] - row[0][WITHERS] for row in rows])
    slope = np.degrees(np.arctan(back[:, 1] / -back[:, 0]))  # + croup-high
    assert truth["topline_deg"] == pytest.approx(slope, abs=1e-3)
    assert truth["belt_m_s"] == pytest.approx(step.travel / (step.duty_hind * step.stride_s) * dog.withers_m)
    assert {row["gait"] for row in truth["strides"]} == {"trot"}
    duty = [
        (row["liftoff_s"] - row["touchdown_s"]) / step.stride_s for row in truth["contacts"] if "hind" in row["paw"]
    ]
    assert duty == pytest.approx([step.duty_hind] * len(duty), abs=1e-4)


def test_a_leg_too_short_for_its_step_stands_for_less_than_was_planned() -> None:
    dog = body("low")
    planned = pattern("trot", dog)
    long_steps = replace(planned, travel=planned.travel * 2.5)
    shares = []
    for step in (replace(planned, travel=0.2), long_steps):
        take, rows = take_of(dog, steady(dog, step), 60)
        contacts = [row for row in truth_of(take, rows)["contacts"] if "fore" in row["paw"] and row["whole"]]
        shares.append(
            np.mean([row["liftoff_s"] - row["touchdown_s"] for row in contacts]) / (step.duty_fore * step.stride_s)
        )
    assert shares[0] == pytest.approx(1.0, abs=1e-3)
    assert shares[1] < 0.97


def test_contacts_cut_by_the_film_are_not_called_whole() -> None:
    dog = body("square")
    take, rows = take_of(dog, steady(dog, pattern("trot", dog)), 60)
    last_s = float(take.times[-1])
    contacts = truth_of(take, rows)["contacts"]
    assert {row["whole"] for row in contacts} == {True, False}
    for row in contacts:
        assert row["whole"] == (row["touchdown_s"] >= 0 and row["liftoff_s"] <= last_s)
        assert row["liftoff_s"] > 0 and row["touchdown_s"] < last_s


def test_a_dog_carried_nose_up_has_its_topline_lowered_by_that_angle() -> None:
    dog = body("square")
    movement, t_s = steady(dog, pattern("walk", dog)), np.array([0.2])

    def slope(pitch: float) -> float:
        marks = places(dog, movement, t_s, Carriage(pitch=pitch))[0]
        return float(np.arctan2(*(marks[CROUP] - marks[WITHERS])[[1, 0]] * (1, -1)))

    assert slope(0.0) - slope(PITCH) == pytest.approx(PITCH, abs=0.002)
