"""Speed and stride rate at which animals change from trot to gallop: Heglund, Taylor & McMahon 1974, Science 186:1112.

1.53 M^0.24 m/s (as quoted by others, paper not opened) and 269 M^-0.14 strides a minute (from memory, not read), M in
kg. Within the trot the greatest sustained speed is about 2.6 times the least (Heglund & Taylor 1988, J Exp Biol
138:301, read in an account of it). Sanity bands for the dogs that we draw, not for the gait core.
"""

import numpy as np
import pytest

from training.footage.movement import Pattern, draw_pattern

#: Withers height (m), mass (kg); our own rounding of breed standards, from memory, not read.
SIZES = [(0.40, 12.0), (0.55, 28.0), (0.70, 50.0)]
IDS = [f"{height} m" for height, _ in SIZES]
each_size = pytest.mark.parametrize(("height_m", "mass_kg"), SIZES, ids=IDS)
DRAWN = 400


def _drawn(gait: str, height_m: float) -> list[Pattern]:
    rng = np.random.default_rng(0)
    return [draw_pattern(rng, gait, height_m) for _ in range(DRAWN)]


def _speeds(gait: str, height_m: float) -> np.ndarray:
    return np.array([p.travel * height_m / (p.duty_hind * p.stride_s) for p in _drawn(gait, height_m)])


def _rates(gait: str, height_m: float) -> np.ndarray:
    return np.array([1 / p.stride_s for p in _drawn(gait, height_m)])


@each_size
def test_speed_of_change_parts_trots_from_gallops(height_m: float, mass_kg: float) -> None:
    change = 1.53 * mass_kg**0.24
    assert np.quantile(_speeds("trot", height_m), 0.9) < 1.1 * change
    assert np.quantile(_speeds("gallop", height_m), 0.1) > 0.9 * change


@each_size
def test_rate_of_change_lies_between_those_of_trot_and_gallop(height_m: float, mass_kg: float) -> None:
    change = 269 * mass_kg**-0.14 / 60
    assert np.median(_rates("trot", height_m)) < change
    assert np.median(_rates("gallop", height_m)) == pytest.approx(change, rel=0.25)


@each_size
def test_trots_span_no_more_speeds_than_real_ones(height_m: float, mass_kg: float) -> None:
    speeds = _speeds("trot", height_m)
    assert np.quantile(speeds, 0.95) / np.quantile(speeds, 0.05) < 2.6


@pytest.mark.parametrize(
    ("mass_kg", "speed", "rate"),
    [(10, 2.66, 3.25), (20, 3.14, 2.95), (30, 3.46, 2.78)],
    ids=["10 kg", "20 kg", "30 kg"],
)
def test_change_is_a_running_gait_by_froude_number(mass_kg: float, speed: float, rate: float) -> None:
    # heights by mass^(1/3) from 0.55 m at 28 kg (derived); trot to gallop at 2-3 (Alexander & Jayes 1983)
    height = 0.55 * (mass_kg / 28) ** (1 / 3)
    assert speed == pytest.approx(1.53 * mass_kg**0.24, abs=0.01)
    assert rate == pytest.approx(269 * mass_kg**-0.14 / 60, abs=0.01)
    assert 1.5 < speed**2 / (9.81 * height) < 3.0
