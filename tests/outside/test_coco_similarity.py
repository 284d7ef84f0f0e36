"""Object keypoint similarity of COCO (documentation and code of its interface): mean over the marked points of
exp(-d^2 / 2 s^2 k^2) with k = 2 sigma. Off by one, two, three sigma: 0.8825, 0.6065, 0.3247 (derived, exact).
"""

import numpy as np
import pytest

from pose.judging import similarity

SIGMA = np.full(6, 0.025)
ON, ABSENT, LOST = 0.0, np.nan, np.inf


@pytest.mark.parametrize(("sigmas", "value"), [(0, 1.0), (1, 0.8825), (2, 0.6065), (3, 0.3247)])
def test_one_point_off_by_so_many_sigma(sigmas: int, value: float) -> None:
    error = np.full((1, 6), ABSENT)
    error[0, 2] = sigmas * SIGMA[2]
    assert similarity(error, SIGMA)[0] == pytest.approx(value, abs=5e-5)


@pytest.mark.parametrize(
    ("error", "value"),
    [
        ([ON, ON, ON, ON, ON, ON], 1.0),
        ([ON, ON, ON, ON, ON, LOST], 5 / 6),
        ([0.05, ON, ABSENT, ABSENT, ABSENT, ABSENT], (1 + np.exp(-0.5)) / 2),
        ([LOST] * 6, 0.0),
    ],
    ids=["all right", "one not found", "two marked, one off by two sigma", "nothing found"],
)
def test_mean_over_what_was_marked(error: list[float], value: float) -> None:
    assert similarity(np.array([error]), SIGMA)[0] == pytest.approx(value, abs=1e-12)


def test_nothing_marked_is_not_known() -> None:
    assert np.isnan(similarity(np.full((1, 6), ABSENT), SIGMA)[0])


def test_each_landmark_has_its_own_sigma() -> None:
    error = np.array([[0.05, ABSENT, ABSENT, ABSENT, ABSENT, ABSENT], [ABSENT, 0.05, ABSENT, ABSENT, ABSENT, ABSENT]])
    wide = np.array([0.025, 0.05, *SIGMA[2:]])
    assert similarity(error, wide) == pytest.approx([np.exp(-0.5), np.exp(-0.125)])
