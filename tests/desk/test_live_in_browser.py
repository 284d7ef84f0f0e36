"""The page Live in a real browser: without a fault of access, whole at each width, alive, and none of it needed."""

import json
import re
import urllib.parse
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from desk_server import Server
from fake_network import write_fake_network
from live_maker import film_of_discs, wait_for
from playwright.sync_api import Browser, Page, expect

from gait.caseload.listing import clips
from gait.caseload.queue import is_paused
from gait.caseload.store import open_store
from pose.clip import open_clip

pytestmark = pytest.mark.slow

#: px: a phone, a tablet, a laptop.
WIDTHS = (390, 1024, 1440)
#: ms, longest wait for the page, and px of letters that are read from two metres on a laptop: 20 mm at 96 to the inch.
PATIENCE_MS, LARGE_PX = 60_000, 75


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    """A desk that was started with a film as its camera."""
    film = film_of_discs(tmp_path, 20.0)
    made = Server(tmp_path / "home", "--camera", str(film), "--network", str(write_fake_network(tmp_path)))
    made.start()
    yield made
    made.kill()


def ask(opened: urllib.request.OpenerDirector, address: str, **form: str) -> str:
    """The page at ``address``, or what a form sent there is answered."""
    data = urllib.parse.urlencode(form).encode() if form else None
    with opened.open(urllib.request.Request(address, data, {"accept": "text/html"}), timeout=60) as answer:
        return str(answer.read().decode())


def test_a_killed_desk_leaves_its_recording_and_takes_it_up(server: Server) -> None:
    opened = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    token = re.findall(r'name="csrftoken" value="([^"]+)"', ask(opened, f"{server.address}/live"))[0]
    ask(opened, f"{server.address}/live/start", csrftoken=token, camera="given-0", dog="Pilot")
    wait_for(lambda: json.loads(ask(opened, f"{server.address}/live/now.json"))["written"] > 75)
    server.kill()
    server.start()
    store = open_store(server.home)
    [line] = clips(store)
    assert line.dog == "Pilot" and not is_paused(store) and open_clip(line.path).duration_s > 1
    store.close()


def faults_of(page: Page) -> list[object]:
    found = Axe().run(page).response["violations"]
    return [(item["id"], [node["target"] for node in item["nodes"]][:5]) for item in found]


def test_live_from_the_form_to_the_clip(browser: Browser, server: Server) -> None:
    page = browser.new_page(viewport={"width": 1440, "height": 900})
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda line: faults.append(line.text) if "Content Security Policy" in line.text else None)
    page.goto(f"{server.address}/live")
    assert not faults_of(page)
    page.fill("#dog", "Pilot")
    page.get_by_role("button", name="Start").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("#picture:not([hidden])", timeout=PATIENCE_MS)
    expect(page.locator("#topline")).to_have_text(re.compile("^topline "), timeout=PATIENCE_MS)
    assert page.evaluate("parseFloat(getComputedStyle(document.getElementById('gait')).fontSize)") >= LARGE_PX
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert not faults_of(page)
    page.emulate_media(color_scheme="dark")
    assert not faults_of(page)
    page.close()
    again = browser.new_page()
    again.goto(f"{server.address}/live")
    expect(again.locator("#age")).to_contain_text("ms after its picture", timeout=PATIENCE_MS)
    again.get_by_role("button", name="End and keep the clip").click()
    again.wait_for_selector("text=Watch it")
    again.close()
    store = open_store(server.home)
    assert [line.dog for line in clips(store)] == ["Pilot"] and not faults
    store.close()
