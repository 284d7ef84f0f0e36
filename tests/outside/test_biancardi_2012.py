"""Asymmetrical gaits.

Transverse: leading hind and leading fore on the same side; rotary: on opposite sides (Biancardi & Minetti 2012,
J Exp Biol 215:4144, read in its abstract). Bound: both pairs land together, within 10 % of the stride; half-bound: the
hinds do (Hildebrand 1977, J Mammal 58:131, as quoted by others, paper not opened). Canter: one hind; other hind and
diagonal fore together; leading fore (read in an encyclopaedia on the gaits of dogs).
"""

import numpy as np
import pytest
from generator import Pattern, name_of, square_contacts

from gait.footfalls import footfall_columns, footfalls_of
from gait.rows import list_rows

#: Touchdowns (near fore, far fore, near hind, far hind) in the order that defines each gait, shares of the stride.
ORDERS = [
    ("transverse, far lead", (0.50, 0.65, 0.00, 0.15), "transverse gallop", (0.0, 0.0)),
    ("transverse, near lead", (0.65, 0.50, 0.15, 0.00), "transverse gallop", (1.0, 1.0)),
    ("rotary, far hind leads", (0.65, 0.50, 0.00, 0.15), "rotary gallop", (0.0, 1.0)),
    ("rotary, near hind leads", (0.50, 0.65, 0.15, 0.00), "rotary gallop", (1.0, 0.0)),
    ("canter, far lead", (0.30, 0.60, 0.00, 0.30), "canter", (0.0, 0.0)),
    ("canter, near lead", (0.60, 0.30, 0.30, 0.00), "canter", (1.0, 1.0)),
    ("half-bound", (0.50, 0.68, 0.00, 0.03), "half-bound", (0.0, 0.0)),
    ("bound", (0.50, 0.53, 0.00, 0.03), "bound", (0.0, 0.0)),
]


def _pattern(order: tuple[float, ...]) -> Pattern:
    near_fore, far_fore, near_hind, far_hind = order
    return Pattern(0.4, 0.27, 0.27, near_fore - near_hind, far_hind - near_hind, far_fore - near_fore)


@pytest.mark.parametrize(("label", "order", "name", "leads"), ORDERS, ids=[row[0] for row in ORDERS])
def test_name_and_lead(label: str, order: tuple[float, ...], name: str, leads: tuple[float, float]) -> None:
    pattern = _pattern(order)
    assert name_of(pattern) == name
    contacts = square_contacts(pattern)
    rows = list_rows(contacts)
    for paw, near in ((2, True), (3, False)):
        hind = np.flatnonzero(rows.paw == paw)[2:-2]
        columns = footfall_columns(footfalls_of(contacts, rows, hind), np.full(len(hind), near))
        assert columns["hind_lead_near"].tolist() == [leads[0]] * len(hind)
        assert columns["fore_lead_near"].tolist() == [leads[1]] * len(hind)


def test_a_mastiff_of_1887_gallops_in_rotary_order() -> None:
    # Muybridge, plate 707, public domain (contacts as read by others): left hind in frame 3, right hind 4,
    # right fore 5, left fore 6, stride 6 frames. The right side is near.
    left_hind, right_hind, right_fore, left_fore, stride = 3, 4, 5, 6, 6
    phase, hind_lag = (right_fore - right_hind) / stride, (left_hind - right_hind) / stride
    assert name_of(Pattern(0.4, 2 / 6, 2 / 6, phase, hind_lag, (left_fore - right_fore) / stride)) == "rotary gallop"
