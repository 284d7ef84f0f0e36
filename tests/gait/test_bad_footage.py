"""Footage as clinics film it: a stride is read right within its stated spread, or dropped with the true reason.

Run with ``-s -k together`` for the table of what became of the strides in each case.
"""

import sys
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from generator import CANTER, PACE, TROT, WALK, Scene, dog
from reckoning import Count, reckon
from spoiling import (
    Spoil,
    dropped,
    every_nth_repeated,
    exchanged,
    frozen_now_and_then,
    missing_stretches,
    post,
    untouched,
    variable_rate,
)

from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial
from pose.tracks import Tracks

GAITS = {"walk": WALK, "trot": TROT, "pace": PACE, "canter": CANTER}
SCENE = Scene(noise_bl=0.01, spread=0.01)
FORE, HIND = (0, 1), (2, 3)

#: Of all named strides, most that may be wrong; of all measures, least within three of their stated SDs.
MOST_WRONG, LEAST_WITHIN = 0.01, 0.99
#: Of the strides that a clip of 8 s holds, least that are used over all cases: what is bad is dropped, not everything.
LEAST_USED, LEAST_NAMED = 0.8, 0.9
#: s, strides that were dropped for what happens at some time lie no further from it: one stride of the walk.
BESIDE_S = 0.75


@dataclass(frozen=True)
class Case:
    """What is bad; the one reason besides the clip's ends that may drop strides; when it happens (s); if it must."""

    spoil: Spoil = untouched
    scene: Scene = SCENE
    reason: str = ""
    when: tuple[float, float] = (-1.0, 99.0)
    must: bool = False


CASES: dict[str, Case] = {
    "landmarks missing up to 0.2 s": Case(missing_stretches(0.2, 0.7), reason="gap"),
    "fores exchanged for a second": Case(exchanged(3, 4, FORE), SCENE, "sides_unsure", (3, 4), True),
    "hinds exchanged for a second": Case(exchanged(3, 4, HIND), SCENE, "sides_unsure", (3, 4), True),
    "both pairs exchanged for a second": Case(exchanged(3, 4, FORE, HIND), SCENE, "sides_unsure", (3, 4), True),
    "a post between the paws": Case(post(300, 30), reason="gap"),
    "a post before the hinds": Case(post(230, 30), reason="gap"),
    **{f"{fps} frames per second": Case(scene=replace(SCENE, fps=fps)) for fps in (25, 30, 50, 60, 120, 240)},
    "a variable frame rate": Case(variable_rate),
    "every fifth frame repeated": Case(every_nth_repeated(5)),
    "frozen for moments": Case(frozen_now_and_then),
    "a second lost": Case(dropped(3, 4), SCENE, "gap", (3, 4), True),
    "the belt speeds up by a third": Case(untouched, replace(SCENE, ramp=(2, 5, 1.33)), "belt_changing", (2, 5)),
    "the belt speeds up fast": Case(untouched, replace(SCENE, ramp=(3, 4.5, 1.6)), "belt_changing", (3, 4.5), True),
    "the belt slows down fast": Case(untouched, replace(SCENE, ramp=(3, 4.5, 0.6)), "belt_changing", (3, 4.5), True),
    "drifting to the back": Case(untouched, replace(SCENE, back_bl=0.8), "not_steady", (2.67, 5.33)),
    "falling back far": Case(untouched, replace(SCENE, back_bl=1.4), "not_steady", (2.67, 5.33)),
    "camera rolled by 5 deg": Case(scene=replace(SCENE, slope_deg=5)),
    "belt inclined by 8 deg": Case(scene=replace(SCENE, slope_deg=8)),
    "inclined by 8 deg and rolled by 5": Case(scene=replace(SCENE, slope_deg=13)),
    "declined by 8 deg and rolled by 5": Case(scene=replace(SCENE, slope_deg=-13, facing="left")),
    "camera 25 deg towards the front": Case(scene=replace(SCENE, yaw_deg=25)),
    "camera 25 deg towards the back": Case(scene=replace(SCENE, yaw_deg=-25)),
    "off square, inclined and rolled": Case(scene=replace(SCENE, yaw_deg=25, slope_deg=13)),
}


