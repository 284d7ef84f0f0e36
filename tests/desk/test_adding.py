"""Add footage without a browser: what is said of films, sheets that are pasted, reading them, removing them."""

import json
import tomllib
from pathlib import Path
from pkgutil import resolve_name
from typing import Any

import openpyxl
import pytest
from desk_maker import client_of, send
from film_maker import write_numbered
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select
from uploading import TUS, Uploader

from gait.caseload import listing
from gait.caseload.belongings import belongings
from gait.caseload.forgetting import forget
from gait.caseload.planning import plan
from gait.caseload.tables import Place as WherePlaced
from gait.desk import footage
from gait.desk.described import described, sheet_json
from gait.desk.errors import DeskError
from gait.desk.parts import parts
from gait.desk.room import Desk
from gait.errors import TrialError
from gait.sheets.beside import write_beside
from gait.sheets.keys import Place, checked
from gait.sheets.trial_sheet import read_trial

SCRIPT = "<script>alert(1)</script>"
LONG = "x" * 200
SAID = {"dog": "Tansy", "date": "2026-03-02", "condition": "bare", "baseline": True, "belt": "5,4", "belt_unit": "km/h"}


@pytest.fixture
def up(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> Uploader:
    monkeypatch.setattr("gait.desk.night.Night.plan", lambda night: plan(night.store, night.wanted))
    return Uploader(desk)


@pytest.fixture
def near(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a process with limits would do, here: tests of the limits are elsewhere, and starting one takes seconds."""

    def here(what: str, arguments: dict[str, Any], limits: object = None, advice: str = "") -> dict[str, Any]:
        """Do it, with errors as the process tells them."""
        try:
            return dict(json.loads(json.dumps(resolve_name(what)(**arguments))))
        except TrialError as error:
            raise DeskError(str(error), 422) from error

    monkeypatch.setattr("gait.desk.footage.run_limited", here)
    monkeypatch.setattr("gait.desk.adding.run_limited", here)


@pytest.fixture
def film(tmp_path: Path) -> Path:
    return write_numbered(tmp_path / "tansy.mp4", [n / 60 for n in range(12)])


def put(up: Uploader, path: Path) -> str:
    return str(up.send(path).json()["id"])


def read(up: Uploader, *rows: dict[str, Any]) -> Any:
    return up.client.post("/add/read", json={"films": list(rows)})


def test_films_are_described_added_and_planned(up: Uploader, near: None, film: Path, tmp_path: Path) -> None:
    other = write_numbered(tmp_path / "boots.mp4", [n / 30 for n in range(12)])
    first, second = put(up, film), put(up, other)
    boots = {**SAID, "condition": "boots", "baseline": False, "filmed_fps": "240", "facing": "left"} | {
        "notes": "wet\tfloor"
    }
    answer = read(up, {"id": first, **SAID}, {"id": second, **boots, "belt": "3", "belt_unit": "mph"})
    assert answer.status_code == 200 and answer.json() == {"added": 2, "faults": []}
    told = tomllib.loads((up.desk.home / "footage" / "boots.toml").read_text(encoding="utf-8"))
    assert told == {"dog": "Tansy", "date": "2026-03-02", "condition": "boots", "baseline": False, "belt_m_s": 1.3411,
                    "filmed_fps": 240.0, "facing": "left", "notes": "wet\tfloor"}  # fmt: skip
    lines = {line.name: line for line in listing.clips(up.desk.store)}
    assert {line.state for line in lines.values()} == {"waiting"}
    assert (lines["tansy.mp4"].dog, lines["tansy.mp4"].baseline) == ("Tansy", True)
    assert not parts(up.desk) and not up.client.get("/add/films").json()["films"]


WRONG = {
    "no dog": ({"dog": " "}, "entry dog is empty"),
    "no date": ({"date": ""}, "entry date is empty"),
    "a date of another form": ({"date": "2.3.26"}, "has to be a date as YYYY-MM-DD"),
    "a speed in words": ({"belt": "fast"}, "has to be a number"),
    "a speed of nothing": ({"belt": "0"}, "above 0"),
    "a unit that is none": ({"belt_unit": "knots"}, "km/h, m/s, mph"),
    "a rate of nothing": ({"filmed_fps": "-3"}, "above 0"),
    "an endless number": ({"mass_kg": "9" * 400}, "has to be a number"),
    "a side that is none": ({"facing": "up"}, "left or right"),
    "a sign that cannot be shown": ({"dog": "Tan\x00sy"}, "cannot be shown"),
    "half a letter": ({"dog": "Tan\ud800sy"}, "cannot be shown"),
    "a baseline in words": ({"baseline": "perhaps"}, "yes or no"),
    "a list": ({"dog": ["Tansy"] * 3000}, "at most 2000"),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_is_wrong_is_told_beside_its_film(case: str) -> None:
    changed, words = WRONG[case]
    path = Path("footage/tansy.mp4")
    _, faults = described({"a": (path, {**SAID, **changed}), "b": (Path("other.mp4"), SAID)})
    assert [fault["id"] for fault in faults] == ["a"]
    assert faults[0]["words"].startswith("tansy.mp4") and words in faults[0]["words"]


def test_rows_that_do_not_go_together_are_told() -> None:
    films = {name: (Path(f"{name}.mp4"), {**SAID, "condition": name}) for name in ("bare", "boots")}
    _, faults = described(films)
    assert [fault["id"] for fault in faults] == ["boots"] and "both are the baseline" in faults[0]["words"]
    _, faults = described({"a": (Path("a.mp4"), SAID), "b": (Path("b.mp4"), {**SAID, "dog": "TANSY"})})
    assert "write one dog one way" in faults[0]["words"]


def test_nothing_is_done_while_something_is_wrong(up: Uploader, near: None, film: Path) -> None:
    upload = put(up, film)
    answer = read(up, {"id": upload, **SAID, "date": "soon"})
    assert answer.status_code == 422 and answer.json()["added"] == 0
    assert not (up.desk.home / "footage" / "tansy.toml").exists() and not listing.clips(up.desk.store)
    assert read(up, {"id": "0" * 32, **SAID}).status_code == 404
    for nothing in ([], {}, [3], [{"id": 3}], None):
        assert up.client.post("/add/read", json={"films": nothing}).status_code == 400
    assert up.client.post("/add/read", content="{").status_code == 400
    assert up.client.post("/add/read", content="[" * 100_000).status_code == 400
    assert up.client.post("/add/read", content=b"x" * 2_000_001).status_code == 413


def test_a_name_is_text_everywhere(up: Uploader, near: None, film: Path, tmp_path: Path) -> None:
    other = write_numbered(tmp_path / "other.mp4", [n / 30 for n in range(12)])
    first, second = put(up, film), put(up, other)
    assert read(up, {"id": first, **SAID, "dog": SCRIPT}, {"id": second, **SAID, "dog": LONG}).status_code == 200
    assert {path.name for path in (up.desk.home / "footage").iterdir()} == {"tansy.mp4", "tansy.toml", "other.mp4",
                                                                           "other.toml"}  # fmt: skip
    client = client_of(up.desk)
    for path in ("/", "/add", "/dogs", "/dogs/1", "/dogs/2"):
        answer = client.get(path)
        assert answer.status_code == 200 and SCRIPT not in answer.text, path
    assert "&lt;script&gt;alert(1)" in client.get("/dogs").text
    assert "\\u003cscript\\u003e" in client.get("/add").text


def test_a_film_name_is_text_everywhere(up: Uploader, near: None) -> None:
    at = up.begin(f"{SCRIPT}.mp4", 100)
    assert SCRIPT not in client_of(up.desk).get("/add").text
    assert up.client.delete(at, headers=TUS).status_code == 204


def test_a_film_that_was_not_read_can_be_removed(up: Uploader, near: None, film: Path) -> None:
    upload = put(up, film)
    assert up.client.delete(f"/add/films/{upload}").status_code == 204
    assert not list((up.desk.home / "footage").iterdir()) and not parts(up.desk)
    line = json.loads((up.desk.folder / "audit.jsonl").read_text().splitlines()[-1])
    assert line["what"] == "film removed before it was read" and "tansy" not in json.dumps(line)
    assert up.client.delete(f"/add/films/{upload}").status_code == 404


def test_what_is_in_the_caseload_is_not_taken_twice(up: Uploader, near: None, film: Path) -> None:
    read(up, {"id": put(up, film), **SAID})
    told = up.send(film, "again.mp4").json()
    assert told["already"] == "This film is here already, as tansy.mp4 (Tansy, 2026-03-02, bare); it is not read twice."
    (up.desk.home / "footage" / "tansy.mp4").unlink()  # its records stay, the film comes back
    again = up.send(film, "again.mp4").json()
    assert again["film"] == "again.mp4"
    assert read(up, {"id": again["id"], **SAID}).json()["added"] == 1
    with up.desk.store.reading() as connection:
        assert [Path(path).name for path in connection.scalars(select(WherePlaced.path))] == ["again.mp4"]


def test_a_dog_that_is_removed_takes_its_films_along(up: Uploader, near: None, film: Path) -> None:
    read(up, {"id": put(up, film), **SAID})
    forget(up.desk.store, belongings(up.desk.store, "Tansy"))
    assert not list((up.desk.home / "footage").iterdir())
    told = up.send(film).json()
    assert told["facts"]["removed_before"]
    assert read(up, {"id": told["id"], **SAID}).json()["added"] == 1
    assert [line.dog for line in listing.clips(up.desk.store)] == ["Tansy"]


HEAD = "clip,dog,date,condition,baseline,belt_kmh"


def test_a_pasted_sheet_fills_in_the_page(up: Uploader, near: None) -> None:
    rows = ["films\\tansy.mp4;Tansy;2026-03-02;boots;no;4,5", "b.mp4;Tansy;3.2.26;bare;x;6", "c.mp4;;2026-03-02;a;x;6"]
    text = "\n".join([HEAD.replace(",", ";"), *rows])
    told = up.client.post("/add/sheet?name=pasted%20sheet.csv", content=text.encode()).json()
    assert told["rows"] == [{"clip": "films\\tansy.mp4", "dog": "Tansy", "date": "2026-03-02", "condition": "boots",
                             "baseline": False, "belt": 4.5, "belt_unit": "km/h"}]  # fmt: skip
    assert told["faults"] == [
        "pasted sheet.csv, row 3, column date is '3.2.26'; it has to be a date as YYYY-MM-DD, such as 2026-03-02.",
        "pasted sheet.csv, row 4, column dog is empty; every clip needs clip, dog, date, condition.",
    ]
    assert not list((up.desk.folder / "uploads").iterdir())


def test_a_workbook_and_a_toml_fill_in_the_page(up: Uploader, near: None, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for row in (HEAD.split(","), ["a.mp4", "Tansy", "2026-03-02", "bare", "yes", 6]):
        book.worksheets[0].append(row)
    book.save(tmp_path / "sheet.xlsx")
    wanted = [{"clip": "a.mp4", "dog": "Tansy", "date": "2026-03-02", "condition": "bare", "baseline": True,
               "belt": 6.0, "belt_unit": "km/h"}]  # fmt: skip
    content = (tmp_path / "sheet.xlsx").read_bytes()
    assert up.client.post("/add/sheet?name=sheet.xlsx", content=content).json() == {"rows": wanted, "faults": []}
    toml = '[[clip]]\nclip="a.mp4"\ndog="Tansy"\ndate=2026-03-02\ncondition="bare"\nbaseline=true\nbelt_kmh=6\n'
    assert up.client.post("/add/sheet?name=sheet.toml", content=toml.encode()).json() == {"rows": wanted, "faults": []}


NO_SHEETS = {
    "no sheet by its name": ("sheet.html", b"x", 415),
    "no name": ("", b"x", 415),
    "nothing": ("sheet.csv", b"", 422),
    "no columns": ("sheet.csv", b"a.mp4,Tansy\n", 422),
    "an unknown column": ("sheet.csv", HEAD.replace("dog", "dgo").encode(), 422),
    "no UTF-8": ("sheet.csv", HEAD.encode() + b"\n\xff", 422),
    "no workbook": ("sheet.xlsx", b"PK\x03\x04 not", 422),
    "no TOML": ("sheet.toml", b"[[clip", 422),
    "brackets without end": ("sheet.toml", b"a = " + b"[" * 20_000, 422),
    "a number without end": ("sheet.toml", b"[[clip]]\nclip = " + b"9" * 5000, 422),
}


@pytest.mark.parametrize("case", NO_SHEETS)
def test_what_is_no_sheet_is_told(up: Uploader, near: None, case: str) -> None:
    name, content, status = NO_SHEETS[case]
    answer = up.client.post("/add/sheet", params={"name": name}, content=content)
    assert answer.status_code == status
    words = answer.json()["error"]
    assert words and str(up.desk.home) not in words and "fault of pawfall" not in words
    assert not list((up.desk.folder / "uploads").glob("*"))


ODD = ["2026-03-02", "yes", "x", "1e999", "-1", "4,5", "left", '"', "\0"]
CELL = st.one_of(st.text(max_size=12), st.sampled_from(ODD))
LINES = st.lists(st.lists(CELL, max_size=8), max_size=4)


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(LINES, st.sampled_from([",", ";", "\t"]), st.booleans())
def test_whatever_is_pasted_is_rows_or_faults(
    tmp_path: Path, lines: list[list[str]], separator: str, headed: bool
) -> None:
    head = [HEAD.replace(",", separator)] if headed else []
    text = "\n".join([*head, *(separator.join(line) for line in lines)])
    path = tmp_path / "0123.csv"
    path.write_text(text, encoding="utf-8", errors="replace")
    try:
        told = sheet_json(str(path), "pasted sheet.csv")
    except TrialError as error:
        assert "0123" not in str(error)
        return
    json.dumps(told, allow_nan=False)
    assert all(row["clip"] and row["dog"] and row["date"] and row["condition"] for row in told["rows"])
    assert all("pasted sheet.csv" in words for words in told["faults"])


TEXT = st.text(max_size=20)
ENTRY = st.one_of(TEXT, st.none(), st.booleans(), st.integers(), st.floats(), st.lists(TEXT, max_size=2))


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.dictionaries(st.sampled_from([*SAID, "filmed_fps", "facing", "notes", "mass_kg", "clip", "fps"]), ENTRY))
def test_whatever_is_said_is_written_so_that_it_is_read_again(tmp_path: Path, entries: dict[str, Any]) -> None:
    path = tmp_path / "tansy.mp4"
    said, faults = described({"a": (path, {**SAID, **entries})})
    if faults:
        assert not said or not faults[0]["words"].startswith("Traceback")
        return
    assert read_trial(write_beside(path, said["a"])) == checked(said["a"], Place("tansy.toml"))


def test_a_look_is_kept_until_something_else_is_asked(
    up: Uploader, near: None, film: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    upload = put(up, film)
    asked: list[dict[str, Any]] = []

    def looks(what: str, arguments: dict[str, Any], limits: object) -> dict[str, Any]:
        """Note what is asked."""
        asked.append(arguments)
        return {"checks": []}

    monkeypatch.setattr(footage, "run_limited", looks)
    for query in ("", "", "?filmed_fps=240&facing=left", "?filmed_fps=240&facing=left"):
        assert up.client.get(f"/add/films/{upload}/preview{query}").json() == {"checks": []}
    assert [(one["filmed_fps"], one["facing"]) for one in asked] == [(None, None), (240.0, "left")]
    assert up.client.get(f"/add/films/{upload}/preview?filmed_fps=nan").status_code == 400
    assert up.client.get(f"/add/films/{'0' * 32}/preview").status_code == 404
    (up.desk.home / "footage" / "tansy.mp4").unlink()
    assert up.client.get(f"/add/films/{upload}/preview").status_code == 404


def test_miles_are_asked_for_where_they_are_wanted(up: Uploader) -> None:
    send(up.client, "/settings", units="imperial")
    assert '"unit": "mph"' in up.client.get("/add").text
