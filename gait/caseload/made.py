"""What the store keeps of one reading, in plain values that can travel from any worker."""

import dataclasses
import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from gait.compare.compared import COMPARED
from gait.compare.rows import rows_of, values_of
from gait.compare.sets import gait_counts, leading_hind
from gait.nouns import GaitRecord, Overruled
from gait.overruling import Overruling, names_said
from gait.summaries import mean_of, sd_of
from gait.tables import plain


@dataclass(frozen=True, slots=True)
class MeasureMade:
    """One compared measure of one gait over ``n`` used strides; mean and sd in ``unit``, sd None for one stride."""

    gait: str
    measure: str
    unit: str
    n: int
    mean: float
    sd: float | None


@dataclass(frozen=True, slots=True)
class Made:
    """One reading, as the store keeps it.

    gait          the most frequent one of the used hind strides, "unclear" among them; "" = none
    strides_used  of the hind paw that gaits are told by
    checks        what the clip must hold to be trusted, as dictionaries of gait.nouns.TrustCheck
    trial         what was filmed, as a dictionary of Trial, with what the reading itself found out
    overruled     how many strides a person decided and how, "2 (1 trot, 1 left out)"; "" = none
    overruled_key a number for all that people said that is part of this
    """

    network_hash: str
    network_name: str
    version: str
    facing: str
    grade: str
    gait: str
    strides_used: int
    notices: list[str]
    checks: list[dict[str, Any]]
    trial: dict[str, Any]
    measures: tuple[MeasureMade, ...]
    overruled: str = ""
    overruled_key: str = ""


def overruled_key(said: Sequence[Overruling | Overruled]) -> str:
    """A number for what people said, "" = nothing: the same number is the same words in the same order."""
    return hashlib.sha256(" ".join(one.id for one in said).encode()).hexdigest() if said else ""


def made_of(record: GaitRecord) -> Made:
    """What the store keeps of ``record``."""
    strides = record.strides
    gaits = gait_counts([record])
    return Made(
        network_hash=record.network_hash,
        network_name=str(record.settings.get("network", {}).get("name", "")),
        version=record.versions.get("pawfall", ""),
        facing=record.facing,
        grade=record.grade,
        gait=next(iter(gaits), ""),
        strides_used=int((strides.used & (strides.paw == leading_hind(strides))).sum()),
        notices=list(record.notices),
        checks=plain([dataclasses.asdict(check) for check in record.checks]),
        trial=plain(dataclasses.asdict(record.trial)),
        measures=tuple(_measures(record, list(gaits))),
        overruled=names_said(record.overruled),
        overruled_key=overruled_key(record.overruled),
    )


def _measures(record: GaitRecord, gaits: list[str]) -> Iterator[MeasureMade]:
    for gait in gaits:
        for row in COMPARED:
            for values in values_of([record], gait, row) if rows_of(record, gait, row.pair).any() else ():
                mean = mean_of(row.measure, values)
                sd = sd_of(row.measure, values, mean)
                yield MeasureMade(
                    gait, row.name, row.measure.unit, len(values), mean, sd if np.isfinite(sd) else None
                )
