"""Desks over small caseloads, without a server and without reading films: what tests of pages need."""

import re
from pathlib import Path
from typing import Any

from caseload_maker import HEAD
from findings_maker import read_all
from starlette.testclient import TestClient

from gait.caseload.adding import add
from gait.caseload.keys import wanted_of
from gait.caseload.store import Store
from gait.desk.app import build_desk
from gait.desk.room import Desk, open_desk

#: What a browser says of itself when a person opens a page.
PAGE = {"accept": "text/html"}


def make_desk(store: Store) -> Desk:
    """A desk whose reading has not begun."""
    return open_desk(store, wanted_of(), workers=1)


def put_read(store: Store, films: dict[str, str], folder: Path) -> None:
    """Take in landmark tables (name -> what the sheet says of it after the name) and read them."""
    rows = [f"{name},{said}" for name, said in films.items()]
    (folder / "sheet.csv").write_text("\n".join([HEAD, *rows]) + "\n")
    add(store, folder, settle_s=0)
    read_all(store)


def client_of(desk: Desk, **settings: Any) -> TestClient:
    """A browser at the desk; faults become answers, as they would for a person."""
    app = build_desk(desk, **settings)
    app.state.alone = True
    return TestClient(app, base_url="http://127.0.0.1:8650", raise_server_exceptions=False, headers=PAGE)


def token_of(client: TestClient, path: str = "/") -> str:
    """The token that the forms of a page carry."""
    found = re.search(r'name="csrf-token" content="([^"]+)"', client.get(path).text)
    assert found
    return found[1]


def send(client: TestClient, path: str, **form: str) -> Any:
    """Send a form as a page of the desk would."""
    return client.post(path, data={"csrftoken": token_of(client), **form})
