"""The morning list and the page of a dog: everything is told once, in order, and every row leads to its page."""

import re
from html import unescape

import pytest
from morning_maker import FOLDER, LONG, make_list, make_story

from gait.caseload.short_list import ShortList
from gait.report.caseload.pages import PARTS, dog_html, morning_page
from gait.report.cautions import CAUTIONS

MADE = "Written on 2026-04-27 at 06:00"
NOTHING = ShortList((), {"done": 3}, 3, 1, {}, 0)


def text_of(page: str) -> str:
    """What a reader sees, without marks and with single spaces."""
    bare = re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", page, flags=re.S))
    return " ".join(unescape(bare).split())


def links(page: str) -> list[str]:
    return re.findall(r'href="([^"]+)"', page)


def test_sections_stand_in_the_order_in_which_a_person_is_needed() -> None:
    page = morning_page(make_list(), MADE)
    found = re.findall(r'<section id="([a-z]+)"', page)
    assert [name for name in found if name not in ("cautions", "else")] == [part.key for part in PARTS]
    assert found.index("cautions") == 1 and found[-1] == "else"


def test_both_kinds_of_one_visit_stand_together_and_heads_are_told_once() -> None:
    words = text_of(morning_page(make_list(), MADE))
    assert "1 dog moves otherwise" in words and "2 clips to be filmed again" in words
    assert words.count("Trot, bare, since 2026-03-02") == 2  # once for each dog, not for each measure
    assert "Tansy paces" in words and "stride time is 11 % shorter (10 to 13 %)." in words


def test_every_row_leads_to_its_page_and_names_are_escaped() -> None:
    page = morning_page(make_list(), MADE)
    assert {"morning/dog-1-visits.html", "morning/dog-1.html", "morning/dog-2.html", f"{FOLDER}/report.html"} <= set(
        links(page)
    )
    assert "Brock &amp; Co &lt;b&gt;" in page and "Co <b>" not in page


@pytest.mark.parametrize(
    "words",
    [
        pytest.param(f"pawfall pick {FOLDER} --sources '/the films' -o marks", id="the command that chooses frames"),
        pytest.param("2 clips without dog and day", id="clips without a sheet"),
        pytest.param(f"/films/again/{LONG}, the same as /films/{LONG}", id="copies"),
        pytest.param("Set aside 1", id="how many were set aside"),
        pytest.param(MADE, id="when it was made"),
    ],
)
def test_also_told(words: str) -> None:
    assert words in text_of(morning_page(make_list(), MADE))


def test_a_list_with_nothing_on_it_says_so_and_still_shows_the_cautions() -> None:
    page = morning_page(NOTHING, MADE)
    assert "Nothing needs a person" in page and '<ul class="cases">' not in page
    for caution in CAUTIONS:
        assert caution.gist in page


def test_the_page_of_a_dog_links_from_its_own_folder() -> None:
    page = dog_html(make_story(), "..")
    assert {"../morning.html", f"../{FOLDER}/report.html", "../morning/dog-1-visits.html"} >= set(links(page))
    words = text_of(page)
    for told in ("3 visits, 2026-03-02 to 2026-04-27 · 4 clips", "topline angle degrees −2.04 0.30 –",
                 "hind duty factor % 61.0 – 66.0", "stride time ms 512 515 460", "set aside", "waiting",
                 "good (by an older network, setting or version)"):  # fmt: skip
        assert told in words
    for caution in CAUTIONS:
        assert caution.gist in page
