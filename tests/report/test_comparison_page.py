"""The page of a comparison: whole, honest, in its order, and alone in the world; and the PDF of the same content."""

import io
import re
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from comparison_maker import (
    BARE,
    BOOTS,
    GROUPS,
    LINES,
    TRENDS,
    VEST,
    condition_contrasts,
    make_clips,
    make_comparison,
    make_trend,
    visit_contrasts,
)
from late import Late
from page_reader import broken, fetched, read
from pypdf import PdfReader

from gait.compare.nouns import ClipSet, Comparison, Contrast
from gait.measures import SIDE_WARNING
from gait.report.cautions import CAUTIONS
from gait.report.comparison.closing import STATISTICS
from gait.report.comparison.content import Card, Definitions, Document, Film, Paragraph, Points, Table
from gait.report.comparison.document import KeyPicture, build_document
from gait.report.comparison.page import page_of, write_comparison_page
from gait.report.comparison.pdf import pdf_of, write_comparison_pdf
from gait.report.comparison.reports import write_reports
from gait.report.page import packed_picture

HOSTILE = "</title><script>alert(\"x\")</script><img src=http:x onerror='y'>&amp;#let *x* \\ $y$"
PICTURE = np.full((60, 80, 3), (200, 90, 10), dtype=np.uint8)
MOMENT = "Touchdown of the near hind paw"
PICTURES = tuple(KeyPicture(name, MOMENT, packed_picture(PICTURE), "Tansy") for name in ("bare", "boots"))
FILMS = (Film("Tansy, bare and in boots, in step.", "films/tansy boots.mp4"),)


def hostile() -> Comparison:
    """Names that are no names, in every place where a person may have put one."""
    sides = [
        ClipSet(HOSTILE, HOSTILE, HOSTILE, made.records, {HOSTILE: 3})
        for made in (make_clips(HOSTILE, dog=HOSTILE, date=HOSTILE, notes=HOSTILE), make_clips("boots", clip=HOSTILE))
    ]
    lines = tuple(replace(line, gait=HOSTILE, declined=line.declined and HOSTILE) for line in LINES)
    contrast = Contrast("condition", HOSTILE, *sides, True, lines, (HOSTILE,))
    trend = replace(TRENDS[0], dog=HOSTILE, condition=HOSTILE, gait=HOSTILE)
    group = replace(GROUPS[0], condition=HOSTILE, gait=HOSTILE, dogs=(HOSTILE,) * 3)
    return Comparison((contrast,), (group,), (trend,), {HOSTILE: {HOSTILE: HOSTILE}}, {HOSTILE: HOSTILE})


def lonely() -> Comparison:
    """Nothing to hold against each other, in one case because there is no baseline."""
    missing = Contrast("condition", "Tansy", None, VEST, False, (), declined="Tansy has no baseline on 2026-05-04.")
    clock = Contrast("condition", "Tansy", BARE, BOOTS, False, (), declined="The clock is not known.")
    return Comparison((missing, clock))


DOCUMENTS = Late(
    {
        "everything at once": lambda: build_document(make_comparison(), pictures=PICTURES, films=FILMS),
        "one dog": lambda: build_document(Comparison(condition_contrasts())),
        "visits": lambda: build_document(Comparison(visit_contrasts(), trends=TRENDS)),
        "nothing compared": lambda: build_document(lonely()),
        "empty": lambda: build_document(Comparison(())),
        "hostile names": lambda: build_document(hostile()),
    }
)
PAGES = Late({name: partial(lambda which: page_of(DOCUMENTS[which]), name) for name in DOCUMENTS})


@pytest.fixture(params=list(DOCUMENTS))
def document(request: pytest.FixtureRequest) -> Document:
    """Every document."""
    return DOCUMENTS[request.param]


@pytest.fixture(params=list(PAGES))
def page(request: pytest.FixtureRequest) -> str:
    """Every page."""
    return PAGES[request.param]


@pytest.fixture
def usual() -> Document:
    """The document that has everything."""
    return DOCUMENTS["everything at once"]


def blocks(document: Document, kind: type) -> list:
    return [block for block in document.blocks() if isinstance(block, kind)]


def test_the_page_is_whole_and_stands_alone(page: str) -> None:
    assert page.startswith("<!DOCTYPE html>")
    assert not broken(page)
    assert not fetched(page.replace("http:x", ""))


def test_what_finds_faults_in_pages_can_find_them() -> None:
    wrong = '<p id="a"><a href="//x"></p><b id="a"><img src="http://x/y.mp4"><i aria-labelledby="z"></i>'
    assert len(broken(wrong)) >= 4 and len(fetched(wrong)) == 3


def test_a_missing_number_never_shows_as_one(page: str) -> None:
    assert not re.search(r"\b(nan|inf|null)\b", page, re.I)
    assert "None" not in read(page).text


