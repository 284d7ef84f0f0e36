"""The same content as a PDF, typeset by Typst: no browser, nothing fetched, tagged so that it can be read aloud."""

import json
from collections.abc import Sequence
from dataclasses import asdict
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import typst

from gait.compare.nouns import Comparison
from gait.report.comparison.content import Block, Document, Figures, Film, Pictures
from gait.report.comparison.document import KeyPicture, build_document
from gait.report.drawn import Drawn
from gait.report.writing import write_whole

#: What a drawing inside a page leaves out and a file of its own needs.
_STANDALONE: Final = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
Images = dict[str, bytes]


def write_comparison_pdf(
    comparison: Comparison, path: Path, *, pictures: Sequence[KeyPicture] = (), films: Sequence[Film] = ()
) -> None:
    """Write the report of ``comparison`` as a PDF to ``path``; arguments as for the page. The same each time."""
    write_whole(path, pdf_of(build_document(comparison, pictures=pictures, films=films)))


def pdf_of(document: Document) -> bytes:
    """The PDF of ``document``."""
    images: Images = {}
    content = {
        "title": document.title,
        "subtitle": document.subtitle,
        "sections": [
            {
                "key": section.key,
                "title": section.title,
                "blocks": [_plain(block, images) for block in section.blocks],
            }
            for section in document.sections
        ],
    }
    source = files("gait.report").joinpath("comparison.typ").read_bytes()
    return _typeset({"main.typ": source, "content.json": json.dumps(content).encode(), **images})


def _typeset(given: Images) -> bytes:
    """``main.typ`` among the given files, as a PDF; from a folder, since Typst takes pictures from files alone.

    PDF/UA-1 (ISO 14289-1) has headings, tables and the words for pictures marked as such.
    """
    import matplotlib

    # the drawings were set in this typeface, and it comes with matplotlib, so that no other one is needed
    fonts = [str(Path(matplotlib.get_data_path()) / "fonts" / "ttf")]
    with TemporaryDirectory() as folder:
        for name, content in given.items():
            (Path(folder) / name).write_bytes(content)
        made = typst.compile(
            str(Path(folder) / "main.typ"), font_paths=fonts, ignore_system_fonts=True, format="pdf",
            pdf_standards=["ua-1"], timestamp=0,
        )  # fmt: skip
    return bytes(made)


def _plain(block: Block, images: Images) -> dict[str, Any]:
    """A block as plain values; its pictures go into ``images`` and leave their names."""
    if isinstance(block, Figures):
        return {"kind": block.kind, "drawn": [_drawing(one, images) for one in block.drawn]}
    if isinstance(block, Pictures):
        items = []
        for one in block.items:
            name = _kept(images, "jpg", one.jpeg)
            items.append({"caption": one.caption, "alt": one.alt, "file": name})
        return {"kind": block.kind, "title": block.title, "items": items}
    return asdict(block)


def _drawing(drawn: Drawn, images: Images) -> dict[str, Any]:
    pieces = [_kept(images, "svg", piece.replace("<svg ", _STANDALONE, 1).encode()) for piece in drawn.wide]
    return {
        "title": drawn.title, "alt": drawn.alt, "caption": drawn.caption, "whole": bool(drawn.narrow), "files": pieces
    }  # fmt: skip


def _kept(images: Images, ending: str, content: bytes) -> str:
    name = f"image-{len(images) + 1}.{ending}"
    images[name] = content
    return name
