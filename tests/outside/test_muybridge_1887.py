"""Contact tables of Muybridge 1887, Animal Locomotion, plates 706, 707, 709/710 (1902: Series 39, 56; public domain).

As read off the prints by others. One letter per frame: 1 down, 0 up. Where the print is unclear the others write "?";
here ``<`` stands for down in the first half of the frame (after a 1), ``>`` for down in its second half (before a 1, or
alone where the text names the foot second), which is our own reading. A foot lands at the start of its first frame.
"""

from collections.abc import Sequence

import numpy as np
import pytest
from squares import columns_of, contacts_of

from gait.footfalls import footfalls_of, support_columns
from gait.naming import NamingSettings, name_strides
from gait.nouns import Contacts
from gait.reach import stride_lengths
from gait.rows import list_rows
from pose.landmarks import FAR_HIND, NEAR_HIND

#: Rows are named by the side that a camera on the dog's left would see: near = left.
FEET = ("near_fore", "far_fore", "near_hind", "far_hind")
INCH_M, MILE_M = 0.0254, 1609.344

#: Plate 706, 0.110 s between frames: a walk that breaks into a trot. Frame 12 of the right fore is taken as up.
MASTIFF_WALKS = ("000111000110", "111100111000", "001110111001", "111011100111")
#: Plate 707, no interval published; frames 1 to 6 come again.
MASTIFF_GALLOPS = ("000001", "000011", "001100", "000100")
#: Plate 709 or 710, first stride alone is confirmed; taken to come again after its six frames.
HOUND_A = ("00001<", "000110", "110000", "010000")
#: Plate 710, 0.049 s: order of the feet as named in the text of 1902 (right hind, left hind, left fore, right fore).
HOUND_B = ("00001<0001<0", "1<0001<0001<", "00>000010000", "0010000<0000")


def _spans(letters: str, again: int = 1) -> list[tuple[float, float]]:
    """Frames, counted from 1, at which a foot lands and is up again; NaN where the table begins or ends in between."""
    halves = "".join({"1": "11", "0": "00", "<": "10", ">": "01"}[letter] for letter in letters * again)
    edge = np.diff(np.pad(np.array(list(halves), dtype=int), 1))
    lands, lifts = (1 + np.flatnonzero(edge == sign) / 2 for sign in (1, -1))
    lands = np.where(lands == 1, np.nan, lands)
    lifts = np.where(lifts == 1 + len(halves) / 2, np.nan, lifts)
    return list(zip(lands.tolist(), lifts.tolist(), strict=True))


def _contacts(table: Sequence[str], *, frame_s: float = 1.0, again: int = 1, stride_m: float = 1.0) -> Contacts:
    spans = {foot: _spans(row, again) for foot, row in zip(FEET, table, strict=True)}
    return contacts_of(spans, unit_s=frame_s, stride_m=stride_m, stride=5.0)


def _share(contacts: Contacts, name: str, start: float, end: float) -> float:
    return float(support_columns(contacts, np.array([start]), np.array([end]))[name][0])


def test_mastiff_has_two_and_a_third_feet_down_in_the_mean() -> None:
    contacts = _contacts(MASTIFF_WALKS)
    mean = sum(n * _share(contacts, f"paws_down_{n}", 1.0, 13.0) for n in range(5))
    assert mean == pytest.approx(28 / 12)
    per_frame = [max(range(5), key=lambda n: _share(contacts, f"paws_down_{n}", f, f + 1)) for f in range(1, 13)]
    assert per_frame == [2, 2, 3, 3, 3, 2, 3, 2, 2, 2, 2, 2]


def test_mastiff_lands_in_the_order_of_a_walk_and_then_of_a_trot() -> None:
    contacts = _contacts(MASTIFF_WALKS, frame_s=0.110)
    landed = [
        (round(t / 0.110), FEET[p]) for p, t in zip(contacts.paw, contacts.touchdown_s, strict=True) if np.isfinite(t)
    ]
    assert sorted(landed)[:4] == [(3, "near_hind"), (4, "near_fore"), (5, "far_hind"), (7, "far_fore")]
    walk = {name: column[0] for name, column in columns_of(contacts, NEAR_HIND).items()}
    assert walk["stride_time_s"] == pytest.approx(0.44)
    assert walk["limb_phase_near"] == pytest.approx(0.25)
    assert walk["hind_lag"] == pytest.approx(0.5)
    # from frame 7 diagonal feet land together: left hind and right fore, then right hind and left fore
    assert columns_of(contacts, NEAR_HIND)["diagonal_advance"][1] == pytest.approx(0.0, abs=1e-9)
    assert columns_of(contacts, FAR_HIND)["diagonal_advance"][-1] == pytest.approx(0.0, abs=1e-9)


