"""Page and PDF of one comparison, from one content, so that both say the same."""

from collections.abc import Sequence
from pathlib import Path

from gait.compare.nouns import Comparison
from gait.report.comparison.content import Film
from gait.report.comparison.document import KeyPicture, build_document
from gait.report.comparison.page import page_of
from gait.report.comparison.pdf import pdf_of
from gait.report.writing import write_whole


def write_reports(
    comparison: Comparison,
    folder: Path,
    *,
    pictures: Sequence[KeyPicture] = (),
    films: Sequence[Film] = (),
    remarks: Sequence[str] = (),
) -> tuple[Path, Path]:
    """Write ``report.html`` and ``report.pdf`` into ``folder`` and return their places.

    pictures  moments of the stride; those with the same dog and caption stand side by side
    films     films that lie in or under ``folder``
    remarks   sentences about the whole comparison, such as which clips could not be read
    """
    document = build_document(comparison, pictures=pictures, films=films, remarks=remarks)
    page, pdf = folder / "report.html", folder / "report.pdf"
    write_whole(page, page_of(document).encode("utf-8"))
    write_whole(pdf, pdf_of(document))
    return page, pdf
