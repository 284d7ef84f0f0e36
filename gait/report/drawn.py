"""What a page knows of a figure; drawing it is another matter (gait.report.drawing), and takes matplotlib."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Drawn:
    """One figure of the page.

    key        short word, unique on the page
    title      heading of the figure
    alt        the same in words, for who cannot see it
    caption    how to read it
    wide       one piece of SVG or more, for screens and paper
    narrow     the same for a phone; empty when ``wide`` serves both
    """

    key: str
    title: str
    alt: str
    caption: str
    wide: tuple[str, ...]
    narrow: tuple[str, ...] = ()
