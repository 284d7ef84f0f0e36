"""The Watch page in a real browser: the frame that is shown is the one that was asked for, always."""

import json
import time
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from film_maker import BITS
from playwright.sync_api import Browser, Page, Route, expect
from watch_maker import FPS, FRAMES, desk_to_watch, served, tracks

from gait.caseload.listing import clips
from gait.caseload.store import open_store
from gait.desk.records import record_of
from gait.desk.room import Desk
from gait.nouns import GaitRecord
from pose.landmarks import NEAR_HIND

pytestmark = pytest.mark.slow

WAIT_S = 5.0
LAPTOP = {"width": 1366, "height": 900}
SCREENS = {"phone": (390, 844), "tablet": (1024, 768), "desk": (1440, 900)}
#: Frames that a loop may show beyond its stride; none.
BEYOND = 0
#: The number that the shown frame of the film itself carries, read from its pixels.
SHOWN = f"""() => {{
    const canvas = document.createElement("canvas"), film = document.querySelector("video");
    canvas.width = film.videoWidth;
    canvas.height = film.videoHeight;
    const pen = canvas.getContext("2d"), step = Math.floor(canvas.width / {BITS});
    pen.drawImage(film, 0, 0);
    const row = pen.getImageData(0, Math.floor(3 * canvas.height / 4), canvas.width, 1).data;
    let number = 0;
    for (let bit = 0; bit < {BITS}; bit += 1) {{
        if (row[4 * (bit * step + Math.floor(step / 2))] > 128) number |= 1 << bit;
    }}
    return number;
}}"""
#: Notes the number of every frame that is shown from now on, with what the page says it is.
WATCHED = f"""() => {{
    const film = document.querySelector("video"), read = {SHOWN};
    window.seen = [];
    const look = (now, frame) => {{
        if (!film.seeking) window.seen.push([Math.round(frame.mediaTime * 30), read()]);
        film.requestVideoFrameCallback(look);
    }};
    film.requestVideoFrameCallback(look);
}}"""
#: Number of the frame of every row.
FRAME_OF = tracks().frame
ROWS = len(FRAME_OF)
NOTHING = {"overrulings": [], "undo": False, "redo": False, "words": ""}


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    folder = tmp_path_factory.mktemp("watch")
    store = open_store(folder / "caseload")
    yield desk_to_watch(store, folder / "in")
    store.close()


@pytest.fixture(scope="module")
def address(desk: Desk) -> Iterator[str]:
    with served(desk) as at:
        yield at


def number_of(desk: Desk, dog: str) -> int:
    return next(line.clip_id for line in clips(desk.store) if line.dog == dog)


@pytest.fixture
def record(desk: Desk) -> GaitRecord:
    return record_of(desk, number_of(desk, "Tansy"))


@pytest.fixture
def page(browser: Browser, desk: Desk, address: str) -> Iterator[Page]:
    """The page of the film, ready; nothing that it does may fail."""
    page = browser.new_page(viewport=LAPTOP)  # type: ignore[arg-type]
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(f"{address}/clips/{number_of(desk, 'Tansy')}")
    expect(page.locator("#screen")).to_have_attribute("data-film", "shown", timeout=30_000)
    yield page
    page.close()
    assert not faults


def shows(page: Page, row: int) -> None:
    """The page says that it shows ``row`` of the record, and the film shows the frame of that row."""
    expect(page.locator("#screen")).to_have_attribute("data-row", str(row))
    expect(page.locator("#now")).to_contain_text(f"Frame {row + 1} of {ROWS}")
    becomes(page, SHOWN, int(FRAME_OF[row]) % 2**BITS)


def becomes(page: Page, script: str, wanted: Any) -> None:
    """Wait until ``script`` gives ``wanted``; asked from here, since the page runs no script made of words."""
    until = time.monotonic() + WAIT_S
    while (found := page.evaluate(script)) != wanted and time.monotonic() < until:
        page.wait_for_timeout(20)
    assert found == wanted


def test_every_step_shows_the_next_frame_and_every_step_back_the_one_before(page: Page) -> None:
    for row in range(1, 51):
        page.keyboard.press("." if row % 2 else "ArrowRight")
        shows(page, row)
    for row in range(49, 29, -1):
        page.keyboard.press("," if row % 2 else "ArrowLeft")
        shows(page, row)


def test_a_key_held_down_loses_no_step(page: Page) -> None:
    for _ in range(50):
        page.keyboard.press(".")
    shows(page, 50)


def test_pressing_the_diagram_goes_to_that_moment(page: Page, record: GaitRecord) -> None:
    page.get_by_role("button", name="Whole clip").click()
    for row in (30, 117, 203):
        x = axis(page)(record.tracks.t_s[row])
        page.locator("#diagram").click(position={"x": x, "y": 70})
        shows(page, row)


