"""Visits of one dog in one condition: each measure over the dates, and near against far at each visit."""

import math
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Final

import numpy as np
from matplotlib.axes import Axes

from gait.compare.nouns import ClipSet, Comparison, Trend
from gait.measures import SIDE_WARNING
from gait.nouns import SideDifference
from gait.report.comparison.answer import MAIN
from gait.report.comparison.content import Block, Figures, Paragraph, Point, Points, Row, Table
from gait.report.comparison.naturally import day, decimals_for, figure, sentence
from gait.report.comparison.tables import with_unit
from gait.report.comparison.wording import label, pole, scale, stem
from gait.report.drawing import bare, kept_figure, to_svg
from gait.report.drawn import Drawn
from gait.report.palette import BLUE, INK, QUIET, VERMILLION, WASH
from gait.report.sides import side_row
from gait.report.units import METRIC
from gait.report.words import NO_BREAK, NOT_KNOWN, number

PANELS: Final = 9
#: Columns of visits that fit an A4 sheet beside the names of the measures.
VISITS_A_TABLE: Final = 5
PANEL_IN: Final = (2.85, 1.75)
NARROW_IN: Final = 3.4
#: in, room beside the axes of a panel, and where its title begins, from the axes.
SIDES_IN: Final = 0.75
TITLE_IN: Final = -0.42
FLAGGED: Final = "Changed since {day}, beyond what this footage and the dog's own repeatability leave open:"
NONE: Final = "No change since {day} is larger than what this footage and the dog's own repeatability leave open."
NOT_REPEATED: Final = (
    "How far this dog differs from clip to clip on one day is not known, so a change says only that these clips "
    "differ: film two clips or more a visit."
)
WITHIN: Final = "{count} further pairs of near and far lie within the error of both sides, or have none that is known."
CAPTION: Final = (
    "Dot: mean of a visit; upright line: its 95 % interval. Grey band: the first visit with the change that the dog "
    "shows between clips of one day, without any cause; no band where that is not known. A ring marks a visit whose "
    "change since the first is shown by the footage and, where that band is known, is larger than it."
)


def visit_blocks(comparison: Comparison, units: str = METRIC) -> tuple[Block, ...]:
    """Every dog and condition with more than one visit: sentence, small multiples, table, near against far.

    units  of what is told from records; ``comparison`` is in them already
    """
    keys = dict.fromkeys((trend.dog, trend.condition, trend.gait) for trend in comparison.trends)
    blocks: list[Block] = []
    for place, key in enumerate(keys, 1):
        trends = [item for item in comparison.trends if (item.dog, item.condition, item.gait) == key]
        blocks += _blocks(trends, f"v{place}")
    return (*blocks, *_sides(comparison, units))


def _blocks(trends: list[Trend], key: str) -> list[Block]:
    first, ordered = trends[0], _first(trends)
    head = ", ".join(part for part in (first.dog or "The dog", first.condition, first.gait) if part)
    known = [trend for trend in ordered if np.isfinite(trend.mean).sum() > 1]
    blocks: list[Block] = [Paragraph(head, "heading"), *_said(ordered)]
    if known:
        blocks.append(Figures((trend_figure(known[:PANELS], head, key),)))
    return [*blocks, *_tables(ordered, head, key)]


def _first(trends: Iterable[Trend]) -> list[Trend]:
    rank = {name: place for place, name in enumerate(MAIN)}
    return sorted(trends, key=lambda item: (not any(item.flagged), rank.get(stem(item.measure), len(rank))))


def _said(trends: Sequence[Trend]) -> list[Block]:
    """Flagged changes in words; or that there is none."""
    told = tuple(Point(sentence(_change(trend))) for trend in trends if any(trend.flagged))
    first = day(trends[0].dates[0])
    blocks: list[Block] = [Paragraph((FLAGGED if told else NONE).format(day=first))]
    blocks += [Points(told)] if told else []
    if not any(math.isfinite(trend.repeatability) for trend in trends):
        blocks.append(Paragraph(NOT_REPEATED, "remark"))
    return blocks


