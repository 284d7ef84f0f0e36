"""Signing in and out, and the settings of the desk."""

from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from gait.desk.audit import read_audit
from gait.desk.errors import DeskError
from gait.desk.pages import go_to, page
from gait.desk.room import desk_of
from gait.desk.safety import Gate, hashed, is_in, sign_in, sign_out

GATE: Final = Gate()


async def form_of(request: Request) -> dict[str, str]:
    """What a form says, without its token."""
    form = await request.form()
    return {name: str(value) for name, value in form.items() if name != "csrftoken"}


async def login_page(request: Request) -> Response:
    """Asks for the password."""
    if is_in(request.session, desk_of(request)):
        return go_to("/")
    return page(request, "login.html", wrong="")


async def login(request: Request) -> Response:
    """Checks the password."""
    kept = desk_of(request).kept
    told, address = await form_of(request), request.client.host if request.client else ""
    try:
        right = await run_in_threadpool(GATE.check, told.get("password", ""), kept, address)
    except DeskError as error:
        return page(request, "login.html", error.status, wrong=str(error))
    if not right:
        return page(request, "login.html", 401, wrong="This is not the password.")
    sign_in(request.session, kept)
    return go_to("/")


async def logout(request: Request) -> Response:
    """Ends the session."""
    sign_out(request.session, desk_of(request))
    return go_to("/login")


async def settings_page(request: Request) -> Response:
    """Name, units, the largest film, password, the network in use, and what was removed or overruled."""
    desk = desk_of(request)
    lines = await run_in_threadpool(read_audit, desk.home)
    return page(request, "settings.html", wanted=desk.wanted, home=desk.home, store=desk.store, audit=lines)


async def settings(request: Request) -> Response:
    """Keeps name, units and the size of the largest film."""
    told = await form_of(request)
    said: dict[str, Any] = {name: told[name] for name in ("units", "by", "most_film_gib") if name in told}
    await run_in_threadpool(lambda: desk_of(request).keep(**said))
    return go_to("/settings")


async def password(request: Request) -> Response:
    """Sets a new password, or none; whoever set it stays signed in."""
    desk, told = desk_of(request), await form_of(request)
    address = request.client.host if request.client else ""
    if desk.kept.password_hash:
        if not await run_in_threadpool(GATE.check, told.get("old", ""), desk.kept, address):
            raise DeskError("The old password is not right; nothing was changed.", 403)
    if not told.get("new") and not request.app.state.alone:
        raise DeskError("A desk that other machines can reach needs a password; nothing was changed.")
    new = await run_in_threadpool(hashed, told["new"]) if told.get("new") else ""
    await run_in_threadpool(lambda: desk.keep(password_hash=new))
    desk.audit("password set" if new else "password taken away")
    sign_in(request.session, desk.kept)
    return go_to("/settings")


ROUTES: Final[tuple[BaseRoute, ...]] = (
    Route("/login", login_page),
    Route("/login", login, methods=["POST"]),
    Route("/logout", logout, methods=["POST"]),
    Route("/settings", settings_page),
    Route("/settings", settings, methods=["POST"]),
    Route("/settings/password", password, methods=["POST"]),
)