def test_every_picture_has_its_words(page: str) -> None:
    reader = read(page)
    drawn = [attrs["aria-label"] for _, attrs in reader.tags if attrs.get("role") == "img"]
    assert all(len(words) > 30 for words in drawn)
    assert page.count("<figure") == page.count("<figcaption>")
    assert all(attrs.get("alt") for tag, attrs in reader.tags if tag == "img")


def test_scrolling_tables_can_be_reached_by_key_and_have_names_of_their_own(page: str) -> None:
    regions = [attrs for _, attrs in read(page).tags if attrs.get("role") == "region"]
    assert all(attrs["tabindex"] == "0" for attrs in regions)
    names = [attrs["aria-label"] for attrs in regions]
    assert len(names) == len(set(names))


def test_hostile_names_stay_words() -> None:
    page = PAGES["hostile names"]
    assert not {tag for tag, _ in read(page).tags} & {"script", "img"}
    assert not any("onerror" in attrs for _, attrs in read(page).tags)
    assert HOSTILE in "".join(read(page).words)


def test_the_answer_comes_first_cautions_straight_under_it_definitions_last(usual: Document) -> None:
    keys = [section.key for section in usual.sections]
    assert keys == [
        "answer", "cautions", "figures", "measures", "runs", "pictures", "dogs", "visits", "reading", "definitions",
        "making",
    ]  # fmt: skip


def test_cautions_stand_whole_with_their_sources(document: Document) -> None:
    text = read(page_of(document)).text
    for caution in CAUTIONS:
        assert f"{caution.gist} {caution.text}" in text
        assert caution.source in text and (caution.source or re.search(r"\d{4}", caution.text))
    assert all(point.source for point in STATISTICS)
    assert "never assumes which direction" in text


def test_every_contrast_is_answered_and_only_the_last_visit_first(usual: Document) -> None:
    titles = [block.title for block in usual.sections[0].blocks if isinstance(block, Card)]
    assert titles == [
        "Tansy: weighted work vest against bare",
        "Tansy: boots against bare",
        "Brock: weighted work vest against bare",
        "Pilot: weighted work vest against bare",
        "Ember, bare: 2026-05-25 against 2026-03-02",
    ]
    assert len(blocks(usual, Card)) == len(make_comparison().contrasts)


def test_the_table_holds_the_numbers_of_the_comparison(usual: Document) -> None:
    table = next(block for block in blocks(usual, Table) if block.key.startswith("t"))
    assert table.columns[2:4] == ("bare", "weighted work vest")
    rows = {row.head: row for row in table.rows}
    assert len(rows) == len(LINES)
    assert rows["Topline angle, deg"].cells == (
        "14 / 12",
        "1.00",
        "3.10",
        "+2.10",
        "+1.40\u00a0to\u00a0+2.80",
        "0.84",
        "larger",
    )
    assert rows["Hind reach, m"].cells[3] == "−0.040 (−8.0\u00a0%)"
    declined = rows["Withers excursion, m"]
    assert declined.cells == ("14 / 3",) and "hidden by the vest" in declined.rest
    assert "bare: 28 of 28 found; weighted work vest: 14 of 14 found" in table.caption


def test_what_has_no_table_is_named() -> None:
    text = read(PAGES["one dog"]).text
    assert "No measure could be compared, for the reasons given at the start: Tansy: boots against bare." in text


def test_other_ways_of_facing_are_told_beside_the_figures() -> None:
    turned = replace(VEST, records=(replace(VEST.records[0], facing="left"),))
    told = build_document(Comparison((Contrast("condition", "Tansy", BARE, turned, True, LINES),)))
    text = read(page_of(told)).text
    assert "faces different ways (to the right: bare; to the left: weighted work vest)" in text
    assert "faces different ways" not in read(PAGES["one dog"]).text


def test_definitions_are_those_of_what_is_shown() -> None:
    (shown,) = blocks(DOCUMENTS["one dog"], Definitions)
    terms = [item.term for item in shown.items]
    assert {"limb phase", "topline angle", "reach", "resolution"} <= set(terms) and len(terms) == len(set(terms))
    assert "withers excursion" not in terms and "repeatability" not in terms
    (more,) = blocks(DOCUMENTS["visits"], Definitions)
    assert "repeatability" in [item.term for item in more.items]


def test_few_dogs_are_said_to_be_few(usual: Document) -> None:
    words = " ".join(block.text for block in blocks(usual, Paragraph))
    assert "Only 3 dogs: fewer than six cannot show a difference" in words and "0.06" in words
    many = replace(GROUPS[0], dogs=tuple("abcdef"), differences=(-8.0,) * 6)
    told = build_document(replace(make_comparison(), groups=(many,)))
    assert "fewer than six" not in " ".join(block.text for block in blocks(told, Paragraph))


def test_the_mean_over_dogs_in_words(usual: Document) -> None:
    section = next(section for section in usual.sections if section.key == "dogs")
    points = next(block for block in section.blocks if isinstance(block, Points))
    assert [point.text.replace("\u00a0", " ") for point in points.items] == ["Hind reach is 6 % shorter (1 to 12 %)."]


