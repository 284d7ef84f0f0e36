"""Several dogs in the same two conditions: each dog counts once, as one line from baseline to condition."""

import math
import textwrap
from collections.abc import Iterable
from typing import Final

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes

from gait.compare.nouns import LARGER, NO_DIFFERENCE, Comparison, GroupLine, Line
from gait.report.comparison.answer import MAIN
from gait.report.comparison.content import Block, Figures, Paragraph, Point, Points, Row, Table
from gait.report.comparison.cycle import short
from gait.report.comparison.naturally import joined, sentence, wearing
from gait.report.comparison.tables import VERDICTS, interval, signed, with_unit
from gait.report.comparison.wording import PHRASES, TOPLINE, Size, label, scale, stem
from gait.report.drawing import bare, new_figure, styled, to_svg
from gait.report.drawn import Drawn
from gait.report.palette import BLUE, INK, QUIET
from gait.report.words import NOT_KNOWN, number

#: With five dogs even five differences of one sign have a two-sided sign-test probability of 2/32 = 0.06 (derived).
ENOUGH_DOGS: Final = 6
FEW_DOGS: Final = (
    "{count}: fewer than six cannot show a difference by its direction alone, since even five differences of one sign "
    "come about by chance with a probability of 0.06 (two-sided sign test; derived). Take these lines as single cases."
)
#: Panels of the figure; more are not looked at.
PANELS: Final = 6
PANEL_IN: Final = (2.15, 2.45)
COLUMNS: Final = {"wide": 4, "narrow": 2}
NARROW_IN: Final = 1.72
MARKERS: Final = "osD^vP<>*Xph"
CAPTION: Final = (
    "One line per dog, from its mean in the baseline to its mean in the condition; the same marker is the same dog "
    "throughout. Only dogs whose lines could be compared like with like are drawn."
)


def group_blocks(comparison: Comparison) -> tuple[Block, ...]:
    """Sentences, plot and table of every condition and gait that several dogs share."""
    keys = dict.fromkeys((line.condition, line.gait) for line in comparison.groups)
    blocks: list[Block] = []
    for place, (condition, gait) in enumerate(keys, 1):
        lines = [line for line in comparison.groups if (line.condition, line.gait) == (condition, gait)]
        blocks += _blocks(comparison, lines, f"g{place}")
    return tuple(blocks)


def _blocks(comparison: Comparison, lines: list[GroupLine], key: str) -> list[Block]:
    first = lines[0]
    dogs = tuple(dict.fromkeys(dog for line in lines for dog in line.dogs))
    head = sentence(f"{wearing(first.condition)} against baseline, at the {first.gait}").rstrip(".")
    blocks: list[Block] = [Paragraph(head, "heading"), *_said(lines)]
    if len(dogs) < ENOUGH_DOGS:
        count = "No dog" if not dogs else "Only one dog" if len(dogs) == 1 else f"Only {len(dogs)} dogs"
        blocks.append(Paragraph(FEW_DOGS.format(count=count), "remark"))
    drawn = [line for line in _first(lines) if line.dogs][:PANELS]
    if drawn:
        blocks.append(Figures((pairs_figure(comparison, drawn, dogs, key),)))
    return [*blocks, _table(lines, head, key)]


def _first(lines: Iterable[GroupLine]) -> list[GroupLine]:
    """Lines with a shown difference first, then those that owners ask about."""
    rank = {name: place for place, name in enumerate(MAIN)}
    return sorted(
        lines,
        key=lambda line: (line.verdict in ("", NO_DIFFERENCE), rank.get(stem(line.measure), len(rank))),
    )


def _said(lines: list[GroupLine]) -> list[Block]:
    """Which measures differ in the mean of all dogs, and which do not."""
    told = tuple(Point(sentence(_one(line))) for line in _first(lines) if line.verdict not in ("", NO_DIFFERENCE))
    alike = [label(line.measure) for line in _first(lines) if line.verdict == NO_DIFFERENCE]
    blocks: list[Block] = [Paragraph("In the mean over dogs:"), Points(told)] if told else []
    blocks += [Paragraph(f"No difference over all dogs is shown in {joined(alike, 'or')}.")] if alike else []
    return blocks or [Paragraph("No measure could be compared over several dogs.")]


def _one(line: GroupLine) -> str:
    factor, unit = scale(line.measure, line.unit)
    size = Size(factor * line.mean, factor * line.low, factor * line.high, unit)
    phrase = TOPLINE if stem(line.measure) == "topline" else PHRASES[stem(line.measure)]
    words = (phrase.larger if line.verdict == LARGER else phrase.smaller).format(size=size.words())
    return f"{words} {size.interval()}"


def _table(lines: list[GroupLine], head: str, key: str) -> Table:
    columns = ("Measure", "Dogs", "Mean difference", "95 % interval", "Each dog", "Verdict")
    return Table(
        f"{key}-table", head, f"{head}: mean over dogs, each dog once", columns, tuple(map(_row, lines)), words=2
    )


def _row(line: GroupLine) -> Row:
    head = with_unit(line.measure, line.unit)
    if line.declined:
        return Row(head, (str(len(line.dogs)),), sentence(line.declined))
    half = (line.high - line.low) / 2
    spread = half if math.isfinite(half) else float("nan")
    bounds = interval(line.low, line.high) if math.isfinite(half) else NOT_KNOWN
    each = "; ".join(f"{dog} {signed(value, spread)}" for dog, value in zip(line.dogs, line.differences, strict=True))
    verdict = VERDICTS.get(line.verdict, line.verdict)
    return Row(head, (str(len(line.dogs)), signed(line.mean, spread), bounds, each, verdict))


