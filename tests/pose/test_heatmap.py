"""Heat maps to places, on hills whose place and mass are known in closed form."""

import numpy as np
import pytest

from pose.heatmap import Heat, PeakSettings, cells_to_px, peaks, places, probabilities
from pose.landmarks import CROUP, FAR_FORE, NEAR_FORE, WITHERS

ROWS, COLUMNS = 64, 80
CLOSE_PX = 0.05
HALF_A_CELL_PX = 2.0


def hill(x: float, y: float, *, sd: float = 1.2, height: float = 9.0) -> np.ndarray:
    """(R, C) logits of a Gaussian hill with its top at the cell coordinates (x, y), far below 0 elsewhere."""
    column, row = np.meshgrid(np.arange(COLUMNS), np.arange(ROWS))
    return np.asarray(height - ((column - x) ** 2 + (row - y) ** 2) / (2 * sd**2))


def heat_of(maps: dict[int, np.ndarray], absent: float = -5.0) -> Heat:
    """One picture's heat: ``maps`` by landmark, all others flat."""
    heat = np.full((1, 6, ROWS, COLUMNS), -20.0, np.float32)
    for mark, logits in maps.items():
        heat[0, mark] = np.maximum(logits, -20)
    return Heat(heat, np.full((1, 6), absent, np.float32), np.zeros(1, np.float32))


def test_map_and_absent_share_one_whole() -> None:
    maps, absent = probabilities(heat_of({0: hill(30, 20), 4: hill(3, 60)}))
    assert np.allclose(maps.sum(axis=(2, 3)) + absent, 1, atol=1e-5)


def test_temperature_above_one_spreads_the_mass() -> None:
    heat = heat_of({4: hill(30, 20)})
    assert probabilities(heat, 2.0)[0][0, 4].max() < probabilities(heat)[0][0, 4].max()


@pytest.mark.parametrize(
    ("x", "y"),
    [(30.0, 20.0), (30.4, 20.0), (30.5, 19.55), (0.3, 0.2), (79.0, 63.0), (78.7, 62.6)],
    ids=["on a cell", "right of it", "between cells", "first corner", "last cell", "last corner"],
)
def test_top_of_a_hill_is_found_between_the_cells(x: float, y: float) -> None:
    found = places(heat_of({WITHERS: hill(x, y)}), 8.0)
    on_the_rim = x < 0.5 or x > COLUMNS - 1.5  # there only the cell is known
    slack = HALF_A_CELL_PX if on_the_rim else CLOSE_PX
    assert np.abs(found.single_xy[0, 0] - cells_to_px(np.array([x, y]))).max() <= slack


def test_cell_centres_lie_where_the_network_puts_them() -> None:
    assert cells_to_px(np.array([[0.0, 0.0], [10.0, 3.0]])).tolist() == [[1.5, 1.5], [41.5, 13.5]]


@pytest.mark.parametrize("radius_cells", [1.0, 1.5, 2.0])
def test_mass_is_that_of_a_gaussian_within_the_radius(radius_cells: float) -> None:
    sd = 0.9
    found = places(heat_of({CROUP: hill(40.3, 30.2, sd=sd)}, absent=-20.0), 4 * radius_cells)
    expected = 1 - np.exp(-(radius_cells**2) / (2 * sd**2))
    assert found.single_mass[0, 1] == pytest.approx(expected, abs=0.03)


def test_absent_takes_the_mass_away() -> None:
    found = places(heat_of({CROUP: hill(40, 30)}, absent=25.0), 8.0)
    assert found.absent[0, CROUP] > 0.99
    assert found.single_mass[0, 1] < 0.01


def test_both_channels_offer_their_places_to_the_pair() -> None:
    split = np.logaddexp(hill(20, 50), hill(34, 50, height=8.0))
    found = places(heat_of({NEAR_FORE: split, FAR_FORE: hill(34, 50)}), 8.0)
    xy, mass = found.pair_xy[0, 0], found.pair_mass[0, 0]
    at = {place: int(np.nanargmin(np.abs(xy[:, 0] - cells_to_px(np.array([place, 50.0]))[0]))) for place in (20, 34)}
    assert mass[at[20], 0] > 2 * mass[at[34], 0] > 0.2
    assert mass[at[34], 1] > 0.7 > 0.05 > mass[at[20], 1]
    assert np.isnan(xy[3]).all()


def test_only_so_many_peaks_highest_first() -> None:
    logits = np.logaddexp.reduce([hill(10 * i + 5, 30, height=5.0 + i) for i in range(7)])
    maps, _ = probabilities(heat_of({0: logits}))
    cells, kept = peaks(maps, PeakSettings(count=3))
    assert cells[0, 0, :, 1].tolist() == [65, 55, 45]
    assert kept[0, 0].all()
    assert kept[0, 1].tolist() == [True, False, False]