def _change(trend: Trend) -> str:
    last = max(place for place, flagged in enumerate(trend.flagged) if flagged)
    first, now = (_value(trend, place, last) for place in (0, last))
    days = [day(trend.dates[place]) for place, flagged in enumerate(trend.flagged) if flagged]
    since = f", flagged from {days[0]} on" if len(days) > 1 else ""
    return f"{label(trend.measure)}: {first} then, {now} on {days[-1]}{since}"


def _value(trend: Trend, place: int, last: int) -> str:
    """The mean of one visit as told, with the decimals that the last one warrants."""
    factor, unit = scale(trend.measure, trend.unit)
    decimals = decimals_for(factor * (trend.high[last] - trend.low[last]) / 2, unit)
    if stem(trend.measure) == "topline":
        return pole(trend.mean[place], decimals)
    text = figure(factor * trend.mean[place], decimals)
    return f"{text}{NO_BREAK}{unit}" if unit else text


def _tables(trends: Sequence[Trend], head: str, key: str) -> list[Table]:
    """All visits in tables of a few each, so that they fit a page."""
    dates = trends[0].dates
    starts = range(0, len(dates), VISITS_A_TABLE)
    return [_table(trends, f"{head}, visits from {day(dates[k])}", f"{key}-table-{k + 1}", k) for k in starts]


def _table(trends: Sequence[Trend], head: str, key: str, start: int) -> Table:
    chosen = range(start, min(start + VISITS_A_TABLE, len(trends[0].dates)))
    columns = ("Measure", *(day(trends[0].dates[place]) for place in chosen), "Repeatability")
    rows = tuple(Row(with_unit(trend.measure, trend.unit), _cells(trend, chosen)) for trend in trends)
    return Table(key, head, f"{head}: mean and 95 % interval of each visit; ● = flagged", columns, rows)


def _cells(trend: Trend, chosen: Iterable[int]) -> tuple[str, ...]:
    cells = []
    for place in chosen:
        mean = trend.mean[place]
        if not math.isfinite(mean):
            cells.append(sentence(trend.declined[place] or NOT_KNOWN))
            continue
        low, high = trend.low[place], trend.high[place]
        half = (high - low) / 2
        flag = f"{NO_BREAK}●" if trend.flagged[place] else ""
        bounds = f"({number(low, half)} to {number(high, half)})".replace(" ", NO_BREAK) if math.isfinite(half) else ""
        cells.append(f"{number(mean, half)}{flag} {bounds}".strip())
    return (*cells, number(trend.repeatability, trend.repeatability))


def trend_figure(trends: Sequence[Trend], head: str, key: str) -> Drawn:
    """Small multiples: one panel per measure over the dates."""
    wide, narrow = _draw(trends, PANEL_IN[0], 3, f"{key}-wide"), _draw(trends, NARROW_IN, 1, f"{key}-narrow")
    alt = f"Measures over visits. {'; '.join(_panel_words(trend) for trend in trends)}."
    return Drawn(f"{key}-trends", f"{head}: over the visits", alt, CAPTION, (wide,), (narrow,))


