"""The footfall diagram: when each paw is down, written in lines like a page of text."""

import textwrap
from dataclasses import dataclass
from math import ceil

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path
from matplotlib.transforms import Affine2D

from gait.nouns import Contacts, GaitRecord, Run, Strides
from gait.report.drawing import bare, kept_figure, to_svg
from gait.report.drawn import Drawn
from gait.report.palette import INK, LANES, PAW_STYLES, QUIET, WASH
from gait.report.words import UNCLEAR, unclear_within
from pose.landmarks import PAWS
from pose.tracks import FloatArray


@dataclass(frozen=True, slots=True)
class FootfallSettings:
    """How the diagram is laid out.

    width_in, narrow_width_in     in, chosen so that letters keep about 11 px on a desk screen and on a 390 px phone
    strides_per_line, narrow_strides_per_line   a stride keeps about half an inch, the least in which a gait name fits
    line_in                       in, height of one line: four lanes, the gait names and the seconds
    lines_per_piece               lines that stay together when a printed page breaks
    letter_in                     in, width of one letter of a gait name, measured on the typeface at its size
    """

    width_in: float = 8.6
    narrow_width_in: float = 3.4
    strides_per_line: float = 12.0
    narrow_strides_per_line: float = 5.0
    line_in: float = 1.32
    lines_per_piece: int = 4
    letter_in: float = 0.068


LABEL_IN = 0.72
BAR_HEIGHT = 0.62
HATCH_HEIGHT = 0.92
STOP_HEIGHT = 0.16
UNDERLINE_RISE = 0.1
NAME_BAND = (-1.55, -0.62)


def footfall_figure(record: GaitRecord, settings: FootfallSettings = FootfallSettings()) -> Drawn:
    """The whole clip's stances of the four paws, with the gait names over them, on one time axis."""
    wide = _pieces(record, settings, settings.width_in, settings.strides_per_line, "footfall-wide")
    narrow = _pieces(record, settings, settings.narrow_width_in, settings.narrow_strides_per_line, "footfall-narrow")
    return Drawn("footfall", "Footfalls", _alt(record), CAPTION, wide, narrow)


CAPTION = (
    "Each bar is one stance: a paw on the belt from touchdown to lift-off. Dark bars are the near side, pale bars the "
    "far side. A thin line across the end of a bar is the uncertainty of that event (two standard deviations either "
    "way). A hollow, dashed bar was cut off by the start or the end of the clip. Hatched stretches are strides that "
    "were not used. A dotted line under a gait's name marks strides whose own name is unclear."
)


def _alt(record: GaitRecord) -> str:
    """What the diagram shows, in words."""
    parts = []
    for paw in LANES:
        count = int(np.count_nonzero(record.contacts.paw == PAWS.index(paw)))
        parts.append(f"{PAW_STYLES[paw].label} {count}")
    names = ", then ".join(f"{run.gait} from {run.start_s:.2f} to {run.end_s:.2f} s" for run in record.runs)
    return f"Footfall diagram. Stances drawn: {', '.join(parts)}. Gait over time: {names or 'no gait named'}."


def line_seconds(record: GaitRecord, strides: float) -> float:
    """s that one line holds, so that about ``strides`` strides of this dog fit; the whole clip when none is known."""
    length = np.asarray(record.strides.end_s - record.strides.start_s)
    length = length[np.isfinite(length)]
    whole = _span(record)[1] - _span(record)[0]
    return min(whole, strides * float(np.median(length))) if len(length) else whole


def _span(record: GaitRecord) -> tuple[float, float]:
    """First and last moment of the clip in s."""
    return float(record.tracks.t_s[0]), float(record.tracks.t_s[-1])


def _pieces(
    record: GaitRecord, settings: FootfallSettings, width_in: float, strides: float, salt: str
) -> tuple[str, ...]:
    start, stop = _span(record)
    seconds = line_seconds(record, strides)
    count = max(1, ceil((stop - start) / seconds - 0.02))
    starts = [start + seconds * line for line in range(count)]
    groups = [starts[i : i + settings.lines_per_piece] for i in range(0, count, settings.lines_per_piece)]
    return tuple(_piece(record, settings, width_in, (group, seconds), f"{salt}-{k}") for k, group in enumerate(groups))


def _piece(
    record: GaitRecord, settings: FootfallSettings, width_in: float, lines: tuple[list[float], float], salt: str
) -> str:
    """SVG of a few lines; ``lines`` is their starts in s and the s that each holds."""
    starts, seconds = lines
    height_in = settings.line_in * len(starts)
    left, width = LABEL_IN / width_in, 1 - (LABEL_IN + 0.12) / width_in
    bottoms = [1 - (row + 1) / len(starts) + 0.27 / height_in for row in range(len(starts))]
    places = [(left, bottom, width, (settings.line_in - 0.32) / height_in) for bottom in bottoms]
    with kept_figure(_lanes, (width_in, height_in), places) as (figure, rows):
        for axes, start in zip(rows, starts, strict=True):
            _line(axes, record, start, seconds)
            _names(axes, record, width * width_in / seconds / settings.letter_in)
        return to_svg(figure, salt)


def _lanes(axes: Axes) -> None:
    """A lane for each paw, and the seconds under them."""
    axes.set_yticks(range(len(LANES)), [PAW_STYLES[paw].label for paw in LANES])
    axes.tick_params(axis="y", length=0, pad=3)
    axes.tick_params(axis="x", length=2.5, pad=1.5)
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:g} s")
    axes.grid(axis="x")
    axes.set_axisbelow(True)
    bare(axes)


