"""The Compare page in a real browser: both films always show the frames that belong together, by keys alone too; no
fault that axe-core finds; on paper without what cannot be pressed there."""

import json
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from compare_maker import DAY, SIZE, number_of, read_clips, write_coloured
from desk_maker import make_desk
from playwright.sync_api import Browser, Page, expect
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from gait.caseload.listing import clips, dogs
from gait.caseload.store import open_store
from gait.desk.app import build_desk
from gait.desk.records import clip_line, record_of
from gait.desk.room import Desk
from pose.landmarks import CROUP

pytestmark = pytest.mark.slow

SCREENS = {"phone": (390, 844), "tablet": (1024, 768), "desk": (1440, 900)}
PACE = 30
WAIT_MS = 60_000
#: Frames that both canvases show, told by the colour in their middle, and those that the page says they show.
SEEN = """() => {
    const colour = (canvas) => {
        const at = [canvas.width / 2, canvas.height / 2 + 60].map(Math.round);
        return [...canvas.getContext("2d").getImageData(...at, 1, 1).data].slice(0, 3);
    };
    const stage = document.querySelector("#stage");
    return { colours: [...stage.querySelectorAll("canvas")].map(colour),
             told: stage.dataset.frames.split(" ").map(Number), moment: Number(stage.dataset.moment) };
}"""

#: Colours of a canvas at places (x, y) px.
COLOURS = """([which, places]) => {
    const pen = document.querySelectorAll("#stage canvas")[which].getContext("2d");
    return places.map(([x, y]) => [...pen.getImageData(x, y, 1, 1).data].slice(0, 3));
}"""
#: px, in the middle of the spot at the croup and just beyond it on all sides: it is 11 px wide, and both dogs are shown
#: at about the size that they were filmed in.
OFFSETS = ((0, 0), (12, 0), (-12, 0), (0, 12), (0, -12))
#: of 255; a spot that went through two films is not quite white, a frame's colour has 240 at the most in one colour.
WHITE = 200


def film_routes(desk: Desk, folder: Path) -> list[Route]:
    """Films of coloured frames at an even pace, as the desk makes of clips, one half as large; tables have none."""

    def json_of(request: Request) -> Response:
        line = clip_line(desk, request.path_params["number"])
        if line.kind == "table":
            return JSONResponse({"state": "none", "words": "This clip is a table."})
        tracks, scale = record_of(desk, line.clip_id).tracks, 0.5 if line.name == "boots.mp4" else 1.0
        if not (folder / line.name).is_file():
            write_coloured(folder / line.name, np.arange(len(tracks)) / PACE, tracks.xy_px[:, CROUP], scale)
        of = list(SIZE[::-1])
        size = [round(scale * side) for side in of]
        return JSONResponse({"state": "ready", "numbers": list(range(len(tracks))), "size": size, "of": of})

    def film_of(request: Request) -> Response:
        return FileResponse(folder / clip_line(desk, request.path_params["number"]).name, media_type="video/mp4")

    return [Route("/clips/{number:int}/film.json", json_of), Route("/clips/{number:int}/film.mp4", film_of)]


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    root = tmp_path_factory.mktemp("films")
    store = open_store(root / "home")
    read_clips(store, root / "in", "bare.mp4", "boots.mp4", "later.csv", "alone.csv")
    yield make_desk(store)
    store.close()