def axis(page: Page) -> Any:
    """Where a time (s) of the whole clip lies on the diagram in px."""
    box = page.locator("#diagram").bounding_box()
    assert box is not None
    left, right = 78, box["width"] - 2 - 12  # the border is outside the drawing
    return lambda t_s: left + t_s * FPS / (FRAMES - 1) * (right - left)


def test_pressing_a_strides_number_or_a_gaits_name_goes_to_its_first_frame(page: Page, record: GaitRecord) -> None:
    page.get_by_role("button", name="Whole clip").click()
    s = record.strides
    rows = [row for row in range(len(s)) if s.paw[row] == NEAR_HIND and s.used[row]]
    start, end = float(s.start_s[rows[2]]), float(s.end_s[rows[2]])
    page.locator("#diagram").click(position={"x": axis(page)((start + 3 * end) / 4), "y": 124})
    shows(page, int((record.tracks.t_s < start - 5e-6).sum()))
    run = record.runs[0]
    page.locator("#diagram").click(position={"x": axis(page)((run.start_s + run.end_s) / 2), "y": 14})
    shows(page, int((record.tracks.t_s < run.start_s - 5e-6).sum()))


def test_dragging_takes_the_film_along(page: Page) -> None:
    page.get_by_role("button", name="Whole clip").click()
    page.locator("#diagram").scroll_into_view_if_needed()
    box = page.locator("#diagram").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 200, box["y"] + 80)
    page.mouse.down()
    for x in range(200, 500, 20):
        page.mouse.move(box["x"] + x, box["y"] + 80)
    page.mouse.up()
    page.wait_for_timeout(300)
    row = page.locator("#screen").get_attribute("data-row")
    assert row is not None and 60 < int(row) < ROWS
    shows(page, int(row))


@pytest.mark.parametrize("speed", ["1", "1/4"])
def test_a_loop_stays_inside_its_stride(page: Page, record: GaitRecord, speed: str) -> None:
    page.locator(".speeds label", has_text=speed).filter(has=page.locator(f"text=/^{speed}$/")).click()
    button = page.get_by_role("button", name="Loop: stride 3 of the near hind paw")
    s = record.strides
    row = [k for k in range(len(s)) if s.paw[k] == NEAR_HIND][2]
    first = int((record.tracks.t_s < s.start_s[row] - 5e-6).sum())
    last = int((record.tracks.t_s < s.end_s[row] - 5e-6).sum()) - 1
    button.click()
    expect(page.locator("[data-do=play]")).to_have_text("Pause")
    page.wait_for_timeout(400)
    page.evaluate(WATCHED)
    page.wait_for_timeout(2500 if speed == "1" else 5000)
    seen = page.evaluate("window.seen")
    numbers = [first - 16 + (pixels - first + 16) % 2**BITS for _, pixels in seen]  # 16 frames before to 47 after
    assert min(numbers) >= first
    assert max(numbers) <= last + BEYOND
    if speed == "1/4":  # faster, a busy browser has drawn the next picture before it tells of this one
        assert numbers == [told for told, _ in seen]
    assert sum(b < a for a, b in pairwise(numbers)) >= 1  # it went round
    if speed == "1/4":
        assert set(numbers) >= set(range(first, last))
    page.get_by_role("button", name="Loop", exact=True).click()
    expect(page.get_by_role("button", name="Loop", exact=True)).to_have_attribute("aria-pressed", "false")


def test_it_plays_as_fast_as_it_says_and_stops_at_the_end(page: Page) -> None:
    page.keyboard.press("2")
    page.evaluate(WATCHED)
    page.keyboard.press(" ")
    expect(page.locator("[data-do=play]")).to_have_text("Pause")
    assert page.evaluate("document.querySelector('video').playbackRate") == pytest.approx(60 * 0.5 / 30, rel=1e-3)
    page.keyboard.press("1")
    assert page.evaluate("document.querySelector('video').playbackRate") == pytest.approx(60 / 30, rel=1e-3)
    expect(page.locator("[data-do=play]")).to_have_text("Play", timeout=15_000)
    shows(page, ROWS - 1)


def test_a_table_shows_landmarks_and_diagram_without_film(browser: Browser, desk: Desk, address: str) -> None:
    page = browser.new_page(viewport=LAPTOP)  # type: ignore[arg-type]
    page.goto(f"{address}/clips/{number_of(desk, 'Brock')}")
    expect(page.locator("#film-state")).to_contain_text("without a film")
    for _ in range(3):
        page.keyboard.press(".")
    expect(page.locator("#now")).to_contain_text(f"Frame 4 of {ROWS}")
    painted = "[...document.getElementById('marks').getContext('2d').getImageData(0, 0, 9999, 9999).data].some(v => v)"
    assert page.evaluate(painted.replace("9999, 9999", "400, 300"))
    page.keyboard.press(" ")
    becomes(page, "Number(document.getElementById('screen').dataset.row) > 20", True)
    page.close()


