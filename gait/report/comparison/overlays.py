"""The sides of a family drawn over each other: Hildebrand's diagram, paw paths, the topline over the stride."""

from typing import Final

import numpy as np
from matplotlib.axes import Axes

from gait.report.comparison.cycle import short
from gait.report.comparison.families import Family, Side, hind_rows
from gait.report.drawing import bare, kept_figure, new_figure, styled, to_svg
from gait.report.drawn import Drawn
from gait.report.palette import CARD, QUIET
from gait.report.paths import (
    BELOW_BL,
    PHASES,
    body_lengths,
    draw_belt,
    limits,
    middle_path,
    over_stride,
    path_words,
    stride_paths,
)
from gait.report.phases import Points, draw_fields, draw_marks, name_axes, naming_settings, phase_points
from gait.report.words import strides_word
from pose.tracks import FloatArray

PHASES_IN: Final = (4.3, 4.2)
TOPLINE_IN: Final = (4.3, 4.2)
WIDTHS_IN: Final = {"wide": 8.6, "narrow": 3.4}
#: in, room left of the axes, and over them for the names of the sides, per line of them.
LEFT_IN: Final = 0.62
LINE_IN: Final = 0.19
#: Least range of the topline shown, deg: a level back shall look level.
LEAST_DEG: Final = 4.0
HILDEBRAND: Final = (
    "One mark per used stride of either hind paw, of every gait. Across: the share of the stride that the hind paw is "
    "down. Up: how much of the stride passes from the hind touchdown to the fore touchdown of the same side. Axes as in"
    " Hildebrand 1965, Science 150:701 (as quoted by others, paper not opened); the fields are those by which this tool"
    " names symmetrical gaits. A cross is a stride of an asymmetrical gait, which this diagram cannot name."
)
PATHS: Final = (
    "The way of the near fore and the near hind paw relative to the middle of the trunk over one stride; the dog "
    "travels to the right. Each line is the middle path (median) of the used strides of the gait named. W and C mark "
    "where withers and croup stand above. Both axes are in body lengths (withers to croup), drawn to the same scale."
)
TOPLINE: Final = (
    "Angle of the line from withers to croup against the belt over one stride of the near hind paw, from touchdown to "
    "touchdown. Line: mean of the used strides of the gait named; band: one standard deviation between strides either "
    "way. Above the level line the croup stands higher, below it the withers."
)


def overlay_figures(family: Family) -> tuple[Drawn, ...]:
    """Every figure in which the sides lie over each other."""
    return hildebrand_figure(family), cycle_topline_figure(family), overlaid_paths_figure(family)


def hildebrand_figure(family: Family) -> Drawn:
    """Limb phase against duty factor, one mark per stride, coloured by side."""
    points = {side.name: _points(side) for side in family.sides}
    naming = naming_settings(family.sides[0].clips.records[0])
    place = (0.13, 0.115, 0.85, _top(PHASES_IN[1], len(family.sides), 2) - 0.115)
    with kept_figure(name_axes, PHASES_IN, [place]) as (figure, (axes,)):
        draw_fields(axes, points, naming)
        for number, side in enumerate(family.sides):
            name = f"{short(side.name, 22)} ({len(points[side.name].duty)})"
            draw_marks(axes, points[side.name], (name, side.look.colour, side.look.marker), filled=number == 0)
        _legend(axes, 2)
        svg = to_svg(figure, f"{family.key}-phases")
    told = "; ".join(f"{name}: {_medians(each)}" for name, each in points.items())
    alt = f"Limb phase against hind duty factor, by side. {told}."
    return Drawn(f"{family.key}-phases", "Every stride on Hildebrand's axes", alt, HILDEBRAND, (svg,))


def _points(side: Side) -> Points:
    """The used strides of both hind paws in all clips of a side."""
    found = [
        phase_points(record.strides, record.strides_of(f"{name}_hind"), name)
        for record in side.clips.records
        for name in ("near", "far")
    ]
    return Points(
        np.concatenate([each.duty for each in found]),
        np.concatenate([each.phase for each in found]),
        np.concatenate([each.symmetrical for each in found]),
    )


