"""The desk in a real browser: every page without a fault of access, whole at each width, and quick with a caseload."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from caseload_maker import fill
from command_line import put_table
from desk_maker import put_read
from desk_server import Server
from playwright.sync_api import Browser, Page

from gait.caseload.store import open_store

pytestmark = pytest.mark.slow

#: px: a phone, a tablet, a laptop.
WIDTHS = (390, 1024, 1440)
#: s until a person sees something of use, with 300 clips in the store.
SIGHT_S = 1.0
#: ms until something is painted; a page's own rules forbid what playwright waits with.
PAINTED = """new Promise((done) => new PerformanceObserver((list) => {
  const found = list.getEntriesByName("first-contentful-paint")[0];
  if (found) done(found.startTime);
}).observe({ type: "paint", buffered: true }))"""
PAGES = ("/", "/dogs", "/dogs/1", "/settings", "/nowhere")


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A desk over one dog with two visits."""
    folder = tmp_path_factory.mktemp("desk")
    store = open_store(folder / "home")
    for number, name in enumerate(("a.csv", "b.csv")):
        put_table(folder / "clips", name, seconds=4 + number)
    said = {"a.csv": "Tansy,2026-03-02,bare,yes,1.8", "b.csv": "Tansy,2026-04-13,bare,yes,1.8"}
    put_read(store, said, folder / "clips")
    store.close()
    with Server(folder / "home") as made:
        yield made


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_axe_finds_no_fault(browser: Browser, server: Server, path: str, scheme: str) -> None:
    page = browser.new_page(viewport={"width": 1024, "height": 768}, color_scheme=scheme)
    page.goto(server.address + path)
    found = Axe().run(page).response["violations"]
    page.close()
    assert not [(item["id"], [node["target"] for node in item["nodes"]][:5]) for item in found]


@pytest.mark.parametrize("width", WIDTHS)
def test_no_page_is_wider_than_the_screen_and_no_script_fails(browser: Browser, server: Server, width: int) -> None:
    page = browser.new_page(viewport={"width": width, "height": 800})
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda line: faults.append(line.text) if "Content Security Policy" in line.text else None)
    for path in PAGES:
        page.goto(server.address + path)
        page.wait_for_load_state("networkidle")
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
        small = page.eval_on_selector_all(
            "a.button, button, nav a, select", "all => all.filter((one) => one.offsetHeight && one.offsetHeight < 44)"
            ".map((one) => one.textContent)",
        )  # fmt: skip
        assert not small, path
    page.close()
    assert not faults


def test_the_first_sight_of_three_hundred_clips(browser: Browser, tmp_path: Path) -> None:
    store = open_store(tmp_path / "home")
    fill(store, 300, of_dogs=60)
    store.close()
    (tmp_path / "home" / "clips").mkdir()
    with Server(tmp_path / "home") as server:
        page = browser.new_page()
        seen = {path: quickest_sight_s(page, server.address + path) for path in ("/", "/dogs", "/dogs/7")}
        page.close()
    print({path: f"{sight_s:.2f} s" for path, sight_s in seen.items()})  # noqa: T201
    assert max(seen.values()) <= SIGHT_S


def quickest_sight_s(page: Page, address: str) -> float:
    """s until something is painted, the quickest of some goes: other programs that want the processor hold up single
    ones."""
    best = float("inf")
    for _ in range(10):
        page.goto(address)
        best = min(best, page.evaluate(PAINTED) / 1000)
        if best <= SIGHT_S:
            break
    return best
