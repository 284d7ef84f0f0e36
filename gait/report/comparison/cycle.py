"""One typical stride of each side, the sides one under another on a common axis of the stride."""

import textwrap
from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch

from gait.measures import measure
from gait.nouns import Contacts, GaitRecord
from gait.report.comparison.families import Family, Side, hind_rows
from gait.report.drawing import bare, kept_figure, to_svg
from gait.report.drawn import Drawn
from gait.report.footfall import BAR_HEIGHT, LABEL_IN, boxes, draw_whiskers
from gait.report.palette import LANES, PAW_STYLES, QUIET
from gait.report.words import strides_word
from gait.summaries import mean_of
from pose.landmarks import PAWS
from pose.tracks import FloatArray

WIDTHS_IN: Final = {"wide": 8.6, "narrow": 3.4}
#: in, height of one side: two lines of words over four lanes; and of the axis under the last one.
SIDE_IN: Final = 1.22
AXIS_IN: Final = 0.42
#: Share of a stride by which a touchdown may miss the start of its own stride; rounding alone.
NEAR: Final = 1e-6
COUNTS: Final = ("none", "one", "two", "three", "all four")

CAPTION: Final = (
    "One stride, from a touchdown of the near hind paw to its next, as the mean of the used strides of the gait named. "
    "Each bar is the time of a paw on the belt; dark bars are the near side, pale bars the far side. A thin line across"
    " the end of a bar is one standard deviation between strides either way. A bar that runs over the end of the "
    "stride goes on at its start."
)


@dataclass(frozen=True, slots=True, eq=False)
class Cycle:
    """The mean stride of one side, paws in the order of pose.landmarks.PAWS; shares of the stride, NaN = not known.

    touchdown, down        (4,) when the paw lands after the near hind, how long it stays
    touchdown_sd, liftoff_sd   (4,) between strides
    paws_down              (5,) share of the stride with 0 to 4 paws on the belt
    strides                how many it is the mean of
    """

    touchdown: FloatArray
    down: FloatArray
    touchdown_sd: FloatArray
    liftoff_sd: FloatArray
    paws_down: FloatArray
    strides: int


def cycle(side: Side) -> Cycle:
    """The mean stride of ``side`` over all its clips."""
    parts = [_events(record, side) for record in side.clips.records]
    touch = np.concatenate([np.empty((0, 4)), *(part[0] for part in parts)])
    lift = np.concatenate([np.empty((0, 4)), *(part[1] for part in parts)])
    landed, landed_sd = _round(touch)
    _, lifted_sd = _round(lift)
    down = np.array([_mean(column) for column in (lift - touch).T])
    shares = [
        np.concatenate([_column(record, side, f"paws_down_{n}") for record in side.clips.records]) for n in range(5)
    ]
    return Cycle(landed, down, landed_sd, lifted_sd, np.array([_mean(each) for each in shares]), len(touch))


def _events(record: GaitRecord, side: Side) -> tuple[FloatArray, FloatArray]:
    """Touchdown and lift-off (N, 4) of every paw in each near hind stride, shares of it; NaN where there was none."""
    rows = hind_rows(side, record)
    start, end = record.strides.start_s[rows], record.strides.end_s[rows]
    found = [_in_strides(record.contacts, paw, start, end) for paw in range(len(PAWS))]
    touch, lift = (np.stack(columns, axis=1) for columns in zip(*found, strict=True))
    length = (end - start)[:, None]
    return (touch - start[:, None]) / length, (lift - start[:, None]) / length


