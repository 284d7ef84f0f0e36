"""How often the truth lies within 1.96 stated SDs: walking, trotting and pacing dogs in closed form, filmed many times.

Run with ``-s`` for the table of shares.
"""

import sys
from functools import cache
from itertools import product

import numpy as np
import pytest
from generator import PACE, TROT, WALK, Scene, Truth, dog, exact_place
from reckoning import PHASES, true_measures

from gait.footfalls import wrap_half
from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial
from pose.tracks import FloatArray

GAITS = {"walk": WALK, "trot": TROT, "pace": PACE}
#: Body lengths, noise of every landmark.
NOISES_BL = (0.01, 0.015)
#: How paws leave and land; "soft" ones leave and land at rest.
SWINGS = ("hard", "even", "soft")
#: Films of each gait, noise and swing.
FILMS = 12
#: SDs on either side that hold 95 % of normal errors.
TWO_SIDED = 1.96
#: Share of the truth within them that is aimed at.
LEAST, MOST = 0.93, 0.97
#: Least share for each way of landing alone.
LEAST_ALONE = 0.90
#: Measures whose spread does not depend on how softly paws land.
EVEN_HANDED = ("stride_time_s", "limb_phase", "topline_deg", "reach_bl")
#: Measures besides: the truth lies within a little more or less often.
BESIDES = (
    "stride_length_bl",
    "hind_lag",
    "fore_lag",
    "diagonal_advance",
    "topline_range_deg",
    "withers_excursion_bl",
)
LEAST_BESIDES, MOST_BESIDES = 0.92, 0.985


@cache
def errors(swing: str) -> dict[str, FloatArray]:
    """Measure -> (N, 2) error and stated SD over all used strides of all films of one kind of swing."""
    found: dict[str, list[tuple[float, float]]] = {}
    for pattern, noise_bl, seed in product(GAITS.values(), NOISES_BL, range(FILMS)):
        scene = Scene(noise_bl=noise_bl, swing=swing, spread=0.01, drift_bl=0.05, seed=seed)
        tracks, truth = dog(pattern, scene)
        _compare(build_record(tracks, Trial()), truth, scene, found)
    return {measure: np.array(pairs) for measure, pairs in found.items()}


def _compare(record: GaitRecord, truth: Truth, scene: Scene, found: dict[str, list[tuple[float, float]]]) -> None:
    strides = record.strides
    for row in np.flatnonzero(strides.used).tolist():
        true = true_measures(truth, int(strides.paw[row]), float(strides.start_s[row]))
        true |= _true_lengths(truth, int(strides.paw[row]), true, scene)
        for measure in true.keys() & strides.measures.keys():
            value, sd = float(strides.measures[measure][row]), float(strides.measures_sd[measure][row])
            if np.isfinite(value):
                off = value - true[measure]
                off = float(wrap_half(np.array(off))) if measure in PHASES else off
                found.setdefault(measure, []).append((off, sd))


def _true_lengths(truth: Truth, paw: int, true: dict[str, float], scene: Scene) -> dict[str, float]:
    """Lengths and angles of one stride from the exact paths; a body length of a side goes by its belt's speed."""
    t = true["start_s"] + np.linspace(0.0, true["stride_time_s"], 1001)
    path, trunk = exact_place(truth, paw, t, scene)
    speed_px_s = truth.speed_px_s[paw % 2]
    bl = speed_px_s / truth.speed_px_s.mean()
    run = speed_px_s / scene.length_px * true["stride_time_s"]
    cycle = np.interp(t, truth.starts_s, np.arange(len(truth.starts_s)))
    return {
        "reach_bl": float(np.ptp(path - trunk) / bl),
        "stride_length_bl": float((path[-1] - path[0] + run) / bl),
        "topline_deg": float(np.degrees(np.arctan2(scene.croup_high_bl, 1.0))),
        "topline_range_deg": 0.0,
        "withers_excursion_bl": float(np.ptp(scene.bounce_bl * np.sin(4 * np.pi * cycle))),
    }


def covered(measure: str, *swings: str) -> float:
    """Share of strides whose truth lies within their stated interval; also put on the screen."""
    off, sd = np.concatenate([errors(swing)[measure] for swing in swings]).T
    share = float(np.mean(np.abs(off) <= TWO_SIDED * sd))
    rms = np.sqrt((off**2).mean()), np.sqrt((sd**2).mean())
    sys.stdout.write(f"{measure}, {'/'.join(swings)}: {share:.3f} of {len(off)}; rms {rms[0]:.4f}, SD {rms[1]:.4f}\n")
    return share


@pytest.mark.slow
@pytest.mark.parametrize("measure", EVEN_HANDED)
def test_intervals_hold_the_truth_as_often_as_they_say(measure: str) -> None:
    assert LEAST <= covered(measure, *SWINGS) <= MOST
    for swing in SWINGS:
        assert covered(measure, swing) >= LEAST_ALONE


@pytest.mark.slow
@pytest.mark.parametrize("measure", BESIDES)
def test_other_measures_are_nearly_as_honest(measure: str) -> None:
    assert LEAST_BESIDES <= covered(measure, *SWINGS) <= MOST_BESIDES


@pytest.mark.slow
def test_a_duty_factor_is_off_by_as_much_as_it_says() -> None:
    """Much of its error is one and the same for a whole clip, so that its size counts besides the shares."""
    assert LEAST <= covered("duty_factor", *SWINGS) <= MOST
    for swing in SWINGS:
        assert covered("duty_factor", swing) >= LEAST
    off, sd = np.concatenate([errors(swing)["duty_factor"] for swing in ("hard", "even")]).T
    assert 0.8 <= np.sqrt((off**2).mean() / (sd**2).mean()) <= 1.2


@pytest.mark.slow
def test_a_duty_factor_of_paws_that_land_at_rest_is_known_to_be_unsure() -> None:
    """From the path alone such a paw cannot be told from one that rolls over its toes, as those of dogs do: the stance
    comes out too long, and the clip itself says by how much it may be."""
    soft, sure = (np.median(errors(swing)["duty_factor"][:, 1]) for swing in ("soft", "hard"))
    assert soft >= 2 * sure


@cache
def few_films() -> dict[str, FloatArray]:
    """Measure -> (N, 2) error and stated SD over a few films of each gait."""
    found: dict[str, list[tuple[float, float]]] = {}
    for pattern, seed in product(GAITS.values(), range(77, 83)):
        scene = Scene(noise_bl=0.0125, spread=0.01, drift_bl=0.05, seed=seed)
        tracks, truth = dog(pattern, scene)
        _compare(build_record(tracks, Trial()), truth, scene, found)
    return {measure: np.array(pairs) for measure, pairs in found.items()}


@pytest.mark.parametrize("measure", EVEN_HANDED)
def test_a_few_films_of_each_gait_are_as_sure_as_they_say(measure: str) -> None:
    """Errors against stated SDs, root mean square: 1 when they are honest."""
    off, sd = few_films()[measure].T
    assert 0.75 <= np.sqrt(((off / sd) ** 2).mean()) <= 1.25


def test_every_measure_that_is_known_has_a_spread() -> None:
    tracks, _ = dog(WALK, Scene(noise_bl=0.01, spread=0.01))
    strides = build_record(tracks, Trial(withers_cm=55)).strides
    for name, values in strides.measures.items():
        known = np.isfinite(values) & strides.used
        if known.any() and not name.endswith("_lead_near"):
            sd = strides.measures_sd[name][known]
            assert np.isfinite(sd).all() and (sd >= 0).all(), name
            assert sd.max() > 0 or np.ptp(values[known]) == 0.0, name  # never all four paws up: no doubt about it
