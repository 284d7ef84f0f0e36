"""The marking page in a real browser: a person's hands, a server that dies in the middle, and no mark lost."""

import json
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from film_maker import write_numbered
from marking_maker import DOG_PX, make_folder
from playwright.sync_api import Browser, Page, expect

from pose.coco import read_marks
from pose.landmarks import CROUP, FAR_FORE, FAR_HIND, LANDMARKS, NEAR_FORE, NEAR_HIND, WITHERS
from training.marks.server import listen

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parent.parent.parent
LAPTOP, TABLET = {"width": 1366, "height": 900}, {"width": 820, "height": 1180}
START_S = 20.0
#: px of the picture: half a px of the screen at the zoom of these tests, and what is rounded away.
CLOSE_PX = 0.15


class Server:
    """`pawfall mark` as a person starts it, on one port for as long as the test runs."""

    def __init__(self, folder: Path) -> None:
        with listen(0) as free:
            self.port = free.getsockname()[1]
        self.folder = folder
        self.address = f"http://127.0.0.1:{self.port}/"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self, marker: str = "anna") -> None:
        command = [sys.executable, "-m", "gait.cli", "mark", str(self.folder), "--marker", marker, "--no-browser"]
        self.process = subprocess.Popen([*command, "--port", str(self.port)], cwd=ROOT, stdout=subprocess.DEVNULL)
        until = time.monotonic() + START_S
        while time.monotonic() < until:
            try:
                urllib.request.urlopen(self.address + "work", timeout=1).close()
                return
            except (urllib.error.URLError, ConnectionError):
                time.sleep(0.05)
        raise AssertionError("the server does not answer")

    def kill(self) -> None:
        if self.process:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait()
            self.process = None


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    folder = make_folder(tmp_path / "marks", write_numbered(tmp_path / "tansy.mp4", [n / 25 for n in range(12)]))
    made = Server(folder)
    made.start()
    yield made
    made.kill()


@pytest.fixture
def page(browser: Browser, server: Server) -> Iterator[Page]:
    context = browser.new_context(viewport=LAPTOP)
    opened = context.new_page()
    faults: list[str] = []
    opened.on("pageerror", lambda error: faults.append(str(error)))
    opened.goto(server.address)
    expect(opened.locator("#count")).to_have_text("0 of 3 finished")
    yield opened
    context.close()
    assert not faults


def screen(page: Page, xy: Any) -> tuple[float, float]:
    """px of the window of a place in the picture."""
    box = page.locator("#picture").bounding_box()
    assert box is not None
    scale = box["width"] / 96
    return box["x"] + (xy[0] + 0.5) * scale, box["y"] + (xy[1] + 0.5) * scale


def drag(page: Page, start: Any, end: Any) -> None:
    page.mouse.move(*screen(page, start))
    page.mouse.down()
    page.mouse.move(*screen(page, (np.array(start) + end) / 2))
    page.mouse.move(*screen(page, end))
    page.mouse.up()


def keys(page: Page, *names: str) -> None:
    for name in names:
        page.keyboard.press(name)


def points(page: Page) -> list[list[float] | None]:
    found: list[list[float] | None] = page.evaluate("desk.state.points")
    return found


def kept(server: Server, marker: str = "anna") -> list[dict[str, Any]]:
    path = server.folder / f"edits-{marker}.jsonl"
    return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []


def saved(page: Page) -> None:
    expect(page.locator("#saved")).to_have_text("All saved")


def at(page: Page, mark: int) -> np.ndarray:
    place = points(page)[mark]
    assert place is not None
    return np.array(place[:2])


