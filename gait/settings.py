"""All settings of the gait core in one frozen tree; each part is explained beside the function that uses it."""

from dataclasses import dataclass, field

from gait.belt import BeltSettings
from gait.body import BodySettings
from gait.contacts import ContactSettings
from gait.naming import NamingSettings
from gait.phases import PhaseSettings
from gait.rhythm import RhythmSettings
from gait.runs import RunSettings
from gait.sides import SideSettings
from gait.strides import StrideSettings
from gait.trust import TrustSettings


@dataclass(frozen=True, slots=True)
class GaitSettings:
    """passes: 1, how often belt and stances are found anew from each other; they no longer change after two."""

    body: BodySettings = field(default_factory=BodySettings)
    rhythm: RhythmSettings = field(default_factory=RhythmSettings)
    belt: BeltSettings = field(default_factory=BeltSettings)
    phases: PhaseSettings = field(default_factory=PhaseSettings)
    contacts: ContactSettings = field(default_factory=ContactSettings)
    sides: SideSettings = field(default_factory=SideSettings)
    strides: StrideSettings = field(default_factory=StrideSettings)
    naming: NamingSettings = field(default_factory=NamingSettings)
    runs: RunSettings = field(default_factory=RunSettings)
    trust: TrustSettings = field(default_factory=TrustSettings)
    passes: int = 3