def test_mastiff_s_stride_of_change_gets_no_name() -> None:
    # hinds half a stride apart, fores three quarters: neither walk nor trot yet
    contacts = _contacts(MASTIFF_WALKS, frame_s=0.110)
    rows = list_rows(contacts)
    first = np.flatnonzero((rows.paw == NEAR_HIND) & np.isfinite(rows.start_s))[:1]
    assert columns_of(contacts, NEAR_HIND)["fore_lag"][0] == pytest.approx(0.75)
    assert name_strides(footfalls_of(contacts, rows, first), NamingSettings()).gait[0] == "unclear"


GALLOPS = [
    ("mastiff", MASTIFF_GALLOPS, 6, "far_hind", "near_fore", [(3.0, 5.0, 0), (5.0, 7.0, 0), (7.0, 9.0, 1)]),
    ("hound A", HOUND_A, 6, "far_hind", "near_fore", [(1.0, 3.0, 0), (3.0, 4.0, 1), (4.0, 6.5, 0), (6.5, 7.0, 1)]),
    ("hound B", HOUND_B, 5, "near_hind", "far_fore", [(3.0, 4.0, 0), (4.0, 5.0, 1), (5.0, 7.0, 0), (7.5, 8.0, 1)]),
]
each_gallop = pytest.mark.parametrize(
    ("dog", "table", "stride", "lead_hind", "lead_fore", "spans"), GALLOPS, ids=[row[0] for row in GALLOPS]
)


@each_gallop
def test_stride_lead_and_rotary_order(
    dog: str, table: tuple[str, ...], stride: int, lead_hind: str, lead_fore: str, spans: list[tuple[float, float, int]]
) -> None:
    contacts = _contacts(table, again=1 if dog == "hound B" else 3)
    found = columns_of(contacts, FAR_HIND)
    assert found["stride_time_s"][0] == pytest.approx(stride)
    assert found["hind_lead_near"][0] == float(lead_hind == "near_hind")
    assert found["fore_lead_near"][0] == float(lead_fore == "near_fore")
    assert lead_hind[:3] != lead_fore[:3], "leading hind and fore on opposite sides: rotary"


@each_gallop
def test_suspensions(
    dog: str, table: tuple[str, ...], stride: int, lead_hind: str, lead_fore: str, spans: list[tuple[float, float, int]]
) -> None:
    contacts = _contacts(table, again=1 if dog == "hound B" else 3)
    later = 0 if dog == "hound B" else stride  # a stride that the table does not cut
    for start, end, aloft in spans:
        assert _share(contacts, "paws_down_0", start + later, end + later) == pytest.approx(aloft), (start, end)


@each_gallop
def test_names_within_what_the_frames_can_tell(
    dog: str, table: tuple[str, ...], stride: int, lead_hind: str, lead_fore: str, spans: list[tuple[float, float, int]]
) -> None:
    contacts = _contacts(table, again=1 if dog == "hound B" else 3)
    rows = list_rows(contacts)
    row = np.flatnonzero((rows.paw == FAR_HIND) & np.isfinite(rows.start_s) & np.isfinite(rows.end_s))[:1]
    names = name_strides(footfalls_of(contacts, rows, row), NamingSettings())
    assert "rotary gallop" in f"{names.gait[0]}/{names.candidates[0]}".split("/")


def test_a_mile_in_139_seconds() -> None:
    contacts = _contacts(HOUND_B, frame_s=0.25 / 5, stride_m=114 * INCH_M)
    rows = list_rows(contacts)
    whole = (rows.paw == FAR_HIND) & np.isfinite(rows.start_s) & np.isfinite(rows.end_s)
    speed = stride_lengths(contacts, rows)[whole] / (rows.end_s - rows.start_s)[whole]
    assert MILE_M / speed == pytest.approx(139, abs=0.5)
