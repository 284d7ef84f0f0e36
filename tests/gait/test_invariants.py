"""What must not change when the same movement is described otherwise, for movements drawn at random.

Contacts are exact, so their tolerances are those of arithmetic; landmarks are filmed anew, so theirs are those of the
reading.
"""

from dataclasses import replace

import numpy as np
import pytest
from generator import Pattern, Scene, dog, replaced, square_contacts
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gait.footfalls import footfall_columns, footfalls_of, support_columns
from gait.nouns import Contacts, GaitRecord
from gait.record import build_record
from gait.rows import list_rows
from gait.strides import time_columns
from gait.trial import Trial
from pose.tracks import Tracks

EXACT = 1e-9
#: Circular measures that time reversed turns round, with the duty factor that they take up.
PHASES = ("limb_phase", "limb_phase_near", "limb_phase_far", "hind_lag", "fore_lag", "diagonal_advance")


def hundredths(low: int, high: int) -> st.SearchStrategy[float]:
    return st.integers(low, high).map(lambda n: n / 100)


#: Phases and lags end on a half hundredth, so that no two feet land at one instant.
ANY = st.builds(
    Pattern,
    stride_s=hundredths(30, 120),
    duty_hind=hundredths(25, 75),
    duty_fore=hundredths(25, 75),
    limb_phase=hundredths(2, 90).map(lambda x: x + 0.0031),
    hind_lag=hundredths(12, 88).map(lambda x: x + 0.0017),
    fore_lag=hundredths(12, 88).map(lambda x: x + 0.0023),
)
quick = settings(max_examples=40, deadline=None)
slowly = settings(max_examples=5, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))


def columns(contacts: Contacts, paw: int, number: int = 3) -> dict[str, float]:
    """Columns of the hind ``paw``'s stride of that number."""
    rows = list_rows(contacts)
    mine = np.flatnonzero((rows.paw == paw) & np.isfinite(rows.end_s))
    falls = footfalls_of(contacts, rows, mine)
    found = footfall_columns(falls, np.full(len(mine), paw == 2)) | support_columns(contacts, falls.start, falls.end)
    found |= {name: column[mine] for name, column in time_columns(contacts, rows).items()}
    return {name: float(column[number]) for name, column in found.items()}


def assert_alike(one: dict[str, float], other: dict[str, float], tolerance: float = EXACT) -> None:
    for name, value in one.items():
        off = other[name] - value
        assert np.isnan(off) or abs(off - (round(off) if name in PHASES else 0)) < tolerance, name
        assert np.isnan(other[name]) == np.isnan(value), name


def _moved(contacts: Contacts, by_s: float, times: float) -> Contacts:
    """``contacts`` with every time t become times x t + by_s."""
    touch, lift = times * contacts.touchdown_s + by_s, times * contacts.liftoff_s + by_s
    return replace(contacts, touchdown_s=touch, liftoff_s=lift)


@quick
@given(pattern=ANY, by_s=st.integers(-500, 500))
def test_another_clock_changes_nothing(pattern: Pattern, by_s: int) -> None:
    contacts = square_contacts(pattern)
    assert_alike(columns(contacts, 2), columns(_moved(contacts, float(by_s), 1.0), 2), 1e-7)


@quick
@given(pattern=ANY, times=st.sampled_from([0.25, 0.5, 2.0, 8.0]))
def test_slow_motion_changes_times_alone(pattern: Pattern, times: float) -> None:
    real = columns(square_contacts(pattern), 2)
    slow = columns(_moved(square_contacts(pattern), 0.0, times), 2)
    for name in ("stride_time_s", "stance_s", "swing_s"):
        real[name] *= times
    real["stride_rate_hz"] /= times
    assert_alike(real, slow, 1e-7)


@quick
@given(pattern=ANY)
def test_exchanging_near_and_far_exchanges_their_columns(pattern: Pattern) -> None:
    contacts = square_contacts(pattern)
    order = np.argsort(contacts.paw ^ 1, kind="stable")
    parts = {name: getattr(contacts, name)[order] for name in Contacts.__dataclass_fields__}
    other = columns(Contacts(**(parts | {"paw": contacts.paw[order] ^ 1})), 3)
    one = columns(contacts, 2)
    one["limb_phase_near"], one["limb_phase_far"] = one["limb_phase_far"], one["limb_phase_near"]
    one["hind_lead_near"], one["fore_lead_near"] = 1 - one["hind_lead_near"], 1 - one["fore_lead_near"]
    assert_alike(one, other)


@quick
@given(pattern=ANY)
def test_time_reversed_turns_phases_round(pattern: Pattern) -> None:
    """Limb phase -> 1 - LP - (DF fore - DF hind), lags -> 1 - lag; shares of support stay (whole cycles)."""
    contacts = square_contacts(pattern)
    turned = {name: getattr(contacts, name).reshape(4, -1)[:, ::-1].ravel() for name in Contacts.__dataclass_fields__}
    turned["touchdown_s"], turned["liftoff_s"] = 50 - turned["liftoff_s"], 50 - turned["touchdown_s"]
    one, other = columns(contacts, 2), columns(Contacts(**turned), 2)
    more = pattern.duty_fore - pattern.duty_hind
    for name in ("limb_phase", "limb_phase_near", "limb_phase_far"):
        one[name] = 1 - one[name] - more
    one["hind_lag"], one["fore_lag"] = 1 - one["hind_lag"], 1 - one["fore_lag"]
    one["diagonal_advance"] = -one["diagonal_advance"] + more
    for name in ("hind_lead_near", "fore_lead_near"):
        one[name] = 1 - one[name]
    assert_alike(one, other, 1e-8)


