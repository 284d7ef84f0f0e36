"""Dogs that canter, gallop and bound on either lead, change their gait, stand, and step on and off the belt.

Orders of feet, rotary and transverse: Biancardi & Minetti 2012, J Exp Biol 215:4144. Bounds: Hildebrand 1977,
J Mammal 58:131 (as quoted by others, paper not opened). Dogs change between rotary and transverse within a few strides
at one speed: Ding et al. 2025, arXiv 2507.14727.
"""

from dataclasses import replace

import numpy as np
import pytest
from generator import BOUND, CANTER, HALF_BOUND, PACE, ROTARY, TRANSVERSE, TROT, WALK, Pattern, Scene, dog
from reckoning import reckon
from spoiling import Spoil, stands, walks_on

from gait.naming import STAND
from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial

SCENE = Scene(noise_bl=0.01, spread=0.01)
#: s, a stand is found to within this: half a second is averaged to tell a standing paw from a moving one.
STAND_EDGE_S = 0.35


def other_lead(p: Pattern) -> Pattern:
    """The same gait with near and far side exchanged."""
    phase = (p.limb_phase + p.fore_lag - p.hind_lag) % 1
    return replace(p, limb_phase=phase, hind_lag=-p.hind_lag, fore_lag=-p.fore_lag)


#: pattern on the far lead, whether near hind and near fore lead then; NaN = they land together.
ASYMMETRICAL = {
    "canter": (CANTER, 0.0, 0.0),
    "transverse gallop": (TRANSVERSE, 0.0, 0.0),
    "rotary gallop": (ROTARY, 0.0, 1.0),
    "half-bound": (HALF_BOUND, np.nan, 0.0),
    "bound": (BOUND, np.nan, np.nan),
}


@pytest.mark.parametrize("fps", [60, 120])
@pytest.mark.parametrize("facing", ["left", "right"])
@pytest.mark.parametrize("lead", ["far", "near"])
@pytest.mark.parametrize("gait", ASYMMETRICAL)
def test_asymmetrical_gaits_and_their_leads(gait: str, lead: str, facing: str, fps: int) -> None:
    pattern, *leads = ASYMMETRICAL[gait]
    scene = replace(SCENE, fps=fps, facing=facing, seconds=6)
    record = build_record(dog(pattern if lead == "far" else other_lead(pattern), scene)[0], Trial())
    hind = record.strides.used & (record.strides.paw >= 2)
    names = record.strides.gait[hind]
    assert set(names) <= {gait, "unclear"} and np.mean(names == gait) >= 0.75
    for column, far in zip(("hind_lead_near", "fore_lead_near"), leads, strict=True):
        found = record.strides.measures[column][hind & (record.strides.gait == gait)]
        if np.isfinite(far):
            assert set(found) == {far if lead == "far" else 1 - far}
        else:
            assert np.isnan(found).all()


def test_a_pair_that_lands_within_its_own_doubt_has_no_lead() -> None:
    """Whatever the stride is called: nobody can tell which of the two came first."""
    record = build_record(dog(replace(HALF_BOUND, hind_lag=0.0), replace(SCENE, noise_bl=0.02))[0], Trial())
    strides = record.strides
    lag, sd = strides.measures["hind_lag"], strides.measures_sd["hind_lag"]
    within = strides.used & (np.minimum(lag, 1 - lag) <= 1.96 * sd)
    assert within.any() and np.isnan(strides.measures["hind_lead_near"][within]).all()


def _joined(first: Pattern, second: Pattern) -> list[tuple[Pattern, int]]:
    """Seven strides of one and nine of the other at the speed of the first."""
    speed = first.travel / (first.duty_hind * first.stride_s)
    return [(first, 7), (replace(second, travel=speed * second.duty_hind * second.stride_s), 9)]


CHANGES = {
    "walk to trot": (WALK, TROT, ("walk", "trot")),
    "walk to canter": (WALK, CANTER, ("walk", "canter")),
    "trot to canter": (TROT, CANTER, ("trot", "canter")),
    "canter to trot": (CANTER, TROT, ("canter", "trot")),
    "trot to rotary gallop": (TROT, ROTARY, ("trot", "rotary gallop")),
    "canter to gallop": (CANTER, TRANSVERSE, ("canter", "transverse gallop")),
    "transverse to rotary": (TRANSVERSE, ROTARY, ("transverse gallop", "rotary gallop")),
    "rotary to transverse": (ROTARY, TRANSVERSE, ("rotary gallop", "transverse gallop")),
    "pace to trot": (PACE, TROT, ("pace", "trot")),
    "trot to pace": (TROT, PACE, ("trot", "pace")),
}


