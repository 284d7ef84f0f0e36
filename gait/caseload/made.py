"""What the store keeps of one reading, in plain values that can travel from any worker."""

from dataclasses import dataclass
from typing import Any


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
