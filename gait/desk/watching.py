"""The Watch page: one clip as film, footfall diagram and strides on one axis of time."""

from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Route

from gait.caseload.listing import ClipLine, dogs
from gait.desk.errors import DeskError
from gait.desk.films import Films
from gait.desk.pages import page
from gait.desk.records import clip_line, record_of
from gait.desk.room import Desk, desk_of
from gait.desk.watched import CHOICES, numbers, watched
from gait.report.sections import GRADES
from gait.versions import versions


def films_of(request: Request) -> Films:
    """The films of the desk that a page was asked of."""
    found = request.app.state.films
    assert isinstance(found, Films)
    return found


async def watch(request: Request) -> Response:
    """The page; everything that moves on it comes as JSON."""
    line, facts = await run_in_threadpool(_facts, desk_of(request), _clip_id(request))
    return page(request, "watch.html", line=line, **facts)


def _facts(desk: Desk, clip_id: int) -> tuple[ClipLine, dict[str, Any]]:
    line, record = clip_line(desk, clip_id), record_of(desk, clip_id)
    known = {one.dog: one.dog_id for one in dogs(desk.store)} if line.dog else {}
    return line, {
        "dog_id": known.get(line.dog, 0),
        "numbers": numbers(record, desk.kept.units),
        "checks": [check for check in record.checks if not check.passed],
        "notices": record.notices,
        "grade_class": GRADES.get(record.grade, "again"),
        "names": CHOICES,
    }


async def watch_json(request: Request) -> Response:
    """What gait.desk.watched tells of the machine's record; a browser that has it already is told so."""
    desk, clip_id = desk_of(request), _clip_id(request)
    line = await run_in_threadpool(clip_line, desk, clip_id)
    headers = {"etag": f'"{line.record_id}-{versions()["pawfall"]}"', "cache-control": "private, no-cache"}
    if request.headers.get("if-none-match") == headers["etag"]:
        return Response(status_code=304, headers=headers)
    told = await run_in_threadpool(lambda: watched(record_of(desk, clip_id)))
    return JSONResponse(told, headers=headers)


async def film_json(request: Request) -> Response:
    """How it stands with the film that the page shows; asked with POST, one that could not be made is tried again."""
    again = request.method == "POST"
    return JSONResponse(await run_in_threadpool(_film, request, again))


async def film(request: Request) -> Response:
    """The film that the page shows. Raises DeskError when there is none, or none yet."""
    told = await run_in_threadpool(_film, request, False)
    if told["state"] != "ready":
        raise DeskError(told.get("words", "The film is being made; ask again in a moment."), 404)
    line = await run_in_threadpool(clip_line, desk_of(request), _clip_id(request))
    return FileResponse(films_of(request).path(line.sha256), media_type="video/mp4")


def _film(request: Request, again: bool) -> dict[str, Any]:
    return films_of(request).film(clip_line(desk_of(request), _clip_id(request)), again)


def _clip_id(request: Request) -> int:
    return int(request.path_params["clip_id"])


ROUTES: Final[tuple[BaseRoute, ...]] = (
    Route("/clips/{clip_id:int}", watch),
    Route("/clips/{clip_id:int}/watch.json", watch_json),
    Route("/clips/{clip_id:int}/film.json", film_json, methods=["GET", "POST"]),
    Route("/clips/{clip_id:int}/film.mp4", film),
)
