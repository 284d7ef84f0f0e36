"""How answers are made: pages out of templates, JSON for scripts, and errors as one sentence each."""

import secrets
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from gait.command.edge import EXPECTED, message
from gait.desk.errors import DeskError
from gait.desk.room import desk_of
from gait.report.cautions import CAUTIONS
from gait.report.comparison.naturally import day
from gait.report.units import told

TEMPLATES: Final = Path(__file__).parent / "templates"
STATIC: Final = Path(__file__).parent / "static"
#: Address and name of every part of the desk, in the order of a day's work.
PARTS: Final = (
    ("/", "Today"),
    ("/add", "Add footage"),
    ("/dogs", "Dogs"),
    ("/compare", "Compare"),
    ("/live", "Live"),
    ("/settings", "Settings"),
)
TOKEN_FIELD: Final = "csrftoken"
#: Said of what nobody foresaw; what it was is in the desk's own file of faults.
OUR_FAULT: Final = "Something went wrong in pawfall itself. Nothing that was saved is lost. Go back and try again."


def page(request: Request, name: str, status: int = 200, **facts: Any) -> Response:
    """The page ``name`` of gait/desk/templates, with ``facts`` and what every page knows."""
    desk = desk_of(request)
    here = request.url.path
    text = _environment().get_template(name).render(
        request=request,
        parts=[(address, words, _is_part(here, address)) for address, words in PARTS],
        kept=desk.kept,
        token=csrf_token(request),
        csrf=lambda: csrf_field(request),
        measured=lambda value, unit, places=2: told(value, unit, desk.kept.units, places),
        cautions=CAUTIONS,
        day=day,
        quote=quote,
        today=date.today().isoformat(),
        signed_in=bool(desk.kept.password_hash),
        **facts,
    )  # fmt: skip
    return HTMLResponse(text, status)


def _is_part(here: str, address: str) -> bool:
    here = here.replace("/clips/", "/dogs/", 1)  # a clip is looked for under its dog
    return here == address or (address != "/" and here.startswith(f"{address}/"))


def go_to(address: str) -> Response:
    """Send the browser on to another page, after a form."""
    return RedirectResponse(address, 303)


def csrf_token(request: Request) -> str:
    """What a form or a script has to send back, so that no other site can act in this person's name."""
    token: str = request.session.setdefault("token", secrets.token_urlsafe(24))
    return token


def csrf_field(request: Request) -> Markup:
    """The token as a hidden field of a form."""
    return Markup('<input type="hidden" name="{}" value="{}">').format(TOKEN_FIELD, csrf_token(request))


def wants_json(request: Request) -> bool:
    """Whether a script asks, which wants words and no page."""
    accept = request.headers.get("accept", "")
    return "text/html" not in accept


def refusal(request: Request, words: str, status: int) -> Response:
    """An error as a page or, for a script, as {"error": words}."""
    if wants_json(request):
        return JSONResponse({"error": words}, status)
    return page(request, "error.html", status, words=words)


async def on_known_error(request: Request, error: Exception) -> Response:
    """An error that was foreseen: its own sentence."""
    return refusal(request, message(error), error.status if isinstance(error, DeskError) else 400)


async def on_http_error(request: Request, error: Exception) -> Response:
    """No such page, or not in this way."""
    assert isinstance(error, HTTPException)
    words = {404: "There is no such page here.", 405: "This cannot be done in this way."}
    return refusal(request, words.get(error.status_code, str(error.detail)), error.status_code)


HANDLERS: Final[Mapping[Any, Any]] = {
    **dict.fromkeys(EXPECTED, on_known_error),
    HTTPException: on_http_error,
}


_made: list[Environment] = []


def _environment() -> Environment:
    """Templates of the desk, and the macros of the reports; what is put in is escaped, what is missing is an error."""
    if not _made:
        loader = ChoiceLoader([PackageLoader("gait.desk", "templates"), PackageLoader("gait", "report")])
        made = Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True)
        _made.append(made)
    return _made[0]
