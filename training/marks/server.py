"""The marking page, served to this machine alone: hands out one person's pictures and keeps every change at once."""

import json
import socket
from collections.abc import Awaitable, Callable, Iterable
from pathlib import Path
from threading import Lock
from typing import Any, Final

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Mount, Route
from starlette.staticfiles import StaticFiles

from pose.errors import ClipError, MarksError
from pose.landmarks import LANDMARKS, PAIRS
from training.marks.edits import TAKEN, edit_from
from training.marks.frames import ClipFrames
from training.marks.guide import GUIDE
from training.marks.store import Marking, OutOfStepError, PickedPicture, now_utc

HOST: Final = "127.0.0.1"
HOSTS: Final = [HOST, "localhost"]
PAGE: Final = Path(__file__).parent / "page"

#: Nothing from outside, nothing to outside; what a page elsewhere embeds is refused.
SAFE: Final = {
    "Content-Security-Policy": "default-src 'self'; img-src 'self' data:; frame-ancestors 'none'; base-uri 'none'",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-store",
}

Handler = Callable[[Request], Awaitable[Response]]


class MarkingApp:
    """What the page asks for. Changes are taken one after the other."""

    def __init__(self, marking: Marking, frames: ClipFrames, token: str = "", home: str = "") -> None:
        self.marking, self.frames, self.token, self.home = marking, frames, token, home
        self.key = f"{marking.folder.resolve()}:{marking.marker}"
        self._changing, self._decoding = Lock(), Lock()

    async def index(self, request: Request) -> Response:
        """The page itself."""
        return FileResponse(PAGE / "index.html")

    async def work(self, request: Request) -> Response:
        """Everything that the page starts from."""
        marking = self.marking
        return JSONResponse({
            "marker": marking.marker,
            "folder": marking.folder.resolve().name,
            "key": self.key,
            "token": self.token,
            "home": self.home,
            "landmarks": [
                {"name": name, "guide": guide.where, "not": guide.instead}
                for name, guide in zip(LANDMARKS, GUIDE, strict=True)
            ],
            "pairs": [list(pair) for pair in PAIRS],
            "pictures": [self._picture(picture) for picture in marking.pictures],
            "history": [edit.as_dict() for edit in marking.log.edits],
        })  # fmt: skip

    def _picture(self, picture: PickedPicture) -> dict[str, Any]:
        state = self.marking.states.get(picture.image_id)
        width, height = picture.size_px
        return {
            "id": picture.image_id, "width": width, "height": height, "notes": dict(picture.notes),
            "start": picture.start.as_dict(), "score": list(picture.score),
            "state": state.as_dict() if state else None,
        }  # fmt: skip

    async def edit(self, request: Request) -> Response:
        """One change: kept before it is answered."""
        if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
            return _refusal(415, "a change has to come as application/json.")
        try:
            words = json.loads(await request.body())
        except ValueError:
            return _refusal(400, "a change came that is not JSON.")
        return await run_in_threadpool(self._keep, words)

    def _keep(self, words: Any) -> Response:
        sizes = {picture.image_id: picture.size_px for picture in self.marking.pictures}
        try:
            edit = edit_from(words, sizes, now_utc())
            if words.get("work") != self.key:
                return _refusal(503, f"the server that runs now is for the work of {self.marking.marker} on "
                                     f"{self.marking.folder}.")  # fmt: skip
            if edit.kind == TAKEN:
                raise MarksError("marks from outside come with pawfall marks import.")
            with self._changing:
                self.marking.apply(edit)
        except OutOfStepError as error:
            return _refusal(409, str(error))
        except MarksError as error:
            return _refusal(400, str(error))
        except OSError as error:
            return _refusal(507, f"nothing can be saved in {self.marking.folder}: {error.strerror or error}.")
        return JSONResponse({"kept": edit.op})

    async def picture(self, request: Request) -> Response:
        """A picked picture, as it lies in the folder."""
        try:
            picture = self.marking.picture(request.path_params["image_id"])
        except MarksError as error:
            return _refusal(404, str(error))
        path = self.marking.folder / picture.file
        return FileResponse(path) if path.is_file() else _refusal(404, f"{picture.file} is not there.")

    async def frame(self, request: Request) -> Response:
        """A neighbour of a picked picture in its clip."""
        try:
            picture = self.marking.picture(request.path_params["image_id"])
            data = await run_in_threadpool(self._decoded, picture, int(request.path_params["offset"]))
        except (MarksError, ClipError, ValueError, OSError) as error:
            return _refusal(404, str(error))
        return Response(data, media_type="image/jpeg")

    def _decoded(self, picture: PickedPicture, offset: int) -> bytes:
        with self._decoding:
            return self.frames.jpeg(picture, offset)


class SafeHeaders:
    """Puts SAFE on every answer, and refuses what another site sends."""

    def __init__(self, app: Any) -> None:
        self.app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Answer, as ASGI asks."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_safe(message: Any) -> None:
            """Send, with the headers that keep a page to itself."""
            if message["type"] == "http.response.start":
                safe = [(name.lower().encode(), value.encode()) for name, value in SAFE.items()]
                message["headers"] = [*message.get("headers", []), *safe]
            await send(message)

        headers = dict(scope["headers"])
        origin, host = headers.get(b"origin"), headers.get(b"host", b"")
        if origin is not None and origin != b"http://" + host:
            await _refusal(403, "another site asked for this.")(scope, receive, send_safe)
            return
        await self.app(scope, receive, send_safe)


def build_app(marking: Marking, clip_folders: Iterable[Path] = ()) -> Starlette:
    """The page of one person's work as an ASGI application that stands by itself."""
    routes = routes_of(MarkingApp(marking, ClipFrames(marking.folder, clip_folders)))
    return Starlette(routes=routes, middleware=[Middleware(TrustedHostMiddleware, HOSTS), Middleware(SafeHeaders)])


def routes_of(app: MarkingApp) -> list[BaseRoute]:
    """Where ``app`` is asked for what."""
    return [
        Route("/", app.index),
        Route("/work", app.work),
        Route("/edits", app.edit, methods=["POST"]),
        Route("/pictures/{image_id:int}", app.picture),
        Route("/pictures/{image_id:int}/frames/{offset}", app.frame),
        Mount("/page", StaticFiles(directory=PAGE)),
    ]


def listen(port: int) -> socket.socket:
    """A socket on ``port`` of this machine alone, 0 = any. Raises MarksError when it is taken."""
    opened = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        opened.bind((HOST, port))
    except OSError as error:
        opened.close()
        raise MarksError(f"port {port} is taken. Is pawfall mark running already? Else give another --port.") from error
    return opened


def serve(app: Starlette, opened: socket.socket) -> None:
    """Answer until stopped."""
    uvicorn.Server(uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=2)).run(sockets=[opened])


def _refusal(status: int, words: str) -> Response:
    return JSONResponse({"error": words}, status_code=status)