#: Gaits that dogs have, for landmarks: symmetrical ones with every side phase, and gallops.
REAL = st.one_of(
    st.builds(
        Pattern,
        stride_s=hundredths(45, 80),
        duty_hind=hundredths(42, 66),
        duty_fore=hundredths(42, 66),
        limb_phase=hundredths(2, 48),
    ),
    st.builds(
        Pattern,
        stride_s=hundredths(38, 46),
        duty_hind=hundredths(28, 36),
        duty_fore=hundredths(28, 36),
        limb_phase=hundredths(50, 60),
        hind_lag=hundredths(14, 22),
        fore_lag=hundredths(14, 22),
    ),
)
SCENE = Scene(noise_bl=0.008, spread=0.008, seconds=4, swing="hard")
SAME = ("duty_factor", "limb_phase", "hind_lag", "stride_length_bl", "reach_bl", "tracking_up_bl", "topline_deg",
        "sweep_deg", "paws_down_2", "withers_excursion_bl", "drift_bl_s")  # fmt: skip


def assert_same(one: GaitRecord, other: GaitRecord, tolerance: float = 1e-6) -> None:
    assert list(other.strides.gait) == list(one.strides.gait)
    assert list(other.strides.dropped) == list(one.strides.dropped)
    for name in SAME:
        wanted, found = one.strides.measures[name], other.strides.measures[name]
        assert found == pytest.approx(wanted, abs=tolerance, rel=tolerance, nan_ok=True), name


def _placed(tracks: Tracks, size: float, across: float, down: float) -> Tracks:
    return replaced(tracks, xy_px=tracks.xy_px * size + np.array([across, down]))


@slowly
@given(pattern=REAL, across=st.integers(-300, 900), down=st.integers(-200, 400))
def test_mirrored_and_shifted(pattern: Pattern, across: int, down: int) -> None:
    tracks = dog(pattern, SCENE)[0]
    mirrored = replaced(tracks, xy_px=tracks.xy_px * np.array([-1.0, 1.0]) + np.array([640.0, 0.0]))
    first = build_record(tracks, Trial())
    other = build_record(_placed(mirrored, 1.0, across, down), Trial())
    assert_same(first, other)
    assert (first.facing, other.facing) == ("right", "left")


@slowly
@given(pattern=REAL, size=st.sampled_from([0.25, 0.5, 3.0]), later_s=st.integers(-100, 4000))
def test_larger_and_later(pattern: Pattern, size: float, later_s: int) -> None:
    tracks = dog(pattern, SCENE)[0]
    other = replaced(_placed(tracks, size, 0, 0), t_s=tracks.t_s + later_s)
    assert_same(build_record(tracks, Trial()), build_record(other, Trial()))


@pytest.mark.parametrize("later_s", [1.0, 3600.0])
@pytest.mark.parametrize("phase", [0.02, 0.10])
def test_rounding_of_the_clock_moves_no_event(phase: float, later_s: float) -> None:
    tracks = dog(Pattern(0.47, 0.47, 0.42, phase), SCENE)[0]
    one = build_record(tracks, Trial()).contacts
    other = build_record(replaced(tracks, t_s=tracks.t_s + later_s), Trial()).contacts
    assert other.touchdown_s - later_s == pytest.approx(one.touchdown_s, abs=1e-9, nan_ok=True)
    assert other.liftoff_s - later_s == pytest.approx(one.liftoff_s, abs=1e-9, nan_ok=True)


@slowly
@given(pattern=REAL)
def test_relabelled_sides(pattern: Pattern) -> None:
    """A dog filmed from its other side without perspective: near and far exchange, nothing else."""
    tracks = dog(pattern, replace(SCENE, far_scale=1.0, far_rise_bl=0.0))[0]
    other = replaced(tracks, xy_px=tracks.xy_px[:, [1, 0, 3, 2, 4, 5]])
    one, two = build_record(tracks, Trial()), build_record(other, Trial())
    for name in ("duty_factor", "limb_phase", "stride_length_bl", "reach_bl", "sweep_deg"):
        for paw in range(4):
            wanted = one.strides.measures[name][(one.strides.paw == paw) & one.strides.used]
            found = two.strides.measures[name][(two.strides.paw == paw ^ 1) & two.strides.used]
            assert found == pytest.approx(wanted, abs=1e-6, nan_ok=True), name


@slowly
@given(pattern=REAL, fps=st.sampled_from([50.0, 90.0, 120.0]))
def test_another_frame_rate(pattern: Pattern, fps: float) -> None:
    clean = replace(SCENE, noise_bl=0.003, spread=0.0)
    means = []
    for rate in (60.0, fps):
        record = build_record(dog(pattern, replace(clean, fps=rate))[0], Trial())
        means.append({s.measure: s.mean for s in record.summaries if s.paw == "near_hind"})
    tolerance = {"stride_time_s": 0.004, "duty_factor": 0.02, "hind_lag": 0.015, "stride_length_bl": 0.03}
    for name, limit in tolerance.items():
        assert means[1][name] == pytest.approx(means[0][name], abs=limit), name
    apart = means[1]["limb_phase"] - means[0]["limb_phase"]
    assert abs(apart - round(apart)) < 0.015
