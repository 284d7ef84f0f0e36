"""From a matplotlib figure to a piece of SVG that can stand inside an HTML page."""

import io
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from threading import RLock
from typing import Any, Final

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from gait.report.palette import CARD, INK, QUIET, RULE

#: Text stays text: it can be searched, read aloud and takes the page's own typeface.
STYLE: Final[Any] = {
    "svg.fonttype": "none",
    "font.family": ["DejaVu Sans"],
    "font.size": 8.5,
    "axes.titlesize": 9,
    "axes.linewidth": 0.6,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "grid.color": RULE,
    "grid.linewidth": 0.5,
    "hatch.linewidth": 0.7,
    "figure.facecolor": CARD,
    "axes.facecolor": CARD,
    "path.simplify_threshold": 0.3,
}

#: Left, bottom, width and height of axes, as shares of the figure.
Place = tuple[float, float, float, float]

_ONE_AT_A_TIME: Final = RLock()
_NO_METADATA: Final = {"Date": None, "Creator": None, "Format": None, "Type": None}

#: What an SVG file needs and a page does not: prologue, metadata, its own style sheet, name spaces, and
#: ids nobody refers to (they would occur once per figure, and an id may occur once per page), and turns by nothing.
_SURPLUS: Final = re.compile(
    r"<metadata>.*?</metadata>|<style.*?</style>|<defs>\s*</defs>"
    r'|\stransform="rotate\(-0 [^"]*"|\sxmlns(?::\w+)?="[^"]*"|\sid="[\w.]*_\d+"|\sversion="1.1"',
    re.DOTALL,
)
_OUTLINE: Final = re.compile(r'\sd="[^"]*"')
_FINE_DIGITS: Final = re.compile(r"(?<=\.\d\d)\d+")
_SIZE: Final = re.compile(r'<svg width="[\d.]+pt" height="[\d.]+pt"')


def new_figure(width_in: float, height_in: float) -> Figure:
    """An empty figure of that many inches; the page shows an inch as about 100 px."""
    return Figure(figsize=(width_in, height_in))


@contextmanager
def styled(more: Any = STYLE) -> Iterator[None]:
    """Draw in the style of every figure, or with ``more``. One thread at a time: matplotlib's settings are global."""
    with _ONE_AT_A_TIME, matplotlib.rc_context(more):
        yield


@contextmanager
def kept_figure(
    prepare: Callable[[Axes], None], size_in: tuple[float, float], places: Sequence[Place]
) -> Iterator[tuple[Figure, tuple[Axes, ...]]]:
    """A styled figure of ``size_in`` inches with axes at ``places``, each as ``prepare`` leaves it.

    To make axes and their ticks takes longer than to draw on them, so they are kept, and used again by whoever comes
    with the same ``prepare``: that sets scales, ticks, grid and frame alone. What is drawn on them within the context
    is taken away at its end; limits, titles and names of axes are to be set each time.
    """
    with styled():
        figure, rows = _kept(prepare, len(places))
        figure.set_size_inches(size_in)
        for axes, place in zip(rows, places, strict=True):
            axes.set_position(place)
        bare = [(whole, whole.get_children()) for whole in (*rows, figure)]
        try:
            yield figure, rows
        finally:
            for whole, kept in bare:
                for artist in whole.get_children():
                    if artist not in kept:
                        artist.remove()
            for axes in rows:
                axes.relim()  # limits that follow what is drawn forget it


@lru_cache(maxsize=16)
def _kept(prepare: Callable[[Axes], None], count: int) -> tuple[Figure, tuple[Axes, ...]]:
    """A figure with so many axes; where they lie is said later."""
    figure = Figure()
    rows = tuple(figure.add_axes((0, 0, 1, 1)) for _ in range(count))
    for axes in rows:
        prepare(axes)
    return figure, rows


def to_svg(figure: Figure, salt: str) -> str:
    """``figure`` as SVG for use inside a page; ``salt`` keeps the inner ids of several figures apart."""
    buffer = io.StringIO()
    with styled({"svg.fonttype": "none", "svg.hashsalt": salt}):
        figure.savefig(buffer, format="svg", metadata=_NO_METADATA)
    text = buffer.getvalue()
    text = _SURPLUS.sub("", text[text.index("<svg") :])
    text = _SIZE.sub("<svg", text, count=1)
    text = _OUTLINE.sub(lambda outline: _FINE_DIGITS.sub("", outline.group()), text)
    return re.sub(r"\s*\n\s*", " ", text).replace("<svg", '<svg aria-hidden="true" focusable="false"', 1).strip()


def bare(axes: Axes, keep: tuple[str, ...] = ("bottom",)) -> None:
    """Leave only the sides of the frame named in ``keep``."""
    for side, spine in axes.spines.items():
        spine.set_visible(side in keep)
