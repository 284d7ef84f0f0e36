"""The one table of what is measured: name, label, unit, definition, source. Columns, legends and tests read it."""

from dataclasses import dataclass
from typing import Final

HILDEBRAND: Final = "Hildebrand 1968, J Morphol 124:353 (as quoted by others, paper not opened)"
MAES: Final = "Maes et al. 2008, J Exp Biol 211:138 (legend of figure 1)"
HOF: Final = "Hof 1996, Gait Posture 4:222 (from memory, not read)"
ISB: Final = "axes: Wu & Cavanagh 1995, J Biomech 28:1257"
ROBINSON: Final = (
    "Robinson, Herzog & Nigg 1987, J Manipulative Physiol Ther 10:172 (as quoted by others, paper not opened)"
)
ZIFCHOCK: Final = "Zifchock et al. 2008, Gait Posture 27:622 (formula from memory, not read)"
PLAIN: Final = "by definition"
OWN: Final = "our own definition"


@dataclass(frozen=True, slots=True)
class Measure:
    """One measure. unit "1" = a bare number; ``paws`` = rows that carry it: "all", "fore" or "hind".

    circle  lowest value of a measure that goes round a circle of 1 (a mean of 0.98 and 0.02 is 0); None = plain number
    zero    whether 0 means none at all: only then does a spread in % of the mean say anything
    whole   whether it is the dog's, the same whichever paw's strides it is taken over
    """

    name: str
    label: str
    unit: str
    definition: str
    source: str
    paws: str = "all"
    circle: float | None = None
    zero: bool = False
    whole: bool = False


