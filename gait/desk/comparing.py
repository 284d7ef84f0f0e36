"""The Compare page: conditions or visits of one dog, their answer, and two films in step."""

from concurrent.futures import CancelledError, Future, wait
from dataclasses import dataclass, replace
from typing import Any, Final, TypeVar
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from gait.caseload.listing import ClipLine, DogLine, clips, dogs
from gait.desk.answers import Answer, Answers, Key, Tell, answer_of, as_said
from gait.desk.choosing import Asked, Chosen, Side, asked_of, chosen_of, sides_of, to_film, unread
from gait.desk.errors import DeskError
from gait.desk.films_in_step import Shown, films_in_step
from gait.desk.overruling import corrected_of
from gait.desk.pages import page
from gait.desk.pictures import pictures_for
from gait.desk.records import clip_line
from gait.desk.room import Desk, desk_of
from gait.overrulings_file import path_of
from gait.report.comparison.content import Section
from gait.report.comparison.document import picture_section, with_pictures
from gait.report.comparison.page import sections_of
from gait.report.comparison.pdf import pdf_of
from gait.showing import plain_words
from gait.versions import versions

#: s that a page waits for its answer before it says that it is being made; a few clips take about one second.
SOON_S: Final = 0.4
#: s that the report to print may take; a hundred clips in twenty sides took 21 on two busy cores (measured).
PATIENCE_S: Final = 120.0
#: s that it waits for its pictures; a clip took five on two busy cores (measured), most for the start of a process.
PICTURES_S: Final = 60.0
LATE: Final = "The pictures were still being made when this was printed."
Made = TypeVar("Made")


@dataclass(frozen=True, slots=True)
class Offer:
    """What there is of one dog, and what of it is compared. said: bytes of what people overruled of each clip, in files
    that only grow. units: in which the answer is told."""

    dog: DogLine
    sides: tuple[Side, ...]
    chosen: Chosen
    asked: Asked
    said: tuple[int, ...]
    units: str

    @property
    def conditions(self) -> tuple[str, ...]:
        """Every condition in which it was filmed."""
        return tuple(sorted({side.condition for side in self.sides if side.condition}))

    @property
    def query(self) -> str:
        """The end of an address that always asks for this, also where it is the default now."""
        return replace(self.asked, dog=self.dog.dog_id, of=tuple(side.key for side in self.chosen.sides)).query

    @property
    def key(self) -> Key:
        """All that the answer depends on."""
        of = tuple((line.record_id, line.name, line.date, line.condition, line.baseline) for line in self.chosen.clips)
        return self.dog.dog_id, (self.units, self.asked.base, self.chosen.remarks, of, self.said, versions()["pawfall"])


async def compare(request: Request) -> Response:
    """Choose what is compared; below it the answer, when there is something to compare."""
    desk, asked = desk_of(request), asked_of(request.query_params)
    every = await run_in_threadpool(dogs, desk.store)
    if asked.dog is None and len(every) != 1:
        return page(request, "compare_dogs.html", dogs=sorted(every, key=lambda dog: dog.last_date, reverse=True))
    offer = await run_in_threadpool(offer_of, desk, asked, every)
    nothing: tuple[str, ...] = ()
    answer = None
    if offer.chosen.clips:
        future, _ = _ask(request, desk, offer)
        await run_in_threadpool(wait, [future], SOON_S)
        answer = _made(future) if future.done() else None
    else:
        nothing = _nothing(offer)
    shown = _pictures(request, offer, answer) if answer else ""
    return page(
        request, "compare.html", offer=offer, answer=answer, nothing=nothing, unread=unread, query=offer.query,
        pictures=shown,
    )  # fmt: skip


def offer_of(desk: Desk, asked: Asked, every: list[DogLine]) -> Offer:
    """What there is of the dog that is asked for, or of the only one. Raises DeskError when there is no such dog."""
    found = [line for line in every if asked.dog in (None, line.dog_id)]
    if not found:
        raise DeskError("There is no such dog here; it may have been removed.", 404)
    sides = sides_of(clips(desk.store, dog=found[0].dog), asked.base)
    chosen = chosen_of(asked, sides)
    said = tuple(_bytes_said(desk, line) for line in chosen.clips)
    return Offer(found[0], sides, chosen, asked, said, desk.kept.units)


def _bytes_said(desk: Desk, line: ClipLine) -> int:
    path = path_of(desk.home, line.sha256)
    return path.stat().st_size if path.is_file() else 0


def _nothing(offer: Offer) -> tuple[str, ...]:
    """Why there is nothing to compare, and what to do."""
    if any(not side.reason for side in offer.sides):
        return "Nothing is chosen that has been read.", "Choose at least two below."
    return to_film(offer.dog.dog, offer.sides)