def pairs_figure(comparison: Comparison, lines: list[GroupLine], dogs: tuple[str, ...], key: str) -> Drawn:
    """Small panels, one per measure, with a line from baseline to condition for each dog."""
    wide, narrow = (_draw(comparison, lines, dogs, name) for name in ("wide", "narrow"))
    told = "; ".join(_panel_words(comparison, line) for line in lines)
    title = sentence(f"each dog {wearing(lines[0].condition)} and in its baseline").rstrip(".")
    return Drawn(f"{key}-pairs", title, f"Paired lines, one per dog. {told}.", CAPTION, (wide,), (narrow,))


def _draw(comparison: Comparison, lines: list[GroupLine], dogs: tuple[str, ...], form: str) -> str:
    width, height = PANEL_IN if form == "wide" else (NARROW_IN, PANEL_IN[1])
    columns = min(COLUMNS[form], len(lines))
    rows = -(-len(lines) // columns)
    per_line = max(1, int(COLUMNS[form] * width / 0.85))
    legend = 0.2 * -(-len(dogs) // per_line) + 0.1
    figure_in = (COLUMNS[form] * width, rows * height + legend)
    with styled():
        figure = new_figure(*figure_in)
        handles: dict[str, Artist] = {}
        for place, line in enumerate(lines):
            left, top = place % columns * width, (rows - 1 - place // columns) * height
            axes = figure.add_axes(
                ((left + 0.55) / figure_in[0], (top + 0.45) / figure_in[1], (width - 0.75) / figure_in[0],
                 (height - 0.87) / figure_in[1])
            )  # fmt: skip
            handles |= _panel(axes, comparison, line, dogs)
        figure.legend(
            list(handles.values()), list(handles), loc="upper left", ncols=per_line, frameon=False,
            handlelength=1.4, columnspacing=1.2, borderaxespad=0.1,
        )  # fmt: skip
        return to_svg(figure, f"pairs-{form}-{lines[0].condition}-{lines[0].gait}")


def _panel(axes: Axes, comparison: Comparison, group: GroupLine, dogs: tuple[str, ...]) -> dict[str, Artist]:
    handles: dict[str, Artist] = {}
    unit, found = pairs(comparison, group)
    for dog, values in found.items():
        marker = MARKERS[dogs.index(dog) % len(MARKERS)]
        handles[short(dog, 14)] = axes.plot(
            [0, 1], values, color=BLUE, marker=marker, markersize=5, linewidth=1.1, markeredgecolor=INK,
            markeredgewidth=0.5, alpha=0.9,
        )[0]  # fmt: skip
    axes.set_xlim(-0.25, 1.25)
    axes.set_xticks([0, 1], ["baseline", "\n".join(textwrap.wrap(group.condition, 10, max_lines=2, placeholder=" …"))])
    axes.tick_params(axis="x", length=0)
    axes.margins(y=0.15)
    axes.set_title(f"{label(group.measure)}\n{unit}".rstrip(), loc="left", size=8.5, pad=4, x=-0.28, linespacing=1.15)
    axes.grid(axis="y")
    bare(axes, ("left",))
    axes.spines["left"].set_color(QUIET)
    return handles


def pairs(comparison: Comparison, group: GroupLine) -> tuple[str, dict[str, tuple[float, float]]]:
    """Unit, and baseline and condition of each dog in it: means over its days.

    Dogs whose lengths are known in different units are all given in % of their baselines.
    """
    lines = _lines(comparison, group)
    every = [line for found in lines.values() for line in found]
    if len({line.unit for line in every}) > 1:
        return "% of the baseline", {dog: (100.0, 100.0 + _mean(found, "percent")) for dog, found in lines.items()}
    factor, unit = scale(group.measure, every[0].unit) if every else (1.0, "")
    return unit, {
        dog: (factor * _mean(found, "baseline_mean"), factor * _mean(found, "condition_mean"))
        for dog, found in lines.items()
    }


def _mean(lines: list[Line], name: str) -> float:
    return float(np.mean([getattr(line, name) for line in lines]))


def _lines(comparison: Comparison, group: GroupLine) -> dict[str, list[Line]]:
    """The compared lines of a group by dog."""
    found: dict[str, list[Line]] = {}
    for contrast in comparison.contrasts:
        if contrast.kind == "condition" and contrast.condition.condition == group.condition:
            for line in contrast.lines:
                like = (stem(line.measure), line.gait) == (stem(group.measure), group.gait)
                if like and line.verdict and contrast.dog in group.dogs:
                    found.setdefault(contrast.dog, []).append(line)
    return found


def _panel_words(comparison: Comparison, group: GroupLine) -> str:
    unit, found = pairs(comparison, group)
    parts = []
    for dog, values in found.items():
        before, after = (number(value, abs(values[1] - values[0]) or np.nan) for value in values)
        parts.append(f"{dog} from {before} to {after} {unit}".rstrip())
    return f"{label(group.measure)}: {', '.join(parts) or NOT_KNOWN}"
