"""Records whose strides hold just the values that a test wants: no tracks behind them."""

from dataclasses import dataclass, field, replace

import numpy as np

from gait.measures import NAMES
from gait.nouns import Belt, Contacts, GaitRecord, Strides
from gait.trial import Trial
from pose.landmarks import NEAR_FORE, NEAR_HIND
from pose.tracks import FloatArray, Tracks

#: What every stride shows unless a test says otherwise; metres are 0.5 per body length.
USUAL = {
    "stride_time_s": 0.5,
    "duty_factor": 0.45,
    "stride_length_bl": 1.6,
    "stride_length_m": 0.8,
    "speed_bl_s": 3.2,
    "speed_m_s": 1.6,
    "reach_bl": 0.7,
    "reach_m": 0.35,
    "reach_ratio": 1.02,
    "protraction_deg": 25.0,
    "retraction_deg": 27.0,
    "limb_phase": 0.45,
    "tracking_up_bl": 0.05,
    "tracking_up_m": 0.025,
    "topline_deg": 1.0,
    "topline_range_deg": 2.0,
    "withers_excursion_bl": 0.04,
    "croup_excursion_bl": 0.05,
    "withers_excursion_m": 0.02,
    "croup_excursion_m": 0.025,
}


@dataclass(frozen=True)
class Clip:
    """One clip to make up. changes: measure -> (N,) values or one value; spread: SD of the others, shares of them."""

    name: str
    condition: str = "bare"
    baseline: bool = False
    dog: str = "Tansy"
    date: str = "2026-03-02"
    gaits: tuple[str, ...] = ("trot",) * 12
    changes: dict[str, object] = field(default_factory=dict)
    spread: float = 0.02
    seed: int = 0
    facing: str = "right"
    grade: str = "good"
    dropped: tuple[int, ...] = ()
    more: dict[str, object] = field(default_factory=dict)


def make_clip(clip: Clip) -> GaitRecord:
    """The record of ``clip``: near fore and near hind make the same strides."""
    n = len(clip.gaits)
    rng = np.random.default_rng((clip.seed, n, *clip.name.encode()))
    columns = {name: _values(clip, name, rng) for name in NAMES}
    gaits, dropped = np.array(clip.gaits, dtype="U24"), np.array([""] * n, dtype="U16")
    dropped[list(clip.dropped)] = "gap"
    starts = np.arange(n) * 0.5
    twice = {name: np.concatenate([values, values]) for name, values in columns.items()}
    strides = Strides(
        np.repeat([NEAR_FORE, NEAR_HIND], n),
        np.tile(starts, 2),
        np.tile(starts + 0.5, 2),
        np.tile(np.where(dropped == "", gaits, ""), 2),
        np.full(2 * n, 0.99),
        np.array([""] * (2 * n)),
        np.tile(dropped, 2),
        twice,
        {name: np.full(2 * n, np.nan) for name in NAMES},
    )
    trial = Trial(clip=clip.name, dog=clip.dog, date=clip.date, condition=clip.condition, baseline=clip.baseline)
    return _record(strides, replace(trial, **clip.more), clip)


def _values(clip: Clip, name: str, rng: np.random.Generator) -> FloatArray:
    if name in clip.changes:
        return np.broadcast_to(np.asarray(clip.changes[name], dtype=float), (len(clip.gaits),)).copy()
    usual = USUAL.get(name, np.nan)
    return np.asarray(usual * (1 + clip.spread * rng.standard_normal(len(clip.gaits))))


def _record(strides: Strides, trial: Trial, clip: Clip) -> GaitRecord:
    none, two = np.empty(0), np.ones(2)
    full = np.ones((1, 6))
    return GaitRecord(
        trial=trial,
        tracks=Tracks(np.arange(1), np.zeros(1), np.ones((1, 6, 2)), full, full < 0),
        facing=clip.facing,
        body_length_px=200.0,
        belt=Belt(two, two, 0.0, True, two),
        contacts=Contacts(none.astype(int), none, none, none, none, none, none.astype(bool), none),
        strides=strides,
        runs=(),
        summaries=(),
        checks=(),
        grade=clip.grade,
        notices=(),
        ground_px=np.ones((1, 4)),
        forward_bl=np.ones((1, 4)),
        topline_deg=np.ones(1),
    )
