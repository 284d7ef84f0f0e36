"""Every stride as a point on Hildebrand's two axes: how long the hind paw is down, how late the fore follows."""

from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from matplotlib.axes import Axes

from gait.naming import NamingSettings
from gait.nouns import GaitRecord, Strides
from gait.report.drawing import bare, kept_figure, to_svg
from gait.report.drawn import Drawn
from gait.report.footfall import fit_words
from gait.report.palette import BLUE, CARD, ORANGE, QUIET, WASH
from gait.report.words import UNCLEAR
from pose.tracks import BoolArray, FloatArray

#: % of the stride; the diagram is cut between the paces and the diagonal sequences, where dogs seldom are.
TOP: Final = 87.5
#: Least range of duty factor shown, %; wide enough for the dogs of Hildebrand 1968, J Morphol 124:353.
DUTY_RANGE: Final = (30.0, 80.0)
SIZE_IN: Final = (4.3, 4.0)

#: Gaits from the paces upwards, when the hind pair is never down together and when it is.
RUNS: Final = ("pace", "running single-foot", "trot", "diagonal-sequence run")
WALKS: Final = ("amble", "walk", "walking trot", "diagonal-sequence walk")

#: (side, label, colour, marker, filled)
SIDES: Final = (("near", "near side", BLUE, "o", True), ("far", "far side", ORANGE, "D", False))

CAPTION: Final = (
    "One mark per used stride. Across: the share of the stride that the hind paw is down; left of the upright line "
    "the two hind paws of a symmetrical gait are never down together. Up: how much of the stride passes from the hind"
    " touchdown to the fore touchdown of the same side. Axes as in Hildebrand 1965, Science 150:701 (as quoted by "
    "others, paper not opened); the fields are those by which this tool names symmetrical gaits. A cross is a stride "
    "of an asymmetrical gait, which this diagram cannot name."
)


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """Used strides of one hind paw.

    duty          (N,) %, duty factor
    phase         (N,) %, limb phase from -12.5 to 87.5
    symmetrical   (N,) bool, False for a stride named by an asymmetrical gait
    """

    duty: FloatArray
    phase: FloatArray
    symmetrical: BoolArray


def phases_figure(record: GaitRecord) -> Drawn:
    """Scatter of limb phase against hind duty factor, near and far side."""
    points = {side: phase_points(record.strides, record.strides_of(f"{side}_hind"), side) for side, *_ in SIDES}
    with kept_figure(name_axes, SIZE_IN, [(0.13, 0.12, 0.85, 0.8)]) as (figure, (axes,)):
        draw_fields(axes, points, naming_settings(record))
        for side, label, colour, marker, filled in SIDES:
            draw_marks(axes, points[side], (label, colour, marker), filled)
        if not any(len(each.duty) for each in points.values()):
            axes.text(0.5, 0.5, "not known", ha="center", color=QUIET, transform=axes.transAxes, backgroundcolor=CARD)
        axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2, frameon=False, handletextpad=0.2)
        svg = to_svg(figure, "phases")
    return Drawn("phases", "Limb phase and duty factor", _alt(points), CAPTION, (svg,))


def draw_marks(axes: Axes, points: Points, look: tuple[str, str, str], filled: bool) -> None:
    """The strides of one side; ``look`` is label, colour and marker."""
    label, colour, marker = look
    good = points.symmetrical
    face = colour if filled else "none"
    place, crossed = (points.duty[good], points.phase[good]), (points.duty[~good], points.phase[~good])
    axes.scatter(*place, s=26, c=face, marker=marker, label=label, edgecolors=colour, alpha=0.85, zorder=3)
    axes.scatter(*crossed, s=22, c=colour, marker="x", linewidths=1.0, zorder=3)


def naming_settings(record: GaitRecord) -> NamingSettings:
    """The edges by which the record was named, as far as it tells them."""
    told = record.settings.get("naming", {})
    return NamingSettings(**{item.name: told[item.name] for item in fields(NamingSettings) if item.name in told})


def phase_points(strides: Strides, rows: BoolArray, side: str) -> Points:
    """The used strides among ``rows`` (S,) that have a duty factor and a limb phase of ``side``."""
    nothing = np.full(len(strides), np.nan)
    duty = 100 * strides.measures.get("duty_factor", nothing)
    phase = 100 * strides.measures.get(f"limb_phase_{side}", nothing)
    good = rows & strides.used & np.isfinite(duty) & np.isfinite(phase)
    symmetrical = np.isin(strides.gait[good], [*RUNS, *WALKS, UNCLEAR, ""])
    return Points(duty[good], wrap(phase[good]), symmetrical)


def wrap(phase_percent: FloatArray) -> FloatArray:
    """Limb phase (N,) in % moved to -12.5 .. 87.5, so that the paces around 0 lie together."""
    return np.asarray((phase_percent + 100 - TOP) % 100 + TOP - 100)


def regions(naming: NamingSettings) -> tuple[tuple[str, bool, float, float], ...]:
    """Fields of the diagram from bottom to top: (gait, run or not, lower edge, upper edge), limb phase in %."""
    pace, half = 100 * naming.pace_edge, 50.0
    fields_of = []
    for run, names in ((True, RUNS), (False, WALKS)):
        trot = 100 * (naming.run_trot_edge if run else naming.walk_trot_edge)
        edges = (TOP - 100, pace, half - trot, half + trot, TOP)
        fields_of += [(name, run, low, high) for name, low, high in zip(names, edges, edges[1:], strict=False)]
    return tuple(fields_of)


def draw_fields(axes: Axes, points: dict[str, Points], naming: NamingSettings) -> None:
    """Fields and their names under the marks."""
    duty = np.concatenate([each.duty for each in points.values()] + [np.array(DUTY_RANGE)])
    left, right = float(duty.min()) - 2, float(duty.max()) + 2
    line = 100 * naming.running
    axes.set_xlim(left, right)
    axes.set_ylim(TOP - 100, TOP)
    for number, (name, run, low, high) in enumerate(regions(naming)):
        start, end = (left, line) if run else (line, right)
        axes.fill_between([start, end], low, high, color=WASH if (number + run) % 2 else CARD, linewidth=0, zorder=0)
        place, side = (start + 0.7, "left") if run else (end - 0.7, "right")
        words = fit_words(name, 18)
        axes.text(place, high - 1.2, words, ha=side, va="top", color=QUIET, style="italic", linespacing=0.95)
    axes.axvline(line, color=QUIET, linewidth=0.8)


def name_axes(axes: Axes) -> None:
    """What is told across and upwards."""
    axes.set_yticks([0, 25, 50, 75])
    axes.set_xlabel("hind paw down, % of the stride")
    axes.set_ylabel("fore after hind, % of the stride")
    bare(axes, ("bottom", "left"))


def _alt(points: dict[str, Points]) -> str:
    """Medians of both sides in words."""
    parts = (f"{side} side, {_words(each)}" for side, each in points.items())
    return f"Limb phase against duty factor. {'; '.join(parts)}."


def _words(points: Points) -> str:
    if not len(points.duty):
        return "not known"
    duty, phase = np.median(points.duty), np.median(points.phase)
    return f"medians of {len(points.duty)} strides: hind paw down {duty:.0f} %, fore after hind {phase:.0f} %"
