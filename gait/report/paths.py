"""The path of each paw under the trunk, seen from the side, the dog travelling to the right."""

from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.ticker import MultipleLocator

from gait.nouns import GaitRecord
from gait.report.drawing import bare, kept_figure, to_svg
from gait.report.drawn import Drawn
from gait.report.palette import INK, PAW_STYLES, QUIET
from pose.landmarks import PAWS
from pose.tracks import BoolArray, FloatArray

#: Moments of the stride at which paths are averaged; 60 keeps a fast lift of the paw, and the page small.
PHASES: Final = 60
#: Paths drawn one by one behind the middle one; more only makes a blot.
FAINT_PATHS: Final = 12
#: Withers and croup stand half a body length before and behind the middle of the trunk, by definition.
HALF_TRUNK_BL: Final = 0.5
#: Least range shown, body lengths: ahead or behind, and up.
LEAST_BL: Final = (1.0, 0.4)
BELOW_BL: Final = -0.06
#: in, width of the figure and of one panel, and room between panels for title and numbers.
WIDTH_IN: Final = 4.3
PANEL_IN: Final = 3.65
GAP_IN: Final = 0.62
SIDES: Final = ("near", "far")

CAPTION: Final = (
    "Each paw's way relative to the middle of the trunk over one stride; the dog travels to the right. Bold: the "
    "middle path of the used strides; faint: single strides. W and C mark where withers and croup stand above. The "
    "lower, flat part is the stance. Both axes are in body lengths (withers to croup), drawn to the same scale."
)


def paths_figure(record: GaitRecord) -> Drawn:
    """Paw paths of the near and the far side, one above the other."""
    height_bl = record.ground_px / record.body_length_px
    paths = {paw: stride_paths(record, paw, height_bl) for paw in PAWS}
    frame = limits(paths)
    return Drawn("paths", "Paw paths under the trunk", _alt(paths), CAPTION, (_draw(paths, frame),))


def limits(paths: dict[str, FloatArray]) -> tuple[float, float, float]:
    """Leftmost, rightmost and highest place shown, body lengths: all middle paths, and no less than the usual ones."""
    middles = [middle_path(each) for each in paths.values() if len(each)]
    known = np.vstack([*middles, np.array([[-LEAST_BL[0], 0], LEAST_BL])])
    known = known[np.isfinite(known).all(axis=1)]
    return float(known[:, 0].min()) - 0.1, float(known[:, 0].max()) + 0.1, float(known[:, 1].max()) + 0.1


def _draw(paths: dict[str, FloatArray], frame: tuple[float, float, float]) -> str:
    """SVG of both sides to one scale: an inch is as many body lengths across as up."""
    left, right, top = frame
    panel_in = (top - BELOW_BL) * PANEL_IN / (right - left)
    height = 2 * (panel_in + GAP_IN) + 0.2
    bottoms = [0.2 + (1 - row) * (panel_in + GAP_IN) + 0.22 for row in range(len(SIDES))]
    across = (1 - (PANEL_IN + 0.08) / WIDTH_IN, PANEL_IN / WIDTH_IN)
    places = [(across[0], bottom / height, across[1], panel_in / height) for bottom in bottoms]
    with kept_figure(body_lengths, (WIDTH_IN, height), places) as (figure, rows):
        for axes, side in zip(rows, SIDES, strict=True):
            axes.set_xlim(left, right)
            axes.set_ylim(BELOW_BL, top)
            _side(axes, paths, side)
        rows[-1].set_xlabel("ahead of the middle of the trunk, body lengths")
        return to_svg(figure, "paths")


def stride_paths(record: GaitRecord, paw: str, height_bl: FloatArray, among: BoolArray | None = None) -> FloatArray:
    """Paths (S, 60, 2) of the used strides of ``paw``: ahead of the trunk's middle and over the belt, body lengths.

    height_bl (T, 4) body lengths over the belt; among (all strides,) bool, None = all that are used
    """
    strides, column, t_s = record.strides, PAWS.index(paw), record.tracks.t_s
    rows = (
        record.strides_of(paw)
        & (strides.used if among is None else among)
        & np.isfinite(strides.end_s - strides.start_s)
    )
    place = np.column_stack([record.forward_bl[:, column], height_bl[:, column]])
    paths = [
        over_stride(t_s, place, start, end)
        for start, end in zip(strides.start_s[rows], strides.end_s[rows], strict=True)
    ]
    return np.array(paths).reshape(-1, PHASES, 2)


