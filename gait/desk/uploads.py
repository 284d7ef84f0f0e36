"""Films come in by the open protocol tus 1.0.0 (https://tus.io/protocols/resumable-upload): core, creation and
termination. An upload that broke off goes on from the last byte that arrived.

    POST /uploads          Upload-Length, Upload-Metadata: filename ..., changed ...   -> 201, Location
    HEAD /uploads/<id>     -> Upload-Offset
    PATCH /uploads/<id>    Upload-Offset, application/offset+octet-stream              -> 204, Upload-Offset
    DELETE /uploads/<id>   -> 204

A whole upload is no film yet: gait.desk.footage looks into it first.
"""

import asyncio
import base64
import binascii
import os
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from gait.desk.errors import DeskError
from gait.desk.names import check_film_name
from gait.desk.parts import Part, UploadSettings, begin, data_of, drop, part_of, received, settings_of
from gait.desk.room import desk_of

VERSION: Final = "1.0.0"
BODY: Final = "application/offset+octet-stream"
SETTINGS: Final = UploadSettings()
#: Letters of Upload-Metadata, and digits of a number, that are looked at.
LONGEST_METADATA: Final = 4096
LONGEST_NUMBER: Final = 18

#: Uploads that are being written to at this moment.
_WRITING: Final[set[str]] = set()

Handler = Callable[[Request], Awaitable[Response]]


def _tus(handler: Handler) -> Handler:
    """``handler`` for clients of this version of the protocol, with its headers on every answer, refusals too."""

    async def answer(request: Request) -> Response:
        """Answer, as the protocol wants it."""
        try:
            if request.headers.get("tus-resumable") != VERSION:
                raise DeskError(f"Uploads are taken by tus {VERSION} alone.", 412)
            given = await handler(request)
        except DeskError as error:
            given = JSONResponse({"error": str(error)}, error.status)
            if error.status == 412:
                given.headers["tus-version"] = VERSION
        given.headers["tus-resumable"] = VERSION
        given.headers["cache-control"] = "no-store"
        return given

    return answer


async def options(request: Request) -> Response:
    """What this server can do."""
    most = settings_of(desk_of(request)).most_bytes
    told = {"tus-version": VERSION, "tus-extension": "creation,termination", "tus-max-size": str(most)}
    return Response(status_code=204, headers={"tus-resumable": VERSION, **told})


async def create(request: Request) -> Response:
    """Begins an upload."""
    if "upload-defer-length" in request.headers:
        raise DeskError("The length of a film has to be said first (Upload-Length).")
    length = _number(request, "upload-length")
    said = metadata(request.headers.get("upload-metadata", ""))
    name = said.get("filename", "")
    check_film_name(name)
    if length == 0:
        raise DeskError("This file is empty (0 bytes). Copy it from the camera again.")
    changed = said.get("changed", "")
    changed_ms = int(changed) if changed.isascii() and changed.isdigit() and len(changed) <= LONGEST_NUMBER else 0
    desk = desk_of(request)
    part = await run_in_threadpool(begin, desk, name, length, changed_ms, settings_of(desk, SETTINGS))
    return Response(status_code=201, headers={"location": f"/uploads/{part.id}", "upload-offset": "0"})


async def one(request: Request) -> Response:
    """What is done to one upload; a client behind a proxy that knows no PATCH may send POST and say what it means."""
    method = request.headers.get("x-http-method-override", "") if request.method == "POST" else request.method
    handler = {"HEAD": head, "PATCH": patch, "DELETE": terminate}.get(method)
    if handler is None:
        raise DeskError("This cannot be done to an upload.", 405)
    return await handler(request)


async def head(request: Request) -> Response:
    """How much of an upload is here."""
    part, offset = await run_in_threadpool(_state, request)
    return Response(status_code=200, headers={"upload-offset": str(offset), "upload-length": str(part.length)})


