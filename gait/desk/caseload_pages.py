"""The caseload at the desk: what needs a person today, every dog with its visits and trends, every clip."""

import dataclasses
import importlib.resources
import shutil
from pathlib import Path
from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Route

from gait.caseload.adding import add
from gait.caseload.belongings import belongings
from gait.caseload.forgetting import forget, note_proof
from gait.caseload.listing import ClipLine, clips, dogs, read_last, unusable
from gait.caseload.proving import look_for
from gait.caseload.queue import ASIDE, FAILED
from gait.caseload.short_list import Case, Course, DogStory, ShortList, short_list, story_of
from gait.desk.entrance import form_of
from gait.desk.errors import DeskError
from gait.desk.pages import go_to, page
from gait.desk.records import clip_line, forget_records, record_folder
from gait.desk.room import Desk, desk_of
from gait.desk.trend import Trend, trend
from gait.report.caseload.pages import PARTS, course_words, footage_words, joined, under_heads

#: Files of a result that may be fetched, and how each is shown.
FILES: Final = {
    "report.html": "text/html; charset=utf-8",
    "landmarks.csv": "text/csv",
    "contacts.csv": "text/csv",
    "strides.csv": "text/csv",
    "record.json": "application/json",
    "film.mp4": "video/mp4",
}
#: A page of a report has its styles and pictures inside, a film beside it, and no script.
STANDALONE: Final = (
    "default-src 'none'; img-src 'self' data:; media-src 'self'; style-src 'unsafe-inline'; sandbox allow-same-origin"
)
DEMO: Final = "demo"
#: Clips that the first page names among those that were read last.
LAST: Final = 6


async def today(request: Request) -> Response:
    """What needs a person, what is being read, and on the first day how to begin."""
    found, facts, last = await run_in_threadpool(_today, desk_of(request))
    parts = [(part, joined([case for case in found.cases if case.kind in part.kinds])) for part in PARTS]
    return page(
        request, "today.html", found=found, night=facts, last=last, heads=under_heads,
        sections=[(part, cases) for part, cases in parts if cases], where=_where, footage=footage_words,
    )  # fmt: skip


def _today(desk: Desk) -> tuple[ShortList, Any, list[ClipLine]]:
    return short_list(desk.store), desk.night.facts(), read_last(desk.store, LAST)


def _where(case: Case) -> list[tuple[str, str]]:
    """(address, words) of the pages to which a case leads."""
    found = []
    if case.clip_id:
        found.append((f"/clips/{case.clip_id}", "Watch it" if case.page.endswith("/report.html") else "See why"))
    if "-visits" in case.page:
        found.append((f"/dogs/{case.dog_id}/visits", "Visits side by side"))
    if case.dog_id:
        found.append((f"/dogs/{case.dog_id}", f"All of {case.dog}"))
    return found


async def reading(request: Request) -> Response:
    """How far the reading is, for the script of the page."""
    return JSONResponse(dict(await run_in_threadpool(desk_of(request).night.facts)))


async def steer(request: Request) -> Response:
    """Pause, go on, or try again what failed."""
    night, what = desk_of(request).night, request.path_params["what"]
    acts = {"pause": lambda: night.pause(True), "resume": lambda: night.pause(False), "retry": night.retry}
    if what not in acts:
        raise DeskError("There is no such page here.", 404)
    await run_in_threadpool(acts[what])
    return go_to("/")


async def begin_demo(request: Request) -> Response:
    """Take in the drawn clips of invented dogs that come with pawfall."""
    await run_in_threadpool(_add_demo, desk_of(request))
    return go_to("/")


def _add_demo(desk: Desk) -> None:
    folder = desk.footage / DEMO
    folder.mkdir(parents=True, exist_ok=True)
    with importlib.resources.as_file(importlib.resources.files("samples")) as samples:
        for film in sorted(samples.glob("*.mp4")):
            for path in (film, film.with_suffix(".toml")):
                shutil.copy2(path, folder / path.name)
    add(desk.store, folder, settle_s=0.0)
    desk.night.plan()


async def all_dogs(request: Request) -> Response:
    """Every dog, and clips that belong to none."""
    store = desk_of(request).store
    lines, every = await run_in_threadpool(lambda: (dogs(store), clips(store)))
    loose = [line for line in every if not line.dog]
    faults = await run_in_threadpool(unusable, store)
    return page(request, "dogs.html", dogs=lines, loose=loose, faults=faults, footage=footage_words)