def over_stride(t_s: FloatArray, place: FloatArray, start: float, end: float) -> FloatArray:
    """One stride (60, N) read off ``place`` (T, N) at even moments; NaN where the frames around it were missing."""
    wanted = np.linspace(start, end, PHASES)
    return np.column_stack([np.interp(wanted, t_s, column) for column in place.T])


def middle_path(paths: FloatArray) -> FloatArray:
    """Median path (60, 2) of ``paths`` (S, 60, 2), leaving out what is missing; NaN where nothing is known."""
    known = np.isfinite(paths).any(axis=0)
    middle = np.full(paths.shape[1:], np.nan)
    middle[known] = np.nanmedian(paths[:, known], axis=0)
    return middle


def _side(axes: Axes, paths: dict[str, FloatArray], side: str) -> None:
    """One side of the dog: fore and hind paw, and where the trunk stands above them."""
    axes.set_title(f"{side} side", loc="left", color=INK, pad=5)
    for paw in (f"{side}_hind", f"{side}_fore"):
        style = PAW_STYLES[paw]
        faint = LineCollection(
            list(paths[paw][:FAINT_PATHS]), colors=style.colour, alpha=0.25, linewidths=0.6, capstyle="projecting"
        )
        axes.add_collection(faint, autolim=False)
        if np.isfinite(paths[paw]).any():
            middle = middle_path(paths[paw])
            axes.plot(*middle.T, color=style.colour, linewidth=1.8, linestyle=style.line, label=style.label)
    known = any(np.isfinite(paths[f"{side}_{pair}"]).any() for pair in ("fore", "hind"))
    draw_belt(axes, known)
    if known:
        axes.legend(loc="lower right", bbox_to_anchor=(1, 1), ncols=2, frameon=False, borderaxespad=0, handlelength=2.4)


def draw_belt(axes: Axes, known: bool) -> None:
    """Belt line and trunk marks."""
    axes.axhline(0, color=QUIET, linewidth=0.8)
    for place, letter in ((-HALF_TRUNK_BL, "C"), (HALF_TRUNK_BL, "W")):
        axes.axvline(place, color=QUIET, linewidth=0.6, linestyle=(0, (1, 2)))
        axes.text(
            place,
            0.99,
            letter,
            ha="center",
            va="top",
            color=QUIET,
            transform=axes.get_xaxis_transform(),
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
        )
    if not known:
        axes.text(0.5, 0.5, "not known", ha="center", transform=axes.transAxes, color=QUIET)


def body_lengths(axes: Axes) -> None:
    """Body lengths to the same scale across and upwards."""
    axes.xaxis.set_major_locator(MultipleLocator(0.5))
    axes.yaxis.set_major_locator(MultipleLocator(0.2))
    axes.set_ylabel("over the belt")
    bare(axes, ("left", "bottom"))


def _alt(paths: dict[str, FloatArray]) -> str:
    """Reach and lift of the middle path of every paw, in words."""
    return (
        f"Paw paths under the trunk. {'; '.join(f'{PAW_STYLES[paw].label}: {path_words(paths[paw])}' for paw in PAWS)}."
    )


def path_words(paths: FloatArray) -> str:
    """How far the middle path of ``paths`` (S, 60, 2) body lengths goes back, forward and up, in words."""
    middle = middle_path(paths) if len(paths) else np.full((1, 2), np.nan)
    known = np.isfinite(middle).all(axis=1)
    if not known.any():
        return "not known"
    low, high = middle[known].min(axis=0), middle[known].max(axis=0)
    return f"from {low[0]:+.2f} to {high[0]:+.2f} body lengths, lifted {high[1] - low[1]:.2f}"
