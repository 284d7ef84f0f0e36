"""Every page in a real browser: no fault that axe-core finds, no overflow, everything within reach of keys."""

from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from comparison_maker import make_comparison
from judged_maker import make_judged
from morning_maker import make_list, make_story
from playwright.sync_api import Browser
from record_maker import make_record

from gait.report.caseload.pages import dog_html, morning_page
from gait.report.comparison.content import Film
from gait.report.comparison.document import KeyPicture
from gait.report.comparison.page import write_comparison_page
from gait.report.judging import judging_page
from gait.report.page import packed_picture, write_page
from pose.beside import write_picture

pytestmark = pytest.mark.slow

#: px, width and height: a phone, a laptop, a desk screen.
SCREENS = {"phone": (390, 844), "laptop": (1366, 768), "desk": (1920, 1080)}
PICTURE = np.full((90, 160, 3), (200, 90, 10), dtype=np.uint8)
MOMENT = "Touchdown of the near hind paw"
PAGES = ["clip.html", "comparison.html", "judged.html", "morning.html", "dog.html"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The pages with everything that they can hold."""
    made = tmp_path_factory.mktemp("pages")
    write_page(make_record(), made / "clip.html", picture=PICTURE, film="film.mp4")
    pictures = [KeyPicture(name, MOMENT, packed_picture(PICTURE), "Tansy") for name in ("bare", "boots")]
    films = [Film("Tansy, bare and in boots, in step.", "films/tansy-boots.mp4")]
    write_comparison_page(make_comparison(), made / "comparison.html", pictures=pictures, films=films)
    (made / "worst").mkdir()
    write_picture(PICTURE, made / "worst" / "01.png")
    (made / "judged.html").write_text(judging_page(make_judged(), [["worst/01.png"], []]), encoding="utf-8")
    (made / "morning.html").write_text(morning_page(make_list(), "Written on 2026-04-27 at 06:00"), encoding="utf-8")
    (made / "dog.html").write_text(dog_html(make_story(), ".."), encoding="utf-8")
    return made


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", PAGES)
def test_axe_finds_no_fault(browser: Browser, folder: Path, name: str, scheme: str) -> None:
    page = browser.new_page(viewport={"width": 1366, "height": 768}, color_scheme=scheme)
    page.goto((folder / name).as_uri())
    found = Axe().run(page).response["violations"]
    page.close()
    assert not [(item["id"], [node["target"] for node in item["nodes"]][:5]) for item in found]


def test_axe_finds_what_is_wrong(browser: Browser) -> None:
    page = browser.new_page()
    page.set_content('<html><body><img src="x"><p style="color:#ccc;background:#fff">pale</p></body></html>')
    found = {item["id"] for item in Axe().run(page).response["violations"]}
    page.close()
    assert {"image-alt", "color-contrast", "html-has-lang"} <= found


@pytest.mark.parametrize("screen", SCREENS)
@pytest.mark.parametrize("name", PAGES)
def test_nothing_runs_over_the_edge_of_the_screen(browser: Browser, folder: Path, name: str, screen: str) -> None:
    width, height = SCREENS[screen]
    page = browser.new_page(viewport={"width": width, "height": height})
    page.goto((folder / name).as_uri())
    whole = page.evaluate("document.documentElement.scrollWidth")
    clipped = page.evaluate(
        """() => [...document.querySelectorAll('.card svg')].filter(svg => svg.clientWidth).flatMap(svg => {
            const box = svg.getBoundingClientRect();
            return [...svg.querySelectorAll('text')].filter(text => {
                const at = text.getBoundingClientRect();
                return at.left < box.left - 2 || at.right > box.right + 2 || at.top < box.top - 2
                    || at.bottom > box.bottom + 2;
            }).map(text => text.textContent);
        })"""
    )
    page.close()
    assert whole <= width
    assert not clipped


@pytest.mark.parametrize("name", [name for name in PAGES if name != "morning.html"])  # which has no table
def test_every_table_that_scrolls_can_be_scrolled_by_keys(browser: Browser, folder: Path, name: str) -> None:
    width, height = SCREENS["phone"]
    page = browser.new_page(viewport={"width": width, "height": height})
    page.goto((folder / name).as_uri())
    wanted = page.evaluate("[...document.querySelectorAll('.scroll')].filter(el => el.offsetParent).length")
    scrolled = 0
    page.evaluate("document.querySelectorAll('video').forEach(film => film.remove())")
    for _ in range(3 * wanted + 10):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.matches('.scroll')"):
            page.keyboard.press("ArrowRight")
            page.wait_for_timeout(150)
            moved = "(el => el.scrollLeft > 0 || el.scrollWidth <= el.clientWidth)(document.activeElement)"
            scrolled += bool(page.evaluate(moved))
    page.close()
    assert wanted > 0 and scrolled >= wanted


def test_pages_print_without_anything_wider_than_the_sheet(browser: Browser, folder: Path) -> None:
    for name in PAGES:
        page = browser.new_page(viewport={"width": 695, "height": 1000})  # A4 less its margins at 96 px an inch
        page.emulate_media(media="print")
        page.goto((folder / name).as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= 695
        page.close()


def test_names_that_people_gave_keep_their_first_letter(browser: Browser, folder: Path) -> None:
    page = browser.new_page()
    page.goto((folder / "judged.html").as_uri())
    shown = "th => getComputedStyle(th, '::first-letter').textTransform"
    letters = f"[...document.querySelectorAll('.judged th{{}}')].map({shown})"
    assert set(page.evaluate(letters.format(".name"))) == {"none"}
    assert set(page.evaluate(letters.format(":not(.name)"))) == {"uppercase"}
    page.close()
