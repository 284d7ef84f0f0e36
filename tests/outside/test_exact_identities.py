"""Statements that are exact by definition or by arithmetic; they need no literature."""

import numpy as np
import pytest
from generator import AMBLE, PACE, TROT, WALK, Pattern, Scene, dog, name_of, square_contacts

from gait.footfalls import footfall_columns, footfalls_of, support_columns
from gait.record import build_record
from gait.rows import list_rows
from gait.trial import Trial

CLEAN = Scene(noise_bl=0.0, swing="hard")


@pytest.mark.parametrize("pattern", [WALK, AMBLE, PACE, TROT], ids=["walk", "amble", "pace", "trot"])
def test_mean_paws_down_is_the_sum_of_duty_factors(pattern: Pattern) -> None:
    contacts = square_contacts(pattern)
    shares = support_columns(contacts, np.array([2.0]), np.array([2.0 + 3 * pattern.stride_s]))
    mean = sum(n * shares[f"paws_down_{n}"][0] for n in range(5))
    assert mean == pytest.approx(pattern.duties().sum(), abs=1e-9)
    assert sum(shares[f"paws_down_{n}"][0] for n in range(5)) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(
    ("duty", "phase"), [(0.42, 0.5), (0.42, 0.0), (0.55, 0.5)], ids=["trot", "pace", "walking trot"]
)
def test_suspension_of_exact_two_beat_gaits(duty: float, phase: float) -> None:
    contacts = square_contacts(Pattern(0.5, duty, duty, phase))
    share = support_columns(contacts, np.array([1.0]), np.array([1.5]))["paws_down_0"][0]
    assert share == pytest.approx(2 * max(0.5 - duty, 0.0), abs=1e-9)


@pytest.mark.parametrize("pattern", [WALK, TROT], ids=["walk", "trot"])
def test_stride_length_is_belt_speed_times_stride_time(pattern: Pattern) -> None:
    tracks, truth = dog(pattern, CLEAN)
    record = build_record(tracks, Trial(belt_m_s=1.5))
    used = record.strides.used & (record.strides.paw % 2 == 0)
    lengths, times = (record.strides.measures[name][used] for name in ("stride_length_m", "stride_time_s"))
    assert np.mean(lengths) == pytest.approx(1.5 * np.mean(times), rel=0.01)
    assert np.mean(lengths / record.belt.m_per_px[0]) == pytest.approx(truth.speed_px_s[0] * pattern.stride_s, rel=0.01)


def test_stride_length_grows_by_the_drift() -> None:
    # a dog that sways on the belt: prints lie apart by belt speed x time plus what it gained between the stances
    scene = Scene(swing="hard", drift_bl=0.12)
    tracks, truth = dog(WALK, scene)
    record = build_record(tracks, Trial())
    for row in np.flatnonzero(record.strides.used & (record.strides.paw == 2)):
        k = int(np.argmin(np.abs(truth.touchdown_s[2] - record.strides.start_s[row])))
        middle = (truth.touchdown_s[2] + truth.liftoff_s[2])[k : k + 2] / 2
        gained = np.diff(scene.drift_bl * np.sin(2 * np.pi * middle / 3.1))[0] * scene.length_px
        expected = truth.speed_px_s[0] * np.diff(middle)[0] + gained
        length_px = record.strides.measures["stride_length_bl"][row] * scene.length_px / _near_scale(truth.speed_px_s)
        assert length_px == pytest.approx(expected, abs=0.015 * scene.length_px)


def _near_scale(speed_px_s: np.ndarray) -> float:
    return float(speed_px_s.mean() / speed_px_s[0])


@pytest.mark.parametrize("pattern", [WALK, TROT], ids=["walk", "trot"])
def test_travel_in_stance_gives_the_sweep(pattern: Pattern) -> None:
    # symmetric stance about the vertical: sweep = 2 atan(v DF T / 2 h), h = height of the croup over the ground
    tracks, _ = dog(
        Pattern(pattern.stride_s, pattern.duty_hind, pattern.duty_fore, pattern.limb_phase),
        Scene(swing="hard", bounce_bl=0.0),
    )
    record = build_record(tracks, Trial())
    used = record.strides.used & (record.strides.paw == 2)
    height, travel = 0.98, pattern.travel
    expected = np.degrees(2 * np.arctan(travel / (2 * height)))
    assert record.strides.measures["sweep_deg"][used].mean() == pytest.approx(expected, abs=1.5)


def test_reversing_time_turns_phases_round() -> None:
    # limb phase -> 1 - LP - (DF fore - DF hind): touchdowns become lift-offs
    pattern = Pattern(0.7, 0.60, 0.66, 0.18)
    reversed_phase = 1 - pattern.limb_phase - (pattern.duty_fore - pattern.duty_hind)
    contacts = square_contacts(pattern)
    mirrored = type(contacts)(
        **{
            **{
                name: getattr(contacts, name)[::-1]
                for name in ("confidence", "truncated", "print_px", "touchdown_sd_ms", "liftoff_sd_ms")
            },
            "paw": contacts.paw,
            "touchdown_s": 20 - _per_paw_reversed(contacts.liftoff_s),
            "liftoff_s": 20 - _per_paw_reversed(contacts.touchdown_s),
        }
    )
    rows = list_rows(mirrored)
    hind = np.flatnonzero(rows.paw == 2)[2:-2]
    columns = footfall_columns(footfalls_of(mirrored, rows, hind), np.ones(len(hind), dtype=bool))
    assert columns["limb_phase"] == pytest.approx(reversed_phase % 1.0, abs=1e-9)


def _per_paw_reversed(times: np.ndarray) -> np.ndarray:
    return times.reshape(4, -1)[:, ::-1].ravel()


@pytest.mark.parametrize("pattern", [WALK, AMBLE, PACE, TROT], ids=["walk", "amble", "pace", "trot"])
def test_exchanging_both_pairs_keeps_the_name_of_a_symmetrical_gait(pattern: Pattern) -> None:
    far_first = Pattern(pattern.stride_s, pattern.duty_hind, pattern.duty_fore, pattern.limb_phase, 0.5, 0.5)
    assert name_of(pattern) == name_of(far_first)
