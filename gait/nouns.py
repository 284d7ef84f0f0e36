"""The nouns of the gait core: frozen, columnar, checked once. Missing is NaN (numbers) or "" (words)."""

from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np

from gait.errors import GaitError
from gait.trial import Trial
from pose.landmarks import PAWS
from pose.tracks import BoolArray, FloatArray, IntArray, Tracks, frozen_array


def _freeze(noun: Any, length: int) -> None:
    """Copy every array field of ``noun`` read-only; all must have ``length`` rows."""
    for item in fields(noun):
        value = getattr(noun, item.name)
        if isinstance(value, np.ndarray):
            if value.shape[:1] != (length,):
                raise GaitError(f"{type(noun).__name__}.{item.name} has {len(value)} rows; {length} are needed.")
            kind = np.str_ if value.dtype.kind == "U" else value.dtype.type
            object.__setattr__(noun, item.name, frozen_array(value, kind))


@dataclass(frozen=True, slots=True, eq=False)
class Belt:
    """The moving belt as seen by paws in stance.

    speed_px_s     (2,) px/s, near and far side, backward speed, > 0
    speed_sd_px_s  (2,) px/s, standard error
    angle_deg      deg, slope of the belt line in the picture (+ = rising to the right), roll and incline together
    steady         False when the speed changed within the clip
    m_per_px       (2,) m/px near and far, NaN without a scale
    scale_source   "belt", "length" or "" (unknown)
    """

    speed_px_s: FloatArray
    speed_sd_px_s: FloatArray
    angle_deg: float
    steady: bool
    m_per_px: FloatArray
    scale_source: str = ""

    def __post_init__(self) -> None:
        _freeze(self, 2)


@dataclass(frozen=True, slots=True, eq=False)
class Contacts:
    """One row per stance, ordered by paw and time.

    paw            (C,) int, 0..3 in the order of pose.landmarks.PAWS
    touchdown_s, liftoff_s          (C,) s, sub-frame; NaN when the clip began or ended within the stance
    touchdown_sd_ms, liftoff_sd_ms  (C,) ms
    confidence     (C,) 0..1
    truncated      (C,) bool, cut by the start or the end of the clip
    print_px       (C,) px, mean belt coordinate of the paw over the stance (see measures: print)
    """

    paw: IntArray
    touchdown_s: FloatArray
    liftoff_s: FloatArray
    touchdown_sd_ms: FloatArray
    liftoff_sd_ms: FloatArray
    confidence: FloatArray
    truncated: BoolArray
    print_px: FloatArray

    def __post_init__(self) -> None:
        _freeze(self, len(self.paw))

    def __len__(self) -> int:
        return len(self.paw)


@dataclass(frozen=True, slots=True, eq=False)
class Strides:
    """One row per candidate stride per paw, ordered by start.

    paw              (S,) int, 0..3
    start_s, end_s   (S,) s, touchdown to next touchdown of the same paw
    gait             (S,) str, plain name, "unclear", or "" for a dropped stride
    gait_probability (S,) 0..1, NaN where no name was tried
    candidates       (S,) str, the two likeliest names of an unclear stride joined by "/", else ""
    dropped          (S,) str, "" or a reason: gap, truncated, low_score, sides_unsure, belt_changing, not_steady,
                     outlier, left_out (by a person)
    measures         name -> (S,) float, one column per row of gait.measures.MEASURES (per-stride ones)
    measures_sd      name -> (S,) float, standard deviation of the same; NaN where not known
    common_sd        name -> standard deviation that all strides of the clip have in common, part of measures_sd; what
                     is not there has none to speak of
    """

    paw: IntArray
    start_s: FloatArray
    end_s: FloatArray
    gait: np.ndarray
    gait_probability: FloatArray
    candidates: np.ndarray
    dropped: np.ndarray
    measures: dict[str, FloatArray] = field(default_factory=dict)
    measures_sd: dict[str, FloatArray] = field(default_factory=dict)
    common_sd: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        _freeze(self, len(self.paw))
        for name, column in [*self.measures.items(), *self.measures_sd.items()]:
            if len(column) != len(self.paw):
                raise GaitError(f"Strides measure {name} has {len(column)} rows; {len(self.paw)} are needed.")

    def __len__(self) -> int:
        return len(self.paw)

    @property
    def used(self) -> BoolArray:
        """(S,) bool, strides that were not dropped."""
        return np.asarray(self.dropped == "")


