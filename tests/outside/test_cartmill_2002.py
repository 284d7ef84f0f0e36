"""Cartmill, Lemelin & Schmitt 2002, Zool J Linn Soc 136:401 (as quoted by others, paper not opened).

Walks in lateral couplets keep limb phase = hind duty factor - 0.5 (their rule 3), walks in diagonal couplets limb
phase = 1 - fore duty factor (rule 2). What that does to support is worked out here (derived): on rule 3 a dog never
stands on a diagonal pair nor on four feet, on rule 2 never on a lateral pair nor on four; off the rule it does.
"""

import pytest
from generator import Pattern
from squares import exact

OFF = 0.04
DUTIES = pytest.mark.parametrize("duty", [0.55, 0.60, 0.66, 0.70])


def _support(duty: float, phase: float) -> dict[str, float]:
    return exact(Pattern(0.7, duty, duty, phase))


@DUTIES
def test_lateral_couplets_keep_to_lateral_pairs(duty: float) -> None:
    on, early, late = (_support(duty, duty - 0.5 + off) for off in (0.0, -OFF, OFF))
    assert on["on_diagonal_pair"] == pytest.approx(0, abs=1e-9)
    assert on["paws_down_4"] == pytest.approx(0, abs=1e-9)
    assert on["on_lateral_pair"] == pytest.approx(3 - 4 * duty, abs=1e-9)
    assert early["paws_down_4"] > 0.05 and early["on_diagonal_pair"] == pytest.approx(0, abs=1e-9)
    assert late["on_diagonal_pair"] > 0.05 and late["paws_down_4"] == pytest.approx(0, abs=1e-9)


@DUTIES
def test_diagonal_couplets_keep_to_diagonal_pairs(duty: float) -> None:
    on, early, late = (_support(duty, 1 - duty + off) for off in (0.0, -OFF, OFF))
    assert on["on_lateral_pair"] == pytest.approx(0, abs=1e-9)
    assert on["paws_down_4"] == pytest.approx(0, abs=1e-9)
    assert early["on_lateral_pair"] > 0.05 and early["paws_down_4"] == pytest.approx(0, abs=1e-9)
    assert late["paws_down_4"] > 0.05 and late["on_lateral_pair"] == pytest.approx(0, abs=1e-9)
