"""Dynamic similarity: Alexander & Jayes 1983, J Zool 201:135 (as quoted by others, paper not opened).

Froude number v^2 / g h; dogs change from walk to trot at 0.3-0.5 and from trot to gallop at 2-3. Below 1, relative
stride length L / h = 2.4 Fr^0.34, the same as stride time x sqrt(g / h) = 2.4 U^-0.32 with U = v / sqrt(g h) (time form
as quoted by others, length form from memory, not read). Height of the hip there, of the withers here.
"""

import numpy as np
import pytest
from generator import Pattern, Scene, dog

from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial
from training.footage.movement import draw_pattern

G, HEIGHT_M = 9.81, 0.50
#: 1, withers height of the drawn dog in body lengths (generator).
WITHERS_BL = 0.95
#: Froude number, relative stride length; duty factor and phase of the gait at that speed are ours.
ROWS = [(0.25, 1.50, 0.62, 0.16), (0.5, 1.90, 0.55, 0.46), (1.0, 2.40, 0.43, 0.46)]
#: Froude number, speed of a dog 0.50 m high (derived).
SPEEDS = [(0.3, 1.21), (0.35, 1.31), (0.5, 1.57), (2.0, 3.13), (2.5, 3.50), (3.0, 3.84)]


def _record(speed: float, stride_s: float, duty: float, phase: float, height_m: float = HEIGHT_M) -> GaitRecord:
    travel = speed * duty * stride_s / (height_m / WITHERS_BL)
    tracks, _ = dog(Pattern(stride_s, duty, duty, phase, travel=travel), Scene(noise_bl=0.005, swing="hard"))
    return build_record(tracks, Trial(belt_m_s=speed, withers_cm=100 * height_m))


def _means(record: GaitRecord) -> dict[str, float]:
    return {s.measure: s.mean for s in record.summaries if s.paw == "near_hind"}


@pytest.mark.parametrize(("froude", "relative", "duty", "phase"), ROWS, ids=[f"Froude {row[0]}" for row in ROWS])
def test_relative_stride_length_comes_back(froude: float, relative: float, duty: float, phase: float) -> None:
    speed = np.sqrt(froude * G * HEIGHT_M)
    stride_s = 2.4 * (speed / np.sqrt(G * HEIGHT_M)) ** -0.32 * np.sqrt(HEIGHT_M / G)
    found = _means(_record(speed, stride_s, duty, phase))
    assert found["froude"] == pytest.approx(froude, rel=0.02)
    assert found["stride_length_m"] / HEIGHT_M == pytest.approx(relative, abs=0.03)


@pytest.mark.parametrize(("froude", "speed"), SPEEDS, ids=[f"Froude {row[0]}" for row in SPEEDS])
def test_speeds_of_change_of_a_dog_half_a_metre_high(froude: float, speed: float) -> None:
    found = _means(_record(speed, 0.55, 0.42, 0.45))
    assert found["froude"] == pytest.approx(froude, rel=0.03)


#: Malinois of 0.61 m walked at 0.4 to 2.0 m/s (Maes et al. 2008, J Exp Biol 211:138, as quoted by others, paper not
#: opened); trots lie between the two changes of gait above.
BANDS = [("walk", 0.4**2 / (G * 0.61), 2.0**2 / (G * 0.61)), ("trot", 0.3, 3.0)]


@pytest.mark.parametrize(("gait", "low", "high"), BANDS, ids=["walk", "trot"])
def test_drawn_dogs_move_like_real_ones(gait: str, low: float, high: float) -> None:
    # sanity: speeds and stride lengths of the dogs that networks are trained on, in withers heights
    rng = np.random.default_rng(0)
    drawn = [draw_pattern(rng, gait, 0.55) for _ in range(400)]
    length = np.array([p.travel / p.duty_hind for p in drawn])
    froude = (length * 0.55 / np.array([p.stride_s for p in drawn])) ** 2 / (G * 0.55)
    ratio = length / (2.4 * froude**0.34)
    assert low < np.quantile(froude, 0.1) and np.quantile(froude, 0.9) < high
    assert 0.75 < np.median(ratio) < 1.25
