"""The Watch page: one clip as film, footfall diagram and strides on one axis of time, and what is said of it."""

from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Route

from gait.caseload.listing import ClipLine, dogs
from gait.caseload.queue import is_paused
from gait.desk.entrance import form_of
from gait.desk.errors import DeskError
from gait.desk.filmed import NO_FAULT, filmed_facts, say_filmed, take_in_sheet
from gait.desk.films import Films
from gait.desk.pages import go_to, page
from gait.desk.records import clip_line, names_said, record_of
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
    """The page; everything that moves on it comes as JSON. Of a clip without a record it says why there is none."""
    return await _shown(request, None, NO_FAULT)


async def say(request: Request) -> Response:
    """Takes what was filmed, said or put right."""
    told = await form_of(request)
    fault = await run_in_threadpool(say_filmed, desk_of(request), _clip_id(request), told)
    return await _shown(request, told, fault) if fault["words"] else go_to(f"{_address(request)}?kept=1#filmed")


async def to_form(request: Request) -> Response:
    """A form that was refused, loaded again."""
    return go_to(f"{_address(request)}#filmed")


async def sheet(request: Request) -> Response:
    """Takes in again the trial sheet in which the clip stands."""
    await run_in_threadpool(take_in_sheet, desk_of(request), _clip_id(request))
    return go_to(f"{_address(request)}#filmed")


async def again(request: Request) -> Response:
    """Tries again a clip that could not be read."""
    line = await run_in_threadpool(clip_line, desk_of(request), _clip_id(request))
    await run_in_threadpool(desk_of(request).night.retry, line.clip_id)
    return go_to(_address(request))


async def _shown(request: Request, told: dict[str, str] | None, fault: dict[str, str]) -> Response:
    line, facts = await run_in_threadpool(_facts, desk_of(request), _clip_id(request), told)
    name, status = "watch.html" if line.folder else "unread.html", 422 if fault["words"] else 200
    return page(request, name, status, line=line, fault=fault, kept_now="kept" in request.query_params, **facts)


def _facts(desk: Desk, clip_id: int, told: dict[str, str] | None) -> tuple[ClipLine, dict[str, Any]]:
    line = clip_line(desk, clip_id)
    facts = filmed_facts(desk, line, told) | {"names_said": names_said(desk), "paused": is_paused(desk.store)}
    known = {one.dog: one.dog_id for one in dogs(desk.store)} if line.dog else {}
    facts["dog_id"] = known.get(line.dog, 0)
    return line, facts | (_record_facts(desk, clip_id) if line.folder else {})


def _record_facts(desk: Desk, clip_id: int) -> dict[str, Any]:
    record = record_of(desk, clip_id)
    return {
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


def _address(request: Request) -> str:
    return f"/clips/{_clip_id(request)}"


def _clip_id(request: Request) -> int:
    return int(request.path_params["clip_id"])


ROUTES: Final[tuple[BaseRoute, ...]] = (
    Route("/clips/{clip_id:int}", watch),
    Route("/clips/{clip_id:int}/filmed", to_form),
    Route("/clips/{clip_id:int}/filmed", say, methods=["POST"]),
    Route("/clips/{clip_id:int}/sheet", sheet, methods=["POST"]),
    Route("/clips/{clip_id:int}/again", again, methods=["POST"]),
    Route("/clips/{clip_id:int}/watch.json", watch_json),
    Route("/clips/{clip_id:int}/film.json", film_json, methods=["GET", "POST"]),
    Route("/clips/{clip_id:int}/film.mp4", film),
)
