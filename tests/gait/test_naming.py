"""Names and their probabilities."""

import numpy as np
import pytest
from generator import (
    AMBLE,
    BOUND,
    CANTER,
    HALF_BOUND,
    PACE,
    ROTARY,
    TRANSVERSE,
    TROT,
    WALK,
    WALKING_TROT,
    Pattern,
    Scene,
    dog,
    name_of,
    square_contacts,
)

from gait.footfalls import Pattern as Shares
from gait.footfalls import footfalls_of
from gait.naming import FINE_BANDS, GAITS, NamingSettings, fine_name, lone_names, name_pattern, name_strides
from gait.record import build_record
from gait.rows import list_rows
from gait.trial import Trial

TABLE = {
    "walk": WALK,
    "amble": AMBLE,
    "pace": PACE,
    "trot": TROT,
    "walking trot": WALKING_TROT,
    "canter": CANTER,
    "transverse gallop": TRANSVERSE,
    "rotary gallop": ROTARY,
    "half-bound": HALF_BOUND,
    "bound": BOUND,
    "diagonal-sequence walk": Pattern(0.7, 0.62, 0.62, 0.75),
}


@pytest.mark.parametrize("name", TABLE)
def test_name_from_contacts(name: str) -> None:
    assert name_of(TABLE[name]) == name


@pytest.mark.parametrize("facing", ["left", "right"])
@pytest.mark.parametrize("name", TABLE)
def test_name_from_tracks(name: str, facing: str) -> None:
    record = build_record(
        dog(TABLE[name], Scene(noise_bl=0.012, spread=0.006, facing=facing, swing="hard"))[0], Trial()
    )
    names = record.strides.gait[record.strides.used & (record.strides.paw >= 2)]
    assert set(names) <= {name, "unclear"}
    assert (names == name).mean() >= 0.8


def _names(pattern: Pattern, sd_ms: float) -> tuple[str, float, str]:
    contacts = square_contacts(pattern, sd_ms=sd_ms)
    rows = list_rows(contacts)
    names = name_strides(footfalls_of(contacts, rows, np.flatnonzero(rows.paw == 2)[2:3]), NamingSettings())
    return str(names.gait[0]), float(names.probability[0]), str(names.candidates[0])


def test_on_an_edge_the_name_is_unclear_with_both_candidates() -> None:
    gait, probability, candidates = _names(Pattern(0.55, 0.44, 0.44, 0.125), 8.0)
    assert gait == "unclear" and probability < 0.8
    assert set(candidates.split("/")) == {"pace", "running single-foot"}


def test_a_pace_on_the_edge_of_ambling_is_a_pace() -> None:
    # classes by limb phase alone, whatever the duty factor: Biknevicius & Reilly 2006, J Exp Zool 305A:923
    gait, probability, candidates = _names(Pattern(0.55, 0.5, 0.5, 0.02), 8.0)
    assert gait == "pace" and probability >= 0.95 and candidates == ""


def test_between_walk_and_amble_both_are_said() -> None:
    gait, probability, candidates = _names(Pattern(0.6, 0.56, 0.56, 0.125), 8.0)
    assert gait == "unclear" and probability < 0.8
    assert set(candidates.split("/")) == {"walk", "amble"}


def test_a_clear_amble_is_not_called_a_walk() -> None:
    assert _names(Pattern(0.6, 0.56, 0.56, 0.06), 8.0)[0] == "amble"


def test_doubt_lowers_the_probability() -> None:
    pattern = Pattern(0.6, 0.56, 0.56, 0.16)
    assert _names(pattern, 2.0)[1] > _names(pattern, 12.0)[1] > _names(pattern, 40.0)[1]


def test_a_trot_on_the_edge_of_walking_is_a_trot() -> None:
    gait, probability, candidates = _names(Pattern(0.5, 0.5, 0.5, 0.5), 6.0)
    assert gait == "trot" and probability >= 0.95 and candidates == ""


@pytest.mark.parametrize(("lag", "symmetrical"), [(0.41, True), (0.59, True), (0.38, False), (0.62, False)])
def test_symmetry_ends_at_ten_per_cent(lag: float, symmetrical: bool) -> None:
    one = np.ones(1)
    code = name_pattern(Shares(0.5 * one, 0.5 * one, lag * one, 0.5 * one, 0.45 * one))[0]
    assert (GAITS[code] == "trot") == symmetrical


@pytest.mark.parametrize(
    ("names", "lone"),
    [
        ("t t t t p t t t", "....x..."),
        ("t t t p p t t t", "...xx..."),
        ("t t t p p p t t", "......xx"),
        ("p t u t p", "....."),
        ("t t u t p u p p", "........"),
        ("u u", ".."),
    ],
    ids=["one odd", "two odd", "three are a change", "nothing long enough", "unclear ends no row", "no name"],
)
def test_a_lone_name_is_not_believed(names: str, lone: str) -> None:
    words = {"t": "trot", "p": "pace", "u": "unclear"}
    found = lone_names(np.array([words[n] for n in names.split()]), 3)
    assert "".join("x" if f else "." for f in found) == lone


def test_neither_symmetrical_nor_a_gallop_is_unclear() -> None:
    gait, _, candidates = _names(Pattern(0.5, 0.45, 0.45, 0.5, 0.35, 0.5), 1.0)
    assert gait == "unclear" and candidates == "uneven steps"


def test_unknown_footfalls_are_unclear_without_a_guess() -> None:
    nothing = np.full(1, np.nan)
    assert GAITS[name_pattern(Shares(nothing, nothing, nothing, nothing, nothing))[0]] == "uneven steps"


@pytest.mark.parametrize(("phase", "band"), [(k / 8, FINE_BANDS[k]) for k in range(8)] + [(0.99, "pace")])
def test_fine_bands(phase: float, band: str) -> None:
    assert fine_name(phase) == band
