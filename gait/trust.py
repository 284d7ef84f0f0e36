"""What a clip must hold to be trusted: each thing with its value, its limit and what to change when filming again."""

from dataclasses import dataclass

import numpy as np

from gait.body import Body
from gait.nouns import Belt, Strides, Summary, TrustCheck
from gait.trial import Trial
from pose.landmarks import LANDMARKS, NEAR_HIND
from pose.tracks import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class TrustSettings:
    """Limits. Our own choice unless said.

    seen, seen_least       share of frames in which the worst landmark is seen; below seen_least: film again
    sides, sides_least     share of frames in which near and far are certain; below sides_least: film again
    square_on              1, far speed / near speed in the picture: a camera 3 m from a belt gives 0.85 (derived)
    level_deg              deg, slope of the belt line beyond the incline that was entered
    fps                    1/s; below 50 events are coarse: 5.8 ms per event at 50, 9.6 at 30 (frame / sqrt 12, derived)
    frames_per_stride      1, the same when the clock is not known: 25 frames make an event 1.2 % of it (derived)
    strides, strides_least near hind strides used: 8 for a comparison; fewer than strides_least: film again
    belt                   1, change of belt speed within the clip
    length_agreement       1, fore and hind stride lengths must agree: 3 % apart is a fault of the tracking
    odd_stride_s           s, no dog's stride takes longer than this: slow motion is baked in
    """

    seen: float = 0.8
    seen_least: float = 0.4
    sides: float = 0.95
    sides_least: float = 0.5
    square_on: float = 0.75
    level_deg: float = 5.0
    fps: float = 50.0
    frames_per_stride: float = 25.0
    strides: int = 8
    strides_least: int = 2
    belt: float = 0.05
    length_agreement: float = 0.03
    odd_stride_s: float = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """What the checks of the footage look at. unsure (T, 2) bool; speed_px_s (T, 2) px/s; period_s s, NaN for a
    standing dog."""

    body: Body
    trial: Trial
    belt: Belt
    unsure: BoolArray
    speed_px_s: FloatArray
    period_s: float


def footage_checks(e: Evidence, s: TrustSettings) -> tuple[TrustCheck, ...]:
    """Every check that no stride is needed for; a value that is not known (NaN) does not pass."""
    return (*_picture_checks(e, s), *_time_checks(e, s))


def grade_of(checks: tuple[TrustCheck, ...], s: TrustSettings) -> str:
    """good, usable with care, or film again."""
    least = {"landmarks seen": s.seen_least, "near and far certain": s.sides_least, "strides used": s.strides_least}
    values = {check.name: check.value for check in checks}
    if any(not values[name] >= limit for name, limit in least.items() if name in values):
        return "film again"
    return "good" if all(check.passed for check in checks) else "usable with care"


def _picture_checks(e: Evidence, s: TrustSettings) -> tuple[TrustCheck, ...]:
    seen = e.body.seen.mean(axis=0)
    worst = int(np.argmin(seen))
    near, far = e.belt.speed_px_s
    ratio = float(min(near, far) / max(near, far)) if min(near, far) > 0 else float("nan")
    uphill_deg = e.belt.angle_deg * (1 if e.body.facing == "right" else -1)
    tilt = abs(uphill_deg - (e.trial.incline_deg or 0.0))
    return (
        _least(
            "landmarks seen",
            float(seen[worst]),
            s.seen,
            "share of frames",
            f"The {LANDMARKS[worst].replace('_', ' ')} is often not seen: keep rails and people out of the way.",
        ),
        _least(
            "near and far certain",
            float(1 - e.unsure.any(axis=1).mean()),
            s.sides,
            "share of frames",
            "Near and far paws are easily taken for each other: more light, a plain background, "
            "the camera a little above the belt.",
        ),
        _least(
            "camera square-on",
            ratio,
            s.square_on,
            "far / near speed",
            "Move the camera back and film square to the belt.",
        ),
        _most(
            "camera level",
            tilt,
            s.level_deg,
            "deg",
            "Level the camera on its tripod, or enter the incline of the belt.",
        ),
    )


def _time_checks(e: Evidence, s: TrustSettings) -> tuple[TrustCheck, ...]:
    rate, per_stride = 1 / e.body.frame_s, e.period_s / e.body.frame_s
    advice = "Film at 60 frames a second or more: touchdowns and lift-offs are coarse."
    change = (
        float(np.ptp(e.speed_px_s[:, 0]) / np.median(e.speed_px_s[:, 0]))
        if e.speed_px_s[:, 0].min() > 0
        else float("nan")
    )
    clock = [_least("frames per second", rate, s.fps, "1/s", advice)] if e.trial.clock_known else []
    return (
        *clock,
        _least("frames per stride", per_stride, s.frames_per_stride, "1", advice),
        _most(
            "belt steady",
            change,
            s.belt,
            "share of its speed",
            "Let the belt reach its speed before filming; keep the camera still.",
        ),
    )


def stride_checks(strides: Strides, summaries: tuple[Summary, ...], s: TrustSettings) -> tuple[TrustCheck, ...]:
    """Every check of what was made from the strides."""
    used = int((strides.used & (strides.paw == NEAR_HIND)).sum())
    return (
        _least(
            "strides used", float(used), float(s.strides), "1", "Film longer: ten seconds or more of steady movement."
        ),
        _most(
            "fore and hind stride length agree",
            _length_gap(summaries),
            s.length_agreement,
            "share of it",
            "The tracks of fore and hind paws do not fit together; look at the film before using lengths.",
        ),
    )


def _length_gap(summaries: tuple[Summary, ...]) -> float:
    """Largest relative gap of a side's fore and hind stride length; NaN when unknown."""
    mean = {s.paw: s.mean for s in summaries if s.measure == "stride_length_bl"}
    gaps = [
        abs(mean[f"{side}_fore"] / mean[f"{side}_hind"] - 1)
        for side in ("near", "far")
        if {f"{side}_fore", f"{side}_hind"} <= mean.keys()
    ]
    return max(gaps, default=float("nan"))


def _least(name: str, value: float, limit: float, unit: str, advice: str) -> TrustCheck:
    passed = bool(value >= limit)
    return TrustCheck(name, value, limit, unit, passed, "" if passed else advice)


def _most(name: str, value: float, limit: float, unit: str, advice: str) -> TrustCheck:
    passed = bool(value <= limit)
    return TrustCheck(name, value, limit, unit, passed, "" if passed else advice)


def clock_notices(trial: Trial, period_s: float, s: TrustSettings) -> tuple[str, ...]:
    """Sentences about a clock that is not, or cannot be, the real one."""
    if not trial.clock_known:
        return (
            "The clock of this slow-motion film is not known: times, rates and speeds are those of the file. "
            "Say how many frames a second were filmed.",
        )
    if period_s > s.odd_stride_s:
        return (
            f"A stride takes {period_s:.1f} s, longer than any dog's: this is probably slow motion, and the clock of "
            "slow motion is not known. Times, rates and speeds are those of the file. "
            "Say how many frames a second were filmed.",
        )
    return ()
