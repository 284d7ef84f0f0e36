"""What the Watch page is given: landmarks, contacts, strides and numbers of the record, and how its film stands."""

import json
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient
from watch_maker import FPS, FRAMES, HIDDEN, UNSEEN, desk_to_watch, tracks

from gait.caseload.belongings import belongings
from gait.caseload.forgetting import forget
from gait.caseload.listing import clips
from gait.caseload.store import open_store
from gait.desk.app import build_desk
from gait.desk.films import GONE, NO_FILM, Films
from gait.desk.proxy import PACE, make_proxy
from gait.desk.records import record_of
from gait.desk.room import Desk
from gait.desk.watched import CHOICES, numbers, watched, why
from gait.overruling import NAMES
from gait.record import build_record
from gait.report.words import DROP_WORDS
from gait.trial import Trial
from pose.clip import open_clip
from pose.errors import ClipError
from pose.landmarks import LANDMARKS, PAWS

WAIT_S = 30.0
#: px, s: what rounding takes away.
PX, TIME_S = 0.051, 6e-6


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    store = open_store(tmp_path / "caseload")
    yield desk_to_watch(store, tmp_path / "in")
    store.close()


@pytest.fixture
def page(desk: Desk) -> TestClient:
    return TestClient(build_desk(desk), base_url="http://127.0.0.1")


def number_of(desk: Desk, dog: str) -> int:
    return next(line.clip_id for line in clips(desk.store) if line.dog == dog)


def told(page: TestClient, desk: Desk, dog: str = "Tansy") -> Any:
    return page.get(f"/clips/{number_of(desk, dog)}/watch.json").json()


def film_of(page: TestClient, address: str, again: bool = False) -> Any:
    """How it stands with a film when it has been made, or cannot be."""
    until = time.monotonic() + WAIT_S
    while (found := page.get(f"{address}/film.json").json())["state"] == "making" and time.monotonic() < until:
        time.sleep(0.05)
    return found


@pytest.mark.parametrize("dog", ["Tansy", "Brock"], ids=["a film", "a table"])
def test_landmarks_are_those_of_the_record(page: TestClient, desk: Desk, dog: str) -> None:
    found, wanted = told(page, desk, dog), tracks()
    assert found["landmarks"] == list(LANDMARKS)
    assert np.abs(np.array(found["t"]) - wanted.t_s).max() < TIME_S
    assert found["frame"] == wanted.frame.tolist()
    xy = np.array([found["x"], found["y"]], dtype=float).transpose(2, 1, 0)
    seen = np.isfinite(wanted.xy_px)
    assert (np.isfinite(xy) == seen).all()
    assert np.abs(xy - wanted.xy_px)[seen].max() < PX
    assert found["x"][0][UNSEEN] == [None] * 4
    assert found["hidden"][3][HIDDEN] == [1] * 10
    assert sum(map(sum, found["hidden"])) == 10


def test_contacts_strides_and_runs_are_those_of_the_record(page: TestClient, desk: Desk) -> None:
    found, record = told(page, desk), record_of(desk, number_of(desk, "Tansy"))
    c, s = record.contacts, record.strides
    for paw in range(len(PAWS)):
        down, lift, spread = (
            column[c.paw == paw] for column in (c.touchdown_s, c.liftoff_s, 2 * c.touchdown_sd_ms / 1000)
        )
        rows = np.array(found["contacts"][paw], dtype=float)
        np.testing.assert_allclose(rows[:, :3], np.stack([down, lift, spread], axis=1), atol=TIME_S)
    assert [row["paw"] for row in found["strides"]] == [PAWS[paw] for paw in s.paw]
    assert [row["gait"] for row in found["strides"]] == list(s.gait)
    assert [bool(row["why"]) for row in found["strides"]] == list(s.dropped != "")
    hind = [row for row in found["strides"] if row["paw"] == "near_hind"]
    assert [row["number"] for row in hind] == list(range(1, len(hind) + 1))
    assert [(run["gait"], run["start"]) for run in found["runs"]] == [(run.gait, run.start_s) for run in record.runs]
    assert found["gait"].startswith("Trot")
    assert found["facing"] == "right"


