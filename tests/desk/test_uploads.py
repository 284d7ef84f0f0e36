"""The protocol tus 1.0.0 as the desk speaks it: from the first byte to a whole film, and everything that it refuses."""

import asyncio
import os
import shutil
import time
from collections import namedtuple
from pathlib import Path
from typing import Any

import pytest
from film_maker import write_numbered, write_sound
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.requests import Request
from uploading import BODY, TUS, Uploader, b64, id_of

from gait.desk import uploads
from gait.desk.errors import DeskError
from gait.desk.kept import Kept
from gait.desk.names import clean_name, numbered
from gait.desk.parts import UploadSettings, parts, sweep
from gait.desk.room import Desk
from gait.sheets.finding import FILMS

GIB = 2**30


@pytest.fixture
def up(desk: Desk) -> Uploader:
    return Uploader(desk)


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_numbered(tmp_path_factory.mktemp("film") / "tansy.mp4", [n / 60 for n in range(12)])


def everything(desk: Desk) -> set[Path]:
    """All files around the desk, but for its store and what it keeps of itself."""
    around = desk.home.parent.rglob("*")
    return {path.relative_to(desk.home.parent) for path in around if path.is_file() and path.parent != desk.home}


def test_an_upload_from_the_first_byte_to_the_last(up: Uploader) -> None:
    told = up.client.options("/uploads")
    assert told.status_code == 204 and told.headers["tus-version"] == "1.0.0"
    assert told.headers["tus-extension"] == "creation,termination" and int(told.headers["tus-max-size"]) == 8 * GIB
    at = up.begin(length=10)
    assert up.head(at).headers["upload-offset"] == "0" and up.head(at).headers["upload-length"] == "10"
    assert up.head(at).headers["cache-control"] == "no-store"
    first, second = up.patch(at, 0, b"abcd"), up.patch(at, 4, b"efghij")
    assert (first.status_code, first.headers["upload-offset"]) == (204, "4")
    assert (second.status_code, second.headers["upload-offset"]) == (204, "10")
    assert all(answer.headers["tus-resumable"] == "1.0.0" for answer in (first, second, up.head(at)))
    (part,) = parts(up.desk)
    assert (up.desk.folder / "uploads" / f"{part.id}.part").read_bytes() == b"abcdefghij"


@pytest.mark.parametrize("came", [30, 2**20 + 17, 3 * 2**20], ids=["less than a block", "more", "three blocks"])
def test_what_came_before_a_break_is_kept(up: Uploader, came: int) -> None:
    """As the server sees it: some of the body, then nobody is there."""
    whole = os.urandom(came + 100)
    at = up.begin(length=len(whole))
    messages = [{"type": "http.request", "body": whole[:came], "more_body": True}, {"type": "http.disconnect"}]
    assert asyncio.run(_patched(up, at, messages)) == 204
    assert up.head(at).headers["upload-offset"] == str(came)
    assert up.patch(at, came, whole[came:]).headers["upload-offset"] == str(len(whole))
    assert (up.desk.folder / "uploads" / f"{id_of(at)}.part").read_bytes() == whole


def test_a_connection_that_stands_still_is_given_up(up: Uploader, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uploads, "SETTINGS", UploadSettings(idle_s=0.2))
    at = up.begin(length=100)
    messages = [{"type": "http.request", "body": b"x" * 30, "more_body": True}]
    assert asyncio.run(_patched(up, at, messages)) == 204
    assert up.head(at).headers["upload-offset"] == "30"


def test_two_hands_at_one_upload(up: Uploader) -> None:
    """While one connection sends, another one is refused; then the first goes on."""
    at = up.begin(length=100)

    async def both() -> tuple[int, int]:
        """A slow one, and one that comes meanwhile."""
        slow = asyncio.create_task(_patched(up, at, [{"type": "http.request", "body": b"x" * 30, "more_body": False}],
                                            pause_s=0.3))  # fmt: skip
        await asyncio.sleep(0.1)
        meanwhile = await _patched(up, at, [{"type": "http.request", "body": b"y" * 30, "more_body": False}])
        return meanwhile, await slow

    assert asyncio.run(both()) == (423, 204)
    data = up.desk.folder / "uploads" / f"{id_of(at)}.part"
    assert data.read_bytes() == b"x" * 30


