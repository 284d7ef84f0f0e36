"""An independent contact detector: Zeni, Richards & Higginson 2008, Gait & Posture 27:710 (from memory, not read).

On a treadmill a foot lands where it is furthest ahead of the pelvis and leaves where it is furthest behind. The rule is
written here from the raw points, with nothing of ours: forward place of a paw before croup (hind) or withers (fore),
smoothed, its peaks and its troughs. It knows neither belt nor heights.
"""

from functools import cache

import numpy as np
import pytest
from generator import PACE, SWINGS, TROT, WALK, Scene, dog
from scipy.signal import butter, find_peaks, sosfiltfilt

from gait.record import build_record
from gait.trial import Trial
from pose.landmarks import CROUP, WITHERS
from pose.tracks import FloatArray, Tracks

GAITS = {"walk": WALK, "trot": TROT, "pace": PACE}
FPS = 60.0
#: Hz, low pass of the points before peaks are sought, without lag; common practice in gait laboratories, no source.
LOW_PASS_HZ = 10.0
#: s, what the rule may be off beyond its own habit, and what ours may be off: half a frame.
LIMIT_S = 0.5 / FPS
#: least share of true events that both detectors find.
LEAST_FOUND = 0.95


def habit_s(gait: str, swing: str) -> float:
    """s, how long a drawn paw still goes backward under the dog after it left, and already does before it lands: until
    its speed on the belt is the belt's (derived). So long too early and too late the rule must be on drawn paws."""
    pattern = GAITS[gait]
    share = np.linspace(0.0, 0.5, 5001)
    way_per_swing = np.gradient(SWINGS[swing](share), share)
    swing_share = 1 - pattern.duty_hind
    return float(share[np.argmax(way_per_swing >= swing_share)] * swing_share * pattern.stride_s)


def rule(tracks: Tracks, paw: int) -> tuple[FloatArray, FloatArray]:
    """Touchdowns and lift-offs (s) of a dog that faces right."""
    forward = tracks.xy_px[:, paw, 0] - tracks.xy_px[:, WITHERS if paw < 2 else CROUP, 0]
    smooth = sosfiltfilt(butter(2, LOW_PASS_HZ, fs=FPS, output="sos"), forward)
    least = 0.3 * np.ptp(smooth)
    return _turns(tracks.t_s, smooth, least), _turns(tracks.t_s, -smooth, least)


def _turns(t_s: FloatArray, x: FloatArray, least: float) -> FloatArray:
    """Times (s) of peaks, a parabola laid through the three frames of each."""
    at, _ = find_peaks(x, prominence=least)
    before, here, after = x[at - 1], x[at], x[at + 1]
    return t_s[at] + 0.5 * (before - after) / (before - 2 * here + after) / FPS


@cache
def both(gait: str, swing: str) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Errors (s) of the rule and of ours at the same true events; 1 for a lift-off, -1 for a touchdown; and the share
    of true events that both find."""
    tracks, truth = dog(GAITS[gait], Scene(fps=FPS, noise_bl=0.015, swing=swing, spread=0.01))
    contacts, pairs, asked = build_record(tracks, Trial()).contacts, [], 0
    for paw in range(4):
        mine = contacts.paw == paw
        for ruled, ours, true, way in zip(
            rule(tracks, paw),
            (contacts.touchdown_s[mine], contacts.liftoff_s[mine]),
            (truth.touchdown_s[paw], truth.liftoff_s[paw]),
            (-1, 1),
            strict=True,
        ):
            inside = true[(true > tracks.t_s[0] + 0.1) & (true < tracks.t_s[-1] - 0.1)]
            asked += len(inside)
            pairs += [(_off(ruled, t), _off(ours[np.isfinite(ours)], t), way) for t in inside]
    errors = np.array(pairs)
    near = np.abs(errors[:, :2]).max(axis=1) < 0.1
    return errors[near, 0], errors[near, 1], errors[near, 2], float(near.sum() / asked)


def _off(times: FloatArray, true_s: float) -> float:
    return float(times[np.argmin(np.abs(times - true_s))] - true_s)


@pytest.mark.parametrize("swing", ["hard", "even"])
@pytest.mark.parametrize("gait", GAITS)
def test_the_rule_and_ours_find_the_same_contacts(gait: str, swing: str) -> None:
    ruled, ours, way, found = both(gait, swing)
    assert found >= LEAST_FOUND
    late = np.median(ruled * way)
    assert late == pytest.approx(habit_s(gait, swing), abs=LIMIT_S)
    assert np.median(np.abs(ruled * way - late)) <= LIMIT_S
    assert np.median(np.abs(ours)) <= LIMIT_S
    assert np.median(np.abs(ruled - ours)) <= habit_s(gait, swing) + LIMIT_S


@pytest.mark.parametrize("swing", ["hard", "even"])
@pytest.mark.parametrize("gait", GAITS)
def test_ours_is_not_worse_than_the_rule(gait: str, swing: str) -> None:
    ruled, ours, _, _ = both(gait, swing)
    for share in (0.5, 0.95):
        assert np.quantile(np.abs(ours), share) <= np.quantile(np.abs(ruled), share)


def test_both_tell_the_same_stride_times() -> None:
    """What no rule's habit can shift: from one event to the next of its kind."""
    tracks, truth = dog(WALK, Scene(fps=FPS, noise_bl=0.015, swing="hard", spread=0.01))
    strides = build_record(tracks, Trial()).strides
    for paw in range(4):
        ruled = np.diff(rule(tracks, paw)[0])
        ours = strides.measures["stride_time_s"][strides.used & (strides.paw == paw)]
        assert np.median(ours) == pytest.approx(np.median(ruled), rel=0.02)
        assert np.median(ours) == pytest.approx(np.median(np.diff(truth.touchdown_s[paw])), rel=0.02)