def test_marks_made_by_hand_outlive_a_server_killed_in_the_middle(page: Page, server: Server, browser: Browser) -> None:
    drag(page, DOG_PX[NEAR_FORE], (70.0, 53.0))
    np.testing.assert_allclose(at(page, NEAR_FORE), (70, 53), atol=CLOSE_PX)
    keys(page, "3", "x")
    assert points(page)[NEAR_HIND] == [*DOG_PX[FAR_HIND], 2]
    keys(page, "Control+z")
    assert points(page)[NEAR_HIND] == [*DOG_PX[NEAR_HIND], 2]
    keys(page, "Control+Shift+Z", "5", "ArrowUp", "h")
    saved(page)
    server.kill()
    size = page.locator("#stage").bounding_box()
    drag(page, DOG_PX[CROUP], (30.0, 25.0))
    expect(page.locator("#banner")).to_contain_text("the server does not answer")
    keys(page, "Enter")  # finishes the first picture, and the second opens without a server
    keys(page, "2", "u", "ArrowRight")
    expect(page.locator("#reason")).to_contain_text("the server does not answer")
    expect(page.locator("#saved")).to_contain_text("cannot be shown")
    assert page.locator("#stage").bounding_box() == size  # nothing moves under the hand
    made = page.evaluate("desk.work.pictures.map((one) => one.state)")
    server.start()
    expect(page.locator("#banner")).to_be_hidden(timeout=15_000)
    expect(page.locator("#picture")).to_have_js_property("naturalWidth", 96)
    assert page.locator("#saved").text_content() == "All saved"  # what is over is not said any longer
    expect(page.locator("#later")).to_be_enabled()
    marks = read_marks(server.folder / "marks-anna.json")
    np.testing.assert_allclose(marks.xy_px[0, CROUP], (30, 25), atol=CLOSE_PX)
    np.testing.assert_allclose(marks.xy_px[0, NEAR_FORE], (70, 53), atol=CLOSE_PX)
    np.testing.assert_array_equal(marks.xy_px[0, [NEAR_HIND, FAR_HIND]], DOG_PX[[FAR_HIND, NEAR_HIND]])
    assert marks.xy_px[0, WITHERS].tolist() == [62, 19] and marks.visibility[0].tolist() == [2, 2, 2, 2, 1, 2]
    page.reload()
    expect(page.locator("#count")).to_have_text("1 of 3 finished, 1 begun")
    assert page.evaluate("desk.work.pictures.map((one) => one.state)") == made
    assert made[1]["sides_sure"] == {"fore": False, "hind": True}
    assert made[1]["points"][FAR_FORE] == [DOG_PX[FAR_FORE, 0] + 1, DOG_PX[FAR_FORE, 1], 2]


def test_a_page_killed_while_the_server_is_gone_sends_when_it_is_opened_again(page: Page, server: Server) -> None:
    server.kill()
    keys(page, "1", "ArrowLeft", "ArrowLeft")
    expect(page.locator("#banner")).to_be_visible()
    assert kept(server) == []
    context = page.context
    page.close()
    server.start()
    again = context.new_page()
    again.goto(server.address)
    saved(again)
    assert at(again, NEAR_FORE).tolist() == [DOG_PX[NEAR_FORE, 0] - 2, DOG_PX[NEAR_FORE, 1]]
    assert [step["kind"] for step in kept(server)] == ["edit", "edit"]
    again.close()


def test_undo_goes_back_through_an_earlier_sitting_and_redo_forward(page: Page, server: Server) -> None:
    first = points(page)
    keys(page, "1", "ArrowLeft", "Enter", "2", "h", "6", "Shift+ArrowRight")
    saved(page)
    last = page.evaluate("desk.work.pictures.map((one) => one.state)")
    server.kill()
    server.start()
    page.reload()
    expect(page.locator("#count")).to_have_text("1 of 3 finished, 1 begun")
    for _ in range(4):
        keys(page, "Control+z")
    expect(page.locator("#undo")).to_be_disabled()
    assert points(page) == first and page.evaluate("desk.work.finished()") == 0
    saved(page)
    assert not (server.folder / "marks-anna.json").exists()
    for _ in range(4):
        keys(page, "Control+y")
    assert page.evaluate("desk.work.pictures.map((one) => one.state)") == last


def test_a_score_stands_beside_what_is_as_it_was_found(page: Page) -> None:
    told = page.locator(".landmark small")
    expect(told.nth(NEAR_HIND)).to_have_text("seen, as found (score 70 %)")
    expect(told.nth(CROUP)).to_have_text("seen")
    keys(page, "3", "ArrowLeft")
    expect(told.nth(NEAR_HIND)).to_have_text("seen")