MEASURES: Final[tuple[Measure, ...]] = (
    Measure("stride_time_s", "stride time", "s", "touchdown to the next touchdown of the same paw", PLAIN, zero=True),
    Measure("stride_rate_hz", "stride rate", "Hz", "1 / stride time", PLAIN, zero=True),
    Measure("stance_s", "stance", "s", "touchdown to lift-off", PLAIN, zero=True),
    Measure("swing_s", "swing", "s", "lift-off to the next touchdown", PLAIN, zero=True),
    Measure("duty_factor", "duty factor", "1", "stance / stride time", HILDEBRAND, zero=True),
    Measure(
        "stride_length_bl",
        "stride length",
        "bl",
        "distance between successive prints of the paw on the belt",
        PLAIN,
        zero=True,
    ),
    Measure(
        "stride_length_m",
        "stride length",
        "m",
        "distance between successive prints of the paw on the belt",
        PLAIN,
        zero=True,
    ),
    Measure("speed_bl_s", "forward speed", "bl/s", "stride length / stride time", PLAIN, zero=True),
    Measure("speed_m_s", "forward speed", "m/s", "stride length / stride time", PLAIN, zero=True),
    Measure(
        "speed_dimensionless", "dimensionless speed", "1", "speed / sqrt(9.81 m/s2 x withers height)", HOF, zero=True
    ),
    Measure("froude", "Froude number", "1", "dimensionless speed squared", HOF, zero=True),
    Measure(
        "reach_bl",
        "reach",
        "bl",
        "furthest forward minus furthest back of the paw, relative to the middle of withers and croup",
        OWN,
        zero=True,
    ),
    Measure(
        "reach_m",
        "reach",
        "m",
        "furthest forward minus furthest back of the paw, relative to the middle of withers and croup",
        OWN,
        zero=True,
    ),
    Measure(
        "reach_ratio",
        "fore/hind stride ratio",
        "1",
        "fore reach / hind reach, same side, same stride",
        OWN,
        "hind",
        zero=True,
    ),
    Measure(
        "duty_ratio",
        "fore/hind duty ratio",
        "1",
        "fore duty factor / hind duty factor, same side, same stride",
        OWN,
        "hind",
        zero=True,
    ),
    Measure(
        "protraction_deg",
        "protraction",
        "deg",
        "at touchdown, the line from withers (fore) or croup (hind) to the paw against "
        "the belt's normal, + forward; from topline points, not from the joint",
        ISB,
    ),
    Measure("retraction_deg", "retraction", "deg", "the same at lift-off, + backward", ISB),
    Measure("sweep_deg", "sweep", "deg", "protraction + retraction", ISB, zero=True),
    Measure(
        "limb_phase",
        "limb phase",
        "1",
        "(fore touchdown - hind touchdown of the same side) / hind stride time, 0 to 1",
        HILDEBRAND,
        "hind",
        circle=0.0,
    ),
    Measure(
        "limb_phase_near",
        "limb phase, near side",
        "1",
        "limb phase of the near side",
        HILDEBRAND,
        "hind",
        circle=0.0,
        whole=True,
    ),
    Measure(
        "limb_phase_far",
        "limb phase, far side",
        "1",
        "limb phase of the far side",
        HILDEBRAND,
        "hind",
        circle=0.0,
        whole=True,
    ),
    Measure(
        "hind_lag",
        "hind lag",
        "1",
        "touchdown of the other hind paw after this one / stride time",
        MAES,
        "hind",
        circle=0.0,
    ),
    Measure(
        "fore_lag",
        "fore lag",
        "1",
        "touchdown of the other fore paw after that of this side / stride time",
        MAES,
        "hind",
        circle=0.0,
    ),
    Measure(
        "diagonal_advance",
        "diagonal advance",
        "1",
        "(hind touchdown - touchdown of its diagonal fore) / stride time, -0.5 to 0.5",
        OWN,
        "hind",
        circle=-0.5,
    ),
    Measure(
        "hind_lead_near",
        "near hind leads",
        "1",
        "1 when the near hind lands second of the pair, 0 when the far does; an even pair has "
        "no lead, nor has one that lands together, within its own doubt",
        "Hildebrand 1977, J Mammal 58:131 (as quoted by others, paper not opened)",
        "hind",
        whole=True,
    ),
    Measure(
        "fore_lead_near",
        "near fore leads",
        "1",
        "1 when the near fore lands second of the pair, 0 when the far does; an even pair has "
        "no lead, nor has one that lands together, within its own doubt",
        "Hildebrand 1977, J Mammal 58:131 (as quoted by others, paper not opened)",
        "hind",
        whole=True,
    ),
    *(
        Measure(
            f"paws_down_{n}",
            f"{n} paw{'s' * (n > 1)} down" if n else "suspension",
            "1",
            f"share of the stride with {n} paw{'s' * (n != 1)} on the belt",
            PLAIN,
            "hind",
            whole=True,
        )
        for n in range(5)
    ),
    Measure(
        "on_diagonal_pair",
        "on a diagonal pair",
        "1",
        "share of the stride on one fore and the hind of the other side",
        PLAIN,
        "hind",
        whole=True,
    ),
    Measure(
        "on_lateral_pair",
        "on a lateral pair",
        "1",
        "share of the stride on fore and hind of one side",
        PLAIN,
        "hind",
        whole=True,
    ),
    Measure(
        "on_fore_pair",
        "on the fore pair",
        "1",
        "share of the stride on both fore paws alone",
        PLAIN,
        "hind",
        whole=True,
    ),
    Measure(
        "on_hind_pair",
        "on the hind pair",
        "1",
        "share of the stride on both hind paws alone",
        PLAIN,
        "hind",
        whole=True,
    ),
    Measure(
        "tracking_up_bl",
        "tracking up",
        "bl",
        "hind print minus the print that the fore of its side made before it (the last at least a fifth of a stride "
        "older); + over-tracking, - under-tracking",
        PLAIN,
        "hind",
    ),
    Measure(
        "tracking_up_m",
        "tracking up",
        "m",
        "hind print minus the print that the fore of its side made before it (the last at least a fifth of a stride "
        "older); + over-tracking, - under-tracking",
        PLAIN,
        "hind",
    ),
    Measure(
        "topline_deg",
        "topline angle",
        "deg",
        "line from withers to croup against the belt line, + croup higher; mean over the stride",
        ISB,
        whole=True,
    ),
    Measure(
        "topline_range_deg",
        "topline range",
        "deg",
        "largest minus smallest topline angle within the stride, the span of noise taken out",
        ISB,
        zero=True,
        whole=True,
    ),
    Measure(
        "withers_excursion_bl",
        "withers excursion",
        "bl",
        "vertical range of the withers within the stride, the span of noise taken out",
        ISB,
        zero=True,
        whole=True,
    ),
    Measure(
        "croup_excursion_bl",
        "croup excursion",
        "bl",
        "vertical range of the croup within the stride, the span of noise taken out",
        ISB,
        zero=True,
        whole=True,
    ),
    Measure(
        "withers_excursion_m",
        "withers excursion",
        "m",
        "vertical range of the withers within the stride, the span of noise taken out",
        ISB,
        zero=True,
        whole=True,
    ),
    Measure(
        "croup_excursion_m",
        "croup excursion",
        "m",
        "vertical range of the croup within the stride, the span of noise taken out",
        ISB,
        zero=True,
        whole=True,
    ),
    Measure(
        "withers_second_share",
        "withers, two cycles",
        "1",
        "share of the withers' vertical movement with two cycles per stride",
        OWN,
        whole=True,
    ),
    Measure(
        "croup_second_share",
        "croup, two cycles",
        "1",
        "share of the croup's vertical movement with two cycles per stride",
        OWN,
        whole=True,
    ),
    Measure(
        "place_bl",
        "place on the belt",
        "bl",
        "mean place of the middle of withers and croup in the stride, along the belt line from the left edge of the "
        "picture, + forward (so below 0 for a dog that faces left); not known when the camera follows the dog; clips "
        "can be compared while the camera stands still",
        OWN,
        whole=True,
    ),
    Measure(
        "drift_bl_s",
        "drift",
        "bl/s",
        "speed of the trunk within the picture during the stride, + forward",
        OWN,
        whole=True,
    ),
)

NAMES: Final = tuple(measure.name for measure in MEASURES)

#: Stands wherever near and far are set against each other.
SIDE_WARNING: Final = (
    "The far side is seen worse than the near side: its paws are smaller and often covered. A difference is given in "
    "percent only where it is larger than the error of both sides together; a smaller one is no asymmetry, and a "
    "larger one should be seen again with the dog filmed from its other side."
)

#: What is worked out from the means of a clip, not stride by stride.
OF_CLIP: Final[tuple[Measure, ...]] = (
    Measure("steadiness", "steadiness", "%", "standard deviation over the used strides / their mean", PLAIN, zero=True),
    Measure(
        "symmetry_index",
        "symmetry index",
        "%",
        "(near - far) / half of their sum, + when the near side is larger; only where near and far differ by more than "
        "the error of either side, since the far side is seen worse",
        ROBINSON,
    ),
    Measure(
        "symmetry_angle",
        "symmetry angle",
        "%",
        "(45 degrees - the angle whose tangent is far / near) / 90 degrees; under the same condition",
        ZIFCHOCK,
    ),
)


def measure(name: str) -> Measure:
    """The row of the table with that name; KeyError for an unknown one."""
    return MEASURES[NAMES.index(name)] if name in NAMES else _unknown(name)


def _unknown(name: str) -> Measure:
    raise KeyError(f"No measure is called {name!r}; known are {', '.join(NAMES)}.")
