"""The page Live: a camera chosen, what is known of the dog in words that are read from two metres, and the recording.

Which cameras can be opened is decided here and not in the browser: those of this machine, those that the desk was
started with, and, where no other machine reaches the desk, the address of a stream. Whoever only knows the password
from elsewhere cannot make this machine ask other machines for anything.
"""

from collections.abc import Mapping
from contextlib import suppress
from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from gait.caseload.listing import clips, dogs
from gait.command.edge import EXPECTED, message
from gait.desk.entrance import form_of
from gait.desk.errors import DeskError
from gait.desk.live_room import LiveRoom, take_up
from gait.desk.pages import go_to, page
from gait.desk.room import Desk, desk_of
from gait.errors import TrialError
from gait.sheets.keys import belt_speed
from gait.trial import KMH_PER_M_S, Trial
from pose.camera import cameras, is_address, plain_address

#: What the speed of a belt may be given in, and how many m/s one of it is.
SPEEDS: Final = {"km/h": 1 / KMH_PER_M_S, "m/s": 1.0, "mph": 1609.344 / 3600}
#: Letters of what is written down of a clip at most.
LONGEST: Final = 200
ADDRESS: Final = "address"
FIELDS: Final = ("camera", "address", "dog", "condition", "baseline", "belt", "belt_unit", "facing")
NO_CAMERA: Final = "Choose a camera first."


def room_of(request: Request) -> LiveRoom:
    """What is watched at this desk."""
    state = request.app.state
    if not hasattr(state, "live"):
        state.live = LiveRoom(desk_of(request))
    room = state.live
    assert isinstance(room, LiveRoom)
    return room


def begin_live(desk: Desk) -> None:
    """Before the pages are served: what a killed desk left of a recording. What is wrong with it is told when next one
    ends, so that it keeps no page away."""
    with suppress(*EXPECTED):
        take_up(desk)


def end_live(app: Any) -> None:
    """End the watching when the server ends."""
    room = getattr(app.state, "live", None)
    if room is not None:
        room.stop()


async def live(request: Request) -> Response:
    """What to watch, or what is being watched."""
    return await _live_page(request, {}, "")


async def _live_page(request: Request, told: Mapping[str, str], wrong: str, status: int = 200) -> Response:
    room = room_of(request)
    choices = {} if room.running else await run_in_threadpool(_choices, request)
    known = await run_in_threadpool(_known, desk_of(request))
    return page(
        request, "live.html", status, facts=room.facts(), choices=choices, alone=_alone(request),
        told={name: told.get(name, "") for name in FIELDS},
        wrong=wrong, known=known, speeds=list(SPEEDS), address=ADDRESS,
    )  # fmt: skip


async def start(request: Request) -> Response:
    """Begin to watch; what cannot be begins no watching and leaves the form as it was filled in."""
    told = await form_of(request)
    try:
        await run_in_threadpool(_start, request, told)
    except EXPECTED as error:
        return await _live_page(request, told, message(error), getattr(error, "status", 400))
    return go_to("/live")


async def stop(request: Request) -> Response:
    """End the watching and take the clip in."""
    await run_in_threadpool(room_of(request).stop)
    return go_to("/live")


async def now(request: Request) -> Response:
    """What is known now, for the script of the page."""
    return JSONResponse(dict(room_of(request).facts()))


async def picture(request: Request) -> Response:
    """The newest picture with its landmarks."""
    data = await run_in_threadpool(room_of(request).picture)
    return Response(data, media_type="image/jpeg") if data else Response(status_code=204)


def _start(request: Request, told: Mapping[str, str]) -> None:
    choices = _choices(request)
    chosen = told.get("camera", "")
    if chosen == ADDRESS and _alone(request):
        name = told.get("address", "").strip()
        if not is_address(name):
            raise DeskError("An address begins with rtsp://, rtsps://, http:// or https://.")
    elif chosen in choices:
        name = choices[chosen][0]
    else:
        raise DeskError(NO_CAMERA)
    room_of(request).start(name, _trial(told), films=chosen.startswith("given"))


def _choices(request: Request) -> dict[str, tuple[str, str]]:
    """What can be chosen: key -> (name to open, words)."""
    given = getattr(request.app.state, "cameras", ())
    found = {f"given-{row}": (name, plain_address(name)) for row, name in enumerate(given)}
    return found | {f"own-{name}": (name, words) for name, words in cameras()}


def _alone(request: Request) -> bool:
    """Whether this machine alone reaches the desk."""
    return bool(getattr(request.app.state, "alone", False))


def _known(desk: Desk) -> dict[str, list[str]]:
    """Names of dogs and conditions that were written before, so that they are written the same way again."""
    conditions = {line.condition for line in clips(desk.store) if line.condition}
    return {"dogs": [line.dog for line in dogs(desk.store)], "conditions": sorted(conditions)}


def _trial(told: Mapping[str, str]) -> Trial:
    """What the form says of the clip. Raises TrialError when it cannot be."""
    dog, condition = (" ".join(told.get(name, "").split())[:LONGEST] for name in ("dog", "condition"))
    facing = told.get("facing", "auto")
    return Trial(
        dog=dog,
        condition=condition,
        baseline=told.get("baseline") == "yes",
        belt_m_s=belt_speed(_speed(told), None),
        facing="left" if facing == "left" else "right" if facing == "right" else None,
    )


def _speed(told: Mapping[str, str]) -> float | None:
    """m/s; a decimal comma does no harm."""
    text, unit = told.get("belt", "").strip().replace(",", "."), told.get("belt_unit", "km/h")
    if not text:
        return None
    try:
        return float(text) * SPEEDS[unit]
    except (ValueError, KeyError):
        raise TrialError(f"The belt speed is {text!r} {unit}; give a number above 0, or leave it empty.") from None


ROUTES: Final[tuple[BaseRoute, ...]] = (
    Route("/live", live),
    Route("/live/start", start, methods=["POST"]),
    Route("/live/stop", stop, methods=["POST"]),
    Route("/live/now.json", now),
    Route("/live/picture.jpg", picture),
)