async def _patched(up: Uploader, at: str, messages: list[dict[str, Any]], pause_s: float = 0.0) -> int:
    """Status of a PATCH whose body comes as ``messages``; after the last one nothing comes."""
    left, status = list(messages), 0

    async def receive() -> dict[str, Any]:
        """The next message."""
        await asyncio.sleep(pause_s)
        if not left:
            await asyncio.sleep(3600)
        return left.pop(0)

    async def send(message: dict[str, Any]) -> None:
        """Note the status."""
        nonlocal status
        status = message.get("status", status)

    App = namedtuple("App", "state")
    scope = {"type": "http", "method": "PATCH", "path": at, "path_params": {"id": id_of(at)}, "query_string": b"",
             "app": App(state=namedtuple("State", "desk")(up.desk)),
             "headers": [(name.encode(), value.encode()) for name, value in
                         {**TUS, **BODY, "upload-offset": "0"}.items()]}  # fmt: skip
    answer = await uploads._tus(uploads.one)(Request(scope, receive))
    await answer(scope, receive, send)
    return status


REFUSED = {
    "another version of the protocol": (lambda up: up.create(**{"tus-resumable": "0.2.2"}), 412),
    "no version": (lambda up: up.create(**{"tus-resumable": ""}), 412),
    "a length later": (lambda up: up.create(**{"upload-defer-length": "1"}), 400),
    "no length": (lambda up: up.create(length=""), 400),
    "a negative length": (lambda up: up.create(length=-1), 400),
    "a length in words": (lambda up: up.create(length="ten"), 400),
    "a length with a sign": (lambda up: up.create(length="+10"), 400),
    "an empty film": (lambda up: up.create(length=0), 400),
    "too large a film": (lambda up: up.create(length=8 * GIB + 1), 413),
    "no name": (lambda up: up.create(name=""), 415),
    "a program": (lambda up: up.create(name="tansy.mp4.exe"), 415),
    "a page": (lambda up: up.create(name="tansy.html"), 415),
    "a film of another kind": (lambda up: up.create(name="tansy.MTS"), 415),
    "a name that is no Base64": (lambda up: up.create(**{"upload-metadata": "filename ???"}), 400),
    "a name that is no UTF-8": (lambda up: up.create(**{"upload-metadata": "filename /w=="}), 400),
    "metadata without end": (lambda up: up.create(name="a" * 5000 + ".mp4"), 400),
    "an unknown upload": (lambda up: up.head(f"/uploads/{'0' * 32}"), 404),
    "an upload of a strange name": (lambda up: up.head("/uploads/..%2f..%2fstore"), 404),
    "more for an unknown one": (lambda up: up.patch(f"/uploads/{'0' * 32}", 0, b"x"), 404),
    "the wrong offset": (lambda up: up.patch(up.begin(), 3, b"x"), 409),
    "no offset": (lambda up: up.patch(up.begin(), "", b"x"), 400),
    "another type": (lambda up: up.patch(up.begin(), 0, b"x", **{"content-type": "video/mp4"}), 415),
    "more than was said": (lambda up: up.patch(up.begin(length=3), 0, b"four"), 413),
    "a method that is none": (lambda up: up.client.post(up.begin(), headers={**TUS, "x-http-method-override": "GET"}),
                              405),
    "no token": (lambda up: up.client.post("/uploads", headers={**TUS, "x-csrftoken": "made up"}), 403),
    "another site": (lambda up: up.create(**{"origin": "http://elsewhere.example"}), 403),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_what_is_refused(up: Uploader, case: str) -> None:
    act, status = REFUSED[case]
    answer = act(up)
    assert answer.status_code == status
    if answer.content and status != 403:
        assert set(answer.json()) == {"error"} and "Traceback" not in answer.text
    if status == 412:
        assert answer.headers["tus-version"] == "1.0.0"


def test_a_desk_may_have_a_limit_of_its_own(up: Uploader) -> None:
    up.desk.keep(most_film_gib=0.5)
    assert up.create(length=GIB // 2 + 1).status_code == 413 and up.create(length=GIB // 2).status_code == 201
    assert up.client.options("/uploads").headers["tus-max-size"] == str(GIB // 2)
    with pytest.raises(ValueError, match="most_film_gib"):
        Kept(most_film_gib=0)


def test_more_than_was_said_is_not_kept(up: Uploader) -> None:
    at = up.begin(length=3)
    up.patch(at, 0, b"four")
    assert up.head(at).headers["upload-offset"] == "0"


def test_a_client_that_knows_no_patch(up: Uploader) -> None:
    at = up.begin(length=4)
    headers = {**TUS, **BODY, "upload-offset": "0", "x-http-method-override": "PATCH"}
    assert up.client.post(at, content=b"abcd", headers=headers).headers["upload-offset"] == "4"


def test_an_upload_that_is_given_up_leaves_nothing(up: Uploader) -> None:
    at = up.begin()
    up.patch(at, 0, b"abc")
    assert up.client.delete(at, headers=TUS).status_code == 204
    assert up.head(at).status_code == 404
    assert not list((up.desk.folder / "uploads").iterdir())
    assert "upload given up" in (up.desk.folder / "audit.jsonl").read_text()


def test_a_full_disk_is_told_before_anything_is_sent(up: Uploader, monkeypatch: pytest.MonkeyPatch) -> None:
    usage = namedtuple("Usage", "total used free")(9 * GIB, 6 * GIB, 3 * GIB)
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage)
    up.begin("one.mp4", GIB)
    answer = up.create("two.mp4", GIB + 1)
    assert answer.status_code == 507
    assert "no room" in answer.json()["error"]
    up.begin("two.mp4", GIB)


def test_uploads_that_nobody_goes_on_with_are_swept(up: Uploader, film: Path) -> None:
    kept = UploadSettings()
    waits = up.send(film).json()
    old, new = up.begin("old.mp4"), up.begin("new.mp4")
    long_ago = time.time() - kept.keep_s - 60
    for path in (up.desk.folder / "uploads").iterdir():
        if path.stem != id_of(new):
            os.utime(path, (long_ago, long_ago))
    stray = up.desk.folder / "uploads" / "stray.json.part"
    stray.write_text("{")
    os.utime(stray, (long_ago, long_ago))
    assert sweep(up.desk, kept) == 3
    assert up.head(old).status_code == 404
    assert up.head(new).status_code == 200
    assert [part.id for part in parts(up.desk)] == [waits["id"], id_of(new)]


def test_a_whole_film_lies_in_the_footage(up: Uploader, film: Path) -> None:
    told = up.send(film).json()
    assert told["film"] == "tansy.mp4" and told["facts"]["fps"] == 60 and told["facts"]["frames"] == 12
    assert (up.desk.home / "footage" / "tansy.mp4").read_bytes() == film.read_bytes()
    assert not list((up.desk.folder / "uploads").glob("*.part"))
    assert up.client.post(f"/add/films/{told['id']}").json() == told  # asked again, when the answer was lost
    assert up.head(f"/uploads/{told['id']}").headers["upload-offset"] == str(film.stat().st_size)


def test_the_same_content_again_is_told(up: Uploader, film: Path) -> None:
    up.send(film)
    told = up.send(film, "another name.mp4").json()
    assert told["already"] == "This film is here already, as tansy.mp4; it waits to be described."
    assert [path.name for path in (up.desk.home / "footage").iterdir()] == ["tansy.mp4"]


def test_a_move_that_was_cut_off_is_done_later(up: Uploader, film: Path) -> None:
    told = up.send(film).json()
    place = up.desk.home / "footage" / "tansy.mp4"
    place.rename(up.desk.folder / "uploads" / f"{told['id']}.part")
    assert [one["film"] for one in up.client.get("/add/films").json()["films"]] == ["tansy.mp4"]
    assert place.is_file()


def test_films_of_one_stem_never_share_a_sheet(up: Uploader, film: Path, tmp_path: Path) -> None:
    other = write_numbered(tmp_path / "tansy.mov", [n / 30 for n in range(9)])
    third = write_numbered(tmp_path / "TANSY.mp4", [n / 25 for n in range(9)])
    names = [up.send(path).json()["film"] for path in (film, other, third)]
    assert names == ["tansy.mp4", "tansy-2.mov", "TANSY-3.mp4"]


NO_FILMS = {
    "text": lambda path: path.write_text("#EXTM3U\nhttp://elsewhere.example/film.ts\n"),
    "a page": lambda path: path.write_text("<html><script>alert(1)</script></html>"),
    "zeros": lambda path: path.write_bytes(bytes(4096)),
    "random bytes": lambda path: path.write_bytes(os.urandom(4096)),
    "sound": write_sound,
}


@pytest.mark.parametrize("case", NO_FILMS)
def test_what_is_no_film_is_found_out_and_removed(up: Uploader, tmp_path: Path, case: str) -> None:
    path = tmp_path / "tansy.mp4"
    NO_FILMS[case](path)
    answer = up.send(path)
    assert answer.status_code == 422
    assert answer.json()["error"].startswith("tansy.mp4")
    assert not parts(up.desk) and not list((up.desk.home / "footage").glob("*"))


NAMES = {
    "../../../etc/passwd.mp4": "passwd.mp4",
    "..\\..\\windows\\tansy.mp4": "tansy.mp4",
    "/etc/cron.d/tansy.mp4": "tansy.mp4",
    "C:\\tansy.MP4": "tansy.mp4",
    ".hidden.mp4": "hidden.mp4",
    "...mp4": "film.mp4",
    "con.mp4": "film-con.mp4",
    "<script>alert(1)</script>.mp4": "script.mp4",
    "tansy\0.exe.mp4": "tansy_.exe.mp4",
    "tansy\n‮4pm.mp4": "tansy__4pm.mp4",
    "Tänsy  läuft.mov": "Tänsy läuft.mov",
    "犬.mp4": "犬.mp4",
    "a" * 300 + ".mp4": "a" * 48 + ".mp4",
}


@pytest.mark.parametrize("said", NAMES, ids=range(len(NAMES)))
def test_names_lead_nowhere(said: str) -> None:
    assert clean_name(said) == NAMES[said]


@given(st.text(max_size=60), st.sampled_from(FILMS))
def test_every_name_becomes_a_harmless_one(said: str, ending: str) -> None:
    name = clean_name(said + ending)
    path = Path("footage") / name
    assert path.parent == Path("footage") and path.suffix == ending
    assert not name.startswith((".", " ", "-")) and len(os.fsencode(name)) < 256
    assert all(sign.isalnum() or sign in " .-_" for sign in name)
    assert next(numbered(name, {path.stem.casefold()})) != name


HEADER = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=80)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(max_size=40), st.one_of(HEADER, st.integers(-3, 40).map(str)), HEADER, HEADER, st.binary(max_size=40))
def test_no_header_leads_out_of_the_home(
    up: Uploader, name: str, length: str, offset: str, more: str, content: bytes
) -> None:
    before = everything(up.desk)
    said = {"upload-metadata": f"filename {b64(name + '.mp4')},x {more}"} if len(more) % 2 else {}
    answers = [up.create(name + ".mp4", length=length, **said)]
    if answers[0].status_code == 201:
        at = answers[0].headers["location"]
        answers += [up.patch(at, offset, content), up.patch(at, 0, content), up.client.delete(at, headers=TUS)]
    answers += [up.client.post("/uploads", headers={**TUS, "upload-length": "3", "upload-metadata": more})]
    assert all(answer.status_code < 500 for answer in answers)
    new = everything(up.desk) - before
    assert all(path.is_relative_to(Path("home") / "desk") for path in new)


def test_a_part_that_was_damaged_is_none(up: Uploader) -> None:
    at = up.begin()
    (up.desk.folder / "uploads" / f"{id_of(at)}.json").write_text("{")
    assert up.head(at).status_code == 404
    assert up.client.get("/add").status_code == 200


def test_metadata_is_read_or_refused() -> None:
    assert uploads.metadata(f"filename {b64('ä.mp4')} , changed {b64('7')},empty") == {
        "filename": "ä.mp4", "changed": "7", "empty": ""}  # fmt: skip
    with pytest.raises(DeskError, match="twice"):
        uploads.metadata("a YQ==,a YQ==")