def test_topline_and_paws_have_a_value_for_every_frame(page: TestClient, desk: Desk) -> None:
    found, record = told(page, desk), record_of(desk, number_of(desk, "Tansy"))
    np.testing.assert_allclose(np.array(found["topline"], dtype=float), record.topline_deg, atol=0.006)
    height = np.array(found["height"], dtype=float).T
    np.testing.assert_allclose(height, record.ground_px / record.body_length_px, atol=6e-4)


def test_a_dog_that_stands_has_no_strides_and_no_numbers() -> None:
    still = tracks().rows(slice(0, 120))
    noise = np.random.default_rng(1).normal(0, 0.5, still.xy_px.shape)
    record = build_record(replace(still, xy_px=still.xy_px[:1] + noise), Trial())
    found = json.loads(json.dumps(watched(record), allow_nan=False))
    assert (found["strides"], found["contacts"], numbers(record)) == ([], [[], [], [], []], [])
    assert [run["gait"] for run in found["runs"]] == ["stand"]


def test_an_answer_that_the_browser_has_is_not_sent_again(page: TestClient, desk: Desk) -> None:
    address = f"/clips/{number_of(desk, 'Tansy')}/watch.json"
    first = page.get(address)
    again = page.get(address, headers={"if-none-match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert page.get(address, headers={"if-none-match": '"other"'}).status_code == 200


@pytest.mark.parametrize(
    ("system", "factor", "unit", "digit"), [("metric", 1.0, "m", 0.01), ("imperial", 1 / 0.0254, "in", 0.1)]
)
def test_numbers_are_the_means_of_the_record(desk: Desk, system: str, factor: float, unit: str, digit: float) -> None:
    record = record_of(desk, number_of(desk, "Tansy"))
    rows = {row["name"]: row for row in numbers(record, system)}
    means = {row.measure: row.mean for row in record.summaries if row.paw == "near_hind"}
    lengths = [row for row in numbers(record, system) if row["name"] == "Stride length"]
    assert float(rows["Stride rate"]["value"].split()[0]) == pytest.approx(means["stride_rate_hz"], abs=0.006)
    assert [row["unit"] for row in lengths] == [unit, "body lengths"]
    assert float(lengths[0]["value"].split()[0]) == pytest.approx(factor * means["stride_length_m"], abs=0.51 * digit)
    duty = float(rows["Duty factor, near hind"]["value"].split()[0])
    assert duty == pytest.approx(100 * means["duty_factor"], abs=0.51)


def test_every_reason_and_every_gait_has_its_words() -> None:
    assert all(why(reason) not in ("", reason) for reason in DROP_WORDS)
    assert why("") == ""
    assert sorted(CHOICES) == sorted(NAMES)


def test_the_page_names_the_clip_and_what_to_heed(page: TestClient, desk: Desk) -> None:
    number = number_of(desk, "Tansy")
    text = page.get(f"/clips/{number}").text
    assert "<h1>Tansy</h1>" in text
    assert f"/records/{number}/report.html" in text
    for check in record_of(desk, number).checks:
        assert (f"<strong>{check.name.capitalize()}:</strong>" in text) is not check.passed


@pytest.mark.parametrize("what", ["", "/watch.json", "/film.json", "/film.mp4"])
def test_there_is_no_such_clip(page: TestClient, what: str) -> None:
    answer = page.get(f"/clips/99{what}")
    assert answer.status_code == 404
    assert "no such clip" in answer.json()["error"]


def test_a_clip_that_was_not_read_says_so(tmp_path: Path) -> None:
    store = open_store(tmp_path / "caseload")
    desk = desk_to_watch(store, tmp_path / "in", read=False)
    answer = TestClient(build_desk(desk), base_url="http://127.0.0.1").get(f"/clips/{number_of(desk, 'Tansy')}")
    store.close()
    assert answer.status_code == 200
    assert "It waits to be read" in answer.text


def test_the_film_is_made_once_and_comes_in_parts(page: TestClient, desk: Desk, tmp_path: Path) -> None:
    address = f"/clips/{number_of(desk, 'Tansy')}"
    found = film_of(page, address)
    assert (found["state"], found["of"]) == ("ready", [96, 64])
    assert found["numbers"] == list(range(FRAMES))
    whole = page.get(f"{address}/film.mp4")
    part = page.get(f"{address}/film.mp4", headers={"range": "bytes=100-199"})
    assert (part.status_code, part.content) == (206, whole.content[100:200])
    (tmp_path / "shown.mp4").write_bytes(whole.content)
    assert open_clip(tmp_path / "shown.mp4").fps == pytest.approx(PACE, rel=1e-3)
    assert FPS != PACE
    (tmp_path / "in" / "walks.mp4").unlink()
    assert film_of(page, address) == found


def test_a_table_has_no_film_and_says_so(page: TestClient, desk: Desk) -> None:
    address = f"/clips/{number_of(desk, 'Brock')}"
    assert film_of(page, address) == {"state": "none", "words": NO_FILM, "again": False}
    answer = page.get(f"{address}/film.mp4")
    assert (answer.status_code, answer.json()) == (404, {"error": NO_FILM})


@pytest.mark.parametrize("change", ["gone", "another content"])
def test_a_film_that_is_no_longer_what_was_read_is_not_shown(
    page: TestClient, desk: Desk, tmp_path: Path, change: str
) -> None:
    source, address = tmp_path / "in" / "walks.mp4", f"/clips/{number_of(desk, 'Tansy')}"
    kept = source.read_bytes()
    source.write_bytes(kept[:-1] + b"?") if change != "gone" else source.unlink()
    assert film_of(page, address) == {"state": "none", "words": GONE, "again": True}
    source.write_bytes(kept)
    films = Films(desk.store)
    line = next(line for line in clips(desk.store) if line.dog == "Tansy")
    assert films.film(line)["state"] == "making"
    assert film_of(page, address)["state"] == "none"  # not tried again unless asked


def test_a_film_that_could_not_be_made_is_tried_again_when_asked(desk: Desk, tmp_path: Path) -> None:
    tries: list[str] = []

    def fails_once(source: str, target: str, fps: float | None) -> None:
        tries.append(source)
        if len(tries) == 1:
            Path(target).with_name(f".{Path(target).stem}.partial-1.mp4").write_bytes(b"half")
            Path(target).with_suffix(".told").write_text("1 2")
            raise ClipError("The disk hiccuped.")
        Path(target).write_bytes(b"film")
        Path(target).with_suffix(".json").write_text(json.dumps({"numbers": [0]}))

    films = Films(desk.store, fails_once)
    line = next(line for line in clips(desk.store) if line.dog == "Tansy")
    found = waited(films, line)
    assert found["words"] == "The film cannot be shown: The disk hiccuped."
    assert waited(films, line) == found
    assert not list((desk.home / "desk" / "films").iterdir())
    assert films.film(line, again=True)["state"] == "making"
    assert waited(films, line) == {"state": "ready", "numbers": [0]}
    assert len(tries) == 2


def waited(films: Films, line: Any) -> dict[str, Any]:
    until = time.monotonic() + WAIT_S
    while (found := films.film(line))["state"] == "making" and time.monotonic() < until:
        time.sleep(0.02)
    return found


def test_a_dog_that_is_forgotten_takes_its_film_along(page: TestClient, desk: Desk) -> None:
    assert film_of(page, f"/clips/{number_of(desk, 'Tansy')}")["state"] == "ready"
    assert len(list((desk.home / "desk" / "films").iterdir())) == 2
    forget(desk.store, belongings(desk.store, "Tansy"))
    assert not list((desk.home / "desk" / "films").iterdir())


def test_a_film_that_is_made_while_its_dog_is_removed_does_not_stay(desk: Desk) -> None:
    line = next(line for line in clips(desk.store) if line.dog == "Tansy")

    def meanwhile(source: str, target: str, fps: float | None) -> None:
        """The dog goes while its film is being made."""
        make_proxy(source, target, fps)
        forget(desk.store, belongings(desk.store, "Tansy"))
        Path(target).write_bytes(b"film")

    films, folder = Films(desk.store, meanwhile), desk.home / "desk" / "films"
    assert films.film(line)["state"] == "making"
    until = time.monotonic() + WAIT_S
    while (films.film(line) != {"state": "none", "words": GONE, "again": True}) and time.monotonic() < until:
        time.sleep(0.02)
    assert not list(folder.iterdir())