def _in_strides(contacts: Contacts, paw: int, start: FloatArray, end: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Times (N,) of the touchdown of ``paw`` that belongs to each stride, and of the lift-off after it.

    A paw that lands now just before, now just after the near hind is once missing in a stride and twice in the next;
    so the touchdown nearest to the paw's usual share of the stride is taken.
    """
    rows = (contacts.paw == paw) & np.isfinite(contacts.touchdown_s)
    down, lift = contacts.touchdown_s[rows], contacts.liftoff_s[rows]
    if not len(down) or not len(start):
        return np.full(len(start), np.nan), np.full(len(start), np.nan)
    length = end - start
    first = np.minimum(np.searchsorted(down, start - NEAR * length), len(down) - 1)
    inside = down[first] < end - NEAR * length
    usual = _round(((down[first] - start) / length)[inside, None])[0][0]
    found = np.abs(down[None, :] - (start + usual * length)[:, None]).argmin(axis=1)
    good = np.abs(down[found] - start - usual * length) < length / 2
    return np.where(good, down[found], np.nan), np.where(good, lift[found], np.nan)


def _round(shares: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation (4,) of ``shares`` (N, 4), which go round the stride."""
    middle, spread = np.full((2, shares.shape[1]), np.nan)
    for paw, column in enumerate(shares.T):
        known = column[np.isfinite(column)]
        if len(known):
            middle[paw] = mean_of(measure("limb_phase"), known % 1)
            away = (known - middle[paw] + 0.5) % 1 - 0.5
            spread[paw] = away.std(ddof=1) if len(known) > 1 else np.nan
    return middle, spread


def _mean(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else float("nan")


def _column(record: GaitRecord, side: Side, name: str) -> FloatArray:
    rows = hind_rows(side, record)
    return np.asarray(record.strides.measures[name][rows]) if name in record.strides.measures else np.empty(0)


def cycle_figure(family: Family) -> Drawn:
    """The footfall diagrams of every side of a family."""
    cycles = [(side, cycle(side)) for side in family.sides]
    drawn = {name: _draw(cycles, width, f"{family.key}-cycle-{name}") for name, width in WIDTHS_IN.items()}
    return Drawn(
        f"{family.key}-cycle", "One stride of each", _alt(cycles), CAPTION, (drawn["wide"],), (drawn["narrow"],)
    )


def _draw(cycles: list[tuple[Side, Cycle]], width_in: float, salt: str) -> str:
    height_in = SIDE_IN * len(cycles) + AXIS_IN
    bottoms = [AXIS_IN + SIDE_IN * (len(cycles) - 1 - row) for row in range(len(cycles))]
    across = (LABEL_IN / width_in, 1 - (LABEL_IN + 0.2) / width_in)
    places = [(across[0], bottom / height_in, across[1], 0.8 / height_in) for bottom in bottoms]
    with kept_figure(_lanes, (width_in, height_in), places) as (figure, rows):
        for axes, (side, mean) in zip(rows, cycles, strict=True):
            _stride(axes, mean, last=axes is rows[-1])
            _words(axes, side, mean, width_in)
        return to_svg(figure, salt)


def _lanes(axes: Axes) -> None:
    """A lane for each paw."""
    axes.set_yticks(range(len(LANES)), [PAW_STYLES[paw].label for paw in LANES])
    axes.tick_params(axis="both", length=0, pad=3)
    axes.grid(axis="x")
    axes.set_axisbelow(True)
    bare(axes)


def _stride(axes: Axes, mean: Cycle, last: bool) -> None:
    """Bars and whiskers in their lanes; only the last side carries the numbers of the axis."""
    axes.set_xlim(0, 100)
    axes.set_ylim(len(LANES) - 0.45, -0.6)
    axes.set_xticks([0, 25, 50, 75, 100], ["0 %", "25 %", "50 %", "75 %", "100 %"] if last else [""] * 5)
    if last:
        axes.set_xlabel("of the stride of the near hind paw")
    for lane, paw in enumerate(LANES):
        _bar(axes, mean, PAWS.index(paw), lane)


def _bar(axes: Axes, mean: Cycle, paw: int, lane: int) -> None:
    """The bar of one paw, drawn once more a stride earlier where it runs over the end."""
    start = 100 * (mean.touchdown[paw] + np.array([-1.0, 0.0]))
    end = start + 100 * mean.down[paw]
    if not np.isfinite(end).all():
        axes.text(50, lane, "not known", ha="center", va="center", color=QUIET, size=7.5)
        return
    colour = PAW_STYLES[PAWS[paw]].colour
    outline = boxes(axes, (np.maximum(start, 0), np.minimum(end, 100)), lane, BAR_HEIGHT)
    axes.add_patch(PathPatch(outline, facecolor=colour, edgecolor=colour, linewidth=0.8))
    draw_whiskers(axes, start, np.full(2, 100 * mean.touchdown_sd[paw]), lane)
    draw_whiskers(axes, end, np.full(2, 100 * mean.liftoff_sd[paw]), lane)


def _words(axes: Axes, side: Side, mean: Cycle, width_in: float) -> None:
    """The name of the side, its gait, and how long so many paws are down, over its lanes."""
    name = f"{short(side.name, 26)}: {side.gait or 'no gait named'}, {strides_word(mean.strides)}"
    left, step = -LABEL_IN / (width_in - LABEL_IN - 0.2), 0.17 / 0.8
    axes.text(left, 1.02 + step, name, transform=axes.transAxes, va="bottom", weight="bold", size=8.5)
    down = paws_words(mean.paws_down)
    axes.text(left, 1.02, f"paws down: {down}", transform=axes.transAxes, va="bottom", color=QUIET, size=7.5)


def paws_words(paws_down: FloatArray) -> str:
    """ "two 86 %, one 12 %" from shares (5,); those below half a percent are left out."""
    if not np.isfinite(paws_down).all():
        return "not known"
    order = sorted(range(5), key=lambda count: -paws_down[count])
    return ", ".join(f"{COUNTS[n]} {100 * paws_down[n]:.0f} %" for n in order if paws_down[n] >= 0.005)


def short(words: str, letters: int) -> str:
    """``words`` cut to so many letters at the end of a word."""
    cut = textwrap.shorten(words, letters, placeholder=" …")
    return cut if cut != "…" and cut.strip(" …") else f"{words[: letters - 1]}…"


def _alt(cycles: list[tuple[Side, Cycle]]) -> str:
    return "One mean stride of each side. " + " ".join(_side_words(side, mean) for side, mean in cycles)


def _side_words(side: Side, mean: Cycle) -> str:
    head = f"{side.name}, {side.gait or 'no gait named'}, {strides_word(mean.strides)}"
    parts = []
    for paw, name in enumerate(PAWS):
        start, end = 100 * mean.touchdown[paw], 100 * (mean.touchdown[paw] + mean.down[paw])
        known = np.isfinite(end)
        told = f"down from {start:.0f} to {end % 100:.0f} %" if known else "not known"
        parts.append(f"{PAW_STYLES[name].label} {told}")
    return f"{head}: {', '.join(parts)} of the stride; paws down: {paws_words(mean.paws_down)}."
