"""Six retrievers on the ground: Catavitello et al. 2015, PLOS ONE 10:e0133936 (as recomputed by others from its data,
paper not opened; an event there is the most forward position of the paw, a stance its rearward excursion).

Touchdowns after the left hind, with spread: walk LF 0.135, RH 0.491, RF 0.630; trot LF 0.449, RH 0.512, RF 0.960.
Walk 1.46 Hz, duty factors fore 0.594, hind 0.576; trot 2.03 Hz, 0.455, 0.425.
"""

from dataclasses import dataclass

import pytest
from generator import Pattern, Scene, dog, name_of
from squares import exact

from gait.record import build_record
from gait.trial import Trial
from pose.landmarks import FAR_FORE, FAR_HIND, NEAR_FORE


@dataclass(frozen=True)
class Row:
    """rate Hz; left_fore, right_hind, right_fore: touchdowns after the left hind, shares of the stride."""

    gait: str
    rate_hz: float
    duty_fore: float
    duty_hind: float
    left_fore: float
    right_hind: float
    right_fore: float

    def pattern(self) -> Pattern:
        lag = self.right_fore - self.left_fore
        return Pattern(1 / self.rate_hz, self.duty_hind, self.duty_fore, self.left_fore, self.right_hind, lag)


ROWS = [Row("walk", 1.46, 0.594, 0.576, 0.135, 0.491, 0.630), Row("trot", 2.03, 0.455, 0.425, 0.449, 0.512, 0.960)]
each_gait = pytest.mark.parametrize("row", ROWS, ids=[row.gait for row in ROWS])


@each_gait
def test_phases_rates_and_duty_factors_come_back(row: Row) -> None:
    near, far = exact(row.pattern()), exact(row.pattern(), FAR_HIND)
    for found in (near, far):
        assert found["limb_phase_near"] == pytest.approx(row.left_fore)
        assert found["limb_phase_far"] == pytest.approx(row.right_fore - row.right_hind)
        assert found["duty_factor"] == pytest.approx(row.duty_hind)
    assert near["hind_lag"] == pytest.approx(row.right_hind)
    assert far["hind_lag"] == pytest.approx(1 - row.right_hind)
    assert near["stride_rate_hz"] == pytest.approx(row.rate_hz)
    for paw in (NEAR_FORE, FAR_FORE):
        assert exact(row.pattern(), paw)["duty_factor"] == pytest.approx(row.duty_fore)


@each_gait
def test_the_name_is_that_of_the_source(row: Row) -> None:
    assert name_of(row.pattern()) == row.gait


@each_gait
def test_they_come_back_from_landmarks(row: Row) -> None:
    record = build_record(dog(row.pattern(), Scene(noise_bl=0.005, swing="hard"))[0], Trial())
    mean = {s.measure: s.mean for s in record.summaries if s.paw == "near_hind"}
    wanted = {
        "stride_rate_hz": (row.rate_hz, 0.02),
        "duty_factor": (row.duty_hind, 0.02),
        "limb_phase_near": (row.left_fore, 0.01),
        "limb_phase_far": (row.right_fore - row.right_hind, 0.01),
        "hind_lag": (row.right_hind, 0.01),
    }
    for name, (value, tolerance) in wanted.items():
        assert mean[name] == pytest.approx(value, abs=tolerance), name
    assert {run.gait for run in record.runs} == {row.gait}