def test_flagged_changes_are_told_and_unflagged_ones_are_not(usual: Document) -> None:
    section = next(section for section in usual.sections if section.key == "visits")
    points = next(block for block in section.blocks if isinstance(block, Points))
    assert [point.text.replace("\u00a0", " ") for point in points.items] == [
        "Topline angle: 1.0 degrees withers-high then, 0.9 degrees croup-high on 2026-05-25.",
        "Hind duty factor: 45 % then, 43 % on 2026-05-25.",
    ]
    quiet = make_trend("hind_reach_bl", (1.0, 1.0, 1.01), 0.03, (False,) * 3)
    told = build_document(Comparison(visit_contrasts(), trends=(replace(quiet, repeatability=np.nan),)))
    text = read(page_of(told)).text
    assert "No change since 2026-03-02 is larger" in text and "film two clips or more a visit" in text


def test_near_and_far_only_with_the_warning_and_only_beyond_the_error() -> None:
    text = read(PAGES["visits"]).text
    assert SIDE_WARNING in text and "3 further pairs of near and far lie within" in text
    table = next(block for block in blocks(DOCUMENTS["visits"], Table) if block.key == "sides")
    assert [row.head for row in table.rows] == [
        f"Ember, {day}, duty factor, hind paws" for day in ("2026-03-02", "2026-04-13", "2026-05-25")
    ]
    assert SIDE_WARNING not in read(PAGES["one dog"]).text


def test_one_clip_a_condition_is_warned_of_only_where_it_is_so() -> None:
    warning = "nothing of how two clips of the same condition would differ"
    twice = Contrast("condition", "Tansy", BARE, make_clips("boots", clips=2), True, LINES)
    assert warning in read(PAGES["one dog"]).text
    assert warning not in read(page_of(build_document(Comparison((twice,))))).text


def test_many_visits_are_not_all_drawn_and_that_is_said() -> None:
    dates = [f"2026-{month:02d}-01" for month in range(1, 9)]
    sides = [make_clips("bare", dog="Ember", date=date) for date in dates]
    told = build_document(
        Comparison(tuple(Contrast("visit", "Ember", sides[0], side, True, LINES) for side in sides[1:]))
    )
    assert "2 visits between the first and the last ones" in read(page_of(told)).text


def test_a_visit_without_a_value_says_why() -> None:
    table = next(block for block in blocks(DOCUMENTS["visits"], Table) if block.key == "v1-table-1")
    row = next(row for row in table.rows if row.head.startswith("Hind reach"))
    assert row.cells[1] == "10 February: known in 2 strides only."


def test_pictures_of_one_moment_stand_side_by_side() -> None:
    page = PAGES["everything at once"]
    assert page.count("data:image/jpeg;base64,") == 2
    assert f'alt="Tansy: {MOMENT}, boots"' in page
    assert 'src="films/tansy%20boots.mp4"' in page


def pdf_text(document: Document) -> str:
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf_of(document))).pages))


def test_the_pdf_says_the_same_as_the_page(document: Document) -> None:
    def bare(text: str) -> str:
        return re.sub(r"[^\w%.,;:()+−-]", "", text)

    text = bare(pdf_text(document))
    for block in document.blocks():
        if isinstance(block, Card):
            words = [block.title, block.lead, *block.findings, *(each for _, texts in block.rows for each in texts)]
        elif isinstance(block, Points):
            words = [f"{point.gist} {point.text}" for point in block.items]
        elif isinstance(block, Paragraph):
            words = [block.text]
        else:
            continue
        missing = [each for each in words if bare(each) not in text and "\n" not in each and len(each) < 200]
        assert not missing


def test_the_pdf_is_tagged_and_its_pictures_have_words() -> None:
    root = PdfReader(io.BytesIO(pdf_of(DOCUMENTS["one dog"]))).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"] and "/StructTreeRoot" in root
    assert root["/Lang"] == "en-GB"


@pytest.mark.parametrize("write", [write_comparison_page, write_comparison_pdf], ids=["page", "PDF"])
def test_what_is_written_is_whole_and_the_same_each_time(write, tmp_path: Path) -> None:
    comparison = Comparison(condition_contrasts())
    for name in ("a", "b"):
        write(comparison, tmp_path / name, pictures=PICTURES, films=FILMS)
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "b"]


def test_page_and_pdf_are_written_together(tmp_path: Path) -> None:
    comparison = Comparison(condition_contrasts())
    page, pdf = write_reports(comparison, tmp_path)
    assert page.read_text(encoding="utf-8") == PAGES["one dog"]
    assert pdf.read_bytes() == pdf_of(DOCUMENTS["one dog"])
    assert sorted(path.name for path in tmp_path.iterdir()) == ["report.html", "report.pdf"]