def _ask(request: Request, desk: Desk, offer: Offer) -> tuple[Future[Answer], Answers[Answer]]:
    """The answer, under way or made, and those that are kept for as long as the server runs."""
    answers: Answers[Answer] = request.app.state.answers
    chosen = offer.chosen

    def make(tell: Tell) -> Answer:
        """Make the answer, in the thread of ``answers``."""
        return answer_of(chosen.clips, lambda line: corrected_of(desk, line.clip_id), base=offer.asked.base,
                         remarks=chosen.remarks, units=offer.units, tell=tell)  # fmt: skip

    return answers.ask(offer.key, make), answers


def _made(future: Future[Made]) -> Made:
    """What came of it. Raises DeskError when its dog was removed meanwhile."""
    try:
        return future.result()
    except CancelledError as error:
        raise DeskError("This comparison is not kept any more; its dog may have been removed.", 404) from error


def _ask_pictures(request: Request, offer: Offer, answer: Answer) -> Future[Section]:
    """The pictures of an answer, under way or made."""
    desk, made = desk_of(request), request.app.state.pictures
    future: Future[Section] = made.ask(offer.key, lambda tell: pictures_for(desk, answer.wishes, tell))
    return future


def _pictures(request: Request, offer: Offer, answer: Answer) -> str | None:
    """The pictures as HTML, "" where there are none; None = they are still being made."""
    if not answer.wishes:
        return ""
    future = _ask_pictures(request, offer, answer)
    if not future.done():
        return None
    section = _made(future)
    return sections_of([section]) if section.blocks else ""


async def pictures(request: Request) -> Response:
    """The pictures of an answer, for the script that puts them into the page."""
    desk = desk_of(request)
    offer = await run_in_threadpool(_offer, request, desk)
    answers, _ = _ask(request, desk, offer)
    html = _pictures(request, offer, _made(answers)) if answers.done() else None
    return JSONResponse({"ready": html is not None, "html": html or ""})


async def state(request: Request) -> Response:
    """How far the answer is, for the script of the page."""
    desk = desk_of(request)
    offer = await run_in_threadpool(_offer, request, desk)
    future, answers = _ask(request, desk, offer)
    await run_in_threadpool(wait, [future], SOON_S)
    done, total = answers.told(offer.key)
    return JSONResponse({"ready": future.done(), "done": done, "total": total})


def _offer(request: Request, desk: Desk) -> Offer:
    return offer_of(desk, asked_of(request.query_params), dogs(desk.store))


async def report(request: Request) -> Response:
    """The answer as a PDF, the same as the comparison's report."""
    desk = desk_of(request)
    offer = await run_in_threadpool(_offer, request, desk)
    future, _ = _ask(request, desk, offer)
    made = await run_in_threadpool(_printed, request, offer, future)
    days = [side.date for side in offer.chosen.sides]
    name = quote(f"{plain_words(f'{offer.dog.dog} {max(days)} compared')}.pdf")
    headers = {"content-disposition": f"inline; filename*=UTF-8''{name}"}  # RFC 6266, for names in any letters
    return Response(made, media_type="application/pdf", headers=headers)


def _printed(request: Request, offer: Offer, future: Future[Answer]) -> bytes:
    if not wait([future], PATIENCE_S).done:
        raise DeskError("The comparison is still being made; try again in a minute.", 503)
    answer = _made(future)
    if answer.document is None:
        raise DeskError(f"There is nothing to print. {answer.words}", 404)
    taken = _ask_pictures(request, offer, answer)
    shown = _made(taken) if wait([taken], PICTURES_S).done else picture_section((), remarks=(LATE,))
    return pdf_of(with_pictures(answer.document, shown))


async def in_step(request: Request) -> Response:
    """Two clips in step, for the script that shows them: ?a=NUMBER&b=NUMBER."""
    query = request.query_params
    try:
        numbers = int(query.get("a", "")), int(query.get("b", ""))
    except ValueError as error:
        raise DeskError("Say which two clips are to be shown in step.") from error
    return JSONResponse(await run_in_threadpool(_in_step, desk_of(request), numbers))


def _in_step(desk: Desk, numbers: tuple[int, int]) -> dict[str, Any]:
    one, two = (_shown(desk, clip_line(desk, number)) for number in numbers)
    return films_in_step(one, two)


def _shown(desk: Desk, line: ClipLine) -> Shown:
    label = ", ".join(part for part in (line.condition, line.date) if part) or line.name
    return Shown(line.clip_id, label, as_said(corrected_of(desk, line.clip_id), line))


ROUTES: Final[tuple[BaseRoute, ...]] = (
    Route("/compare", compare),
    Route("/compare/state.json", state),
    Route("/compare/pictures.json", pictures),
    Route("/compare/report.pdf", report),
    Route("/compare/instep.json", in_step),
)
