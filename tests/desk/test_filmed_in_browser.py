"""What was filmed, said at a clip in a real browser: from the list of clips of no dog to numbers in metres."""

import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from command_line import put_table
from desk_browser import check_page
from desk_server import Server
from findings_maker import read_all
from playwright.sync_api import Browser, expect

from gait.caseload.adding import add
from gait.caseload.findings import update_findings
from gait.caseload.store import open_store

pytestmark = pytest.mark.slow

#: s until a clip of some seconds is worked out anew behind the page, on a busy machine.
ANEW_S = 60.0
METRES = re.compile(r"^m$")
NAME = "a<img src=x onerror=alert(1)>.csv"


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    """A desk over one clip of no dog that was read, and one that cannot be."""
    put_table(tmp_path / "clips", NAME, seconds=6)
    (tmp_path / "clips" / "broken.mp4").write_bytes(b"no film")
    store = open_store(tmp_path / "home")
    add(store, tmp_path / "clips", settle_s=0)
    read_all(store)
    update_findings(store)
    store.close()
    with Server(tmp_path / "home") as made:
        yield made


def test_a_clip_is_described_and_its_numbers_follow(browser: Browser, server: Server) -> None:
    page = browser.new_page(viewport={"width": 1024, "height": 800})
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("dialog", lambda dialog: faults.append(dialog.message))
    page.goto(f"{server.address}/dogs")
    page.get_by_role("link", name=NAME).click()
    page.wait_for_load_state()  # until then the browser itself may move the cursor to where the address leads
    form = page.locator("#filmed")
    expect(form.get_by_label("Dog", exact=True)).to_be_in_viewport()
    form.get_by_label("Dog", exact=True).type("Tansy L1")  # keys of the page are letters here
    form.locator("[name=date]").fill("2.3.2026")
    form.locator("[name=condition]").fill("bare")
    form.locator("[name=belt]").fill("6,48")
    expect(form.locator("[name=slow]")).to_be_hidden()
    form.locator("[name=pace]").select_option("fps")
    expect(form.locator("[name=slow]")).to_be_visible()
    form.locator("[name=pace]").select_option("")
    form.get_by_role("button", name="Keep it").click()
    expect(form.get_by_role("alert")).to_contain_text("has to be a date as YYYY-MM-DD")
    expect(form.get_by_label("Dog", exact=True)).to_have_value("Tansy L1")
    check_page(page)
    form.locator("[name=date]").fill("2026-03-02")
    form.get_by_role("button", name="Keep it").click()
    expect(form).to_contain_text("It is kept")
    expect(page.locator(".short .unit").filter(has_text=METRES)).to_have_count(0)
    until = time.monotonic() + ANEW_S
    while page.locator(".notice").count() and time.monotonic() < until:
        time.sleep(0.2)
        page.goto(str(page.get_by_role("link", name="Look again").evaluate("link => link.href")))
    expect(page.get_by_role("heading", name="Tansy L1")).to_be_visible()
    expect(page.locator(".short .unit").filter(has_text=METRES)).to_have_count(1)
    check_page(page)
    page.close()
    assert not faults


def test_a_clip_that_cannot_be_read_is_tried_again(browser: Browser, server: Server) -> None:
    page = browser.new_page()
    page.goto(server.address)
    page.get_by_role("link", name="See why").first.click()
    expect(page.get_by_role("heading", name="Why it could not be read")).to_be_visible()
    check_page(page)
    page.get_by_role("button", name="Try again").click()
    expect(page.locator(".notice")).to_be_visible()
    page.close()
