"""Lags between footfalls: Maes, Abourachid et al. 2008, J Exp Biol 211:138.

Lags as defined in the legend of figure 1; values as quoted by others, paper not opened, those of the gallops by notes
whose author saw a part only. Lags are shares of the cycle of the first fore foot: fore lag from the first to the second
fore, hind lag from the first to the second hind, pair lag from the first fore to the hind of its side; so limb phase =
1 - pair lag (derived). Lateral walk: pair lag 0.84 +/- 0.05, and 0.807 + 0.030 u at u m/s (appendix 1). Pace 0.96 +/-
0.03, trot 0.50 +/- 0.04, both with fore and hind lag 0.5; transverse gallop 0.739 +/- 0.068, rotary 0.703 +/- 0.083.
"""

import numpy as np
import pytest
from generator import Pattern, name_of
from squares import columns_of, contacts_of

from gait.footfalls import footfalls_of
from gait.naming import NamingSettings, name_strides
from gait.nouns import Contacts
from gait.rows import list_rows

#: lags of pairs that the source does not give for gallops: our own, in the middle of what dogs do.
GALLOP_LAG = 0.2


def _contacts(pair_lag: float, fore_lag: float, hind_lag: float, duty: float, stride_s: float) -> Contacts:
    """The first fore is the near one and lands at 0; the hind lag runs from the near hind to the far hind."""
    first = {"near_fore": 0.0, "far_fore": fore_lag, "near_hind": pair_lag, "far_hind": pair_lag + hind_lag}
    spans = {paw: [(n + at, n + at + duty) for n in range(9)] for paw, at in first.items()}
    return contacts_of(spans, unit_s=stride_s)


def _name(contacts: Contacts) -> str:
    rows = list_rows(contacts)
    return str(name_strides(footfalls_of(contacts, rows, np.flatnonzero(rows.paw == 2)[3:4]), NamingSettings()).gait[0])


@pytest.mark.parametrize("fore_lag", [0.45, 0.5, 0.15], ids=["uneven", "even", "galloping"])
@pytest.mark.parametrize("pair_lag", [0.84, 0.50, 0.96, 0.739, 0.703], ids=str)
def test_lags_become_ours(pair_lag: float, fore_lag: float) -> None:
    found = {k: v[3] for k, v in columns_of(_contacts(pair_lag, fore_lag, fore_lag, 0.4, 0.6)).items()}
    assert found["limb_phase"] == pytest.approx(1 - pair_lag)
    assert found["fore_lag"] == pytest.approx(fore_lag)
    assert found["hind_lag"] == pytest.approx(fore_lag)


@pytest.mark.parametrize("speed_m_s", [0.5, 1.0, 1.5])
def test_lateral_walk_is_a_walk(speed_m_s: float) -> None:
    pair_lag = 0.807 + 0.030 * speed_m_s
    assert name_of(Pattern(0.8, 0.63, 0.63, 1 - pair_lag)) == "walk"
    assert _name(_contacts(pair_lag, 0.5, 0.5, 0.63, 0.8)) == "walk"


@pytest.mark.parametrize(("speed_m_s", "phase"), [(0.5, 0.178), (1.0, 0.163), (1.5, 0.148)])
def test_limb_phase_of_the_regression(speed_m_s: float, phase: float) -> None:
    found = columns_of(_contacts(0.807 + 0.030 * speed_m_s, 0.5, 0.5, 0.63, 0.8))["limb_phase"][3]
    assert found == pytest.approx(phase, abs=1e-9)


@pytest.mark.parametrize("pair_lag", [0.93, 0.96, 0.99])
def test_pace(pair_lag: float) -> None:
    assert name_of(Pattern(0.5, 0.45, 0.45, 1 - pair_lag)) == "pace"
    assert _name(_contacts(pair_lag, 0.5, 0.5, 0.45, 0.5)) == "pace"


@pytest.mark.parametrize("pair_lag", [0.46, 0.50, 0.54])
def test_trot(pair_lag: float) -> None:
    assert name_of(Pattern(0.5, 0.45, 0.45, 1 - pair_lag)) == "trot"
    assert _name(_contacts(pair_lag, 0.5, 0.5, 0.45, 0.5)) == "trot"


@pytest.mark.parametrize(
    ("pair_lag", "hind_lag", "names"),
    [(0.739, GALLOP_LAG, {"transverse gallop", "canter"}), (0.703, -GALLOP_LAG, {"rotary gallop"})],
    ids=["transverse", "rotary"],
)
def test_gallops(pair_lag: float, hind_lag: float, names: set[str]) -> None:
    # sanity only; a canter is a transverse gallop whose inner two feet land together
    assert _name(_contacts(pair_lag, GALLOP_LAG, hind_lag, 0.27, 0.4)) in names
