"""Phases, lags and support from contacts that are known exactly."""

import numpy as np
import pytest
from generator import AMBLE, CANTER, PACE, ROTARY, TROT, WALK, Pattern, square_contacts

from gait.common import NOTHING_COMMON, softness
from gait.footfalls import (
    footfall_columns,
    footfalls_of,
    mean_phase,
    nearest,
    pattern_of,
    sample_patterns,
    support_columns,
    wrap,
    wrap_half,
)
from gait.nouns import Contacts
from gait.rows import list_rows

PATTERNS = {"walk": WALK, "amble": AMBLE, "pace": PACE, "trot": TROT, "canter": CANTER, "rotary gallop": ROTARY}


@pytest.mark.parametrize("gait", PATTERNS)
def test_pattern_comes_back(gait: str) -> None:
    pattern = PATTERNS[gait]
    contacts = square_contacts(pattern)
    rows = list_rows(contacts)
    near = np.flatnonzero(rows.paw == 2)[2:-2]
    found = pattern_of(footfalls_of(contacts, rows, near))
    assert found.limb_phase_own == pytest.approx(pattern.limb_phase)
    assert found.limb_phase_other == pytest.approx((pattern.limb_phase + pattern.fore_lag - pattern.hind_lag) % 1)
    assert found.hind_lag == pytest.approx(pattern.hind_lag)
    assert found.fore_lag == pytest.approx(pattern.fore_lag % 1)
    assert found.duty == pytest.approx(pattern.duty_hind)


def test_near_and_far_columns_do_not_depend_on_the_row() -> None:
    pattern = Pattern(0.7, 0.6, 0.6, 0.18, 0.5, 0.52)
    contacts = square_contacts(pattern)
    rows = list_rows(contacts)
    for paw, near in ((2, True), (3, False)):
        hind = np.flatnonzero(rows.paw == paw)[2:-2]
        columns = footfall_columns(footfalls_of(contacts, rows, hind), np.full(len(hind), near))
        assert columns["limb_phase_near"] == pytest.approx(0.18)
        assert columns["limb_phase_far"] == pytest.approx(0.20)


def test_a_missing_paw_leaves_its_measures_unknown() -> None:
    full = square_contacts(WALK)
    kept = full.paw != 1
    contacts = Contacts(**{n: getattr(full, n)[kept] for n in Contacts.__dataclass_fields__})
    rows = list_rows(contacts)
    hind = np.flatnonzero(rows.paw == 2)[1:-1]
    columns = footfall_columns(footfalls_of(contacts, rows, hind), np.ones(len(hind), dtype=bool))
    assert np.isfinite(columns["limb_phase_near"]).all() and np.isnan(columns["limb_phase_far"]).all()
    assert np.isnan(columns["fore_lag"]).all() and np.isnan(columns["fore_lead_near"]).all()


def test_shares_of_a_trot() -> None:
    shares = support_columns(square_contacts(Pattern(0.5, 0.42, 0.42, 0.5)), np.array([1.0]), np.array([1.5]))
    assert shares["on_diagonal_pair"] == pytest.approx(0.84)
    assert shares["on_lateral_pair"] == pytest.approx(0.0, abs=1e-12)
    assert shares["paws_down_0"] == pytest.approx(0.16)


def test_contacts_cut_by_the_clip_count_up_to_its_ends() -> None:
    nan = np.nan
    contacts = Contacts(
        paw=np.array([0, 2]),
        touchdown_s=np.array([nan, 0.0]),
        liftoff_s=np.array([nan, 1.0]),
        touchdown_sd_ms=np.zeros(2),
        liftoff_sd_ms=np.zeros(2),
        confidence=np.ones(2),
        truncated=np.array([True, False]),
        print_px=np.zeros(2),
    )
    shares = support_columns(contacts, np.array([0.0, nan]), np.array([2.0, 1.0]))
    assert shares["on_lateral_pair"][0] == pytest.approx(0.5)
    assert shares["paws_down_1"][0] == pytest.approx(0.5)
    assert np.isnan(shares["paws_down_1"][1])


def test_no_contacts_no_shares() -> None:
    none = np.empty(0)
    contacts = Contacts(none.astype(int), none, none, none, none, none, none.astype(bool), none)
    assert np.isnan(support_columns(contacts, np.array([0.0]), np.array([1.0]))["paws_down_2"]).all()
    assert nearest(contacts, np.array([0]), np.array([0.5]), np.array([1.0])).tolist() == [-1]
    assert len(list_rows(contacts)) == 0


def test_sampling_spreads_as_stated() -> None:
    contacts = square_contacts(TROT, sd_ms=10.0)
    rows = list_rows(contacts)
    f = footfalls_of(contacts, rows, np.flatnonzero(rows.paw == 2)[2:3])
    own = sample_patterns(f, 4000, NOTHING_COMMON, seed=0)
    # start and end move the phase by (1 - phase) and by phase of their own error (derived)
    phase = TROT.limb_phase
    assert own.limb_phase_own.std() == pytest.approx(
        0.01 * np.sqrt(1 + (1 - phase) ** 2 + phase**2) / TROT.stride_s, rel=0.05
    )
    all_s, none_s = np.full(2, 0.01), np.zeros(2)
    softer = sample_patterns(f, 4000, softness(all_s, all_s, np.zeros((2, 2))), seed=0)
    assert softer.limb_phase_own.std() == pytest.approx(0.0, abs=1e-9)
    assert softer.duty.std() == pytest.approx(2 * 0.01 / TROT.stride_s, rel=0.1)
    of_pairs = sample_patterns(f, 4000, softness(none_s, none_s, np.full((2, 2), 0.01)), seed=0)
    assert of_pairs.hind_lag.std() == pytest.approx(0.0, abs=1e-9)
    assert of_pairs.limb_phase_own.std() == pytest.approx(np.sqrt(2) * 0.01 / TROT.stride_s, rel=0.1)
    assert of_pairs.duty.std() == pytest.approx(np.sqrt(2) * 0.01 / TROT.stride_s, rel=0.1)


@pytest.mark.parametrize(
    ("a", "b", "mean"),
    [(0.1, 0.2, 0.15), (0.95, 0.05, 0.0), (np.nan, 0.3, 0.3), (0.3, np.nan, 0.3)],
    ids=["plain", "round the circle", "first unknown", "second unknown"],
)
def test_mean_phase(a: float, b: float, mean: float) -> None:
    found = float(mean_phase(np.array([a]), np.array([b]))[0])
    assert abs((found - mean + 0.5) % 1 - 0.5) < 1e-12


def test_wrapping() -> None:
    assert wrap(np.array([-0.1, 0.0, 1.3])) == pytest.approx([0.9, 0.0, 0.3])
    assert wrap_half(np.array([0.6, -0.6, 0.2])) == pytest.approx([-0.4, 0.4, 0.2])
