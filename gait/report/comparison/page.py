"""The content of a comparison as one HTML page that stands alone: no script, nothing fetched."""

from collections.abc import Sequence
from pathlib import Path
from urllib.parse import quote

from markupsafe import Markup

from gait.compare.nouns import Comparison
from gait.report.comparison.content import Document, Film, Section
from gait.report.comparison.document import KeyPicture, build_document
from gait.report.page import jpeg_link, stylesheet, template
from gait.report.writing import write_whole


def write_comparison_page(
    comparison: Comparison, path: Path, *, pictures: Sequence[KeyPicture] = (), films: Sequence[Film] = ()
) -> None:
    """Write the page to ``path``; a page that is there under that name is always whole.

    pictures  moments of the stride, embedded; those with the same dog and caption stand side by side
    films     films that lie beside the page
    """
    document = build_document(comparison, pictures=pictures, films=films)
    write_whole(path, page_of(document).encode("utf-8"))


def page_of(document: Document) -> str:
    """The page as HTML text."""
    sections = sections_of(document.sections)
    return template("comparison.html").render(css=stylesheet(), document=document, sections=sections)


def sections_of(sections: Sequence[Section]) -> Markup:
    """Sections as a piece of HTML, to stand in a page with the same style sheet."""
    made = template("comparison_sections.html").render(sections=sections, jpeg_link=jpeg_link, quote=quote)
    return Markup(made)