def _draw(trends: Sequence[Trend], width: float, columns: int, salt: str) -> str:
    height = PANEL_IN[1]
    rows = -(-len(trends) // columns)
    whole = (columns * width, rows * height)
    corners = [(place % columns * width, (rows - 1 - place // columns) * height) for place in range(len(trends))]
    size = ((width - SIDES_IN) / whole[0], (height - 0.62) / whole[1])
    places = [((left + 0.55) / whole[0], (bottom + 0.3) / whole[1], *size) for left, bottom in corners]
    with kept_figure(_scales, whole, places) as (figure, panels):
        for axes, trend in zip(panels, trends, strict=True):
            _panel(axes, trend, width - SIDES_IN)
        return to_svg(figure, salt)


def _panel(axes: Axes, trend: Trend, axis_in: float) -> None:
    factor, unit = scale(trend.measure, trend.unit)
    days = _days(trend.dates)
    mean, low, high = (factor * np.array(values) for values in (trend.mean, trend.low, trend.high))
    if math.isfinite(trend.repeatability) and math.isfinite(mean[0]):
        reach = factor * trend.repeatability
        axes.axhspan(mean[0] - reach, mean[0] + reach, color=WASH, zorder=0)
    good = np.isfinite(mean)
    axes.plot(days[good], mean[good], color=BLUE, linewidth=1.0, zorder=2)
    axes.vlines(days, low, high, color=INK, linewidth=1.2, zorder=3)
    axes.plot(days[good], mean[good], linestyle="", marker="o", markersize=4.5, color=INK, zorder=4)
    flagged = np.array(trend.flagged) & good
    axes.plot(days[flagged], mean[flagged], linestyle="", marker="o", markersize=11, markerfacecolor="none",
              markeredgecolor=VERMILLION, markeredgewidth=1.6, zorder=5)  # fmt: skip
    axes.set_title(
        f"{label(trend.measure)}{f', {unit}' if unit else ''}", loc="left", size=8.5, pad=5, x=TITLE_IN / axis_in
    )
    _date_axis(axes, trend.dates, days)


def _scales(axes: Axes) -> None:
    """Room over and under what is measured, and a tick for each visit."""
    axes.tick_params(axis="x", length=3, pad=2)
    axes.margins(y=0.2)
    axes.grid(axis="y")
    bare(axes, ("left", "bottom"))


def _days(dates: Sequence[str]) -> np.ndarray:
    """Place of each visit: days since the first, or its number when a date cannot be read."""
    try:
        found = [date.fromisoformat(each).toordinal() for each in dates]
    except ValueError:
        return np.arange(len(dates), dtype=float)
    return np.array(found, dtype=float) - found[0]


def _date_axis(axes: Axes, dates: Sequence[str], days: np.ndarray) -> None:
    """First and last date in full, and a tick for each visit; dates between would run into each other."""
    room = max(1.0, float(np.ptp(days)))
    axes.set_xlim(days.min() - 0.12 * room, days.max() + 0.12 * room)
    words = [""] * len(dates)
    words[0], words[-1] = _brief(dates[0]), _brief(dates[-1])
    if len(dates) == 3 and abs(days[1] - days.mean()) < 0.2 * room:
        words[1] = _brief(dates[1])
    axes.set_xticks(days, words, color=QUIET, size=7.5)


def _brief(iso: str) -> str:
    try:
        found = date.fromisoformat(iso)
    except ValueError:
        return iso[:10]
    return f"{found.day} {found:%b %y}"


def _panel_words(trend: Trend) -> str:
    factor, unit = scale(trend.measure, trend.unit)
    parts = []
    for place, iso in enumerate(trend.dates):
        spread = factor * (trend.high[place] - trend.low[place]) / 2
        flag = ", flagged" if trend.flagged[place] else ""
        parts.append(f"{day(iso)} {number(factor * trend.mean[place], spread)}{flag}")
    return f"{label(trend.measure)}{f', {unit}' if unit else ''}: {', '.join(parts)}"


def _sides(comparison: Comparison, units: str) -> tuple[Block, ...]:
    """Near against far at each visit, with the warning; nothing where no clip could tell."""
    sets: dict[tuple[str, str, str], ClipSet] = {}
    for contrast in comparison.contrasts:
        if contrast.kind == "visit":
            for side in (contrast.baseline, contrast.condition):
                if side is not None:
                    sets[side.dog, side.condition, side.date] = side
    found = [(sets[key], item) for key in sorted(sets) for record in sets[key].records for item in record.sides]
    if not found:
        return ()
    rows = tuple(_side_row(side, item, units) for side, item in found if math.isfinite(item.symmetry_index))
    columns = ("Visit and measure", "Near", "Far", "Error of both sides", "Symmetry index", "Symmetry angle")
    caption = "Near against far at each visit"
    blocks: list[Block] = [Paragraph(caption, "heading"), Paragraph(SIDE_WARNING)]
    shown = "Where near and far differ by more than the error"
    blocks += [Table("sides", caption, shown, columns, rows)] if rows else []
    rest = len(found) - len(rows)
    return (*blocks, Paragraph(WITHIN.format(count=rest), "remark")) if rest else tuple(blocks)


def _side_row(side: ClipSet, item: SideDifference, units: str) -> Row:
    found = side_row(item, units)
    head = ", ".join(part for part in (side.dog, day(side.date), found["label"], found["unit"]) if part)
    return Row(head, tuple(found[name] for name in ("near", "far", "error", "index", "angle")))