def test_an_empty_picture_is_marked_by_six_clicks_in_order(page: Page, server: Server) -> None:
    keys(page, "PageDown", "PageDown")
    for mark, place in enumerate(DOG_PX):
        expect(page.locator("#invite")).to_contain_text(LANDMARKS[mark].replace("_", " "))
        page.mouse.click(*screen(page, place))
    expect(page.locator("#invite")).to_be_hidden()
    page.mouse.click(*screen(page, (80, 10)))  # with all six placed a click changes nothing
    np.testing.assert_allclose(np.array(points(page))[:, :2], DOG_PX, atol=CLOSE_PX)
    keys(page, "Enter")
    saved(page)
    assert read_marks(server.folder / "marks-anna.json").files == ("pictures/tansy-000009.png",)


def test_an_empty_picture_is_marked_by_keys_alone(page: Page) -> None:
    keys(page, "PageDown", "PageDown", "Enter")
    expect(page.locator("#saved")).to_contain_text("near fore: place it, or say")
    keys(
        page,
        "p",
        "ArrowRight",
        "Alt+ArrowDown",
        "2",
        "ArrowUp",
        "3",
        "n",
        "4",
        "n",
        "5",
        "p",
        "Shift+ArrowUp",
        "6",
        "p",
    )
    assert points(page)[2:4] == [[0, 0, 0]] * 2
    assert (at(page, NEAR_FORE) - at(page, CROUP)).tolist() == [1, 0.25]
    assert (at(page, WITHERS) - at(page, CROUP)).tolist() == [0, -10]
    keys(page, "w", "Enter")
    expect(page.locator("#count")).to_have_text("1 of 3 finished")


def test_no_dog_is_said_and_taken_back(page: Page, server: Server) -> None:
    keys(page, "d", "Enter")
    saved(page)
    marks = read_marks(server.folder / "marks-anna.json")
    assert (len(marks), marks.files) == (0, ("pictures/tansy-000002.png",))
    keys(page, "PageUp", "d")
    assert points(page)[0] == [*DOG_PX[0], 2]


def test_zoom_keeps_the_place_below_the_pointer_and_the_background_can_be_dragged(page: Page) -> None:
    before = screen(page, (48, 32))
    page.mouse.move(*before)
    page.mouse.wheel(0, -400)
    np.testing.assert_allclose(screen(page, (48, 32)), before, atol=1)
    assert page.locator("#stage.near").count() == 1
    page.mouse.down()
    page.mouse.move(before[0] + 60, before[1] + 30)
    page.mouse.up()
    np.testing.assert_allclose(np.subtract(screen(page, (48, 32)), before), (60, 30), atol=1)
    assert page.evaluate("desk.work.done.length") == 0


def test_the_zoom_stays_from_picture_to_picture_of_a_clip(page: Page) -> None:
    page.mouse.move(*screen(page, DOG_PX[NEAR_FORE]))
    page.mouse.wheel(0, -400)
    before = page.evaluate("[desk.stage.scale, desk.stage.left, desk.stage.top]")
    keys(page, "Enter")
    assert page.evaluate("desk.row") == 1
    assert page.evaluate("[desk.stage.scale, desk.stage.left, desk.stage.top]") == before
    page.evaluate("desk.work.pictures[2].notes.clip = 'another'")
    keys(page, "PageDown")
    assert page.evaluate("desk.stage.scale") < before[0]


def test_that_all_is_finished_is_said_for_a_while(page: Page) -> None:
    page.evaluate("desk.work.pictures[2].state = {...desk.work.pictures[0].start, finished: true}")
    keys(page, "Enter", "Enter")
    expect(page.locator("#count")).to_have_text("3 of 3 finished")
    page.wait_for_timeout(500)  # the server has confirmed by then
    expect(page.locator("#saved")).to_have_text("All pictures are finished. Thank you.")
    expect(page.locator("#saved")).to_have_text("All saved", timeout=10_000)


def test_frames_of_the_clip_are_looked_at_and_ghosts_laid_over(page: Page) -> None:
    keys(page, ".", "ArrowLeft")
    expect(page.locator("#looking")).to_contain_text("1 frame later")
    assert page.evaluate("desk.work.done.length") == 0
    keys(page, "Escape")
    expect(page.locator("#looking")).to_be_hidden()
    keys(page, "b")
    expect(page.locator("#ghost-before")).to_be_visible()
    assert page.locator("#ghost-before").get_attribute("src") == "pictures/1/frames/-1"