@dataclass(frozen=True, slots=True)
class Run:
    """Consecutive strides of the near hind paw with one gait name, or a stand (no strides). Times in s.

    first_stride  its number among the near hind's candidate strides, from 1; 0 for a stand
    steps_to      strides without a clear name that the change into it took
    """

    gait: str
    start_s: float
    end_s: float
    strides: int
    first_stride: int
    steps_to: int = 0


@dataclass(frozen=True, slots=True)
class TrustCheck:
    """One thing a clip must hold to be trusted: its value, its limit, and what to change when it fails."""

    name: str
    value: float
    limit: float
    unit: str
    passed: bool
    advice: str = ""


@dataclass(frozen=True, slots=True)
class Summary:
    """One measure over the used strides of the clip. mean, sd, sem in ``unit``; cv (steadiness) in %, NaN for measures
    that have no zero, such as angles."""

    measure: str
    paw: str
    unit: str
    mean: float
    sd: float
    sem: float
    cv: float
    n: int


@dataclass(frozen=True, slots=True)
class SideDifference:
    """Near against far of one measure, for the fore or the hind pair ("fore", "hind").

    near, far  means over the used strides, in ``unit``
    error      how far they may differ by the error of either side alone (95 %), in ``unit``; NaN = not known
    symmetry_index, symmetry_angle   %, + when near is larger; NaN unless near and far differ by more than the error
    """

    measure: str
    pair: str
    unit: str
    near: float
    far: float
    error: float
    symmetry_index: float
    symmetry_angle: float


@dataclass(frozen=True, slots=True)
class Overruled:
    """What a person said of the strides of one paw between two moments (s), beside what the reading says of them.

    gait      what the person calls them; "" = to be left out
    reason, by, at   why, who ("" = not said), when (ISO 8601, UTC)
    strides   rows of the record's strides that this decides
    machine   the reading's name of each of them
    fore      how many fore strides go by the new name of their hind strides
    matches   whether any stride lies there
    idle      why it decides nothing, in plain words; "" = it decides
    """

    id: str
    paw: str
    start_s: float
    end_s: float
    gait: str
    reason: str
    by: str
    at: str
    strides: tuple[int, ...]
    machine: tuple[str, ...]
    fore: int
    matches: bool
    idle: str


@dataclass(frozen=True, slots=True, eq=False)
class GaitRecord:
    """Everything that one clip says about one dog's gait.

    body_length_px   px, median withers-croup distance
    facing           "left" or "right"
    ground_px        (T, 4) px height of each paw over the belt line (up +); NaN = missing (for figures)
    forward_bl       (T, 4) paw position ahead of the middle of withers-croup, body lengths (for figures)
    topline_deg      (T,) deg, withers->croup against the belt line, + croup-high
    grade            "good", "usable with care" or "film again"
    notices          plain sentences that must be shown (slow-motion clock unknown, sides unsure, ...)
    overruled        what a person said otherwise, already part of all the rest; empty in the reading itself
    """

    trial: Trial
    tracks: Tracks
    facing: str
    body_length_px: float
    belt: Belt
    contacts: Contacts
    strides: Strides
    runs: tuple[Run, ...]
    summaries: tuple[Summary, ...]
    checks: tuple[TrustCheck, ...]
    grade: str
    notices: tuple[str, ...]
    ground_px: FloatArray
    forward_bl: FloatArray
    topline_deg: FloatArray
    settings: dict[str, Any] = field(default_factory=dict)
    versions: dict[str, str] = field(default_factory=dict)
    network_hash: str = ""
    sides: tuple[SideDifference, ...] = ()
    overruled: tuple[Overruled, ...] = ()

    def strides_of(self, paw: str) -> BoolArray:
        """(S,) bool, rows of ``strides`` that belong to the paw of that name."""
        return np.asarray(self.strides.paw == PAWS.index(paw))
