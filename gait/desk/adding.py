"""The page Add footage: films come in, are looked at, described, and read."""

import json
import secrets
from pathlib import PurePath
from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from gait.desk.described import BLANK
from gait.desk.errors import DeskError
from gait.desk.footage import coming, preview_of, read_these, remove, take_in
from gait.desk.limited import Limits, run_limited
from gait.desk.names import clean_name, ending_of
from gait.desk.pages import page
from gait.desk.parts import FOLDER, settings_of, sweep
from gait.desk.records import names_said
from gait.desk.room import Desk, desk_of
from gait.sheets.finding import FILMS
from gait.sheets.trial_sheet import SPREADSHEETS

#: Bytes of a trial sheet or of what is said of films; a sheet of 1,000 rows has a tenth of it.
LONGEST_BODY: Final = 2_000_000
SHEETS: Final = (*SPREADSHEETS, ".toml")
#: A workbook of two million bytes may hold a thousand times as much.
SHEET_LIMITS: Final = Limits(time_s=30.0, memory_mib=1024.0)
#: Frames per second that a person may say of a camera; the fastest in use film at some thousand.
MOST_FPS: Final = 100_000.0


async def add_page(request: Request) -> Response:
    """The page with what is on its way."""
    facts = await run_in_threadpool(_facts, desk_of(request))
    return page(request, "add.html", facts=facts, said=BLANK)


async def films(request: Request) -> Response:
    """What is on its way, for the script."""
    return JSONResponse({"films": await run_in_threadpool(coming, desk_of(request))})


async def film(request: Request) -> Response:
    """Looks into a whole upload and puts it into the footage."""
    return JSONResponse(await run_in_threadpool(take_in, desk_of(request), request.path_params["id"]))


async def look(request: Request) -> Response:
    """What two seconds of a film show."""
    fps, facing = _fps(request.query_params.get("filmed_fps", "")), request.query_params.get("facing", "")
    side = facing if facing in ("left", "right") else None
    return JSONResponse(await run_in_threadpool(preview_of, desk_of(request), request.path_params["id"], fps, side))


async def take_away(request: Request) -> Response:
    """Removes a film that was not read yet."""
    await run_in_threadpool(remove, desk_of(request), request.path_params["id"])
    return Response(status_code=204)


async def sheet(request: Request) -> Response:
    """What a trial sheet says, that was chosen as a file or pasted as text."""
    name = request.query_params.get("name", "")
    body = await _body(request)
    return JSONResponse(await run_in_threadpool(_read_sheet, desk_of(request), name, body))


async def read(request: Request) -> Response:
    """Has the described films read."""
    try:
        told = json.loads(await _body(request))
    except (ValueError, RecursionError) as error:
        raise DeskError("What was said of the films cannot be understood; load the page again.") from error
    rows = told.get("films") if isinstance(told, dict) else None
    answer = await run_in_threadpool(read_these, desk_of(request), rows)
    return JSONResponse(answer, 422 if answer["faults"] else 200)


def _facts(desk: Desk) -> dict[str, Any]:
    """All that the script starts from."""
    settings = settings_of(desk)
    sweep(desk, settings)
    return {
        "films": coming(desk),
        **names_said(desk),
        "unit": "mph" if desk.kept.units == "imperial" else "km/h",
        "kinds": list(FILMS),
        "sheets": list(SHEETS),
        "most_bytes": settings.most_bytes,
    }


def _read_sheet(desk: Desk, name: str, body: bytes) -> dict[str, Any]:
    ending = ending_of(name)
    if ending not in SHEETS:
        raise DeskError(f"A trial sheet is {', '.join(kind.lstrip('.') for kind in SHEETS)}.", 415)
    folder = desk.folder / FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{secrets.token_hex(16)}{ending}"
    try:
        path.write_bytes(body)
        called = PurePath(clean_name(name)).name
        asked = {"path": str(path), "name": called}
        return run_limited("gait.desk.described:sheet_json", asked, SHEET_LIMITS, advice="Save it again as CSV.")
    finally:
        path.unlink(missing_ok=True)


async def _body(request: Request) -> bytes:
    """All that was sent. Raises DeskError (413) when that is more than any sheet has."""
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > LONGEST_BODY:
            raise DeskError(f"This is too long: a trial sheet has at most {LONGEST_BODY // 1000} kB.", 413)
    return bytes(body)


def _fps(words: str) -> float | None:
    """Frames per second as the page says them, None = nothing. Raises DeskError when they cannot be."""
    if not words:
        return None
    try:
        fps = float(words)
    except ValueError:
        fps = 0.0
    if not 0 < fps <= MOST_FPS:
        raise DeskError("The frames per second of the camera have to be a number above 0.")
    return fps


ROUTES: Final[tuple[BaseRoute, ...]] = (
    Route("/add", add_page),
    Route("/add/films", films),
    Route("/add/films/{id}", film, methods=["POST"]),
    Route("/add/films/{id}", take_away, methods=["DELETE"]),
    Route("/add/films/{id}/preview", look),
    Route("/add/sheet", sheet, methods=["POST"]),
    Route("/add/read", read, methods=["POST"]),
)
