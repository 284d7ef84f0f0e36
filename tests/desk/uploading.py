"""A client of the desk's uploads, as a browser is one."""

import base64
from pathlib import Path
from typing import Any

from desk_maker import client_of, token_of
from starlette.testclient import TestClient

from gait.desk.room import Desk

TUS = {"tus-resumable": "1.0.0"}
BODY = {"content-type": "application/offset+octet-stream"}


class Uploader:
    """Uploads to a desk; every answer is given back as it is."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.client: TestClient = client_of(desk)
        self.client.headers["x-csrftoken"] = token_of(self.client, "/add")
        self.client.headers["accept"] = "application/json"

    def create(self, name: str = "tansy.mp4", length: int | str = 10, **headers: str) -> Any:
        said = {"upload-length": str(length), "upload-metadata": f"filename {b64(name)}"}
        return self.client.post("/uploads", headers={**TUS, **said, **headers})

    def begin(self, name: str = "tansy.mp4", length: int = 10) -> str:
        answer = self.create(name, length)
        assert answer.status_code == 201, answer.text
        return str(answer.headers["location"])

    def patch(self, at: str, offset: int | str, content: bytes, **headers: str) -> Any:
        return self.client.patch(at, content=content, headers={**TUS, **BODY, "upload-offset": str(offset), **headers})

    def head(self, at: str) -> Any:
        return self.client.head(at, headers=TUS)

    def send(self, path: Path, name: str = "") -> Any:
        """A whole film; gives the answer to putting it into the footage."""
        content = path.read_bytes()
        at = self.begin(name or path.name, len(content))
        assert self.patch(at, 0, content).status_code == 204
        return self.client.post(f"/add/films/{id_of(at)}")


def id_of(location: str) -> str:
    return location.rpartition("/")[2]


def b64(words: str) -> str:
    return base64.b64encode(words.encode()).decode()
