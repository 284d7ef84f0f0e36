"""A person's word against the reading: another gait name, or a stride to leave out, each with a reason.

The reading itself is never changed: from it and what a person said a second record is made, by the same steps.
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from gait.errors import OverrulingError
from gait.footfalls import HIND
from gait.naming import GAITS
from gait.nouns import GaitRecord, Overruled, Strides
from gait.record import with_strides
from gait.strides import hind_beside, sure_leads
from pose.landmarks import PAWS
from pose.tracks import BoolArray, IntArray

#: What a person may call a stride; the last of GAITS is no gait.
NAMES: Final = GAITS[:-1]
#: Why a stride is dropped that a person left out.
LEFT_OUT: Final = "left_out"
#: A stride is meant when more than this share of it lies between the two moments, so that another network, which sees
#: paws land a little earlier or later, still has the same stride there.
LEAST_SHARE: Final = 0.5
#: Signs of a reason and of a name; enough for some sentences.
LONGEST_REASON: Final = 1000
LONGEST_NAME: Final = 100

NO_STRIDE: Final = "no longer matches any stride"
LATER: Final = "a later overruling decides"


@dataclass(frozen=True, slots=True)
class Overruling:
    """What a person says of the strides of ``paw`` (as in pose.landmarks.PAWS) between two moments (s).

    gait   their name, one of NAMES; "" = they are to be left out
    by     who says so, "" = not said
    at     when, ISO 8601, UTC

    Raises OverrulingError when it has no reason, or a paw, a gait or times that cannot be.
    """

    id: str
    paw: str
    start_s: float
    end_s: float
    gait: str
    reason: str
    by: str = ""
    at: str = ""

    def __post_init__(self) -> None:
        if self.paw not in PAWS:
            raise OverrulingError(f"{self.paw!r} is no paw; known are {', '.join(PAWS)}.")
        if self.gait and self.gait not in NAMES:
            raise OverrulingError(f"{self.gait!r} is no gait; known are {', '.join(NAMES)}.")
        if not (math.isfinite(self.start_s) and math.isfinite(self.end_s) and self.start_s < self.end_s):
            raise OverrulingError(f"{self.start_s} to {self.end_s} s is no stride; give its beginning, then its end.")
        if not self.reason.strip():
            raise OverrulingError("Say why: overruling the reading needs a reason.")
        if len(self.reason) > LONGEST_REASON or len(self.by) > LONGEST_NAME:
            raise OverrulingError(f"A reason may have {LONGEST_REASON} signs, a name {LONGEST_NAME}; shorten it.")


def matched(strides: Strides, overruling: Overruling) -> BoolArray:
    """(S,) bool, strides that are meant; of two overrulings of one stride the later counts."""
    inside = np.minimum(strides.end_s, overruling.end_s) - np.maximum(strides.start_s, overruling.start_s)
    whole = np.isfinite(inside)  # a stride that the clip cuts off has no length
    share = np.where(whole, inside, -1.0) / np.where(whole, strides.end_s - strides.start_s, 1.0)
    return np.asarray((strides.paw == PAWS.index(overruling.paw)) & (share > LEAST_SHARE))


def overruled(record: GaitRecord, overrulings: Sequence[Overruling]) -> GaitRecord:
    """``record`` as it is with what a person said, in the order in which it was said; without any it is itself.

    A stride that the reading does not use stays unused: no name makes its measures better. A fore stride goes by the
    name of the hind stride of its side, as in the reading, unless a person says something of it.
    """
    if not overrulings:
        return record
    strides = record.strides
    decides = np.full(len(strides), -1)
    for number, one in enumerate(overrulings):
        decides[matched(strides, one) & strides.used] = number
    follows = _followed(strides, decides, overrulings)
    told = tuple(_told(strides, one, decides == n, follows == n) for n, one in enumerate(overrulings))
    corrected = with_strides(record, _decided(strides, np.maximum(decides, follows), overrulings))
    words = overruled_words(told, len(strides))
    return replace(corrected, overruled=told, notices=(words, *record.notices))


def _followed(strides: Strides, decides: IntArray, overrulings: Sequence[Overruling]) -> IntArray:
    """(S,) the overruling that names the hind stride of a fore stride of which nobody says anything; -1 = none."""
    follows = np.full(len(strides), -1)
    hind = np.flatnonzero((strides.paw >= HIND) & strides.used)
    for row in np.flatnonzero((strides.paw < HIND) & strides.used & (decides < 0)).tolist():
        source = hind_beside(strides, row, hind)
        if source >= 0 and decides[source] >= 0 and overrulings[decides[source]].gait:
            follows[row] = decides[source]
    return follows


def _decided(strides: Strides, decides: IntArray, overrulings: Sequence[Overruling]) -> Strides:
    """The strides with what was said of them; a lead, which goes by the gait, is made anew."""
    gait, dropped = strides.gait.astype("U64"), strides.dropped.astype("U64")
    said = decides >= 0
    for row in np.flatnonzero(said).tolist():
        gait[row] = overrulings[decides[row]].gait
        dropped[row] = "" if gait[row] else LEFT_OUT
    leads = sure_leads(strides.paw, strides.measures, strides.measures_sd, gait)
    return replace(
        strides,
        gait=gait.astype(np.str_),
        dropped=dropped.astype(np.str_),
        gait_probability=np.where(said, np.nan, strides.gait_probability),
        candidates=np.where(said, "", strides.candidates).astype(np.str_),
        measures=strides.measures | leads,
    )


def _told(strides: Strides, one: Overruling, decided: BoolArray, followed: BoolArray) -> Overruled:
    rows = matched(strides, one)
    idle = "" if decided.any() else LATER
    if not rows.any():
        idle = NO_STRIDE
    elif not strides.used[rows].any():
        idle = f"the reading does not use this stride: {str(strides.dropped[rows][0]).replace('_', ' ')}"
    return Overruled(
        one.id, one.paw, one.start_s, one.end_s, one.gait, one.reason, one.by, one.at,
        strides=tuple(np.flatnonzero(decided).tolist()),
        machine=tuple(map(str, strides.gait[decided])),
        fore=int(followed.sum()),
        matches=bool(rows.any()),
        idle=idle,
    )  # fmt: skip


def overruled_words(told: Sequence[Overruled], strides: int) -> str:
    """ "A person overruled 2 of 38 strides: 1 named trot instead of pace, 1 left out."; "" when nothing was said."""
    return " ".join(_sentences(told, strides))


def _sentences(told: Sequence[Overruled], strides: int) -> Iterator[str]:
    counts = Counter(_change(one.gait, name) for one in told for name in one.machine)
    if counts:
        parts = ", ".join(f"{count} {words}" for words, count in counts.items())
        yield f"A person overruled {counts.total()} of {strides} strides: {parts}."
    if fore := sum(one.fore for one in told):
        yield f"{fore} fore {_many(fore, 'stride goes', 'strides go')} by the new name of the hind stride beside."
    if lost := sum(not one.matches for one in told):
        yield f"{lost} {_many(lost, 'overruling no longer matches', 'overrulings no longer match')} any stride."
    if unused := sum(one.matches and one.idle not in ("", LATER) for one in told):
        yield f"{unused} {_many(unused, 'overruling is', 'overrulings are')} of a stride that the reading does not use."


def _many(count: int, one: str, many: str) -> str:
    return one if count == 1 else many


def _change(gait: str, machine: str) -> str:
    if not gait:
        return "left out"
    return f"named {gait}, as in the reading" if gait == machine else f"named {gait} instead of {machine}"


def names_said(told: Sequence[Overruled]) -> str:
    """ "2 (1 trot, 1 left out)": how many strides a person decided and how; "" when none."""
    counts = Counter(one.gait or LEFT_OUT.replace("_", " ") for one in told for _ in one.strides)
    return f"{counts.total()} ({', '.join(f'{count} {name}' for name, count in counts.items())})" if counts else ""