@pytest.mark.parametrize("seed", [0, 1, 2])
@pytest.mark.parametrize("change", CHANGES)
def test_a_stride_of_change_is_not_forced_into_a_third_name(change: str, seed: int) -> None:
    first, second, names = CHANGES[change]
    tracks, truth = dog(_joined(first, second), replace(SCENE, seed=seed))
    record = build_record(tracks, Trial())
    assert [run.gait for run in record.runs] == list(names)
    assert record.runs[1].steps_to <= 3
    hind = record.strides.used & (record.strides.paw == 2)
    assert set(record.strides.gait[hind]) <= {*names, "unclear"}
    turn = truth.starts_s[2 + 7]  # two strides lie before the clip
    early, late = record.strides.end_s < turn - 0.05, record.strides.start_s > turn + 0.05
    assert set(record.strides.gait[hind & early]) <= {names[0], "unclear"}
    assert set(record.strides.gait[hind & late]) <= {names[1], "unclear"}


def test_a_change_of_lead_leaves_the_name_and_changes_the_lead() -> None:
    tracks, truth = dog([(CANTER, 8), (other_lead(CANTER), 8)], SCENE)
    record = build_record(tracks, Trial())
    near, turn = record.strides.paw == 2, truth.starts_s[2 + 8]
    leads = record.strides.measures["fore_lead_near"]
    assert set(leads[near & record.strides.used & (record.strides.end_s < turn - 0.05)]) == {0.0}
    assert set(leads[near & record.strides.used & (record.strides.start_s > turn + 0.05)]) == {1.0}
    assert set(record.strides.gait[near & record.strides.used]) <= {"canter", "unclear"}


#: what the dog does, when it stands (s), the one reason besides the clip's ends that may drop strides.
DOINGS: dict[str, tuple[Spoil, list[tuple[float, float]]]] = {
    "stands, then goes": (stands(3.0), [(0.0, 3.0)]),
    "goes, then stands": (stands(-1.0, 6.0), [(6.0, 10.0)]),
    "stands, goes, stands": (stands(3.0, 7.5), [(0.0, 3.0), (7.5, 10.0)]),
    "steps onto the belt": (walks_on(1.2), []),
    "steps on and off": (walks_on(1.2, 8.8), []),
}


@pytest.mark.parametrize("doing", DOINGS)
@pytest.mark.parametrize("gait", ["walk", "trot", "pace", "canter"])
def test_standing_and_stepping_on_and_off(gait: str, doing: str) -> None:
    spoil, spans = DOINGS[doing]
    pattern = {"walk": WALK, "trot": TROT, "pace": PACE, "canter": CANTER}[gait]
    tracks, truth = dog(pattern, replace(SCENE, seconds=10))
    record = build_record(spoil(tracks, truth), Trial())
    count = reckon(record, truth, gait)
    assert count.wrong == 0 and count.made_up == 0
    assert set(count.reasons) <= {"truncated", "not_steady"}
    assert count.within(3) >= 0.98 and count.right >= 8
    found = [(run.start_s, run.end_s) for run in record.runs if run.gait == STAND]
    assert np.asarray(found) == pytest.approx(np.asarray(spans), abs=STAND_EDGE_S)
    assert _none_inside(record, spans)


def _none_inside(record: GaitRecord, spans: list[tuple[float, float]]) -> bool:
    """Whether no used stride reaches into a stand."""
    used = record.strides.used
    start, end = record.strides.start_s[used], record.strides.end_s[used]
    return all(((end <= a + 0.1) | (start >= b - 0.1)).all() for a, b in spans)


@pytest.mark.parametrize("noise_px", [0.5, 1.6, 3.2])
@pytest.mark.parametrize("fps", [25, 60, 240])
def test_a_dog_that_only_stands_is_said_to_stand(fps: int, noise_px: float) -> None:
    tracks, truth = dog(WALK, Scene(fps=fps, seconds=6))
    record = build_record(stands(5.9, noise_px=noise_px)(tracks, truth), Trial())
    assert [run.gait for run in record.runs] == [STAND]
    assert not len(record.strides)
