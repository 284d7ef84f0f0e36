"""The one table of what is measured: name, label, unit, definition, source. Columns, legends and tests read it."""

from dataclasses import dataclass
from typing import Final

HILDEBRAND: Final = "Hildebrand 1968, J Morphol 124:353 (as quoted by others, paper not opened)"
MAES: Final = "Maes et al. 2008, J Exp Biol 211:138 (legend of figure 1)"
HOF: Final = "Hof 1996, Gait Posture 4:222 (from memory, not read)"
ISB: Final = "axes: Wu & Cavanagh 1995, J Biomech 28:1257"
PLAIN: Final = "by definition"
OWN: Final = "our own definition"


@dataclass(frozen=True, slots=True)
class Measure:
    """One measure. unit "1" = a bare number; ``paws`` = rows that carry it: "all", "fore" or "hind"."""

    name: str
    label: str
    unit: str
    definition: str
    source: str
    paws: str = "all"


MEASURES: Final[tuple[Measure, ...]] = (
    Measure("stride_time_s", "stride time", "s", "touchdown to the next touchdown of the same paw", PLAIN),
    Measure("stride_rate_hz", "stride rate", "Hz", "1 / stride time", PLAIN),
    Measure("stance_s", "stance", "s", "touchdown to lift-off", PLAIN),
    Measure("swing_s", "swing", "s", "lift-off to the next touchdown", PLAIN),
    Measure("duty_factor", "duty factor", "1", "stance / stride time", HILDEBRAND),
    Measure(
        "stride_length_bl", "stride length", "bl", "distance between successive prints of the paw on the belt", PLAIN
    ),
    Measure(
        "stride_length_m", "stride length", "m", "distance between successive prints of the paw on the belt", PLAIN
    ),
    Measure("speed_bl_s", "forward speed", "bl/s", "stride length / stride time", PLAIN),
    Measure("speed_m_s", "forward speed", "m/s", "stride length / stride time", PLAIN),
    Measure("speed_dimensionless", "dimensionless speed", "1", "speed / sqrt(9.81 m/s2 x withers height)", HOF),
    Measure("froude", "Froude number", "1", "dimensionless speed squared", HOF),
    Measure(
        "reach_bl",
        "reach",
        "bl",
        "furthest forward minus furthest back of the paw, relative to the middle of withers and croup",
        OWN,
    ),
    Measure(
        "reach_m",
        "reach",
        "m",
        "furthest forward minus furthest back of the paw, relative to the middle of withers and croup",
        OWN,
    ),
    Measure(
        "reach_ratio", "fore/hind stride ratio", "1", "fore reach / hind reach, same side, same stride", OWN, "hind"
    ),
    Measure(
        "duty_ratio",
        "fore/hind duty ratio",
        "1",
        "fore duty factor / hind duty factor, same side, same stride",
        OWN,
        "hind",
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
    Measure("sweep_deg", "sweep", "deg", "protraction + retraction", ISB),
    Measure(
        "limb_phase",
        "limb phase",
        "1",
        "(fore touchdown - hind touchdown of the same side) / hind stride time, 0 to 1",
        HILDEBRAND,
        "hind",
    ),
    Measure("limb_phase_near", "limb phase, near side", "1", "limb phase of the near side", HILDEBRAND, "hind"),
    Measure("limb_phase_far", "limb phase, far side", "1", "limb phase of the far side", HILDEBRAND, "hind"),
    Measure("hind_lag", "hind lag", "1", "touchdown of the other hind paw after this one / stride time", MAES, "hind"),
    Measure(
        "fore_lag",
        "fore lag",
        "1",
        "touchdown of the other fore paw after that of this side / stride time",
        MAES,
        "hind",
    ),
    Measure(
        "diagonal_advance",
        "diagonal advance",
        "1",
        "(hind touchdown - touchdown of its diagonal fore) / stride time, -0.5 to 0.5",
        OWN,
        "hind",
    ),
    Measure(
        "hind_lead_near",
        "near hind leads",
        "1",
        "1 when the near hind lands second of the pair, 0 when the far does; an even pair has no lead",
        "Hildebrand 1977, J Mammal 58:131 (as quoted by others, paper not opened)",
        "hind",
    ),
    Measure(
        "fore_lead_near",
        "near fore leads",
        "1",
        "1 when the near fore lands second of the pair, 0 when the far does; an even pair has no lead",
        "Hildebrand 1977, J Mammal 58:131 (as quoted by others, paper not opened)",
        "hind",
    ),
    *(
        Measure(
            f"paws_down_{n}",
            f"{n} paw{'s' * (n > 1)} down" if n else "suspension",
            "1",
            f"share of the stride with {n} paw{'s' * (n != 1)} on the belt",
            PLAIN,
            "hind",
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
    ),
    Measure(
        "on_lateral_pair", "on a lateral pair", "1", "share of the stride on fore and hind of one side", PLAIN, "hind"
    ),
    Measure("on_fore_pair", "on the fore pair", "1", "share of the stride on both fore paws alone", PLAIN, "hind"),
    Measure("on_hind_pair", "on the hind pair", "1", "share of the stride on both hind paws alone", PLAIN, "hind"),
    Measure(
        "tracking_up_bl",
        "tracking up",
        "bl",
        "hind print minus the fore print before it, same side; + over-tracking, - under-tracking",
        PLAIN,
        "hind",
    ),
    Measure(
        "tracking_up_m",
        "tracking up",
        "m",
        "hind print minus the fore print before it, same side; + over-tracking, - under-tracking",
        PLAIN,
        "hind",
    ),
    Measure(
        "topline_deg",
        "topline angle",
        "deg",
        "line from withers to croup against the belt line, + croup higher; mean over the stride",
        ISB,
    ),
    Measure("topline_range_deg", "topline range", "deg", "largest minus smallest topline angle within the stride", ISB),
    Measure("withers_excursion_bl", "withers excursion", "bl", "vertical range of the withers within the stride", ISB),
    Measure("croup_excursion_bl", "croup excursion", "bl", "vertical range of the croup within the stride", ISB),
    Measure(
        "withers_second_share",
        "withers, two cycles",
        "1",
        "share of the withers' vertical movement with two cycles per stride",
        OWN,
    ),
    Measure(
        "croup_second_share",
        "croup, two cycles",
        "1",
        "share of the croup's vertical movement with two cycles per stride",
        OWN,
    ),
    Measure(
        "place_bl",
        "place on the belt",
        "bl",
        "mean place of the trunk in the stride, from its median in the clip, + forward",
        OWN,
    ),
    Measure("drift_bl_s", "drift", "bl/s", "speed of the trunk within the picture during the stride, + forward", OWN),
)

NAMES: Final = tuple(measure.name for measure in MEASURES)


def measure(name: str) -> Measure:
    """The row of the table with that name; KeyError for an unknown one."""
    return MEASURES[NAMES.index(name)] if name in NAMES else _unknown(name)


def _unknown(name: str) -> Measure:
    raise KeyError(f"No measure is called {name!r}; known are {', '.join(NAMES)}.")