def _line(axes: Axes, record: GaitRecord, start: float, seconds: float) -> None:
    """One line of the diagram: hatched dropped strides, bars and whiskers in their lanes."""
    axes.set_xlim(start, start + seconds)
    axes.set_ylim(len(LANES) - 0.45, NAME_BAND[0])
    edges = _span(record)
    for lane, paw in enumerate(LANES):
        _dropped(axes, record, paw, lane)
        _bars(axes, record.contacts, paw, (lane, *edges))


def _dropped(axes: Axes, record: GaitRecord, paw: str, lane: int) -> None:
    """Hatch the strides of ``paw`` that were not used; one without a beginning or an end runs to the clip's edge."""
    strides, (first, last) = record.strides, _span(record)
    rows = record.strides_of(paw) & ~strides.used
    start, end = np.nan_to_num(strides.start_s[rows], nan=first), np.nan_to_num(strides.end_s[rows], nan=last)
    outline = boxes(axes, (start, end), lane, HATCH_HEIGHT)
    if np.size(outline.vertices):
        axes.add_patch(PathPatch(outline, facecolor=WASH, edgecolor=QUIET, hatch="/////", linewidth=0, zorder=1))


def _bars(axes: Axes, contacts: Contacts, paw: str, place: tuple[int, float, float]) -> None:
    """Stances of ``paw``; ``place`` is its lane and the clip's first and last moment in s."""
    lane, first, last = place
    style = PAW_STYLES[paw]
    rows = contacts.paw == PAWS.index(paw)
    down, lift = contacts.touchdown_s[rows], contacts.liftoff_s[rows]
    whole = np.isfinite(down) & np.isfinite(lift)
    start, end = np.nan_to_num(down, nan=first), np.nan_to_num(lift, nan=last)
    for kind, face, line in ((whole, style.colour, "-"), (~whole, "none", (0, (2, 1.5)))):
        outline = boxes(axes, (start[kind], end[kind]), lane, BAR_HEIGHT)
        axes.add_patch(PathPatch(outline, facecolor=face, edgecolor=style.colour, linewidth=0.8, linestyle=line))
    draw_whiskers(axes, down, 2 * contacts.touchdown_sd_ms[rows] / 1000, lane)
    draw_whiskers(axes, lift, 2 * contacts.liftoff_sd_ms[rows] / 1000, lane)


def draw_whiskers(axes: Axes, at: FloatArray, spread: FloatArray, lane: int) -> None:
    """``spread`` (N,) either way of each event ``at`` (N,), in the unit of the axis, as thin lines with stops."""
    low, high = axes.get_xlim()
    good = np.isfinite(spread) & (at > low) & (at < high)
    left, right, gap = at[good] - spread[good], at[good] + spread[good], np.full(int(good.sum()), np.nan)
    up, down, mid = (np.full(len(gap), lane + step) for step in (-STOP_HEIGHT, STOP_HEIGHT, 0))
    across = np.column_stack([left, left, left, right, right, right, gap])
    along = np.column_stack([up, down, mid, mid, up, down, gap])
    axes.plot(across.ravel(), along.ravel(), color=INK, linewidth=0.7, alpha=0.8, solid_capstyle="butt")


def _names(axes: Axes, record: GaitRecord, letters_per_s: float) -> None:
    """The gait of every run over the lanes, on the same time axis."""
    low, high = axes.get_xlim()
    top, bottom = NAME_BAND
    for run in record.runs:
        start, end = max(run.start_s, low), min(run.end_s, high)
        if end <= start:
            continue
        named = run.gait != UNCLEAR
        face, line, slant = (WASH, "-", "normal") if named else ("none", (0, (3, 2)), "italic")
        box = Rectangle((start, top), end - start, bottom - top, facecolor=face, edgecolor=QUIET, lw=0.6, ls=line)
        axes.add_patch(box)
        words = fit_words(run.gait, int((end - start) * letters_per_s))
        middle = ((start + end) / 2, (top + bottom) / 2)
        axes.text(*middle, words, ha="center", va="center", size=7.5, linespacing=0.95, style=slant)
        if named:
            _unclear(axes, run, record.strides)


def _unclear(axes: Axes, run: Run, strides: Strides) -> None:
    """Underline, within the box of a named run, the strides whose own name is unclear."""
    rows = unclear_within(run, strides)
    level = NAME_BAND[1] - UNDERLINE_RISE
    for start, end in zip(strides.start_s[rows], strides.end_s[rows], strict=True):
        axes.plot([start, end], [level, level], color=INK, linewidth=1.3, linestyle=(0, (1, 1)))


def fit_words(words: str, letters: int) -> str:
    """``words`` broken into at most two lines of ``letters`` letters; "…" when they cannot fit."""
    if len(words) <= letters:
        return words
    lines = textwrap.wrap(words, letters, break_long_words=False) if letters > 0 else []
    return "\n".join(lines) if 0 < len(lines) <= 2 and max(map(len, lines)) <= letters else "…"


def boxes(axes: Axes, spans: tuple[FloatArray, FloatArray], lane: int, height: float) -> Path:
    """One outline of all spans (starts (N,), ends (N,), unit of the axis) of a lane that show on these axes."""
    low, high = axes.get_xlim()
    shown = (spans[1] > low) & (spans[0] < high)
    corners = [
        Path.unit_rectangle().transformed(Affine2D().scale(end - start, height).translate(start, lane - height / 2))
        for start, end in zip(spans[0][shown], spans[1][shown], strict=True)
    ]
    return Path.make_compound_path(*corners) if corners else Path(np.empty((0, 2)))
