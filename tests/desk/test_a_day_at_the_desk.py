"""A day at the desk in a real browser: films dropped, read through a power cut, watched, overruled, marked, compared
and printed, and all of it found again after another power cut."""

import io
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pypdf
import pytest
from desk_browser import drop
from desk_server import Server
from playwright.sync_api import Browser, Page, expect

from gait.desk.audit import read_audit

pytestmark = pytest.mark.slow

SAMPLES = Path(__file__).parent.parent.parent / "samples"
FILMS = {"bare": SAMPLES / "tansy_trot_bare.mp4", "boots": SAMPLES / "tansy_trot_boots.mp4"}
#: ms for a film to be looked into, and for both to be read, on a busy machine.
LOOK_MS, READ_MS = 90_000, 240_000


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    """A desk over a caseload that is new."""
    with Server(tmp_path / "home") as made:
        yield made


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A page on which no script fails."""
    opened = browser.new_page(viewport={"width": 1280, "height": 900})
    faults: list[str] = []
    opened.on("pageerror", lambda error: faults.append(str(error)))
    yield opened
    opened.close()
    assert not faults


def test_a_day_at_the_desk(page: Page, server: Server) -> None:
    add_films(page, server)
    cut_the_power(server)
    wait_until_read(page, server)
    at = watch(page, server)
    overrule(page)
    mark_here(page)
    compare_and_print(page, server)
    cut_the_power(server)
    find_it_again(page, server, at)


def add_films(page: Page, server: Server) -> None:
    """Drop two films, say what they show, have them read."""
    page.goto(server.address)
    page.get_by_role("link", name="Add footage").first.click()
    expect(page).to_have_url(f"{server.address}/add")
    page.wait_for_load_state()
    drop(page, *FILMS.values())
    for condition, film in FILMS.items():
        row = page.locator("#films .film").filter(has_text=film.name)
        expect(row.locator(".verdict")).not_to_be_empty(timeout=LOOK_MS)
        for key, value in {"dog": "Tansy", "date": "2026-03-02", "condition": condition, "belt": "7.2"}.items():
            row.locator(f"[data-key={key}]").fill(value)
        row.locator("[data-key=baseline]").set_checked(condition == "bare")
    page.get_by_role("button", name="Read these").click()
    expect(page).to_have_url(f"{server.address}/")
    page.wait_for_load_state()
    expect(page.locator("#reading-words")).to_contain_text("of 2 clips")


def cut_the_power(server: Server) -> None:
    """The desk ends in the middle of whatever it does, and is started again."""
    server.kill()
    server.start()


def wait_until_read(page: Page, server: Server) -> None:
    """The page that was left open tells how far it is, and in the end the clips."""
    expect(page.locator("#reading-words")).to_contain_text("2 of 2 clips are read", timeout=READ_MS)
    page.goto(server.address)
    expect(page.locator("#last li")).to_have_count(2)


def watch(page: Page, server: Server) -> float:
    """Open the clip in boots and press the diagram in its middle; s to which the film went."""
    page.goto(server.address)
    page.get_by_role("link", name="tansy_trot_boots.mp4").click()
    expect(page.locator("#film")).to_be_visible(timeout=READ_MS)
    expect(page.locator("#now")).to_contain_text("Frame 1 of 300")
    drawn = page.locator("#diagram svg")
    box = drawn.bounding_box()
    assert box is not None
    drawn.click(position={"x": box["width"] * 0.6, "y": box["height"] * 0.3})
    expect(page.locator("#now")).not_to_contain_text("Frame 1 of")
    return seconds(page)


def seconds(page: Page) -> float:
    found = re.search(r"Frame \d+ of 300, ([\d.]+) s", page.locator("#now").inner_text())
    assert found
    return float(found[1])


def overrule(page: Page) -> None:
    """Leave a stride out, with a reason."""
    page.locator("#strides").get_by_role("button", name=re.compile("^Overrule")).first.click()
    dialog = page.locator("#overrule")
    dialog.get_by_label("Leave this stride out").check()
    dialog.locator("[name=reason]").fill("stumbled over the lead")
    dialog.locator("button[type=submit], button.strong").last.click()
    expect(page.locator("#mine-words")).to_contain_text("A person overruled 1 of")


def mark_here(page: Page) -> None:
    """From the frame that is shown to the marking surface; a landmark is moved there."""
    page.get_by_role("button", name="Wrong landmark here").click()
    expect(page).to_have_url(re.compile(r"/mark/#1$"))
    expect(page.locator("#count")).to_have_text("0 of 1 finished")
    page.keyboard.press("1")
    page.keyboard.press("Shift+ArrowLeft")
    expect(page.locator("#count")).to_have_text("0 of 1 finished, 1 begun")
    expect(page.locator("#saved")).to_have_text("All saved")
    page.get_by_role("link", name="Back to the desk").click()


def compare_and_print(page: Page, server: Server) -> None:
    """The answer of boots against bare, on the page and as a PDF."""
    page.goto(f"{server.address}/compare?dog=1")
    expect(page.locator("main")).to_contain_text("Strides are", timeout=LOOK_MS)
    expect(page.locator("main")).to_contain_text("A person overruled 1 of")
    address = page.get_by_role("link", name=re.compile("PDF")).first.get_attribute("href")
    assert address
    answer = page.request.get(server.address + address)
    assert answer.ok
    text = " ".join("".join(sheet.extract_text() for sheet in pypdf.PdfReader(io.BytesIO(answer.body())).pages).split())
    assert all(words in text for words in ("Tansy", "boots", "makes no diagnosis", "A person overruled 1 of"))


def find_it_again(page: Page, server: Server, at_s: float) -> None:
    """What was said and marked is there after the power cut."""
    page.goto(f"{server.address}/clips/2?t={at_s}")
    expect(page.locator("#mine-words")).to_contain_text("A person overruled 1 of")
    expect(page.locator("#mine-list")).to_contain_text("stumbled over the lead")
    expect(page.locator("#now")).to_contain_text(f"{at_s:.3f} s", timeout=LOOK_MS)
    page.goto(f"{server.address}/mark/")
    expect(page.locator("#count")).to_have_text("0 of 1 finished, 1 begun")
    assert [line["what"] for line in read_audit(server.home)] == ["stride overruled"]
    kept = [json.loads(line) for line in (server.home / "marks" / "edits-desk.jsonl").read_text().splitlines()]
    assert len(kept) == 1
