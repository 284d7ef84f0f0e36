"""Overruling at the desk: what is sent, what comes back, what follows, and the line of every change."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command_line import put_table
from desk_maker import client_of, put_read, token_of
from starlette.testclient import TestClient

from gait.caseload import corrected
from gait.caseload.listing import clip_of
from gait.desk.audit import read_audit
from gait.desk.night import Night
from gait.desk.overruling import corrected_of
from gait.desk.records import record_of
from gait.desk.room import Desk
from gait.overrulings_file import overrule, page_of, path_of, read_said
from pose.landmarks import NEAR_HIND

AT = "/clips/1/overruled"
SCRIPT = {"accept": "application/json"}


@pytest.fixture
def seen(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> Desk:
    """A clip of a dog, read."""
    folder = desk.home.parent / "clips"
    put_table(folder, "a.csv", seconds=6)
    put_read(desk.store, {"a.csv": "Tansy,2026-03-02,bare,yes,1.8"}, folder)
    desk.keep(by="Ada")
    return desk


@pytest.fixture
def client(seen: Desk) -> TestClient:
    return client_of(seen)


def send(client: TestClient, path: str, told: Any = None) -> Any:
    """Send as a script of a page would; without ``told`` there is no body."""
    body = {} if told is None else {"json": told}
    return client.post(path, headers=SCRIPT | {"x-csrftoken": token_of(client)}, **body)


def stride(desk: Desk, number: int = 0) -> dict[str, Any]:
    """Where a used near hind stride lies, as a page tells it."""
    s = record_of(desk, 1).strides
    row = np.flatnonzero(s.used & (s.paw == NEAR_HIND))[number]
    return {"paw": "near_hind", "start_s": float(s.start_s[row]), "end_s": float(s.end_s[row])}


def test_nothing_is_overruled_at_first(client: TestClient) -> None:
    assert client.get(AT).json() == {"overrulings": [], "undo": False, "redo": False, "words": "", "page": ""}


def test_a_word_comes_back_with_both_answers_and_everything_follows(
    client: TestClient, seen: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked = []
    monkeypatch.setattr(Night, "look", lambda night: looked.append(night))
    before = clip_of(seen.store, 1)
    answer = send(client, AT, {**stride(seen), "gait": None, "reason": "  a stumble "})
    told = answer.json()
    assert answer.status_code == 200 and told == client.get(AT).json()
    [one] = told["overrulings"]
    assert {name: one[name] for name in ("paw", "gait", "reason", "by", "matches", "machine", "idle")} == {
        "paw": "near_hind", "gait": None, "reason": "a stumble", "by": "Ada", "matches": True, "machine": ["trot"],
        "idle": "",
    }  # fmt: skip
    assert (one["start_s"], one["end_s"]) == (stride(seen)["start_s"], stride(seen)["end_s"])
    assert one["at"].endswith("+00:00") and one["id"]
    assert (told["undo"], told["redo"]) == (True, False)
    assert told["words"].startswith("A person overruled 1 of ") and told["words"].endswith("1 left out.")
    after = clip_of(seen.store, 1)
    assert before and after and after.strides_used == before.strides_used - 1 and after.overruled == "1 (1 left out)"
    assert looked == [seen.night]
    assert corrected_of(seen, 1).overruled and not record_of(seen, 1).overruled


def test_undo_and_redo_without_end_each_with_its_line(client: TestClient, seen: Desk) -> None:
    send(client, AT, {**stride(seen, 0), "gait": "pace", "reason": "seen so"})
    send(client, AT, {**stride(seen, 1), "gait": None, "reason": "a stumble"})
    states = []
    for step in ("undo", "undo", "redo", "redo", "undo"):
        told = send(client, f"{AT}/{step}").json()
        states.append((len(told["overrulings"]), told["undo"], told["redo"]))
    assert states == [(1, True, True), (0, False, True), (1, True, True), (2, True, False), (1, True, True)]
    lines = read_audit(seen.home)
    back, again = "overruling taken back", "overruling brought back"
    assert [line["what"] for line in lines] == [back, again, again, back, back, "stride overruled", "stride overruled"]
    assert {line["by"] for line in lines} == {"Ada"} and {line["clip"] for line in lines} == {1}
    assert [line["gait"] for line in lines[-2:]] == ["left out", "pace"]
    assert not [line for line in lines if "stumble" in str(line)]  # a reason may name the dog


def test_one_word_among_others_is_taken_back(client: TestClient, seen: Desk) -> None:
    for number in range(3):
        told = send(client, AT, {**stride(seen, number), "gait": None, "reason": f"reason {number}"}).json()
    middle = told["overrulings"][1]["id"]
    told = send(client, f"{AT}/undo", {"id": middle}).json()
    assert [one["reason"] for one in told["overrulings"]] == ["reason 0", "reason 2"] and told["redo"]


def test_nobody_has_to_give_a_name(client: TestClient, seen: Desk) -> None:
    seen.keep(by="")
    told = send(client, AT, {**stride(seen), "gait": "walk", "reason": "seen so"}).json()
    assert told["overrulings"][0]["by"] == ""


REFUSED = {
    "no reason": ({"reason": " "}, 400, "needs a reason"),
    "no gait that is known": ({"gait": "prance"}, 400, "is no gait"),
    "no paw": ({"paw": "tail"}, 400, "is no paw"),
    "a paw by number": ({"paw": 2}, 400, "are words"),
    "a time in words": ({"start_s": "1"}, 400, "are numbers"),
    "yes for a time": ({"end_s": True}, 400, "are numbers"),
    "backward": ({"start_s": 3.0, "end_s": 2.0}, 400, "is no stride"),
    "where no stride is": ({"start_s": 70.0, "end_s": 70.5}, 409, "no stride of the near hind between 70.00 and 70.50"),
    "a stride that the clip cuts off": ({"paw": "near_hind", "start_s": -5.0, "end_s": 0.1}, 409, "There is no stride"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_is_refused_in_a_sentence_and_leaves_nothing(case: str, client: TestClient, seen: Desk) -> None:
    change, status, words = REFUSED[case]
    answer = send(client, AT, {**stride(seen), "gait": "walk", "reason": "seen so", **change})
    assert answer.status_code == status and words in answer.json()["error"]
    line = clip_of(seen.store, 1)
    assert line and not path_of(seen.home, line.sha256).exists() and read_audit(seen.home) == []


@pytest.mark.parametrize("body", [[1], {"paw": "near_hind"}], ids=["a list", "half of it"])
def test_half_a_word_is_refused(body: Any, client: TestClient) -> None:
    answer = send(client, AT, body)
    assert answer.status_code == 400 and "What was sent" in answer.json()["error"]


@pytest.mark.parametrize("step", ["undo", "redo"])
def test_nothing_to_take_or_bring_back(step: str, client: TestClient, seen: Desk) -> None:
    answer = send(client, f"{AT}/{step}")
    assert answer.status_code == 400 and answer.json()["error"] == f"There is nothing to {step}."
    assert read_audit(seen.home) == []


def test_no_such_clip_and_no_token(client: TestClient, seen: Desk) -> None:
    assert client.get("/clips/9/overruled", headers=SCRIPT).status_code == 404
    sent = client.post(AT, headers=SCRIPT, json={**stride(seen), "gait": None, "reason": "forged"})
    assert sent.status_code == 403 and client.get(AT).json()["overrulings"] == []


def test_what_matches_no_more_is_told_and_not_lost(client: TestClient, seen: Desk) -> None:
    send(client, AT, {**stride(seen), "gait": None, "reason": "a stumble"})
    line = clip_of(seen.store, 1)
    assert line
    [one] = read_said(seen.home, line.sha256).in_force
    shifted = type(one)("other", one.paw, 80.0, 80.4, "", "of a reading that saw more")
    overrule(seen.home, line.sha256, shifted)
    told = client.get(AT).json()
    assert [one["matches"] for one in told["overrulings"]] == [True, False]
    assert told["words"].endswith("1 overruling no longer matches any stride.")


def test_the_report_with_both_answers(client: TestClient, seen: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    write = lambda record, path, reading: Path(path).write_text(f'<a href="{reading}">{record.notices[0]}</a>')  # noqa: E731
    monkeypatch.setattr(corrected, "write_page", write)
    assert client.get(f"{AT}/report.html", headers=SCRIPT).status_code == 404
    page = send(client, AT, {**stride(seen), "gait": None, "reason": "a stumble"}).json()["page"]
    answer = client.get(page)
    assert answer.status_code == 200 and "A person overruled 1 of" in answer.text
    assert "sandbox" in answer.headers["content-security-policy"]
    assert 'href="/records/1/report.html"' in answer.text and client.get("/records/1/report.html").text == "the report"
    line = clip_of(seen.store, 1)
    assert line and page_of(seen.home, line.sha256).is_file()
