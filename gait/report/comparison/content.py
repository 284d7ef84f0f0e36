"""What a report holds, as plain nouns: words, tables, pictures. A renderer turns each kind into its own format."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

from gait.report.drawn import Drawn

Role = Literal["plain", "lead", "remark", "heading"]


@dataclass(frozen=True, slots=True)
class Paragraph:
    """One paragraph, or a heading within a section."""

    text: str
    role: Role = "plain"
    kind: str = field(default="paragraph", init=False)


@dataclass(frozen=True, slots=True)
class Point:
    """One item of a list: its gist in a few words, the sentence, and where it comes from."""

    text: str
    gist: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class Points:
    """A list of points."""

    items: tuple[Point, ...]
    kind: str = field(default="points", init=False)


@dataclass(frozen=True, slots=True)
class Facts:
    """Names with their values; ``folded`` is the name under which a screen hides them until asked, "" = shown."""

    rows: tuple[tuple[str, str], ...]
    folded: str = ""
    kind: str = field(default="facts", init=False)


@dataclass(frozen=True, slots=True)
class Card:
    """The answer for one contrast: lead sentence, findings in words, then rows (name, sentences)."""

    key: str
    title: str
    lead: str
    findings: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    kind: str = field(default="card", init=False)


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a table: its head, its cells, and words that span the columns which the cells leave."""

    head: str
    cells: tuple[str, ...]
    rest: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A table. ``columns`` names the head and every cell; the last ``words`` of them hold words, the others numbers.

    name  of the table among all tables of the report, read aloud where a screen reader comes to it
    """

    key: str
    name: str
    caption: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    words: int = 0
    kind: str = field(default="table", init=False)


@dataclass(frozen=True, slots=True)
class Figures:
    """Drawings in their order; one with a form for phones takes the whole width, two others stand side by side."""

    drawn: tuple[Drawn, ...]
    kind: str = field(default="figures", init=False)


@dataclass(frozen=True, slots=True)
class Definition:
    """What a word means, and where that comes from."""

    term: str
    unit: str
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class Definitions:
    """A list of definitions."""

    items: tuple[Definition, ...]
    kind: str = field(default="definitions", init=False)


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A photograph with its words. jpeg: the file."""

    caption: str
    alt: str
    jpeg: bytes


@dataclass(frozen=True, slots=True, eq=False)
class Pictures:
    """Photographs side by side under one heading."""

    title: str
    items: tuple[Picture, ...]
    kind: str = field(default="pictures", init=False)


@dataclass(frozen=True, slots=True)
class Film:
    """A film that lies beside the report; ``file`` is its place relative to it, with forward slashes."""

    caption: str
    file: str
    kind: str = field(default="film", init=False)


Block = Paragraph | Points | Facts | Card | Table | Figures | Definitions | Pictures | Film


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the report under one heading."""

    key: str
    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Document:
    """The whole report."""

    title: str
    subtitle: str
    sections: tuple[Section, ...]

    def blocks(self) -> Iterator[Block]:
        """Every block in the order of the report."""
        for section in self.sections:
            yield from section.blocks
