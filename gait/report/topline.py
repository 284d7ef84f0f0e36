"""The angle of the back over time."""

from typing import Final

import numpy as np
from matplotlib.axes import Axes

from gait.nouns import GaitRecord
from gait.report.drawing import bare, kept_figure, to_svg
from gait.report.drawn import Drawn
from gait.report.palette import BLUISH_GREEN, INK, QUIET, WASH
from pose.tracks import FloatArray

WIDE_IN: Final = (8.6, 2.1)
NARROW_IN: Final = (3.4, 2.1)
LABEL_IN: Final = 0.72
#: Least half range shown, deg: a level, steady back shall look level and steady.
LEAST_DEG: Final = 5.0

CAPTION: Final = (
    "Angle of the line from withers to croup against the belt. Above zero the croup stands higher, below zero the "
    "withers. A dot is the mean of one used stride of the near hind paw, the dashed line the mean of all frames; gaps"
    " are frames in which the back was not found. Shaded and plain stretches are the gaits of the footfall diagram."
)


def topline_figure(record: GaitRecord) -> Drawn:
    """Topline angle in degrees over the clip."""
    wide, narrow = (_draw(record, size, f"topline-{name}") for size, name in ((WIDE_IN, "wide"), (NARROW_IN, "narrow")))
    return Drawn("topline", "Topline over time", _alt(record.topline_deg), CAPTION, (wide,), (narrow,))


def _draw(record: GaitRecord, size_in: tuple[float, float], salt: str) -> str:
    width, _ = size_in
    angle = record.topline_deg
    place = (LABEL_IN / width, 0.2, 1 - (LABEL_IN + 0.12) / width, 0.76)
    with kept_figure(_scales, size_in, [place]) as (figure, (axes,)):
        _setting(axes, record)
        axes.plot(record.tracks.t_s, angle, color=BLUISH_GREEN, linewidth=0.9)
        axes.plot(*stride_means(record), linestyle="", marker="o", markersize=3.2, color=INK)
        if np.isfinite(angle).any():
            axes.axhline(float(np.nanmean(angle)), color=INK, linewidth=0.8, linestyle=(0, (5, 3)))
        else:
            axes.text(0.5, 0.6, "not known", ha="center", transform=axes.transAxes, color=QUIET)
        return to_svg(figure, salt)


def stride_means(record: GaitRecord) -> tuple[FloatArray, FloatArray]:
    """Middle in s and mean angle in deg of the used strides of the near hind paw, (N,) each."""
    strides = record.strides
    mean = strides.measures.get("topline_deg", np.full(len(strides), np.nan))
    rows = record.strides_of("near_hind") & strides.used & np.isfinite(mean)
    return (strides.start_s[rows] + strides.end_s[rows]) / 2, mean[rows]


def _setting(axes: Axes, record: GaitRecord) -> None:
    """Zero line, range, gait stretches and words."""
    known = record.topline_deg[np.isfinite(record.topline_deg)]
    limit = max(LEAST_DEG, 1.45 * float(np.abs(known).max())) if len(known) else LEAST_DEG
    axes.set_ylim(-limit, limit)
    axes.set_xlim(float(record.tracks.t_s[0]), float(record.tracks.t_s[-1]))
    for run in record.runs[::2]:
        axes.axvspan(run.start_s, run.end_s, color=WASH, zorder=0)
    axes.axhline(0, color=QUIET, linewidth=0.6)
    for place, words in ((0.97, "croup higher"), (0.05, "withers higher")):
        axes.text(
            0.01,
            place,
            words,
            va="top" if place > 0.5 else "bottom",
            color=QUIET,
            fontstyle="italic",
            transform=axes.transAxes,
        )


def _scales(axes: Axes) -> None:
    """Degrees upwards, seconds across."""
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:+g}°" if value else "level")
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:g} s")
    bare(axes, ("left", "bottom"))


def _alt(angle_deg: FloatArray) -> str:
    known = angle_deg[np.isfinite(angle_deg)]
    if not len(known):
        return "Topline over time: the angle of the back is not known."
    low, high = np.percentile(known, [5, 95])
    spread = f"nine frames in ten lie between {low:+.1f} and {high:+.1f} degrees"
    return f"Topline over time. Mean {known.mean():+.1f} degrees; {spread}."
