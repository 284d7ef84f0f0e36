"""Key pictures on the Compare page and in its PDF: the right frames of the right clips, made beside the answer in a
process of their own, bounded, and gone with their dog."""

import gc
import io
import re
import threading
import time
from base64 import b64decode
from collections.abc import Iterator
from concurrent.futures import CancelledError, Future
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from compare_maker import DAY, number_of, read_clips
from desk_maker import client_of, make_desk, send
from pypdf import PdfReader
from starlette.testclient import TestClient

import gait.desk.moments
import gait.showing
from gait.caseload.listing import clips, dogs
from gait.caseload.store import open_store
from gait.desk import comparing, pictures
from gait.desk.answers import Answer, Answers, Tell, answer_of
from gait.desk.errors import DeskError
from gait.desk.overruling import corrected_of
from gait.desk.pictures import FOLDER, MOST_CLIPS, Wish, pictures_for, sweep_pictures
from gait.desk.room import Desk
from gait.report.comparison.content import Paragraph, Pictures, Section

WAIT_S = 120.0
#: px of a key picture, in the foot of it where only the colour of the frame is.
PLAIN = (-12, 320)


@pytest.fixture(scope="module")
def read(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A caseload over two films of coloured frames of Tansy, and tables of Ember."""
    root = tmp_path_factory.mktemp("pictured")
    store = open_store(root / "home")
    read_clips(store, root / "in", "bare.mp4", "boots.mp4", "short.csv", "longer.csv")
    store.close()
    return root


@pytest.fixture
def desk(read: Path) -> Iterator[Desk]:
    """A desk over it."""
    store = open_store(read / "home")
    yield make_desk(store)
    store.close()


def address(desk: Desk, dog: str = "Tansy") -> str:
    number = next(line.dog_id for line in dogs(desk.store) if line.dog == dog)
    return f"dog={number}&of={DAY} bare&of={DAY} boots"


def wishes(desk: Desk) -> tuple[Wish, ...]:
    lines = clips(desk.store, dog="Tansy")
    return answer_of(lines, lambda line: corrected_of(desk, line.clip_id)).wishes


def ready(client: TestClient, query: str) -> str:
    """The pictures once they are there."""
    end_s = time.monotonic() + WAIT_S
    while not (now := client.get(f"/compare/pictures.json?{query}").json())["ready"]:
        assert time.monotonic() < end_s
        time.sleep(0.1)
    return str(now["html"])


def shown(client: TestClient, query: str) -> str:
    """The page once its answer is there."""
    end_s = time.monotonic() + WAIT_S
    while "Being compared" in (text := client.get(f"/compare?{query}").text):
        assert time.monotonic() < end_s
    return text


def frame_of(link: str) -> int:
    """Number of the frame that a picture shows, told by its colour."""
    packed = np.frombuffer(b64decode(link.partition(",")[2]), np.uint8)
    return number_of(cv2.imdecode(packed, cv2.IMREAD_COLOR)[PLAIN][::-1].tolist())


def test_pictures_show_the_frames_of_their_events_and_come_after_the_answer(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    def decoded_here(*given: object, **more: object) -> Any:
        raise AssertionError("a film was opened in the process of the server")

    for place in (gait.desk.moments, gait.showing):
        monkeypatch.setattr(place, "open_source", decoded_here)
    client, query = client_of(desk), address(desk)
    text = shown(client, query)
    assert "What differs" in text and "are being taken from the films" in text and "<img" not in text
    html = ready(client, query)
    alt = r"Tansy: near (hind|fore) (touchdown|lift-off), (bare|boots), ([\d.]+) s"
    found = re.findall(rf'<img src="([^"]+)" alt="{alt}', html)
    assert len(found) == 8 and len({one[1:4] for one in found}) == 8
    times = {line.condition: corrected_of(desk, line.clip_id).tracks.t_s for line in clips(desk.store, dog="Tansy")}
    for link, _, _, condition, t_s in found:
        assert abs(times[condition][frame_of(link)] - float(t_s)) < 0.6 * np.diff(times[condition]).max() + 0.005
    assert "boots, " in html and ", mirrored" in html  # boots was filmed from the other side
    again = shown(client, query)
    assert html in again and "are being taken" not in again
    assert not list(desk.folder.glob(f"{FOLDER}*"))


def test_the_pdf_waits_for_the_pictures(desk: Desk) -> None:
    answer = client_of(desk).get(f"/compare/report.pdf?{address(desk)}")
    pages = PdfReader(io.BytesIO(answer.content)).pages
    words = " ".join(" ".join(one.extract_text().split()) for one in pages)
    assert "Side by side" in words and "Tansy: near hind touchdown" in words
    assert sum(len(one.images) for one in pages) == 8
    assert words.index("Gaits, clip by clip") < words.index("Side by side") < words.index("How to read these numbers")


def test_tables_have_no_pictures_and_nothing_is_waited_for(desk: Desk) -> None:
    client, query = client_of(desk), address(desk, "Ember")
    text = shown(client, query)
    assert 'id="pictures"' not in text and ready(client, query) == ""
    assert client.get(f"/compare/report.pdf?{query}").status_code == 200


def texts(section: Section) -> list[str]:
    return [block.text for block in section.blocks if isinstance(block, Paragraph) and block.role == "remark"]


def titles(section: Section) -> list[str]:
    return [one.caption.partition(",")[0] for block in section.blocks if isinstance(block, Pictures)
            for one in block.items]  # fmt: skip


def test_a_film_that_is_gone_is_told_and_the_other_is_shown(desk: Desk, read: Path) -> None:
    film = read / "in" / "bare.mp4"
    away = film.rename(read / "away.mp4")
    section = pictures_for(desk, wishes(desk))
    away.rename(film)
    assert titles(section) == ["boots"] * 4
    assert texts(section) == [f"No pictures of bare: {pictures.GONE}"]
    assert not list(desk.folder.glob(f"{FOLDER}*"))


def test_no_more_clips_than_a_page_can_show(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    taken: list[int] = []
    monkeypatch.setattr(pictures, "_taken", lambda desk, line, wish: taken.append(wish.clip_id) or [])
    one = wishes(desk)[0]
    section = pictures_for(desk, [one] * (MOST_CLIPS + 3))
    assert len(taken) == MOST_CLIPS and texts(section) == ["Pictures are shown of 12 clips; there are 15."]


@pytest.mark.parametrize("bad", ["larger", "elsewhere", "many"])
def test_what_a_process_gives_back_is_not_trusted(desk: Desk, monkeypatch: pytest.MonkeyPatch, bad: str) -> None:
    secret = desk.folder / "settings.json"
    assert secret.is_file()

    def made(what: str, told: dict[str, Any]) -> dict[str, Any]:
        target = Path(told["target"])
        (target / "0.jpg").write_bytes(b"x" * (2**21 if bad == "larger" else 10))
        (target / "settings.json").write_bytes(b"its own")
        file = "../settings.json" if bad == "elsewhere" else "0.jpg"
        return {"pictures": [{"file": file, "condition": "bare", "caption": "moment"}] * (9 if bad == "many" else 1)}

    monkeypatch.setattr(pictures, "run_limited", made)
    section = pictures_for(desk, wishes(desk)[:1])
    items = [one.jpeg for block in section.blocks if isinstance(block, Pictures) for one in block.items]
    wanted = {"larger": [], "elsewhere": [b"its own"], "many": [b"x" * 10] * 4}
    assert items == wanted[bad]
    assert any("larger than a page can show" in text for text in texts(section)) == (bad == "larger")


def test_what_a_killed_desk_left_is_swept(desk: Desk) -> None:
    left = desk.folder / f"{FOLDER}abc"
    left.mkdir()
    (left / "0.jpg").write_bytes(b"a dog")
    sweep_pictures(desk)
    assert not left.exists() and (desk.folder / "settings.json").is_file()


def test_what_is_being_made_of_a_forgotten_dog_ends() -> None:
    answers: Answers[str] = Answers()
    began, go_on, told = threading.Event(), threading.Event(), []

    def make(tell: Tell) -> str:
        began.set()
        assert go_on.wait(WAIT_S)
        tell(1, 2)
        told.append("went on")
        return "made"

    running = answers.ask((1, 1), make)
    waiting = answers.ask((1, 2), make)
    assert began.wait(WAIT_S)
    answers.forget(1)
    go_on.set()
    assert running.exception(WAIT_S) is not None and waiting.cancelled() and not told
    assert answers.ask((1, 1), lambda tell: "anew").result(WAIT_S) == "anew"


def test_a_page_whose_dog_was_removed_meanwhile_says_so() -> None:
    dropped: Future[Answer] = Future()
    dropped.set_exception(CancelledError())
    with pytest.raises(DeskError, match="its dog may have been removed"):
        comparing._made(dropped)


# the last test here: the dog is gone after it
def test_nothing_of_a_removed_dog_is_kept(desk: Desk) -> None:
    client = client_of(desk)
    for dog in ("Tansy", "Ember"):
        shown(client, address(desk, dog))
    ready(client, address(desk))
    number = next(line.dog_id for line in dogs(desk.store) if line.dog == "Tansy")
    answer = send(client, f"/dogs/{number}/remove", name="Tansy")
    assert answer.status_code == 200
    gc.collect()
    left = [one.document.title for one in gc.get_objects() if type(one) is Answer and one.document]
    assert left == ["Ember"]
    assert not [one for one in gc.get_objects() if type(one) is Wish]
