"""Walk to trot in unrestrained dogs: Blaszczyk & Dobrzecka 1989 (abstract): the diagonal phase drops from 0.31 +/- 0.02
to 0.02 +/- 0.03, abruptly. As limb phase: 0.5 minus that (derived), so 0.19 and 0.48.
"""

import numpy as np
import pytest
from generator import Pattern, Scene, dog, name_of, square_contacts

from gait.footfalls import footfall_columns, footfalls_of
from gait.record import build_record
from gait.rows import list_rows
from gait.trial import Trial

WALK_LAG, TROT_LAG = 0.31, 0.02
WALK = Pattern(0.7, 0.62, 0.62, 0.5 - WALK_LAG)
TROT = Pattern(0.52, 0.43, 0.43, 0.5 - TROT_LAG)


@pytest.mark.parametrize(
    ("pattern", "lag", "name"), [(WALK, WALK_LAG, "walk"), (TROT, TROT_LAG, "trot")], ids=["walk", "trot"]
)
def test_diagonal_phase_and_name(pattern: Pattern, lag: float, name: str) -> None:
    contacts = square_contacts(pattern)
    rows = list_rows(contacts)
    near_hind = np.flatnonzero(rows.paw == 2)[1:-2]
    columns = footfall_columns(footfalls_of(contacts, rows, near_hind), np.ones(len(near_hind), dtype=bool))
    # the far hind lands 0.5 after the near hind, the near fore ``lag`` before it
    assert columns["hind_lag"] - columns["limb_phase_near"] == pytest.approx(lag, abs=1e-9)
    assert name_of(pattern) == name


def test_the_change_shows_in_one_clip() -> None:
    tracks, _ = dog([(WALK, 7), (TROT, 8)], Scene(noise_bl=0.01))
    runs = build_record(tracks, Trial()).runs
    assert [run.gait for run in runs] == ["walk", "trot"]
    assert runs[1].steps_to <= 2  # "one stride per diagonal pair"
