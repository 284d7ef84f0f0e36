"""Add footage in a real browser: films dropped, the connection cut in the middle, resumed, described, read."""

import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from desk_browser import check_page, drop
from desk_server import Server
from playwright.sync_api import Browser, Page, Route, expect

pytestmark = pytest.mark.slow

SAMPLES = Path(__file__).parent.parent.parent / "samples"
BARE, BOOTS = SAMPLES / "tansy_trot_bare.mp4", SAMPLES / "tansy_walk_boots.mp4"
#: ms for a film to be looked into on a busy machine.
LOOK_MS = 90_000
LONG = "A name of two hundred letters" + "x" * 171


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    with Server(tmp_path / "home") as made:
        yield made


@pytest.fixture
def page(browser: Browser, server: Server) -> Iterator[Page]:
    opened = browser.new_page(viewport={"width": 1024, "height": 800})
    faults: list[str] = []
    opened.on("pageerror", lambda error: faults.append(str(error)))
    opened.on("console", lambda line: faults.append(line.text) if "Content Security Policy" in line.text else None)
    opened.on("dialog", lambda dialog: dialog.accept())
    opened.goto(server.address + "/add")
    yield opened
    opened.close()
    assert not faults


class Cable:
    """Breaks so many times when half of what is sent has gone through; in the end it may stay broken."""

    def __init__(self, page: Page, breaks: int) -> None:
        self.left, self.for_good, self.pulled = breaks, False, False
        page.route("**/uploads/*", self)

    def __call__(self, route: Route) -> None:
        """Carry a request."""
        request = route.request
        if self.pulled:
            route.abort("connectionreset")
            return
        if request.method != "PATCH" or not self.left:
            route.continue_()
            return
        self.left -= 1
        body, headers = request.post_data_buffer or b"", request.all_headers()
        half = urllib.request.Request(request.url, body[: len(body) // 2], method="PATCH")
        for name, value in headers.items():
            if name not in ("content-length", "host") and not name.startswith(":"):
                half.add_header(name, value)
        urllib.request.urlopen(half).close()
        self.pulled = self.for_good and not self.left
        route.abort("connectionreset")


def test_two_films_through_a_broken_cable(page: Page, server: Server, tmp_path: Path) -> None:
    cable = Cable(page, breaks=2)
    expect(page.get_by_role("heading", name="Film one short clip first")).to_be_visible()
    check_page(page)
    drop(page, BARE)
    first = page.locator(".film").nth(0)
    expect(first.locator(".verdict")).to_have_text("Film on like this. The dog walks to the right.", timeout=LOOK_MS)
    assert cable.left == 0

    cable.left, cable.for_good = 1, True
    drop(page, BOOTS)
    second = page.locator(".film").nth(1)
    expect(second.locator(".state")).to_contain_text("The connection broke", timeout=LOOK_MS)
    first.locator("[data-key=dog]").fill("Tansy")
    page.reload()
    cable.pulled = cable.for_good = False
    expect(second.locator(".state")).to_contain_text("% of it is here. Choose tansy_walk_boots.mp4 again")
    expect(first.locator("[data-key=dog]")).to_have_value("Tansy")
    page.set_input_files("#files", BOOTS)
    expect(second.locator(".verdict")).to_have_text("Change this before you film on:", timeout=LOOK_MS)
    expect(second.locator(".change")).to_contain_text("Film at 60 frames a second or more")
    describe_and_read(page, tmp_path / "home" / "footage")


def describe_and_read(page: Page, footage: Path) -> None:
    """Say what was filmed, wrongly at first."""
    assert (footage / BARE.name).read_bytes() == BARE.read_bytes()
    assert (footage / BOOTS.name).read_bytes() == BOOTS.read_bytes()
    first, second = page.locator(".film").nth(0), page.locator(".film").nth(1)
    page.click("#read")
    expect(first.locator(".wrong")).to_contain_text("condition is empty")
    page.locator("#paste summary").click()
    head, row = "clip dog date condition baseline belt_kmh", "tansy_trot_bare.mp4 Tansy 2026-03-02 bare x 5,4"
    page.fill("#sheet", f"{head}\n{row}".replace(" ", "\t"))
    page.click("#fill")
    expect(first.locator("[data-key=condition]")).to_have_value("bare")
    second.get_by_role("button", name="same as above").click()
    second.locator("[data-key=condition]").fill("boots")
    second.locator("[data-key=baseline]").uncheck()
    second.locator("[data-key=pace]").select_option("times")
    second.locator("[data-key=slow]").fill("4")
    expect(second.locator("output")).to_have_text("filmed at 120 frames per second")
    second.locator("[data-key=pace]").select_option("")
    expect(second.locator(".verdict")).not_to_have_text("Looking into it …", timeout=LOOK_MS)
    check_page(page)
    page.click("#read")
    page.wait_for_url(lambda url: url.endswith("/"))
    told = (footage / "tansy_walk_boots.toml").read_text().splitlines()
    assert told == ['dog = "Tansy"', 'date = "2026-03-02"', 'condition = "boots"', "baseline = false", "belt_kmh = 5.4"]
    expect(page.locator("#reading-words")).to_contain_text("of 2 clips")


def test_names_made_to_do_harm(page: Page, tmp_path: Path) -> None:
    bad = tmp_path / f"{LONG}<img src=x onerror=alert(1)>.mp4"
    bad.write_bytes(b"<html>" * 400)
    page.evaluate("() => { window.alert = () => { throw new Error('a script ran'); }; }")
    drop(page, bad)
    expect(page.locator("#refused")).to_contain_text("<img src=x onerror=alert(1)>.mp4", timeout=LOOK_MS)
    assert page.locator("#refused img").count() == 0
    check_page(page)
    drop(page, SAMPLES / "plan.toml", SAMPLES / "tansy.csv")
    expect(page.locator("#said")).to_contain_text("rows wait for films that have not come yet", timeout=LOOK_MS)
