"""The desk's word against the reading: what a person overruled of a clip, taken back and brought back, as JSON.

Every answer is the same: what counts now, whether there is something to take or bring back, and the sentence that the
report has.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Route

from gait.caseload.corrected import reading_link, with_overrulings, write_corrected_page
from gait.caseload.overruling import apply_overrulings
from gait.desk.caseload_pages import STANDALONE
from gait.desk.errors import DeskError
from gait.desk.records import clip_line, record_of
from gait.desk.room import Desk, desk_of
from gait.nouns import GaitRecord, Overruled
from gait.overruling import NO_STRIDE, Overruling, overruled, overruled_words
from gait.overrulings_file import new_id, now_words, overrule, page_of, read_said, redo, undo

#: What a page sends.
ASKED: Final = ("paw", "start_s", "end_s", "gait", "reason")


def corrected_of(desk: Desk, clip_id: int) -> GaitRecord:
    """The record of a clip as it is with what people said. Raises DeskError as record_of does."""
    return with_overrulings(desk.home, clip_line(desk, clip_id).sha256, record_of(desk, clip_id))


async def listed(request: Request) -> Response:
    """What counts now."""
    return JSONResponse(await run_in_threadpool(_state, desk_of(request), request.path_params["clip_id"]))


async def said(request: Request) -> Response:
    """A new word: {paw, start_s, end_s, gait or null, reason}."""
    return await _changed(request, _say)


async def taken_back(request: Request) -> Response:
    """The last word, or that of {id}, does not count any more."""
    return await _changed(request, _take_back)


async def brought_back(request: Request) -> Response:
    """What was taken back last counts again."""
    return await _changed(request, _bring_back)


async def corrected_page(request: Request) -> Response:
    """The report of the clip with what people said."""
    return await run_in_threadpool(_page, desk_of(request), request.path_params["clip_id"])


async def _changed(request: Request, change: Callable[[Desk, int, dict[str, Any]], None]) -> Response:
    """Do it, have everything follow that is made from it, and answer what counts now."""
    desk, clip_id = desk_of(request), request.path_params["clip_id"]
    told = await _told(request)

    def work() -> dict[str, Any]:
        """On the disk first, then in the store; the list and the page follow behind."""
        change(desk, clip_id, told)
        apply_overrulings(desk.store, clip_id)
        desk.night.look()
        return _state(desk, clip_id)

    return JSONResponse(await run_in_threadpool(work))


async def _told(request: Request) -> dict[str, Any]:
    body = await request.body()
    try:
        told = await request.json() if body else {}
    except ValueError as error:
        raise DeskError("What was sent is no JSON.") from error
    if not isinstance(told, dict):
        raise DeskError("What was sent has to be names with values.")
    return told


def _say(desk: Desk, clip_id: int, told: dict[str, Any]) -> None:
    line, record = clip_line(desk, clip_id), record_of(desk, clip_id)
    one = _word(told, desk.kept.by)
    [seen] = overruled(record, [one]).overruled
    if seen.idle:
        where = f"{one.paw.replace('_', ' ')} between {one.start_s:.2f} and {one.end_s:.2f} s"
        none = f"There is no stride of the {where}."
        raise DeskError(none if seen.idle == NO_STRIDE else f"Nothing to overrule: {seen.idle}.", 409)
    overrule(desk.home, line.sha256, one)
    times = {"start_s": round(one.start_s, 3), "end_s": round(one.end_s, 3)}
    desk.audit("stride overruled", clip=clip_id, id=one.id, paw=one.paw, **times, gait=one.gait or "left out")


def _word(told: dict[str, Any], by: str) -> Overruling:
    missing = [name for name in ASKED if name not in told]
    if missing:
        raise DeskError(f"What was sent lacks {', '.join(missing)}.")
    paw, start_s, end_s, gait, reason = (told[name] for name in ASKED)
    words = all(isinstance(word, str) for word in (paw, gait or "", reason))
    numbers = all(isinstance(number, int | float) and not isinstance(number, bool) for number in (start_s, end_s))
    if not (words and numbers):
        raise DeskError("paw, gait and reason are words (gait may be null), start_s and end_s are numbers.")
    return Overruling(new_id(), paw, float(start_s), float(end_s), gait or "", reason.strip(), by, now_words())


def _take_back(desk: Desk, clip_id: int, told: dict[str, Any]) -> None:
    one = undo(desk.home, clip_line(desk, clip_id).sha256, desk.kept.by, only=str(told.get("id") or ""))
    desk.audit("overruling taken back", clip=clip_id, id=one.id)


def _bring_back(desk: Desk, clip_id: int, told: dict[str, Any]) -> None:
    one = redo(desk.home, clip_line(desk, clip_id).sha256, desk.kept.by)
    desk.audit("overruling brought back", clip=clip_id, id=one.id)


def _state(desk: Desk, clip_id: int) -> dict[str, Any]:
    record, file = record_of(desk, clip_id), read_said(desk.home, clip_line(desk, clip_id).sha256)
    told = overruled(record, file.in_force).overruled
    return {
        "overrulings": [_as_json(one) for one in told],
        "undo": bool(file.latest),
        "redo": bool(file.undone),
        "words": overruled_words(told, len(record.strides)),
        "page": f"/clips/{clip_id}/overruled/report.html" if told else "",
    }


def _as_json(one: Overruled) -> dict[str, Any]:
    """One word; gait is null where strides are left out, as it was sent."""
    names = ("id", "paw", "start_s", "end_s", "reason", "by", "at", "matches", "idle")
    told = {name: getattr(one, name) for name in names}
    return told | {"gait": one.gait or None, "machine": list(one.machine)}


def _page(desk: Desk, clip_id: int) -> Response:
    line = clip_line(desk, clip_id)
    page = page_of(desk.home, line.sha256)
    if not page.is_file():
        write_corrected_page(desk.home, line.sha256, line.folder, corrected_of(desk, clip_id))
    if not page.is_file():
        raise DeskError("Nothing of this clip was overruled; its report is that of the reading.", 404)
    text = page.read_text(encoding="utf-8")
    text = text.replace(reading_link(Path(line.folder)), f"/records/{clip_id}/report.html")
    return HTMLResponse(text, headers={"content-security-policy": STANDALONE})


ROUTES: Final[tuple[BaseRoute, ...]] = (
    Route("/clips/{clip_id:int}/overruled", listed, methods=["GET"]),
    Route("/clips/{clip_id:int}/overruled", said, methods=["POST"]),
    Route("/clips/{clip_id:int}/overruled/undo", taken_back, methods=["POST"]),
    Route("/clips/{clip_id:int}/overruled/redo", brought_back, methods=["POST"]),
    Route("/clips/{clip_id:int}/overruled/report.html", corrected_page),
)
