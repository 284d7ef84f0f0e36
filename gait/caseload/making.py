"""From a record to what the store keeps of it."""

import dataclasses
import hashlib
from collections.abc import Iterator, Sequence

import numpy as np

from gait.caseload.made import Made, MeasureMade
from gait.compare.compared import COMPARED
from gait.compare.rows import rows_of, values_of
from gait.compare.sets import gait_counts, leading_hind
from gait.nouns import GaitRecord, Overruled
from gait.overruling import Overruling, names_said
from gait.summaries import mean_of, sd_of
from gait.tables import plain


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