async def patch(request: Request) -> Response:
    """Takes more of an upload, to the disk as it comes; what came before a connection broke is kept."""
    if request.headers.get("content-type", "").partition(";")[0].strip() != BODY:
        raise DeskError(f"More of a film has to come as {BODY}.", 415)
    told = _number(request, "upload-offset")
    with _writing(request.path_params["id"]):
        part, offset = await run_in_threadpool(_state, request)
        if told != offset:
            raise DeskError(f"The upload goes on at byte {offset}, not at {told}.", 409)
        new = await _take(request, data_of(desk_of(request), part.id), part, offset) if not part.film else offset
    return Response(status_code=204, headers={"upload-offset": str(new)})


async def terminate(request: Request) -> Response:
    """Gives an upload up; what has come of it is removed."""
    desk = desk_of(request)
    with _writing(request.path_params["id"]):
        part, _ = await run_in_threadpool(_state, request)
        if part.film:
            raise DeskError("This film is whole; remove it on the page.", 409)
        await run_in_threadpool(drop, desk, part)
    await run_in_threadpool(desk.audit, "upload given up", bytes=part.length)
    return Response(status_code=204)


async def _take(request: Request, path: Path, part: Part, offset: int) -> int:
    """Add what comes to the file; returns how much is there. Raises DeskError when more comes than was said."""
    blocks = _blocks(request, SETTINGS)
    with path.open("ab") as file:
        try:
            async for block in blocks:
                if offset + len(block) > part.length:
                    raise DeskError(f"More came than the {part.length} bytes that were said.", 413)
                await run_in_threadpool(file.write, block)
                offset += len(block)
        finally:
            await run_in_threadpool(_settle, file.fileno, file.flush)
    return offset


def _settle(fileno: Callable[[], int], flush: Callable[[], None]) -> None:
    flush()
    os.fsync(fileno())


async def _blocks(request: Request, settings: UploadSettings) -> AsyncIterator[bytes]:
    """The body in blocks of some size; ends where the connection breaks or stands still."""
    stream, held = request.stream(), bytearray()
    try:
        while True:
            chunk = await asyncio.wait_for(anext(stream), settings.idle_s)
            held += chunk
            if len(held) >= settings.block_bytes:
                yield bytes(held)
                held.clear()
    except (ClientDisconnect, StopAsyncIteration, TimeoutError):
        pass
    if held:
        yield bytes(held)


@contextmanager
def _writing(upload_id: str) -> Iterator[None]:
    """One hand at a time. Raises DeskError (423) while another one writes to this upload."""
    if upload_id in _WRITING:
        raise DeskError("This film is being uploaded by another connection; try again in a moment.", 423)
    _WRITING.add(upload_id)
    try:
        yield
    finally:
        _WRITING.discard(upload_id)


def _state(request: Request) -> tuple[Part, int]:
    desk = desk_of(request)
    part = part_of(desk, request.path_params["id"])
    return part, received(desk, part)


def _number(request: Request, header: str) -> int:
    """A header that has to be a whole number, 0 or more."""
    told = request.headers.get(header, "")
    if not (told.isascii() and told.isdigit() and len(told) <= LONGEST_NUMBER):
        raise DeskError(f"{header.title()} has to be a number of bytes.")
    return int(told)


def metadata(header: str) -> dict[str, str]:
    """What Upload-Metadata says: pairs of a key and its value in Base64, separated by commas.

    Raises DeskError when it is written otherwise.
    """
    if len(header) > LONGEST_METADATA:
        raise DeskError("Upload-Metadata is too long.")
    said: dict[str, str] = {}
    for pair in filter(None, (pair.strip() for pair in header.split(","))):
        key, _, value = pair.partition(" ")
        try:
            words = base64.b64decode(value.strip(), validate=True).decode("utf-8")
        except (binascii.Error, ValueError) as error:
            raise DeskError(f"Upload-Metadata cannot be read at {key[:40]!r}.") from error
        if key in said:
            raise DeskError(f"Upload-Metadata says {key[:40]!r} twice.")
        said[key] = words
    return said


ROUTES: Final[tuple[BaseRoute, ...]] = (
    Route("/uploads", options, methods=["OPTIONS"]),
    Route("/uploads/{id}", options, methods=["OPTIONS"]),
    Route("/uploads", _tus(create), methods=["POST"]),
    Route("/uploads/{id}", _tus(one), methods=["HEAD", "PATCH", "DELETE", "POST"]),
)