def test_without_the_clip_the_ghosts_are_off_with_the_reason(page: Page, server: Server) -> None:
    (server.folder.parent / "tansy.mp4").unlink()
    page.reload()
    expect(page.locator("#reason")).to_contain_text("--clips")
    for name in ("before", "after", "earlier", "later"):
        expect(page.locator(f"#{name}")).to_be_disabled()


def test_another_persons_server_takes_nothing_of_this_page(page: Page, server: Server) -> None:
    server.kill()
    server.start("ben")
    keys(page, "1", "ArrowLeft")
    expect(page.locator("#banner")).to_contain_text("is for the work of ben")
    assert kept(server, "ben") == []
    server.kill()
    server.start("anna")
    saved(page)
    assert len(kept(server)) == 1


Touch = Callable[[str, list[tuple[float, float]]], None]


def fingers(page: Page) -> Touch:
    """Puts fingers on the screen, moves them, lifts them."""
    wire = page.context.new_cdp_session(page)

    def touch(kind: str, places: list[tuple[float, float]]) -> None:
        spots = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(places)]
        wire.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": spots})

    return touch


def test_touch_drags_pinches_and_taps(browser: Browser, server: Server) -> None:
    context = browser.new_context(viewport=TABLET, has_touch=True)
    page = context.new_page()
    page.goto(server.address)
    expect(page.locator("#count")).to_have_text("0 of 3 finished")
    touch = fingers(page)
    x, y = screen(page, DOG_PX[WITHERS])
    beside = (x + 15, y - 15)  # a finger beside the landmark does not make it jump
    touch("touchStart", [beside])
    touch("touchMove", [(beside[0] + 20, beside[1] + 10)])
    touch("touchEnd", [])
    scale = screen(page, (1, 0))[0] - screen(page, (0, 0))[0]
    np.testing.assert_allclose(at(page, WITHERS), DOG_PX[WITHERS] + np.array([20, 10]) / scale, atol=CLOSE_PX)
    done = page.evaluate("desk.work.done.length")
    middle = screen(page, (48, 40))
    touch("touchStart", [(middle[0] - 50, middle[1]), (middle[0] + 50, middle[1])])
    touch("touchMove", [(middle[0] - 100, middle[1]), (middle[0] + 100, middle[1])])
    touch("touchEnd", [])
    wider = screen(page, (1, 0))[0] - screen(page, (0, 0))[0]
    assert wider / scale == pytest.approx(2, rel=0.05)
    assert page.evaluate("desk.work.done.length") == done == 1
    page.locator("#next").tap()
    page.locator("#next").tap()
    place = screen(page, DOG_PX[0])
    page.touchscreen.tap(*place)
    np.testing.assert_allclose(at(page, NEAR_FORE), DOG_PX[0], atol=2 * CLOSE_PX)
    context.close()


@pytest.mark.parametrize("size", [LAPTOP, TABLET], ids=["laptop", "tablet"])
def test_everything_is_large_enough_to_touch_and_nothing_runs_over(browser: Browser, server: Server, size: Any) -> None:
    page = browser.new_page(viewport=size)
    page.goto(server.address)
    expect(page.locator("#count")).to_have_text("0 of 3 finished")
    boxes = page.evaluate("[...document.querySelectorAll('body > :not(dialog) button')].map((one) => [one.id, "
                          "one.getBoundingClientRect().width, one.getBoundingClientRect().height])")  # fmt: skip
    assert len(boxes) > 25 and not [box for box in boxes if min(box[1:]) < 44]
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    assert page.evaluate("document.documentElement.scrollHeight") <= size["height"]
    faults = Axe().run(page).response["violations"]
    assert not [(item["id"], [node["target"] for node in item["nodes"]][:5]) for item in faults]
    page.keyboard.press("?")
    expect(page.locator("#sheet")).to_be_visible()
    assert not Axe().run(page).response["violations"]
    page.close()


def test_every_button_is_reached_by_tab_and_shows_where_one_is(page: Page) -> None:
    wanted = page.evaluate("[...document.querySelectorAll('body > :not(dialog) button:not(:disabled)')].length")
    reached = set()
    for _ in range(wanted + 5):
        page.keyboard.press("Tab")
        one = page.evaluate(
            "(one => [one.id || one.textContent, getComputedStyle(one).outlineStyle])(document.activeElement)"
        )
        if page.evaluate("document.activeElement.matches('button')"):
            assert one[1] == "solid"
            reached.add(one[0])
    assert len(reached) == wanted
