"""Who may ask a desk for what: passwords, sessions, other sites, tries, paths, scripts in names, and faults."""

import json
import stat
import time
from pathlib import Path

import pytest
from caseload_maker import ME
from command_line import call, put_table
from desk_maker import PAGE, client_of, put_read, send, token_of
from starlette.requests import Request
from starlette.routing import Route

from gait.desk import caseload_pages, entrance, safety
from gait.desk.audit import read_audit
from gait.desk.kept import read_kept
from gait.desk.room import Desk
from gait.desk.safety import IDLE_S, LONGEST_S, TRIES, Gate, hashed, is_in, sign_in

WORDS = "four words in a row"


@pytest.fixture(autouse=True)
def new_gate(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tries of one test do not count in the next."""
    monkeypatch.setattr(entrance, "GATE", Gate())


@pytest.fixture
def locked(desk: Desk) -> Desk:
    """A desk with a password."""
    desk.keep(password_hash=hashed(WORDS))
    return desk


def test_without_a_password_no_other_machine_is_served(tmp_path: Path) -> None:
    done = call("desk", "--home", tmp_path / "home", "--host", "0.0.0.0", "--port", "0", "--no-browser")
    assert done.exit_code == 2 and "set a password first" in done.stderr


def test_of_the_password_only_a_slow_hash_is_kept_for_this_user_alone(locked: Desk) -> None:
    path = locked.home / "desk" / "settings.json"
    told = json.loads(path.read_text())
    assert told["password_hash"].startswith("$argon2id$") and WORDS not in path.read_text()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_short_password_is_refused(desk: Desk) -> None:
    answer = send(client_of(desk), "/settings/password", new="short")
    assert answer.status_code == 400 and "needs 8 letters" in answer.text
    assert not read_kept(desk.home).password_hash


@pytest.mark.parametrize("path", ["/", "/dogs", "/settings", "/reading.json", "/records/1/report.html", "/clips/1"])
def test_who_has_not_signed_in_sees_nothing(locked: Desk, path: str) -> None:
    client = client_of(locked)
    assert client.get(path, follow_redirects=False).headers["location"] == "/login"
    assert client.get(path, headers={"accept": "application/json"}).status_code == 401


def test_signing_in_and_out(locked: Desk) -> None:
    client = client_of(locked)
    assert "not the password" in send(client, "/login", password="another one").text
    assert "Nothing has been filmed" in send(client, "/login", password=WORDS).text
    told = client_of(locked).get("/login").headers["set-cookie"].lower()
    assert "httponly" in told and "samesite=strict" in told
    cookie = dict(client.cookies)
    send(client, "/logout")
    assert client.get("/", follow_redirects=False).status_code == 303
    client.cookies.update(cookie)  # as an answer that is late would write it
    assert client.get("/", follow_redirects=False).status_code == 303


@pytest.mark.parametrize(
    ("later_s", "used"), [(IDLE_S + 1, False), (LONGEST_S + 1, True)], ids=["left alone", "used all day"]
)
def test_a_session_ends(locked: Desk, later_s: float, used: bool) -> None:
    session: dict[str, object] = {}
    sign_in(session, locked.kept)
    now = time.time()
    if used:
        for step_s in range(0, LONGEST_S, IDLE_S // 2):
            assert is_in(session, locked, now + step_s)
    else:
        assert is_in(dict(session), locked, now + IDLE_S - 10)
    assert not is_in(session, locked, now + later_s)


def test_a_new_password_ends_the_sessions_of_others(locked: Desk) -> None:
    other, own = client_of(locked), client_of(locked)
    for client in (other, own):
        send(client, "/login", password=WORDS)
    assert send(own, "/settings/password", old="wrong words here", new="something else now").status_code == 403
    assert send(own, "/settings/password", old=WORDS, new="something else now").status_code == 200
    assert other.get("/", follow_redirects=False).status_code == 303
    assert own.get("/", follow_redirects=False).status_code == 200
    assert [line["what"] for line in read_audit(locked.home)] == ["password set"]


def test_passwords_cannot_be_tried_out(locked: Desk) -> None:
    client = client_of(locked)
    token, most = token_of(client, "/login"), TRIES[0].amount
    tries = [client.post("/login", data={"csrftoken": token, "password": str(n)}).status_code for n in range(most + 2)]
    assert tries == [401] * most + [429] * 2
    late = client.post("/login", data={"csrftoken": token, "password": WORDS})
    assert late.status_code == 429 and "Wait a minute" in late.text


@pytest.mark.parametrize(
    ("headers", "data"),
    [
        ({}, {}),
        ({}, {"csrftoken": "guessed"}),
        ({"x-csrftoken": "guessed"}, {}),
        ({"x-csrftoken": ""}, {}),
        ({"authorization": "Bearer x"}, {}),
        ({"content-type": "text/plain"}, {}),
    ],
    ids=["nothing", "another token", "another header", "an empty header", "a bearer", "plain text"],
)
def test_nothing_changes_without_the_token_of_a_page(desk: Desk, headers: dict[str, str], data: dict[str, str]) -> None:
    client = client_of(desk)
    token_of(client)
    assert client.post("/settings", headers=headers, data={"by": "x", **data}).status_code == 403
    assert client_of(desk).post("/settings", headers=headers, data={"by": "x", **data}).status_code == 403  # no cookie
    assert desk.kept.by == ""


@pytest.mark.parametrize(
    "headers",
    [{"origin": "http://elsewhere.example"}, {"origin": "null"}, {"sec-fetch-site": "cross-site"},
     {"sec-fetch-site": "same-site"}, {"origin": "http://127.0.0.1:9999"}],
    ids=["another origin", "no origin to name", "cross site", "another name", "another port"],
)  # fmt: skip
def test_another_site_can_send_nothing(desk: Desk, headers: dict[str, str]) -> None:
    client = client_of(desk)
    answer = client.post("/settings", headers=headers, data={"by": "x", "csrftoken": token_of(client)})
    assert answer.status_code == 403 and desk.kept.by == ""


def test_a_foreign_name_does_not_lead_here(desk: Desk) -> None:
    assert client_of(desk).get("/", headers={"host": "elsewhere.example"}).status_code == 400


@pytest.mark.parametrize(
    "path",
    ["/records/1/../../store.sqlite", "/records/1/%2e%2e%2f%2e%2e%2fstore.sqlite", "/records/1/settings.json",
     "/static/../room.py", "/static/%2e%2e/room.py", "/records/1/..", "/dogs/1/../../desk/settings.json"],
)  # fmt: skip
def test_no_path_leads_out(desk: Desk, path: str) -> None:
    put_table(desk.home.parent / "clips")
    put_read(desk.store, {"dog.csv": "Tansy,2026-03-02,bare,yes,1.8"}, desk.home.parent / "clips")
    client = client_of(desk)
    assert client.get("/records/1/strides.csv").status_code == 200
    answer = client.get(path)
    assert answer.status_code == 404 and "secret" not in answer.text


def test_a_script_in_the_name_of_a_dog_is_text(desk: Desk) -> None:
    evil = "<script>alert(1)</script>"
    put_table(desk.home.parent / "clips")
    said = f"{evil},2026-03-02,<img src=x onerror=alert(1)>,yes,1.8"
    put_read(desk.store, {"dog.csv": said}, desk.home.parent / "clips")
    client = client_of(desk)
    for path in ("/", "/dogs", "/dogs/1"):
        answer = client.get(path)
        assert answer.status_code == 200
        assert evil not in answer.text and "<img src=x" not in answer.text
        policy = answer.headers["content-security-policy"]
        assert "default-src 'self'" in policy and "script-src" not in policy and "unsafe-eval" not in policy
    assert "&lt;script&gt;" in client.get("/dogs").text
    assert client.get("/records/1/report.html").headers["content-security-policy"] == caseload_pages.STANDALONE


def test_a_fault_shows_no_trace_and_is_kept(desk: Desk) -> None:
    async def broken(request: Request) -> None:
        """Fails as nobody foresaw."""
        raise ZeroDivisionError("the secret inside")

    client = client_of(desk)
    client.app.routes.insert(0, Route("/broken", broken))  # type: ignore[attr-defined]
    answer = client.get("/broken")
    assert answer.status_code == 500
    assert "Something went wrong" in answer.text and "secret" not in answer.text and "Traceback" not in answer.text
    kept = (desk.folder / "faults.log").read_text()
    assert "ZeroDivisionError: the secret inside" in kept and "GET /broken" in kept


def test_a_form_without_end_is_refused(desk: Desk) -> None:
    client = client_of(desk)
    answer = client.post("/settings", data={"csrftoken": token_of(client), "by": "x" * safety.LONGEST_FORM})
    assert answer.status_code == 413


def test_removing_a_dog_asks_for_its_name_and_leaves_a_line_without_it(desk: Desk) -> None:
    clips = desk.home.parent / "clips"
    put_table(clips)
    put_read(desk.store, {"dog.csv": "Tansy,2026-03-02,bare,yes,1.8"}, clips)
    client = client_of(desk)
    desk.keep(by="A. N.")
    assert send(client, "/dogs/1/remove", name="Tans").status_code == 400
    assert "Tansy" in client.get("/dogs").text
    answer = send(client, "/dogs/1/remove", name="Tansy")
    assert "nothing is left" in answer.text
    assert "Tansy" not in client.get("/dogs").text
    line = read_audit(desk.home)[0]
    assert (line["what"], line["by"], line["clips"], line["records"]) == ("dog removed", "A. N.", 1, 1)
    assert "Tansy" not in (desk.folder / "audit.jsonl").read_text()
    assert send(client, "/dogs/1/remove", name="Tansy").status_code == 404


@pytest.mark.parametrize("accept", [PAGE, {"accept": "application/json"}], ids=["a person", "a script"])
def test_what_is_not_there_is_said(desk: Desk, accept: dict[str, str]) -> None:
    answer = client_of(desk).get("/clips/7/film.mp4" if "json" in accept["accept"] else "/dogs/9", headers=accept)
    assert answer.status_code == 404 and "There is no such" in answer.text
    assert ME not in answer.text