def test_a_long_clip_is_shown_in_parts_that_follow_the_film(page: Page) -> None:
    page.get_by_role("button", name="Closer").click()
    page.get_by_role("button", name="Closer").click()
    numbers = "[...document.querySelectorAll('#diagram .number')].map(n => n.firstChild.textContent)"
    before = page.evaluate(numbers)
    for _ in range(3):
        page.keyboard.press("]")
    page.wait_for_timeout(200)
    assert page.evaluate(numbers) != before
    head = "Number(document.querySelector('#diagram .head').getAttribute('x1'))"
    assert 78 <= page.evaluate(head) <= page.evaluate("document.getElementById('diagram').clientWidth")


def answering(page: Page, sent: list[Any]) -> None:
    """Stand in for the answers about overrulings, and keep what the page sends."""

    def answer(route: Route) -> None:
        """One overruling once something was sent."""
        told = dict(NOTHING)
        if route.request.method == "POST":
            words = route.request.post_data_json
            sent.append((route.request.url.rsplit("/", 1)[-1], words))
            if words:
                more = {"id": "1", "gait": words["gait"] or "", "by": "", "at": "2026-03-02T10:00:00", "matches": True}
                one = {**words, **more}
                told = {"overrulings": [one], "undo": True, "redo": False, "words": "A person overruled 1 stride."}
        route.fulfill(status=200, content_type="application/json", body=json.dumps(told))

    page.route("**/overruled**", answer)


def test_a_stride_is_overruled_with_a_reason_and_taken_back(page: Page, record: GaitRecord) -> None:
    sent: list[Any] = []
    answering(page, sent)
    page.get_by_role("button", name="Overrule: stride 3 of the near hind paw").click()
    dialog = page.get_by_role("dialog")
    expect(dialog).to_contain_text("Stride 3 of the near hind paw")
    dialog.get_by_label("Why").fill("   ")
    dialog.get_by_role("button", name="Overrule").click()
    expect(dialog.get_by_role("alert")).to_contain_text("Choose the gait")
    dialog.get_by_role("combobox", name="Gait").select_option("pace")
    dialog.get_by_role("button", name="Overrule").click()
    expect(dialog.get_by_role("alert")).to_contain_text("Say why")
    assert not sent
    dialog.get_by_label("Why").fill("Both paws of a side swing together.")
    dialog.get_by_role("button", name="Overrule").click()
    expect(dialog).to_be_hidden()
    s = record.strides
    row = [k for k in range(len(s)) if s.paw[k] == NEAR_HIND][2]
    what, words = sent[0]
    assert what == "overruled"
    assert (words["paw"], words["gait"]) == ("near_hind", "pace")
    assert words["reason"] == "Both paws of a side swing together."
    assert (words["start_s"], words["end_s"]) == pytest.approx((s.start_s[row], s.end_s[row]), abs=6e-6)
    line = page.locator("#strides tr").nth(2)
    expect(line).to_contain_text("trot")
    expect(line).to_contain_text("pace: Both paws")
    expect(page.locator("#mine-words")).to_have_text("A person overruled 1 stride.")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#mine-words")).to_have_text("Nothing was overruled in this clip.")
    assert sent[-1] == ("undo", {})


def test_a_wrong_landmark_leads_to_marking_that_frame(page: Page) -> None:
    asked: list[str] = []

    def answer(route: Route) -> None:
        """Send the page somewhere."""
        asked.append(route.request.url)
        route.fulfill(status=200, content_type="application/json", body='{"goto": "/settings"}')

    page.route("**/mark?frame=*", answer)
    for _ in range(7):
        page.keyboard.press(".")
    shows(page, 7)
    page.get_by_role("button", name="Wrong landmark here").click()
    page.wait_for_url("**/settings")
    assert asked[0].endswith("/mark?frame=7")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("screen", SCREENS)
def test_axe_finds_no_fault_and_nothing_runs_over(
    browser: Browser, desk: Desk, address: str, screen: str, scheme: Any
) -> None:
    width, height = SCREENS[screen]
    page = browser.new_page(viewport={"width": width, "height": height}, color_scheme=scheme)
    answering(page, [])
    page.goto(f"{address}/clips/{number_of(desk, 'Tansy')}")
    expect(page.locator("#screen")).to_have_attribute("data-film", "shown", timeout=30_000)
    page.get_by_role("button", name="Overrule: stride 2 of the near hind paw").click()
    in_dialog = Axe().run(page).response["violations"]
    page.keyboard.press("Escape")
    found = Axe().run(page).response["violations"]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.close()
    assert not [(item["id"], [node["target"] for node in item["nodes"]][:5]) for item in (*found, *in_dialog)]