async def one_dog(request: Request) -> Response:
    """One dog: what needs a person, its measures over the visits, its clips."""
    desk = desk_of(request)
    units = desk.kept.units
    story = await run_in_threadpool(_story, desk, request.path_params["dog_id"])
    groups: dict[str, list[tuple[Course, str, tuple[str, ...], Trend | None]]] = {}
    for course in story.courses:
        row = (course, *course_words(course, units), trend(story.dates, course.means))
        groups.setdefault(f"{course.condition}, {course.gait}", []).append(row)
    parts = [(part, cases) for part in PARTS if (cases := [c for c in story.cases if c.kind in part.kinds])]
    return page(
        request, "one_dog.html", story=story, groups=groups, sections=parts, heads=under_heads, where=_where,
        footage=footage_words, failed=(FAILED, ASIDE),
    )  # fmt: skip


def _story(desk: Desk, dog_id: int) -> DogStory:
    if not any(line.dog_id == dog_id for line in dogs(desk.store)):
        raise DeskError("There is no such dog here; it may have been removed.", 404)
    return story_of(desk.store, dog_id)


async def visits(request: Request) -> Response:
    """The visits of a dog side by side, as the morning list leads to them."""
    path = desk_of(request).home / "morning" / f"dog-{request.path_params['dog_id']}-visits.html"
    if not path.is_file():
        raise DeskError("There is no such page any more; compare the visits of this dog under Compare.", 404)
    return FileResponse(path, media_type=FILES["report.html"], headers={"content-security-policy": STANDALONE})


async def result_file(request: Request) -> Response:
    """One file of a clip's result."""
    desk, name = desk_of(request), request.path_params["name"]
    if name not in FILES:
        raise DeskError("There is no such page here.", 404)
    path = await run_in_threadpool(_result, desk, request.path_params["clip_id"], name)
    headers = {"content-security-policy": STANDALONE} if name == "report.html" else {}
    return FileResponse(path, media_type=FILES[name], headers=headers)


def _result(desk: Desk, clip_id: int, name: str) -> Path:
    path = record_folder(desk, clip_line(desk, clip_id)) / name
    if not path.is_file():
        raise DeskError(f"This clip has no {name}.", 404)
    return path


async def remove_dog(request: Request) -> Response:
    """Remove a dog with everything that belongs to it; its name has to be written once more."""
    told = await form_of(request)
    desk, dog_id = desk_of(request), request.path_params["dog_id"]
    left = await run_in_threadpool(_remove, desk, dog_id, told.get("name", ""))
    for kept in (request.app.state.answers, request.app.state.pictures):
        kept.forget(dog_id)
    forget_records()
    return page(request, "removed.html", left=left)


def _remove(desk: Desk, dog_id: int, name: str) -> tuple[tuple[str, str], ...]:
    """What is left of it; nothing, as a rule."""
    story = _story(desk, dog_id)
    if name.strip() != story.name:
        raise DeskError("Its name was not written as it stands here; nothing was removed.")
    also = [folder for folder in (desk.footage, desk.home / "marks") if folder.is_dir()]
    own = belongings(desk.store, story.name, also)
    number = forget(desk.store, own)
    for digest in own.sha256:
        (desk.folder / "films" / f"{digest}.mp4").unlink(missing_ok=True)
    proof = look_for(desk.store, own.dog, own.sha256, [desk.home, *also])
    note_proof(desk.store, number, dataclasses.asdict(proof))
    desk.audit("dog removed", clips=len(own.sha256), records=own.records)
    return proof.left


ROUTES: Final[tuple[BaseRoute, ...]] = (
    Route("/", today),
    Route("/reading.json", reading),
    Route("/reading/{what}", steer, methods=["POST"]),
    Route("/demo", begin_demo, methods=["POST"]),
    Route("/dogs", all_dogs),
    Route("/dogs/{dog_id:int}", one_dog),
    Route("/dogs/{dog_id:int}/visits", visits),
    Route("/dogs/{dog_id:int}/remove", remove_dog, methods=["POST"]),
    Route("/records/{clip_id:int}/{name}", result_file),
)
