"""The marking surface within the desk: one frame of a clip leads there. What it is made of comes from outside."""

from pathlib import Path
from typing import Any, Final, Protocol

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Mount, Route

from gait.desk.errors import DeskError
from gait.desk.records import clip_line, record_folder
from gait.desk.room import Desk, desk_of

#: Folder of the frames to mark, within the home of a caseload.
FOLDER: Final = "marks"


class Marking(Protocol):
    """What marks frames."""

    def add(self, result: Path, source: Path, frame: int, folder: Path) -> int:
        """Put one frame of a clip that was read into ``folder``; returns the number of its picture."""

    def app(self, folder: Path, marker: str, token: str) -> Any:
        """The page of ``marker``'s work on ``folder`` as an ASGI application that sends ``token`` with every change."""


def marking_routes(marking: Marking | None) -> list[BaseRoute]:
    """Routes that lead to ``marking``."""

    async def begin(request: Request) -> Response:
        """Put a frame there, and say where its page is."""
        if marking is None:
            raise DeskError("Marking is not part of this installation.", 404)
        number = await run_in_threadpool(_add, desk_of(request), marking, request)
        return JSONResponse({"goto": f"/mark/#{number}"})

    async def surface(scope: Any, receive: Any, send: Any) -> None:
        """The marking page of the person at the desk."""
        desk: Desk = scope["app"].state.desk
        folder = desk.home / FOLDER
        if marking is None or not (folder / "picked.json").is_file():
            raise DeskError("No frame waits to be marked. Watch a clip, and say there where a landmark is wrong.", 404)
        token = str(scope["session"].get("token", ""))
        made = await run_in_threadpool(marking.app, folder, marker_of(desk), token)
        await made(scope, receive, send)

    return [Route("/clips/{clip_id:int}/mark", begin, methods=["POST"]), Mount("/mark", surface)]


def _add(desk: Desk, marking: Marking, request: Request) -> int:
    line = clip_line(desk, request.path_params["clip_id"])
    source = Path(line.path)
    if line.kind == "table" or not source.exists():
        raise DeskError(f"The pictures of {line.name} are not here, so that none of them can be marked.", 404)
    try:
        frame = int(request.query_params["frame"])
    except (KeyError, ValueError):
        raise DeskError("Which frame is to be marked was not said.") from None
    return marking.add(record_folder(desk, line), source, frame, desk.home / FOLDER)


def marker_of(desk: Desk) -> str:
    """The name under which the person at the desk marks: small letters, digits, - and _."""
    kept = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in desk.kept.by.lower())
    return kept.strip("-") or "desk"