@pytest.fixture(scope="module")
def address(desk: Desk, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where the desk is served; nothing is read behind its pages."""
    app = build_desk(desk)
    app.state.alone = True
    app.router.routes[:0] = film_routes(desk, tmp_path_factory.mktemp("proxies"))
    opened = socket.socket()
    opened.bind(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning", lifespan="off"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [opened]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield f"http://127.0.0.1:{opened.getsockname()[1]}"
    server.should_exit = True
    thread.join()
    opened.close()


@pytest.fixture
def page(browser: Browser, desk: Desk, address: str) -> Iterator[Page]:
    """The films of bare and boots, in view; nothing that the page does may fail."""
    page = browser.new_page(viewport={"width": 1366, "height": 900})
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    open_films(page, desk, address)
    yield page
    page.close()
    assert not faults


def open_films(page: Page, desk: Desk, address: str) -> None:
    page.goto(f"{address}/compare?dog={number(desk, 'Tansy')}&of={DAY}+bare&of={DAY}+boots")
    page.locator("#films").wait_for(timeout=WAIT_MS)
    page.wait_for_load_state()  # a page that was loaded again goes back to where it was scrolled to
    page.locator("#films").scroll_into_view_if_needed(timeout=WAIT_MS)
    page.locator("#stage[data-frames]").wait_for(timeout=WAIT_MS)
    page.locator("[name=marks]").uncheck()
    page.evaluate("document.activeElement.blur()")  # else space is the box's own


def number(desk: Desk, dog: str) -> int:
    return next(line.dog_id for line in dogs(desk.store) if line.dog == dog)


def instep(page: Page) -> dict[str, Any]:
    a, b = (page.locator(f"[name={name}]").input_value() for name in "ab")
    return json.loads(page.request.get(f"{page.url.split('/compare')[0]}/compare/instep.json?a={a}&b={b}").text())


def seen_at(page: Page, moment: int) -> list[int]:
    """The frames that both canvases show once the slider stands at ``moment``."""
    end_s = time.monotonic() + 20
    while (now := page.evaluate(SEEN))["moment"] != moment:
        assert time.monotonic() < end_s, f"stays at {now}"
        time.sleep(0.02)
    found = [number_of(colour) for colour in now["colours"]]
    assert found == now["told"]
    return found


def belonging(told: dict[str, Any], moment: int) -> list[int]:
    return [side["frames"][side["rows"][moment]] for side in told["sides"]]


def test_what_is_seen_at_the_croup_is_drawn_at_its_mark(page: Page) -> None:
    told = instep(page)
    for moment in (0, 40, len(told["place"]) - 1):
        page.locator(".slide input").fill(str(moment))
        seen_at(page, moment)
        for which, side in enumerate(told["sides"]):
            x, y = side["marks"][side["rows"][moment]][CROUP]
            around = [(round(x + right), round(y + down)) for right, down in OFFSETS]
            colours = page.evaluate(COLOURS, [which, around])
            assert [min(colour) > WHITE for colour in colours] == [True, False, False, False, False], (which, colours)


def touchdown(told: dict[str, Any], stride: float) -> int:
    """The moment nearest to that many strides."""
    return min(range(len(told["place"])), key=lambda moment: abs(told["place"][moment] - stride))


def test_the_slider_moves_both_films_to_the_frames_that_belong_together(page: Page) -> None:
    told = instep(page)
    last = len(told["place"]) - 1
    for moment in (0, last, 17, 18, 3, last // 2, last // 2 - 1):
        page.locator(".slide input").fill(str(moment))
        assert seen_at(page, moment) == belonging(told, moment)


def test_steps_and_strides_by_keys_alone(page: Page) -> None:
    told = instep(page)
    page.locator("body").press("Home")
    for moment in range(1, 13):
        page.keyboard.press(".")
        assert seen_at(page, moment) == belonging(told, moment)
    page.keyboard.press(",")
    assert seen_at(page, 11) == belonging(told, 11)
    page.keyboard.press("]")
    assert seen_at(page, touchdown(told, 1)) == belonging(told, touchdown(told, 1))
    page.keyboard.press("[")
    assert seen_at(page, 0) == belonging(told, 0)
    page.keyboard.press("8")
    assert page.locator("[name=speed][value='0.125']").is_checked()


def test_playing_keeps_both_in_step_and_the_loop_stays_in_its_stride(page: Page) -> None:
    told = instep(page)
    page.keyboard.press("]")
    seen_at(page, touchdown(told, 1))
    page.keyboard.press("l")
    page.keyboard.press("1")
    page.keyboard.press(" ")
    expect(page.locator("[data-do=play]")).to_have_text("Pause")
    moments = set()
    for _ in range(60):
        now = page.evaluate(SEEN)
        assert [number_of(colour) for colour in now["colours"]] == now["told"] == belonging(told, now["moment"])
        moments.add(now["moment"])
        time.sleep(0.03)
    places = [told["place"][moment] for moment in moments]
    assert len(moments) > 5 and 0.98 <= min(places) and max(places) <= 2.02
    page.keyboard.press(" ")
    expect(page.locator("[data-do=play]")).to_have_text("Play")


def test_pressing_the_bars_goes_there(page: Page) -> None:
    told = instep(page)
    track = page.locator(".track").first.bounding_box()
    assert track
    page.mouse.click(track["x"] + track["width"] * 0.5, track["y"] + 5)
    middle = touchdown(told, told["strides"] / 2)
    end_s = time.monotonic() + 20
    while abs((now := page.evaluate(SEEN))["moment"] - middle) > 1:
        assert time.monotonic() < end_s, f"stays at {now}"
        time.sleep(0.02)


def test_a_table_shows_landmarks_alone_and_says_why(page: Page, desk: Desk, address: str) -> None:
    of = "&".join(f"of={line.date}+{line.condition}" for line in clips(desk.store, dog="Tansy"))
    page.goto(f"{address}/compare?dog={number(desk, 'Tansy')}&{of}")
    page.locator("#films").wait_for(timeout=WAIT_MS)
    page.wait_for_load_state()  # a page that was loaded again goes back to where it was scrolled to
    page.locator("#films").scroll_into_view_if_needed(timeout=WAIT_MS)
    page.locator("#stage[data-frames]").wait_for(timeout=WAIT_MS)
    table = next(line.clip_id for line in clips(desk.store, dog="Tansy") if line.kind == "table")
    page.locator("[name=b]").select_option(str(table))
    expect(page.locator(".say")).to_contain_text("This clip is a table.", timeout=WAIT_MS)
    expect(page.locator(".dog .over").nth(1)).to_contain_text("2026-04-13")


@pytest.mark.parametrize("screen", SCREENS)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_no_fault_and_nothing_runs_over(
    browser: Browser, desk: Desk, address: str, screen: str, scheme: Any
) -> None:
    width, height = SCREENS[screen]
    page = browser.new_page(viewport={"width": width, "height": height}, color_scheme=scheme)
    for path in ("/compare", f"/compare?dog={number(desk, 'Brock')}", ""):
        if path:
            page.goto(address + path)
        else:
            open_films(page, desk, address)
            page.locator("summary").first.click()
        found = Axe().run(page).response["violations"]
        assert not [(item["id"], [node["target"] for node in item["nodes"]][:5]) for item in found], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
    page.close()


def test_pictures_fill_in_by_themselves_once_they_are_taken(page: Page) -> None:
    expect(page.locator("#pictures img")).to_have_count(8, timeout=WAIT_MS)
    expect(page.locator("#pictures")).to_have_count(1)
    assert page.evaluate("[...document.querySelectorAll('#pictures img')].every((one) => one.naturalWidth === 640)")
    expect(page.locator("#pictures [role=status]")).to_have_count(0)


def test_paper_shows_the_answer_and_no_controls(page: Page) -> None:
    page.emulate_media(media="print")
    for hidden in (".chooser", ".bar", ".pair", ".transport", ".settings", ".slide", ".buttons"):
        expect(page.locator(hidden).first).to_be_hidden()
    for shown in ("#answer", "#cautions", "#films canvas", ".bars", "#measures"):
        expect(page.locator(shown).first).to_be_visible()
