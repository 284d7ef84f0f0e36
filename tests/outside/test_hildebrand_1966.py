"""The two axes of Hildebrand's diagram (1965, Science 150:701; 1966; 1976; 1989; as quoted by others, not opened).

Across: percent of the stride that each hind foot is on the ground. Up: percent of the stride by which the fore footfall
follows the hind footfall of the same side. Below half the stride on the ground it is a run. Eight bands of 12.5 %, the
first centred on 0 ("about 12.5 wide" as quoted by others; their edges from memory, not read).
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from squares import columns_of, contacts_of

from gait.naming import FINE_BANDS, fine_name
from pose.landmarks import FAR_HIND, NEAR_HIND

#: Upper edge of each band, percent of the stride.
EDGES = dict(zip(FINE_BANDS, (6.25, 18.75, 31.25, 43.75, 56.25, 68.75, 81.25, 93.75), strict=True))
#: Shares of the stride to a ten-thousandth: numbers too small for a double are no footfalls.
PHASES = st.integers(-4500, 4500).map(lambda n: n / 1e4)


@pytest.mark.parametrize(("band", "edge"), EDGES.items(), ids=EDGES.keys())
def test_bands_change_at_their_edges(band: str, edge: float) -> None:
    following = FINE_BANDS[(FINE_BANDS.index(band) + 1) % 8]
    assert fine_name((edge - 0.01) / 100) == band
    assert fine_name((edge + 0.01) / 100) == following


@settings(max_examples=60, deadline=None)
@given(
    duty=st.tuples(st.floats(0.2, 0.8), st.floats(0.2, 0.8)),
    phase=st.tuples(PHASES, PHASES),
    stride_s=st.floats(0.3, 1.5),
)
def test_both_axes_come_back_for_each_hind_foot(
    duty: tuple[float, float], phase: tuple[float, float], stride_s: float
) -> None:
    """Each hind foot has its own duty factor, each side its own phase: feet of one pair need not be alike."""
    at = {"near_hind": 0.0, "far_hind": 0.5, "near_fore": phase[0], "far_fore": 0.5 + phase[1]}
    down = {"near_hind": duty[0], "far_hind": duty[1], "near_fore": 0.4, "far_fore": 0.4}
    spans = {paw: [(n + at[paw], n + at[paw] + down[paw]) for n in range(8)] for paw in at}
    contacts = contacts_of(spans, unit_s=stride_s)
    for side, paw in enumerate((NEAR_HIND, FAR_HIND)):
        found = {name: column[3] for name, column in columns_of(contacts, paw).items()}
        assert found["duty_factor"] == pytest.approx(duty[side], abs=1e-9)
        off = found["limb_phase"] - phase[side]
        assert abs(off - round(off)) < 1e-9
        assert 0 <= found["limb_phase"] <= 1
