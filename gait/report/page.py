"""A gait record as one page that stands alone: no script, nothing fetched, fit for screen, phone and paper."""

import base64
from functools import cache
from importlib.resources import files
from pathlib import Path
from urllib.parse import quote

import cv2
import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup
from numpy.typing import NDArray

from gait.nouns import GaitRecord
from gait.report import sections
from gait.report.answer import answer
from gait.report.bygait import by_gait
from gait.report.cautions import CAUTIONS
from gait.report.drawn import Drawn
from gait.report.overruled import overruled_table
from gait.report.sides import sides_table
from gait.report.writing import write_whole

#: JPEG quality of the embedded picture: hardly visible losses at a tenth of the size. Common practice, no source.
JPEG_QUALITY = 85
#: px, longest side of the embedded picture; wider than the page shows it, small enough to keep the page light.
PICTURE_PX = 1280


def write_page(
    record: GaitRecord,
    path: Path,
    *,
    picture: NDArray[np.uint8] | None = None,
    film: str | None = None,
    reading: str | None = None,
) -> None:
    """Write the page of ``record`` to ``path``; a page that is there under that name is always whole.

    picture   (H, W, 3) uint8, one upright RGB frame of the clip, embedded
    film      name of the film file that lies beside the page
    reading   where the page of the reading itself lies, as seen from this one, when a person overruled it
    """
    write_whole(path, page_text(record, picture=picture, film=film, reading=reading).encode("utf-8"))


def page_text(
    record: GaitRecord,
    *,
    picture: NDArray[np.uint8] | None = None,
    film: str | None = None,
    reading: str | None = None,
) -> str:
    """The page as HTML text; arguments as in :func:`write_page`."""
    return template("page.html").render(
        css=stylesheet(),
        head=sections.head(record),
        answer=answer(record),
        gaits=by_gait(record),
        notices=sections.notices(record),
        cautions=CAUTIONS,
        film=quote(film) if film else "",
        picture=picture_link(picture) if picture is not None else "",
        figures=figures(record),
        measures=sections.measure_table(record),
        sides=sides_table(record),
        steadiness=sections.clip_label("steadiness"),
        strides=sections.stride_table(record),
        overruled=overruled_table(record),
        reading=quote(reading) if reading else "",
        checks=sections.checks(record),
        advice=sections.advice(record),
        advice_none=sections.NOTHING_TO_CHANGE,
        definitions=sections.definitions(record),
        making=sections.making(record),
        settings=sections.settings(record),
    )


def figures(record: GaitRecord) -> tuple[Drawn, ...]:
    """Every figure of the page in its order. What draws is loaded with the first: matplotlib takes a second, and many a
    process that knows of pages never draws one."""
    from gait.report.footfall import footfall_figure
    from gait.report.paths import paths_figure
    from gait.report.phases import phases_figure
    from gait.report.topline import topline_figure

    return footfall_figure(record), phases_figure(record), paths_figure(record), topline_figure(record)


def picture_link(picture: NDArray[np.uint8]) -> str:
    """An RGB picture (H, W, 3) uint8 as a data link that can stand inside the page."""
    return jpeg_link(packed_picture(picture))


def jpeg_link(jpeg: bytes) -> str:
    """A JPEG file as a data link."""
    return "data:image/jpeg;base64," + base64.b64encode(jpeg).decode("ascii")


def packed_picture(picture: NDArray[np.uint8]) -> bytes:
    """An RGB picture (H, W, 3) uint8 as a JPEG file no larger than a report shows it."""
    scale = min(1.0, PICTURE_PX / max(picture.shape[:2]))
    smaller = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else picture
    _, packed = cv2.imencode(".jpg", cv2.cvtColor(smaller, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    return packed.tobytes()


@cache
def template(name: str) -> Template:
    """A template of this package; what is put in is escaped, what is missing is an error."""
    loader = PackageLoader("gait", "report")
    return Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True).get_template(name)


@cache
def stylesheet() -> Markup:
    """The style sheet of every page."""
    return Markup(files("gait.report").joinpath("page.css").read_text(encoding="utf-8"))
