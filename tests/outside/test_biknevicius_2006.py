"""Four classes of symmetrical gaits by limb phase alone: Biknevicius & Reilly 2006, J Exp Zool 305A:923
(edges from memory, not read): pace 87.5-12.5 %, lateral-sequence single-foot 12.5-37.5, trot 37.5-62.5,
diagonal-sequence single-foot 62.5-87.5.
"""

import pytest
from generator import Pattern, name_of

RUN = 0.42
CLASSES = [
    (0.90, "pace"),
    (0.0, "pace"),
    (0.10, "pace"),
    (0.15, "running single-foot"),
    (0.35, "running single-foot"),
    (0.40, "trot"),
    (0.445, "trot"),
    (0.60, "trot"),
    (0.65, "diagonal-sequence run"),
    (0.85, "diagonal-sequence run"),
]


@pytest.mark.parametrize(("phase", "name"), CLASSES, ids=[f"limb phase {p}" for p, _ in CLASSES])
def test_class_of_a_running_gait(phase: float, name: str) -> None:
    assert name_of(Pattern(0.5, RUN, RUN, phase)) == name


def test_a_slow_diagonal_sequence_is_its_own_walk() -> None:
    assert name_of(Pattern(0.7, 0.65, 0.65, 0.75)) == "diagonal-sequence walk"


@pytest.mark.parametrize("phase", [0.43, 0.449, 0.443], ids=["below", "retrievers", "Labradors"])
def test_a_real_trot_lands_its_fore_first(phase: float) -> None:
    # Catavitello et al. 2015, PLOS ONE 10:e0133936: 0.449 +/- 0.030; Humphries et al. 2020, PLOS ONE 15:e0239832:
    # 0.443 +/- 0.045 (both as recomputed by others, papers not opened)
    assert name_of(Pattern(0.5, 0.42, 0.45, phase)) == "trot"
