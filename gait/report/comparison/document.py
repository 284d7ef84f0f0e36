"""From a comparison to the content of its report: the only place where the parts are put in their order."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from gait.compare.nouns import Comparison, Contrast
from gait.report.comparison.answer import card, title
from gait.report.comparison.closing import cautions, clip_sets, definitions, making, overruled_remarks, statistics
from gait.report.comparison.content import Block, Document, Figures, Film, Paragraph, Picture, Pictures, Section
from gait.report.comparison.families import Family, families
from gait.report.comparison.naturally import day, joined
from gait.report.comparison.tables import contrast_tables, runs_of
from gait.report.comparison.units import in_units
from gait.report.units import METRIC

TABLE_NOTE: Final = (
    "Difference: condition minus baseline (in brackets in % of the baseline, for measures that have a nought). "
    "Resolution: the smallest difference that this footage could have shown. Strides: with a value, baseline / "
    "condition. Fore and hind measures are those of the near paw. Units stand beside the name of each measure."
)
#: Dogs named in the title; more are counted.
MOST_NAMED: Final = 3
LEFT_OUT: Final = "{count} visits between the first and the last ones are not drawn here."
OTHER_WAY: Final = (
    "The dog faces different ways ({told}), so the near limbs are not the same limbs throughout; compare the figures "
    "of limbs with that in mind."
)
NO_TABLE: Final = "No measure could be compared, for the reasons given at the start: {which}."
AS_ABOVE: Final = "To be read as the first figure of this kind."
PICTURE_NOTE: Final = "The same moment of the stride in each condition."

#: Keys of the sections that come after the pictures; the last one is in every report.
FOLLOWING: Final = ("dogs", "visits", "reading")

NOTHING = (Paragraph("There is nothing to compare."),)


@dataclass(frozen=True, slots=True, eq=False)
class KeyPicture:
    """One moment of one condition; pictures with the same caption and dog stand side by side. jpeg: the file."""

    condition: str
    caption: str
    jpeg: bytes
    dog: str = ""


def build_document(
    comparison: Comparison,
    *,
    pictures: Sequence[KeyPicture] = (),
    films: Sequence[Film] = (),
    remarks: Sequence[str] = (),
    units: str = METRIC,
) -> Document:
    """The content of the report of ``comparison``; remarks stand under the answer, and what people overruled.

    units  of lengths and speeds, "metric" or "imperial"
    """
    # what draws is loaded with the first report: matplotlib takes a second
    from gait.report.comparison.groups import group_blocks
    from gait.report.comparison.visits import visit_blocks

    comparison = in_units(comparison, units)
    remarks = (*remarks, *overruled_remarks(comparison))
    groups = families(comparison)
    cards = {place: card(contrast, f"c{place}", units) for place, contrast in enumerate(comparison.contrasts)}
    earlier = {place for place, contrast in enumerate(comparison.contrasts) if _is_earlier(contrast, comparison)}
    first = tuple(one for place, one in cards.items() if place not in earlier)
    past = tuple(one for place, one in cards.items() if place in earlier)
    sections = (
        Section("answer", "What differs", (*(first or NOTHING), *(Paragraph(text, "remark") for text in remarks))),
        Section("cautions", "Before these numbers are used", (cautions(),)),
        Section(
            "figures",
            "How the dog moves",
            tuple(block for family in groups for block in _figures(family, family is groups[0])),
        ),
        Section("measures", "Every measure", _tables(comparison)),
        Section("runs", "Gaits, clip by clip", tuple(block for family in groups for block in _runs(family))),
        picture_section(pictures, films),
        Section("dogs", "Several dogs", group_blocks(comparison)),
        Section("visits", "Over the visits", (*visit_blocks(comparison, units), *past)),
        Section("reading", "How to read these numbers", (statistics(comparison),)),
        Section("definitions", "Definitions", (definitions(comparison, units),)),
        Section("making", "How this report was made", making(comparison)),
    )
    return Document(*_head(comparison), tuple(section for section in sections if section.blocks))


def _head(comparison: Comparison) -> tuple[str, str]:
    """Title and subtitle: which dogs, in which conditions, when, and how many clips."""
    sides = [side for _, side in clip_sets(comparison)]
    dogs = list(dict.fromkeys(side.dog or "unnamed dog" for side in sides))
    days = sorted({side.date for side in sides if side.date})
    span = [] if not days else [day(days[0])] if len(days) == 1 else [f"{day(days[0])} to {day(days[-1])}"]
    clips = sum(len(side.records) for side in sides)
    conditions = dict.fromkeys(side.condition for side in sides if side.condition)
    parts = [*conditions, *span, f"{clips} clip{'s' * (clips != 1)}"]
    head = joined(dogs) if len(dogs) <= MOST_NAMED else f"{len(dogs)} dogs"
    return f"{head[:1].upper()}{head[1:]}" or "Comparison", " · ".join(parts)


def _is_earlier(contrast: Contrast, comparison: Comparison) -> bool:
    """Whether a visit was followed by another one that is compared too: then it is history, not the answer."""
    new = contrast.condition
    return contrast.kind == "visit" and any(
        (other.kind, other.dog, other.condition.condition) == ("visit", contrast.dog, new.condition)
        and other.condition.date > new.date
        for other in comparison.contrasts
    )


def _figures(family: Family, first: bool) -> tuple[Block, ...]:
    from gait.report.comparison.cycle import cycle_figure
    from gait.report.comparison.overlays import overlay_figures

    blocks: list[Block] = [Paragraph(family.title, "heading")]
    if family.left_out:
        blocks.append(Paragraph(LEFT_OUT.format(count=family.left_out), "remark"))
    if len(ways := family.facing()) > 1:
        told = "; ".join(f"to the {way}: {joined(names)}" for way, names in ways.items())
        blocks.append(Paragraph(OTHER_WAY.format(told=told), "remark"))
    drawn = (cycle_figure(family), *overlay_figures(family))
    return (*blocks, Figures(drawn if first else tuple(replace(one, caption=AS_ABOVE) for one in drawn)))


def _runs(family: Family) -> tuple[Block, ...]:
    return Paragraph(family.title, "heading"), runs_of(family)


def _tables(comparison: Comparison) -> tuple[Block, ...]:
    found: list[Block] = []
    without = []
    for place, contrast in enumerate(comparison.contrasts, 1):
        tables = contrast_tables(contrast, f"t{place}")
        found += [Paragraph(title(contrast), "heading"), *tables] if tables else []
        without += [] if tables else [title(contrast)]
    note = [Paragraph(NO_TABLE.format(which="; ".join(without)), "remark")] if without else []
    return (*([Paragraph(TABLE_NOTE)] if found else []), *found, *note)


def with_pictures(document: Document, pictures: Section) -> Document:
    """``document``, which has none, with its pictures where they belong; unchanged where there is nothing in them."""
    if not pictures.blocks:
        return document
    place = next(number for number, section in enumerate(document.sections) if section.key in FOLLOWING)
    return replace(document, sections=(*document.sections[:place], pictures, *document.sections[place:]))


def picture_section(
    pictures: Sequence[KeyPicture], films: Sequence[Film] = (), remarks: Sequence[str] = ()
) -> Section:
    """Films and pictures; remarks say of which clip there is none, and why."""
    said = (Paragraph(text, "remark") for text in remarks)
    return Section("pictures", "Side by side", (*films, *_pictures(pictures), *said))


def _pictures(pictures: Sequence[KeyPicture]) -> tuple[Block, ...]:
    """Pictures of one moment side by side, in the order in which they came."""
    groups: dict[tuple[str, str], list[KeyPicture]] = {}
    for picture in pictures:
        groups.setdefault((picture.dog, picture.caption), []).append(picture)
    blocks = []
    for (dog, caption), group in groups.items():
        head = f"{dog}: {caption}" if dog else caption
        items = tuple(Picture(item.condition, f"{head}, {item.condition}", item.jpeg) for item in group)
        blocks.append(Pictures(head, items))
    return (Paragraph(PICTURE_NOTE), *blocks) if blocks else ()
