"""Dog formulas of Hildebrand 1968, J Morphol 124:353, figure 3 (as quoted by others, paper not opened).

A formula is "share of the stride that a hind foot is down" - "share by which the fore footfall follows the hind of its
side". Bands: eight of an eighth of a stride each, the first centred on 0 (edges from memory, not read).
"""

import pytest
from generator import Pattern, name_of

from gait.naming import fine_name

#: dog, hind duty %, limb phase %, band, our plain name.
FORMULAS = [
    ("Golden Retriever", 61, 7, "lateral-sequence, lateral couplets", "amble"),
    ("St Bernard or Great Dane", 66, 13, "lateral-sequence, lateral couplets", "walk"),
    ("Irish Wolfhound", 60, 20, "lateral-sequence single-foot", "walk"),
    ("Basset", 69, 25, "lateral-sequence single-foot", "walk"),
    ("Chihuahua", 59, 32, "lateral-sequence, diagonal couplets", "walk"),
    ("English Bulldog", 64, 39, "lateral-sequence, diagonal couplets", "walk"),
    ("French Bulldog", 58, 46, "trot", "walking trot"),
    ("Afghan", 51, 56, "trot", "walking trot"),
    ("Great Dane, slow", 53, 9, "lateral-sequence, lateral couplets", "amble"),
    ("German Shepherd, pace", 45, 1, "pace", "pace"),
    ("Bloodhound, pace", 47, 1, "pace", "pace"),
    ("Bloodhound, trot", 45, 55, "trot", "trot"),
    ("Bloodhound, running lateral couplets", 34, 9, "lateral-sequence, lateral couplets", "pace"),
    ("Great Dane, trot", 46, 45, "trot", "trot"),
    ("Boxer, trot", 42, 50, "trot", "trot"),
]
IDS = [row[0] for row in FORMULAS]


@pytest.mark.parametrize(("dog", "duty", "phase", "band", "name"), FORMULAS, ids=IDS)
def test_formula_comes_back_from_contacts(dog: str, duty: int, phase: int, band: str, name: str) -> None:
    pattern = Pattern(duty_hind=duty / 100, duty_fore=duty / 100, limb_phase=phase / 100)
    assert name_of(pattern) == name


@pytest.mark.parametrize(("dog", "duty", "phase", "band", "name"), FORMULAS, ids=IDS)
def test_band_of_the_formula(dog: str, duty: int, phase: int, band: str, name: str) -> None:
    assert fine_name(phase / 100) == band


@pytest.mark.parametrize(("dog", "duty", "phase", "band", "name"), FORMULAS, ids=IDS)
def test_walk_and_run_part_at_half_the_stride_on_the_ground(
    dog: str, duty: int, phase: int, band: str, name: str
) -> None:
    running = {"pace", "trot", "running single-foot"}
    assert (name in running) == (duty < 50)
