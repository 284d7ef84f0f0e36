"""The caseload at the desk: first day, dogs, trends, units, reading behind the pages."""

import time

import numpy as np
import pytest
from command_line import put_table
from desk_maker import client_of, put_read, send
from starlette.testclient import TestClient

from gait.caseload import queue
from gait.caseload.adding import add
from gait.caseload.findings import update_findings
from gait.desk import caseload_pages, night
from gait.desk.app import build_desk
from gait.desk.night import Night
from gait.desk.room import Desk
from gait.desk.trend import HEIGHT, RIM, WIDTH, trend
from gait.report.units import told

VISITS = {"a.csv": "Tansy,2026-03-02,bare,yes,1.8", "b.csv": "Tansy,2026-04-13,bare,yes,1.8"}


@pytest.fixture
def seen(desk: Desk) -> Desk:
    """A dog with two visits, read."""
    folder = desk.home.parent / "clips"
    for number, name in enumerate(VISITS):
        put_table(folder, name, seconds=4 + number)
    put_read(desk.store, VISITS, folder)
    return desk


def test_the_first_day_says_how_to_begin(desk: Desk) -> None:
    client = client_of(desk)
    assert "Nothing has been filmed yet" in (text := client.get("/").text)
    assert 'href="/add"' in text and 'action="/demo"' in text
    assert "No dog is known yet" in client.get("/dogs").text


def test_the_demo_is_one_click_away(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    planned = []
    monkeypatch.setattr(Night, "plan", lambda night: planned.append(night))
    client = client_of(desk)
    send(client, "/demo")
    text = client.get("/dogs").text
    assert all(name in text for name in ("Tansy", "Brock", "Ember", "Pilot")) and planned == [desk.night]


def test_a_dog_shows_its_visits_clips_and_trends(seen: Desk) -> None:
    text = client_of(seen).get("/dogs/1").text
    assert "2 visits, 2026-03-02 to 2026-04-13" in text
    assert 'href="/clips/1"' in text and text.count("<polyline") >= 10
    assert "Stride time" in text or "stride time" in text


def test_lengths_and_speeds_are_shown_as_a_person_wants_them(seen: Desk) -> None:
    client = client_of(seen)
    assert "1.80 m/s" in client.get("/dogs/1").text
    send(client, "/settings", units="imperial", by="  A.   N. ")
    text = client.get("/dogs/1").text
    assert "4.03 mph" in text and 'class="unit">in<' in text and 'class="unit">cm<' not in text
    assert seen.kept.by == "A. N."
    assert send(client, "/settings", units="furlongs").status_code == 400


def test_where_what_was_found_stays_metric_it_says_so(seen: Desk) -> None:
    client = client_of(seen)
    (seen.home.parent / "clips" / "bad.csv").write_text("no landmarks")
    put_read(seen.store, {**VISITS, "bad.csv": "Tansy,2026-04-13,bare,yes,1.8"}, seen.home.parent / "clips")
    update_findings(seen.store)
    pages = ("/", "/dogs/1")
    assert not any("in metric units" in client.get(path).text for path in pages)
    send(client, "/settings", units="imperial")
    assert all("are in metric units" in client.get(path).text for path in pages)


def test_what_is_being_read_can_be_held_and_goes_on(desk: Desk) -> None:
    client = client_of(desk)
    send(client, "/reading/pause")
    assert client.get("/reading.json").json()["paused"] and queue.is_paused(desk.store)
    send(client, "/reading/resume")
    assert not client.get("/reading.json").json()["paused"]
    assert send(client, "/reading/everything").status_code == 404


def test_what_waits_is_read_behind_the_pages_and_a_new_desk_goes_on(desk: Desk) -> None:
    folder = desk.home.parent / "clips"
    put_table(folder, "a.csv")
    (folder / "sheet.csv").write_text(f"clip,dog,date,condition,baseline,belt_m_s\na.csv,{VISITS['a.csv']}\n")
    caseload_pages.add(desk.store, folder, settle_s=0)
    with TestClient(build_desk(desk), base_url="http://127.0.0.1") as client:
        until = time.monotonic() + 60
        while client.get("/reading.json").json()["done"] < 1 and time.monotonic() < until:
            time.sleep(0.1)
        facts = client.get("/reading.json").json()
        assert (facts["done"], facts["waiting"], facts["running"], facts["words"]) == (1, 0, 0, "")
        assert client.get("/clips/1", headers={"accept": "text/html"}).status_code in (200, 404)
    assert "a.csv" in client_of(desk).get("/").text


def test_what_a_command_takes_in_meanwhile_is_read_too(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(night, "LOOK_S", 0.2)
    with TestClient(build_desk(desk), base_url="http://127.0.0.1") as client:
        assert client.get("/reading.json").json()["done"] == 0
        put_table(desk.home.parent / "clips", "a.csv")
        add(desk.store, desk.home.parent / "clips", settle_s=0)
        until = time.monotonic() + 60
        while client.get("/reading.json").json()["done"] < 1 and time.monotonic() < until:
            time.sleep(0.1)
        assert client.get("/reading.json").json()["done"] == 1


def test_a_trend_lies_on_the_calendar() -> None:
    line = trend(["2026-03-01", "2026-03-02", "2026-03-11"], [1.0, 3.0, 2.0])
    assert line is not None
    wide, tall = WIDTH - 2 * RIM, HEIGHT - 2 * RIM
    expected = [(RIM, RIM + tall), (RIM + wide / 10, RIM), (RIM + wide, RIM + tall / 2)]
    np.testing.assert_allclose(line.dots, expected)


@pytest.mark.parametrize(
    "means", [[None, None, None], [1.0, None, None]], ids=["nothing known", "one day known"]
)  # fmt: skip
def test_less_than_two_days_are_no_trend(means: list[float | None]) -> None:
    assert trend(["2026-03-01", "2026-03-02", "2026-03-11"], means) is None


@pytest.mark.parametrize(
    ("value", "unit", "system", "words"),
    [
        (1.0, "m/s", "metric", "1.00 m/s"),
        (0.44704, "m/s", "imperial", "1.00 mph"),  # international mile of 1959, exact
        (0.0254, "m", "imperial", "1.00 in"),
        (-2.54, "cm", "imperial", "−1.00 in"),
        (0.45359237, "kg", "imperial", "1.00 lb"),
        (3.0, "deg", "imperial", "3.00 deg"),
        (None, "m", "imperial", "–"),
        (float("nan"), "m", "metric", "–"),
    ],
)
def test_units(value: float | None, unit: str, system: str, words: str) -> None:
    assert told(value, unit, system) == words
