"""Trial: what was filmed. Everything a person has to say because no picture shows it."""

import math
from dataclasses import dataclass
from typing import Literal

from gait.errors import TrialError

Facing = Literal["left", "right"]

KMH_PER_M_S = 3.6


@dataclass(frozen=True, slots=True)
class Trial:
    """One clip's circumstances; None = not known.

    belt_m_s        m/s, speed of the belt as set (> 0)
    filmed_fps      frames per second at which the camera filmed, when slow motion is baked into the file;
                    the times in Tracks are already those of the clock when this is given
    facing          the side of the picture towards which the dog walks; None = found from the tracks
    incline_deg     deg, belt incline, + uphill
    withers_cm, mass_kg, lead_tension_n   cm, kg, N
    clock_known     False when the file looks like slow motion and nobody said how fast it was filmed
    """

    clip: str = ""
    dog: str = ""
    date: str = ""
    condition: str = ""
    baseline: bool = False
    belt_m_s: float | None = None
    filmed_fps: float | None = None
    facing: Facing | None = None
    incline_deg: float | None = None
    lead_tension_n: float | None = None
    withers_cm: float | None = None
    mass_kg: float | None = None
    notes: str = ""
    clock_known: bool = True

    def __post_init__(self) -> None:
        for name in ("belt_m_s", "filmed_fps", "withers_cm", "mass_kg"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0):
                raise TrialError(f"{name} is {value}; give a number above 0, or leave it out.")
        if self.facing not in (None, "left", "right"):
            raise TrialError(f"facing is {self.facing!r}; it can be left or right, or left out.")
