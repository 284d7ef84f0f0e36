"""The Compare page over a caseload that was read: the dogs, the answer, why there is none, the report to print."""

import io
import re
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from compare_maker import CLIPS, DAY, LATER, read_clips
from desk_maker import client_of, make_desk, send
from pypdf import PdfReader
from starlette.testclient import TestClient

from gait.caseload.listing import clips
from gait.caseload.store import open_store
from gait.compare.compare import NEEDED, compare_records
from gait.desk import comparing
from gait.desk.answers import Answer, Answers, Tell, answer_of, as_said
from gait.desk.records import record_of
from gait.desk.room import Desk
from gait.overruling import Overruling
from gait.overrulings_file import overrule, undo
from gait.report.comparison.document import build_document
from gait.report.comparison.page import sections_of
from pose.landmarks import NEAR_HIND

#: s within which an answer that is at hand has to be shown.
AT_HAND_S = 1.0
SOON_S = 20.0


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A caseload of landmark tables: nothing here looks at a film."""
    root = tmp_path_factory.mktemp("compare")
    store = open_store(root / "home")
    tables = pytest.MonkeyPatch()
    with tables.context() as patch:
        for name in list(CLIPS):
            patch.setitem(CLIPS, f"{name.split('.')[0]}.csv", CLIPS[name])
        read_clips(store, root / "in", *(name for name in CLIPS if name.endswith(".csv")))
    store.close()
    return root / "home"


@pytest.fixture
def read(home: Path) -> Iterator[Desk]:
    """A desk over it."""
    store = open_store(home)
    yield make_desk(store)
    store.close()


def number(desk: Desk, dog: str) -> int:
    return next(line.dog_id for line in comparing.dogs(desk.store) if line.dog == dog)


def page(client: TestClient, address: str) -> str:
    """The page once its answer is there."""
    end_s = time.monotonic() + SOON_S
    while "Being compared" in (text := client.get(address).text):
        assert time.monotonic() < end_s
    return text


def test_the_dogs_filmed_last_come_first(read: Desk) -> None:
    text = client_of(read).get("/compare").text
    assert re.findall(r">(Tansy|Brock|Ember)<", text) == ["Tansy", "Brock", "Ember"]
    words = re.sub(r"<[^>]+>", "", text)
    assert "2 visits, the last on 2026-04-13 · 3 of 3 clips read" in words


def test_an_empty_desk_says_how_to_begin(desk: Desk) -> None:
    text = client_of(desk).get("/compare").text
    assert "No dog is known yet" in text and 'href="/add"' in text


def test_the_answer_is_that_of_the_report(read: Desk) -> None:
    of = f"of={DAY} bare&of={DAY} boots"
    text = page(client_of(read), f"/compare?dog={number(read, 'Tansy')}&{of}")
    lines = [line for line in clips(read.store, dog="Tansy") if line.date == DAY]
    comparison = compare_records([as_said(record_of(read, line.clip_id), line) for line in lines])
    document = build_document(comparison)
    for section in document.sections:
        assert str(sections_of([section])) in text
    keys = re.findall(r'<section id="(\w+)"', text)
    assert keys[:4] == ["answer", "cautions", "films", "figures"]


def test_the_usual_choice_is_what_a_page_without_sides_shows(read: Desk) -> None:
    text = page(client_of(read), f"/compare?dog={number(read, 'Tansy')}")
    checked = re.findall(r'name="of" value="([^"]+)" checked', text)
    assert checked == [f"{LATER} bare", f"{DAY} bare"]
    assert f"of={LATER}+bare&amp;of={DAY}+bare" in text  # the address to print keeps them


def test_what_is_left_out_is_told(read: Desk) -> None:
    lines = clips(read.store, dog="Tansy")
    left = next(line for line in lines if line.condition == "boots")
    of = "&".join(f"of={line.date} {line.condition}" for line in lines)
    text = page(client_of(read), f"/compare?dog={number(read, 'Tansy')}&{of}&without={left.clip_id}&of=2020-01-01 vest")
    assert "Left out by choice: boots.csv (boots, 2026-03-02)." in text
    assert "2020-01-01 vest is not among the clips of this dog any more." in text
    assert f'value="{left.clip_id}" checked' in text


def test_another_baseline_turns_the_comparison_about(read: Desk) -> None:
    of = f"dog={number(read, 'Tansy')}&of={DAY} bare&of={DAY} boots"
    text = page(client_of(read), f"/compare?{of}&base=boots")
    assert "Tansy: bare against boots" in text and "Held against boots by choice" in text
    assert "Tansy: boots against bare" in page(client_of(read), f"/compare?{of}")


def test_one_condition_says_what_to_film(read: Desk) -> None:
    text = client_of(read).get(f"/compare?dog={number(read, 'Brock')}").text
    assert NEEDED in text and "Film Brock bare again at the next visit" in text
    assert f"no other condition on {DAY}" in text


@pytest.mark.parametrize(
    ("address", "status", "words"),
    [
        ("/compare?dog=4711", 404, "no such dog"),
        ("/compare?dog=Tansy", 400, "not one of the desk"),
        ("/compare/instep.json?a=1", 400, "which two clips"),
        ("/compare/instep.json?a=1&b=4711", 404, "no such clip"),
        ("/compare/report.pdf?dog=4711", 404, "no such dog"),
    ],
    ids=["unknown dog", "a dog by name", "one clip", "unknown clip", "report of an unknown dog"],
)
def test_what_cannot_be_is_one_sentence(read: Desk, address: str, status: int, words: str) -> None:
    answer = client_of(read).get(address)
    assert answer.status_code == status and words in answer.text and "Traceback" not in answer.text


def test_nothing_to_print_is_said(read: Desk) -> None:
    answer = client_of(read).get(f"/compare/report.pdf?dog={number(read, 'Brock')}&of={DAY} bare")
    assert answer.status_code == 404 and NEEDED in answer.text


def test_the_report_to_print_says_the_same(read: Desk) -> None:
    client = client_of(read)
    address = f"?dog={number(read, 'Tansy')}&of={DAY} bare&of={DAY} boots"
    answer = client.get(f"/compare/report.pdf{address}")
    assert answer.headers["content-type"] == "application/pdf"
    assert f"tansy-{DAY}-compared.pdf" in answer.headers["content-disposition"]
    text = " ".join(" ".join(one.extract_text().split()) for one in PdfReader(io.BytesIO(answer.content)).pages)
    lead = re.search(r'class="lead">([^<]+)<', page(client, f"/compare{address}"))
    assert lead and lead[1] in text and "Screening, not diagnosis" in text


def test_page_and_pdf_follow_the_units_of_the_desk_and_files_do_not(read: Desk) -> None:
    client, address = client_of(read), f"?dog={number(read, 'Tansy')}&of={DAY} bare&of={DAY} boots"
    files = {path: path.read_bytes() for path in sorted((read.home / "clips").rglob("*.json"))}
    metric = page(client, f"/compare{address}")
    send(client, "/settings", units="imperial")
    try:
        imperial = page(client, f"/compare{address}")
        pdf = PdfReader(io.BytesIO(client.get(f"/compare/report.pdf{address}").content))
        watched = client.get(f"/clips/{clips(read.store, dog='Tansy')[0].clip_id}").text
    finally:
        send(client, "/settings", units="metric")
    printed = " ".join(" ".join(one.extract_text().split()) for one in pdf.pages)
    for text in (imperial, printed):
        assert "Stride length, in" in text and "mph)" in text
        assert not re.search(r", m<| m/s|\u00a0cm|Stride length, m\b", text)
    assert "Stride length, m<" in metric and " m/s)" in metric
    assert '<span class="unit">in</span>' in watched and "in metric units" in watched
    assert page(client, f"/compare{address}") == metric
    assert files and files == {path: path.read_bytes() for path in files}


def test_a_page_says_that_its_answer_is_being_made(read: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    go_on = threading.Event()

    def slow(*given: object, tell: Tell, **more: object) -> Answer:
        tell(1, 2)
        assert go_on.wait(SOON_S)
        return answer_of(*given, tell=tell, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(comparing, "answer_of", slow)
    monkeypatch.setattr(comparing, "SOON_S", 0.05)
    client = client_of(read)
    address = f"dog={number(read, 'Tansy')}&of={DAY} bare&of={DAY} boots"
    text = client.get(f"/compare?{address}").text
    assert "Being compared" in text and 'role="status"' in text and "http-equiv" in text
    state = re.search(r'data-state="([^"]+)"', text)
    assert state
    now = client.get(state[1].replace("&amp;", "&")).json()
    assert now == {"ready": False, "done": 1, "total": 2}
    go_on.set()
    assert "What differs" in page(client, f"/compare?{address}")
    began_s = time.monotonic()
    assert "What differs" in client.get(f"/compare?{address}").text
    assert time.monotonic() - began_s < AT_HAND_S


def test_answers_are_made_once_and_the_oldest_are_let_go() -> None:
    answers: Answers[Answer] = Answers(most=2)
    made = []

    def make(words: str) -> Answer:
        made.append(words)
        return Answer(words)

    for words in ("a", "b", "a", "c", "a", "b"):
        assert answers.ask((1, words), lambda tell, words=words: make(words)).result(SOON_S).words == words
    assert made == ["a", "b", "c", "b"]


def test_a_fault_is_not_kept() -> None:
    answers: Answers[Answer] = Answers()

    def fail(tell: Tell) -> Answer:
        raise ValueError("our fault")

    with pytest.raises(ValueError, match="our fault"):
        answers.ask((1, "a"), fail).result(SOON_S)
    assert answers.ask((1, "a"), lambda tell: Answer("made")).result(SOON_S).words == "made"


def test_a_clip_whose_results_are_gone_is_told_and_the_others_are_compared(read: Desk) -> None:
    lines = [line for line in clips(read.store, dog="Tansy")]
    gone = lines[0]._replace(clip_id=4711, name="gone.csv")
    answer = answer_of([*lines, gone], lambda line: record_of(read, line.clip_id))
    assert "Not read: gone.csv." in answer.first and answer.document is not None


def test_what_a_person_overruled_counts_at_once(read: Desk) -> None:
    client, address = client_of(read), f"/compare?dog={number(read, 'Tansy')}&of={DAY} bare&of={DAY} boots"
    before = page(client, address)
    line = next(line for line in clips(read.store, dog="Tansy") if line.condition == "boots")
    strides = record_of(read, line.clip_id).strides
    row = int((strides.used & (strides.paw == NEAR_HIND)).nonzero()[0][2])
    span = float(strides.start_s[row]), float(strides.end_s[row])
    word = Overruling("one", "near_hind", *span, "", "stumbled", "", "")
    overrule(read.home, line.sha256, word)
    assert "overruled" not in before and "A person overruled 1 of" in page(client, address)
    undo(read.home, line.sha256)
    assert page(client, address) == before
