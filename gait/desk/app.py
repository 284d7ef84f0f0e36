"""The desk as one ASGI application: every page's routes, what stands before them, and its background reading."""

import hashlib
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Final

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Mount, Route
from starlette.staticfiles import StaticFiles

from gait.desk import adding, caseload_pages, comparing, entrance, live, overruling, uploads, watching
from gait.desk.answers import Answers
from gait.desk.films import Films
from gait.desk.marking import Marking, marking_routes
from gait.desk.pages import HANDLERS, STATIC
from gait.desk.pictures import sweep_pictures
from gait.desk.room import Desk
from gait.desk.safety import LOOPBACK, middleware
from gait.report.page import stylesheet

#: Of every page, in the order in which they are looked through.
ROUTES: Final[tuple[BaseRoute, ...]] = (
    *caseload_pages.ROUTES,
    *adding.ROUTES,
    *uploads.ROUTES,
    *comparing.ROUTES,
    *entrance.ROUTES,
    *overruling.ROUTES,
    *live.ROUTES,
    *watching.ROUTES,
)


def build_desk(desk: Desk, *, hosts: tuple[str, ...] = LOOPBACK, marking: Marking | None = None) -> Starlette:
    """The desk's pages over ``desk``; its reading begins and ends with the server.

    hosts    names by which it may be called
    marking  what is mounted for marking frames; None = the page says that it is not there
    """
    routes = [*ROUTES, *marking_routes(marking)]
    routes += [Route("/static/report.css", _report_css), Mount("/static", StaticFiles(directory=STATIC))]
    tag = hashlib.sha256(str(desk.home).encode()).hexdigest()[:8]
    made = Starlette(
        routes=routes, middleware=middleware(desk, hosts, tag), exception_handlers=dict(HANDLERS), lifespan=_night
    )
    made.state.desk = desk
    made.state.films = Films(desk.store)
    made.state.answers = Answers()
    made.state.pictures = Answers("picturing")
    return made


@asynccontextmanager
async def _night(app: Starlette) -> AsyncIterator[None]:
    """Read what waits for as long as the server runs."""
    desk: Desk = app.state.desk
    await run_in_threadpool(sweep_pictures, desk)
    await run_in_threadpool(live.begin_live, desk)
    desk.night.start()
    yield
    app.state.answers.end()
    app.state.pictures.end()
    await run_in_threadpool(live.end_live, app)
    await run_in_threadpool(desk.night.stop)


async def _report_css(request: Request) -> Response:
    """The style sheet that the reports have inside them."""
    return Response(str(stylesheet()), media_type="text/css")
