"""What was filmed, said or put right at a clip: the form, the .toml beside it, and clips that could not be read."""

import re
import shutil
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from command_line import put_table
from desk_maker import client_of, send
from film_maker import write_numbered
from findings_maker import read_all
from sqlalchemy import select
from starlette.testclient import TestClient

from gait.caseload import queue
from gait.caseload.adding import add
from gait.caseload.findings import update_findings
from gait.caseload.keys import wanted_of
from gait.caseload.listing import ClipLine, clips, dogs
from gait.caseload.planning import plan
from gait.caseload.tables import MeasureRow, RecordRow, TrialRow
from gait.desk import filmed
from gait.desk.filmed import CHANGED, filmed_facts
from gait.desk.kept import MOST_GIB
from gait.desk.room import Desk

SCRIPT = "<script>alert(1)</script>"
SAID = {"dog": "Tansy", "date": "2026-03-02", "condition": "bare", "belt": "6,48", "belt_unit": "km/h"}
KMH_M_S = 3.6
EXACT = 1e-9


@pytest.fixture(autouse=True)
def planned(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is read behind the pages of these tests; what is to be read is planned."""
    monkeypatch.setattr("gait.desk.night.Night.plan", lambda night: plan(night.store, night.wanted))


@pytest.fixture
def folder(desk: Desk) -> Path:
    """A folder with one table of which nothing is said."""
    path = desk.home.parent / "clips"
    put_table(path, "a.csv", seconds=6)
    return path


@pytest.fixture
def client(desk: Desk, folder: Path) -> TestClient:
    """The clip is in the caseload and read."""
    add(desk.store, folder, settle_s=0)
    read_all(desk.store)
    return client_of(desk)


def line_of(desk: Desk, name: str = "a.csv") -> ClipLine:
    return next(line for line in clips(desk.store) if line.name == name)


def say(client: TestClient, desk: Desk, name: str = "a.csv", **changed: str) -> Any:
    return send(client, f"/clips/{line_of(desk, name).clip_id}/filmed", **{**SAID, **changed})


def measured(desk: Desk, measure: str) -> float:
    """Mean of a measure over the current record."""
    found = select(MeasureRow.mean).join(RecordRow).where(RecordRow.current, MeasureRow.measure == measure)
    with desk.store.reading() as connection:
        return float(connection.execute(found).scalars().first() or 0.0)


def value_of(text: str, key: str) -> str:
    """What a field of the form holds."""
    found = re.search(rf'data-key="{key}" name="{key}" value="([^"]*)"', text)
    assert found
    return found[1]


def test_a_clip_of_no_dog_is_described_and_its_numbers_made_anew(client: TestClient, desk: Desk, folder: Path) -> None:
    number = line_of(desk).clip_id
    assert f'href="/clips/{number}#filmed"' in client.get("/dogs").text
    assert not measured(desk, "stride_length_m")
    answer = say(client, desk, baseline="yes", notes="wet\r\nfloor")
    assert answer.status_code == 200 and "a.toml beside the clip" in answer.text
    assert "its numbers are being made anew" in answer.text
    told = tomllib.loads((folder / "a.toml").read_text(encoding="utf-8"))
    assert told == {"dog": "Tansy", "date": "2026-03-02", "condition": "bare", "baseline": True, "belt_kmh": 6.48,
                    "notes": "wet\nfloor"}  # fmt: skip
    assert not list(folder.glob("*.part"))
    line = line_of(desk)
    assert (line.dog, line.date, line.baseline) == ("Tansy", "2026-03-02", True)
    assert (line.state, line.stale) == ("waiting", True)
    read_all(desk.store)
    length, time_s = measured(desk, "stride_length_m"), measured(desk, "stride_time_s")
    assert length == pytest.approx(6.48 / KMH_M_S * time_s, rel=0.01)
    assert "being made anew" not in client.get(f"/clips/{number}").text
    assert "Clips of no dog" not in client.get("/dogs").text


def test_a_word_is_put_right(client: TestClient, desk: Desk) -> None:
    say(client, desk)
    read_all(desk.store)
    before = measured(desk, "stride_length_m")
    say(client, desk, belt="12.96", dog="Brock")
    read_all(desk.store)
    assert measured(desk, "stride_length_m") == pytest.approx(2 * before, rel=1e-6)
    assert [line.dog for line in dogs(desk.store)] == ["Brock"]


@pytest.mark.parametrize(("units", "belt", "unit"), [("metric", "6.48", "km/h"), ("imperial", "4.03", "mph")])
def test_the_form_holds_what_is_known(client: TestClient, desk: Desk, units: str, belt: str, unit: str) -> None:
    desk.keep(units=units)
    say(client, desk, belt=belt, belt_unit=unit, withers_cm="61.5", pace="fps", slow="239.76", facing="right",
        notes="a\nb", baseline="yes")  # fmt: skip
    text = client.get(f"/clips/{line_of(desk).clip_id}").text
    known = {"dog": "Tansy", "date": "2026-03-02", "condition": "bare", "belt": belt, "withers_cm": "61.5",
             "slow": "239.76", "mass_kg": ""}  # fmt: skip
    assert {key: value_of(text, key) for key in known} == known
    assert f'<option value="{unit}" selected>' in text and '<option value="fps" selected>' in text
    assert '<option value="right" selected>' in text and "a\nb</textarea>" in text and " checked>" in text


@pytest.mark.parametrize("belt", ["1.5", "1.2345678", "0.3333", "2"])
@pytest.mark.parametrize("units", ["metric", "imperial"])
def test_what_is_kept_unchanged_changes_nothing(client: TestClient, desk: Desk, belt: str, units: str) -> None:
    say(client, desk, belt=belt, belt_unit="m/s", mass_kg="28.123456789")
    desk.keep(units=units)
    read_all(desk.store)
    number = line_of(desk).record_id
    said = filmed_facts(desk, line_of(desk))["said"]
    send(client, f"/clips/{line_of(desk).clip_id}/filmed", **{key: str(value) for key, value in said.items()})
    line = line_of(desk)
    assert (line.record_id, line.state, line.stale) == (number, "done", False)
    with desk.store.reading() as connection:
        assert connection.execute(select(TrialRow.belt_m_s)).scalar() == pytest.approx(float(belt), abs=EXACT)


WRONG: Mapping[str, tuple[dict[str, str], str]] = {
    "no dog": ({"dog": " "}, "dog"),
    "a date of another form": ({"date": "2.3.26"}, "date"),
    "no condition": ({"condition": ""}, "condition"),
    "a speed in words": ({"belt": "fast"}, "belt"),
    "a speed of nothing": ({"belt": "0", "belt_unit": "m/s"}, "belt"),
    "a rate in words": ({"pace": "fps", "slow": "quick"}, "slow"),
    "no rate": ({"pace": "fps", "slow": ""}, "slow"),
    "a weight below nothing": ({"mass_kg": "-3"}, "mass_kg"),
    "an incline in words": ({"incline_deg": "steep"}, "incline_deg"),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_is_wrong_is_told_at_its_field(client: TestClient, desk: Desk, folder: Path, case: str) -> None:
    changed, field = WRONG[case]
    answer = say(client, desk, **{"notes": "kept", **changed})
    assert answer.status_code == 422
    bad = re.findall(r'name="(\w+)"[^>]*aria-invalid="true" aria-describedby="wrong-here"', answer.text)
    assert bad == [field] and answer.text.count('id="wrong-here"') == 1
    assert '<details class="filmed" open>' in answer.text and ">kept</textarea>" in answer.text
    assert value_of(answer.text, field) == changed.get(field, "")
    assert not (folder / "a.toml").exists() and not line_of(desk).dog


def test_what_belongs_to_no_field_is_told_above_them(client: TestClient, desk: Desk) -> None:
    for changed in ({"fps": "30"}, {"baseline": "perhaps"}, {"belt_unit": "knots"}, {"notes": "x" * 3000}):
        answer = say(client, desk, **changed)
        assert answer.status_code == 422 and 'role="alert">a.csv' in answer.text
        assert "aria-invalid" not in answer.text


def test_names_are_text(client: TestClient, desk: Desk) -> None:
    assert say(client, desk, dog=SCRIPT, condition=SCRIPT, notes=SCRIPT).status_code == 200
    number = line_of(desk).clip_id
    for path in (f"/clips/{number}", "/dogs", "/dogs/1", "/add", "/"):
        assert SCRIPT not in client.get(path).text
    wrong = say(client, desk, dog=f'"{SCRIPT}', date=SCRIPT)
    assert wrong.status_code == 422 and SCRIPT not in wrong.text
    assert client.get(f"/clips/{number}/filmed").url.fragment == "filmed"
    assert client.post(f"/clips/{number}/filmed", data=SAID).status_code == 403


def test_a_clip_in_a_sheet_of_many_says_where(desk: Desk, folder: Path) -> None:
    sheet = folder / "sheet.csv"
    sheet.write_text("clip,dog,date,condition,baseline,belt_m_s\na.csv,Tansy,2026-03-02,bare,yes,1.8\n")
    add(desk.store, folder, settle_s=0)
    read_all(desk.store)
    client = client_of(desk)
    number = line_of(desk).clip_id
    text = client.get(f"/clips/{number}").text
    assert str(sheet) in text and 'name="dog"' not in text and f'action="/clips/{number}/sheet"' in text
    assert say(client, desk).status_code == 409 and not (folder / "a.toml").exists()
    sheet.write_text(sheet.read_text().replace("Tansy", "Brock"))
    send(client, f"/clips/{number}/sheet")
    assert line_of(desk).dog == "Brock"
    sheet.unlink()  # then nothing speaks against a .toml
    assert say(client, desk, dog="Ember").status_code == 200 and line_of(desk).dog == "Ember"
    assert send(client, f"/clips/{number}/sheet").status_code == 409


def test_a_toml_that_lists_clips_is_not_written_over(desk: Desk, folder: Path) -> None:
    words = '[[clip]]\nclip = "a.csv"\ndog = "Tansy"\ndate = "2026-03-02"\ncondition = "bare"\nbaseline = true\n'
    (folder / "a.toml").write_text(words)
    add(desk.store, folder / "a.toml", settle_s=0)
    plan(desk.store, desk.wanted)
    client = client_of(desk)
    assert 'name="dog"' not in client.get(f"/clips/{line_of(desk).clip_id}").text
    assert say(client, desk).status_code == 409 and (folder / "a.toml").read_text() == words


def test_a_folder_that_cannot_be_written_says_so(
    client: TestClient, desk: Desk, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(filmed.os, "access", lambda path, mode: Path(path) != folder)
    text = client.get(f"/clips/{line_of(desk).clip_id}").text
    assert f"{folder / 'a.toml'}; but that folder cannot be written" in text and 'name="dog"' not in text
    assert say(client, desk).status_code == 409
    copy = folder.parent / "copy" / "a.csv"
    copy.parent.mkdir()
    shutil.copy2(folder / "a.csv", copy)
    add(desk.store, copy.parent, settle_s=0)  # a copy that can be written is as good
    assert say(client, desk).status_code == 200 and copy.with_suffix(".toml").is_file()


def test_a_clip_that_is_gone_or_another_one_is_not_described(client: TestClient, desk: Desk, folder: Path) -> None:
    other = put_table(folder.parent / "other", "b.csv", seconds=5).read_bytes()
    kept = (folder / "a.csv").read_bytes()
    (folder / "a.csv").write_bytes(other)
    answer = say(client, desk)
    assert answer.status_code == 409 and CHANGED in answer.text and not (folder / "a.toml").exists()
    (folder / "a.csv").unlink()
    assert "no longer where it was" in client.get(f"/clips/{line_of(desk).clip_id}").text
    (folder / "a.csv").write_bytes(kept)  # of another time, and the same content
    assert say(client, desk).status_code == 200


def test_copies_that_have_words_of_their_own_get_the_new_ones(client: TestClient, desk: Desk, folder: Path) -> None:
    for name in ("copy", "bare"):
        (folder.parent / name).mkdir()
        shutil.copy2(folder / "a.csv", folder.parent / name / "a.csv")
    (folder.parent / "copy" / "a.toml").write_text('dog = "Old"\ndate = "2025-01-01"\ncondition = "bare"\n')
    for name in ("copy", "bare"):
        add(desk.store, folder.parent / name, settle_s=0)
    assert say(client, desk).status_code == 200
    told = {path.parent.name: tomllib.loads(path.read_text())["dog"] for path in folder.parent.glob("*/a.toml")}
    assert told == {"copy": "Tansy"}
    assert line_of(desk).dog == "Tansy"
    assert not add(desk.store, folder.parent, settle_s=0).changed


def test_two_clips_of_one_name_share_their_words(desk: Desk, folder: Path) -> None:
    write_numbered(folder / "b.mp4", [n / 60 for n in range(12)])
    write_numbered(folder / "b.mov", [n / 30 for n in range(12)])
    add(desk.store, folder, settle_s=0)
    client = client_of(desk)
    assert "which also speaks of b.mp4" in client.get(f"/clips/{line_of(desk, 'b.mov').clip_id}").text
    assert say(client, desk, "b.mov").status_code == 200
    assert {line.name: line.dog for line in clips(desk.store)} == {"a.csv": "", "b.mov": "Tansy", "b.mp4": "Tansy"}


def test_pictures_say_their_rate(desk: Desk, folder: Path) -> None:
    pictures = folder / "run"
    pictures.mkdir()
    for number in range(12):
        (pictures / f"{number:03}.png").write_bytes(b"picture %d" % number)
    add(desk.store, folder, settle_s=0)
    client, number = client_of(desk), line_of(desk, "run").clip_id
    assert 'name="fps"' in (text := client.get(f"/clips/{number}").text) and "so many times" not in text
    wrong = say(client, desk, "run")
    assert wrong.status_code == 422 and re.search(r'name="fps"[^>]*aria-invalid', wrong.text)
    assert say(client, desk, "run", fps="60").status_code == 200
    assert tomllib.loads((folder / "run.toml").read_text())["fps"] == 60
    assert (line_of(desk, "run").fps, line_of(desk, "run").dog) == (60.0, "Tansy")
    assert value_of(client.get(f"/clips/{number}").text, "fps") == "60"


def test_slow_motion_is_said_as_so_many_times(desk: Desk, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[dict[str, Any]] = []
    monkeypatch.setattr(filmed, "run_limited", lambda what, told, limits: asked.append(told) or {"fps": 29.97})
    write_numbered(folder / "b.mp4", [n / 30 for n in range(12)])
    add(desk.store, folder, settle_s=0)
    client = client_of(desk)
    assert say(client, desk, "b.mp4", pace="times", slow="8").status_code == 200
    assert tomllib.loads((folder / "b.toml").read_text())["filmed_fps"] == 239.76
    assert [told["path"] for told in asked] == [str(folder / "b.mp4")]
    assert value_of(client.get(f"/clips/{line_of(desk, 'b.mp4').clip_id}").text, "slow") == "239.76"


def test_what_half_a_sheet_says_is_filled_in(client: TestClient, desk: Desk, folder: Path) -> None:
    (folder / "a.toml").write_text('dog = "Tansy"\ncondition = "boots"\n')
    add(desk.store, folder, settle_s=0)
    text = client.get(f"/clips/{line_of(desk).clip_id}").text
    assert (value_of(text, "dog"), value_of(text, "date"), value_of(text, "condition")) == ("Tansy", "", "boots")
    (folder / "a.toml").write_text("dog = ")
    assert client.get(f"/clips/{line_of(desk).clip_id}").status_code == 200


def test_a_clip_that_could_not_be_read_has_a_page(desk: Desk, folder: Path) -> None:
    (folder / "broken.mp4").write_bytes(b"no film at all")
    add(desk.store, folder, settle_s=0)
    read_all(desk.store)
    update_findings(desk.store)
    client, line = client_of(desk), line_of(desk, "broken.mp4")
    assert line.state == "failed" and line.error
    assert f'href="/clips/{line.clip_id}"' in client.get("/").text
    text = client.get(f"/clips/{line.clip_id}").text
    assert "Why it could not be read" in text and line.error[:30] in text and 'name="dog"' in text
    assert send(client, f"/clips/{line.clip_id}/again").status_code == 200
    assert line_of(desk, "broken.mp4").state == "waiting"
    assert "It waits to be read" in client.get(f"/clips/{line.clip_id}").text
    assert say(client, desk, "broken.mp4").status_code == 200
    read_all(desk.store)
    assert f'href="/clips/{line.clip_id}"' in client.get("/dogs/1").text
    assert client.get(f"/clips/{line.clip_id}/watch.json").status_code == 404


def test_one_clip_alone_is_tried_again(desk: Desk, folder: Path) -> None:
    for name in ("one.mp4", "two.mp4"):
        (folder / name).write_bytes(name.encode())
    add(desk.store, folder, settle_s=0)
    read_all(desk.store)
    client = client_of(desk)
    send(client, f"/clips/{line_of(desk, 'one.mp4').clip_id}/again")
    assert {line.name: line.state for line in clips(desk.store)} == {"a.csv": "done", "one.mp4": "waiting",
                                                                     "two.mp4": "failed"}  # fmt: skip
    assert send(client, "/clips/99/again").status_code == 404 and send(client, "/clips/99/filmed").status_code == 404


def test_numbers_that_could_not_be_made_anew_say_so(client: TestClient, desk: Desk) -> None:
    say(client, desk)
    task = queue.claim(desk.store, "here:1:1.00", wanted_of())
    assert task is not None
    queue.fail(desk.store, task, "here:1:1.00", "The disk is full.", 2)
    text = client.get(f"/clips/{task.clip_id}").text
    assert "could not be made anew" in text and "The disk is full." in text and "Try again" in text


GOOD_SIZES = {"8": 8.0, "0,5": 0.5, " 12.25 ": 12.25, "1000000": MOST_GIB}
BAD_SIZES = ["", "0", "-1", "nan", "inf", "1e7", "eight", "0.001", SCRIPT, "9" * 400]


@pytest.mark.parametrize("size", GOOD_SIZES)
def test_the_largest_film_is_said_in_the_settings(desk: Desk, size: str) -> None:
    client = client_of(desk)
    assert send(client, "/settings", most_film_gib=size, units="metric", by="A").status_code == 200
    assert desk.kept.most_film_gib == GOOD_SIZES[size]
    assert f'name="most_film_gib" value="{GOOD_SIZES[size]:.12g}"' in client.get("/settings").text
    assert f"up to {GOOD_SIZES[size]:.12g} GiB each" in client.get("/add").text


@pytest.mark.parametrize("size", BAD_SIZES)
def test_a_size_that_cannot_be_is_refused(desk: Desk, size: str) -> None:
    answer = send(client_of(desk), "/settings", most_film_gib=size, by="A")
    assert answer.status_code == 400 and "number of GiB" in answer.text and SCRIPT not in answer.text
    assert (desk.kept.most_film_gib, desk.kept.by) == (8.0, "")