@cache
def reading(case: str, gait: str) -> tuple[GaitRecord, Count, Tracks]:
    """The record of one case, what became of its strides, and the spoilt tracks."""
    scene = replace(CASES[case].scene, seed=list(CASES).index(case))
    tracks, truth = dog(GAITS[gait], scene)
    tracks = CASES[case].spoil(tracks, truth)
    record = build_record(tracks, Trial())
    return record, reckon(record, truth, gait), tracks


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("gait", GAITS)
def test_strides_are_dropped_for_the_true_reason(gait: str, case: str) -> None:
    record, count, tracks = reading(case, gait)
    strides, what = record.strides, CASES[case]
    assert set(count.reasons) <= {"truncated", what.reason} - {""}
    assert count.reasons[what.reason] > 0 or not what.must
    cut = strides.dropped == "truncated"
    assert (~np.isfinite(strides.start_s[cut]) | ~np.isfinite(strides.end_s[cut]) | _at_the_ends(record)[cut]).all()
    for row in np.flatnonzero(~strides.used & ~cut).tolist():
        assert strides.start_s[row] <= what.when[1] + BESIDE_S
        assert strides.end_s[row] >= what.when[0] - BESIDE_S
        if what.reason == "gap":
            assert _unseen(tracks, int(strides.paw[row]), strides.start_s[row], strides.end_s[row])


def _at_the_ends(record: GaitRecord) -> np.ndarray:
    """(S,) bool, strides that reach to within a stride of the clip's ends."""
    t, strides = record.tracks.t_s, record.strides
    return (strides.start_s < t[0] + BESIDE_S) | (strides.end_s > t[-1] - BESIDE_S)


def _unseen(tracks: Tracks, paw: int, start_s: float, end_s: float) -> bool:
    """Whether a paw is missing, or frames are, at some time of the stride."""
    first, stop = np.searchsorted(tracks.t_s, [start_s, end_s])
    rows = slice(max(first - 1, 0), stop + 1)
    return bool(np.isnan(tracks.xy_px[rows, paw]).any() or np.diff(tracks.t_s[rows]).max(initial=0.0) > 0.1)


@pytest.mark.parametrize("gait", GAITS)
@pytest.mark.parametrize("case", [name for name, case in CASES.items() if case.reason == "belt_changing"])
def test_a_ramping_belt_is_not_called_steady(case: str, gait: str) -> None:
    record, _, _ = reading(case, gait)
    assert not record.belt.steady
    assert "belt steady" in [check.name for check in record.checks if not check.passed]


@pytest.mark.parametrize("gait", GAITS)
@pytest.mark.parametrize("case", [name for name, case in CASES.items() if case.reason != "belt_changing"])
def test_a_steady_belt_is_called_steady(case: str, gait: str) -> None:
    assert reading(case, gait)[0].belt.steady


@pytest.mark.parametrize("gait", GAITS)
@pytest.mark.parametrize("case", ["every fifth frame repeated", "frozen for moments"])
def test_repeated_frames_are_counted(case: str, gait: str) -> None:
    record, _, tracks = reading(case, gait)
    repeated = int((np.abs(np.diff(tracks.xy_px, axis=0)).max(axis=(1, 2)) == 0).sum())
    assert any(notice.startswith(f"{repeated} of {len(tracks)} frames show") for notice in record.notices)


def test_all_cases_together() -> None:
    total, rows = Count(), []
    for case in CASES:
        for gait in GAITS:
            count = reading(case, gait)[1]
            rows.append(f"{case:36}{gait:8}{count}")
            total.add(count)
    sys.stdout.write("\n".join(["", *rows, f"{'all':44}{total}", ""]))
    named, candidates = total.right + total.wrong, total.used + total.reasons.total() - total.reasons["truncated"]
    assert total.wrong <= MOST_WRONG * named
    assert total.made_up <= MOST_WRONG * total.used
    assert total.within(3) >= LEAST_WITHIN
    assert named >= LEAST_NAMED * total.used
    assert total.used >= LEAST_USED * candidates