def _medians(points: Points) -> str:
    if not len(points.duty):
        return "not known"
    duty, phase = np.median(points.duty), np.median(points.phase)
    return f"medians of {strides_word(len(points.duty))}, hind paw down {duty:.0f} %, fore after hind {phase:.0f} %"


def _top(height_in: float, names: int, columns: int) -> float:
    """Upper edge of the axes as a share of the figure, below the names of the sides."""
    return 1 - (LINE_IN * -(-names // columns) + 0.06) / height_in


def _legend(axes: Axes, columns: int) -> None:
    axes.legend(
        loc="lower left", bbox_to_anchor=(-0.02, 1.0), ncols=columns, frameon=False, borderaxespad=0.1,
        handlelength=2.6, handletextpad=0.5, columnspacing=1.4, labelspacing=0.3,
    )  # fmt: skip


def overlaid_paths_figure(family: Family) -> Drawn:
    """Middle paths of the near fore and the near hind paw, one line per side."""
    paths = {
        (side.name, paw): np.concatenate([_paths(side, number, paw) for number in range(len(side.clips.records))])
        for side in family.sides
        for paw in ("near_fore", "near_hind")
    }
    drawn = {name: _draw_paths(family, paths, width, name) for name, width in WIDTHS_IN.items()}
    told = "; ".join(f"{name}, {paw.replace('_', ' ')}: {path_words(each)}" for (name, paw), each in paths.items())
    alt = f"Paw paths under the trunk, near side. {told}."
    return Drawn(
        f"{family.key}-paths", "Paw paths under the trunk", alt, PATHS, (drawn["wide"],), (drawn["narrow"],)
    )  # fmt: skip


def _paths(side: Side, number: int, paw: str) -> FloatArray:
    record = side.clips.records[number]
    return stride_paths(record, paw, record.ground_px / record.body_length_px, side.chosen(record))


def _draw_paths(family: Family, paths: dict[tuple[str, str], FloatArray], width_in: float, salt: str) -> str:
    left, right, top = limits({f"{name} {paw}": each for (name, paw), each in paths.items()})
    panel_in = width_in - LEFT_IN - 0.1
    height_in = (top - BELOW_BL) * panel_in / (right - left)
    columns = 3 if width_in > 5 else 1
    over_in = LINE_IN * -(-len(family.sides) // columns) + 0.08
    whole = height_in + over_in + 0.45
    place = (LEFT_IN / width_in, 0.45 / whole, panel_in / width_in, height_in / whole)
    with kept_figure(body_lengths, (width_in, whole), [place]) as (figure, (axes,)):
        axes.set_xlim(left, right)
        axes.set_ylim(BELOW_BL, top)
        known = [_path_lines(axes, side, paths) for side in family.sides]
        draw_belt(axes, known=any(known))
        _name_paws(axes, family.sides[0], paths)
        axes.set_xlabel("ahead of the middle of the trunk, body lengths")
        if any(known):
            _legend(axes, columns)
        return to_svg(figure, f"{family.key}-paths-{salt}")


def _path_lines(axes: Axes, side: Side, paths: dict[tuple[str, str], FloatArray]) -> bool:
    """Both paws of a side under one name; whether anything is known."""
    name = f"{short(side.name, 24)}: {side.gait}" if side.gait else short(side.name, 30)
    known = False
    for paw in ("near_fore", "near_hind"):
        if np.isfinite(paths[side.name, paw]).any():
            middle = middle_path(paths[side.name, paw])
            axes.plot(
                *middle.T, color=side.look.colour, linestyle=side.look.line, linewidth=1.7, label="" if known else name
            )
            known = True
    return known


def _name_paws(axes: Axes, side: Side, paths: dict[tuple[str, str], FloatArray]) -> None:
    """The name of each paw within its path."""
    for paw in ("near_fore", "near_hind"):
        middle = middle_path(paths[side.name, paw])
        middle = middle[np.isfinite(middle).all(axis=1)]
        if len(middle):
            across, up = middle.min(axis=0) / 2 + middle.max(axis=0) / 2
            clear = {"facecolor": CARD, "edgecolor": "none", "pad": 0.8, "alpha": 0.85}
            words = paw.replace("_", " ")
            axes.text(across, up, words, ha="center", va="center", color=QUIET, fontstyle="italic", bbox=clear)


def cycle_topline_figure(family: Family) -> Drawn:
    """Topline angle over the stride, mean and band, one line per side."""
    angles = {side.name: toplines(side) for side in family.sides}
    with styled():
        figure = new_figure(*TOPLINE_IN)
        axes = figure.add_axes((0.155, 0.115, 0.8, _top(TOPLINE_IN[1], len(family.sides), 2) - 0.115))
        for side in family.sides:
            _band(axes, side, angles[side.name])
        _topline_ground(axes, angles)
        svg = to_svg(figure, f"{family.key}-topline")
    told = "; ".join(f"{name}: {_angle_words(each)}" for name, each in angles.items())
    alt = f"Topline angle over one stride, by side. {told}."
    return Drawn(f"{family.key}-topline", "Topline over the stride", alt, TOPLINE, (svg,))


def toplines(side: Side) -> FloatArray:
    """(N, 60) deg, the topline angle at even moments of each near hind stride of a side."""
    found = []
    for record in side.clips.records:
        rows = hind_rows(side, record)
        spans = zip(record.strides.start_s[rows], record.strides.end_s[rows], strict=True)
        angle = record.topline_deg[:, None]
        found += [over_stride(record.tracks.t_s, angle, start, end)[:, 0] for start, end in spans]
    return np.array(found).reshape(-1, PHASES)


def _mean_and_spread(angles: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation (60,) deg of (N, 60); NaN where no stride, or only one, was seen."""
    number = np.isfinite(angles).sum(axis=0)
    known = np.where(np.isfinite(angles), angles, 0.0)
    mean = np.where(number > 0, known.sum(axis=0) / np.maximum(number, 1), np.nan)
    away = np.where(np.isfinite(angles), angles - mean, 0.0)
    return mean, np.where(number > 1, np.sqrt((away**2).sum(axis=0) / np.maximum(number - 1, 1)), np.nan)


def _band(axes: Axes, side: Side, angles: FloatArray) -> None:
    mean, spread = _mean_and_spread(angles)
    if not np.isfinite(mean).any():
        return
    share = np.linspace(0, 100, PHASES)
    axes.fill_between(share, mean - spread, mean + spread, color=side.look.colour, alpha=0.13, linewidth=0)
    name = f"{short(side.name, 22)} ({len(angles)})"
    axes.plot(share, mean, color=side.look.colour, linestyle=side.look.line, linewidth=1.7, label=name)


def _topline_ground(axes: Axes, angles: dict[str, FloatArray]) -> None:
    every = [edge for each in angles.values() for edge in _edges(each)]
    low, high = min([*every, -0.5]), max([*every, 0.5])
    room = max(0.0, LEAST_DEG - (high - low)) / 2 + 0.12 * (high - low)
    axes.set_ylim(low - room, high + room)
    axes.set_xlim(0, 100)
    axes.axhline(0, color=QUIET, linewidth=0.6)
    axes.set_xticks([0, 25, 50, 75, 100])
    axes.set_xlabel("% of the stride of the near hind paw")
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:+g}°".replace("-", "−") if value else "level")
    bare(axes, ("left", "bottom"))
    for place, words in ((0.98, "croup higher"), (0.02, "withers higher")):
        align = "top" if place > 0.5 else "bottom"
        axes.text(0.99, place, words, ha="right", va=align, color=QUIET, fontstyle="italic", transform=axes.transAxes)
    if every:
        _legend(axes, 2)
    else:
        axes.text(0.5, 0.6, "not known", ha="center", transform=axes.transAxes, color=QUIET)


def _edges(angles: FloatArray) -> list[float]:
    mean, spread = _mean_and_spread(angles)
    both = np.concatenate([mean - np.nan_to_num(spread), mean + np.nan_to_num(spread)])
    both = both[np.isfinite(both)]
    return [float(both.min()), float(both.max())] if len(both) else []


def _angle_words(angles: FloatArray) -> str:
    mean, _ = _mean_and_spread(angles)
    known = mean[np.isfinite(mean)]
    if not len(known):
        return "not known"
    low, high, number = known.min(), known.max(), strides_word(len(angles))
    return f"mean of {number} {known.mean():+.1f} degrees, from {low:+.1f} to {high:+.1f} within the stride"
