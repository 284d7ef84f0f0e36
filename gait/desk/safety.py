"""What stands before every page: who may ask, from where, how often, and what a browser may do with the answer."""

import hashlib
import secrets
import time
import traceback
from typing import Any, Final
from urllib.parse import parse_qsl

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from limits import RateLimitItemPerHour, RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter
from starlette.datastructures import Headers, MutableHeaders
from starlette.middleware import Middleware
from starlette.middleware.sessions import SessionMiddleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.responses import HTMLResponse, RedirectResponse, Response

from gait.desk.errors import DeskError
from gait.desk.kept import Kept
from gait.desk.pages import OUR_FAULT, TOKEN_FIELD
from gait.desk.room import Desk

LOOPBACK: Final = ("127.0.0.1", "localhost", "[::1]")
#: s without a request after which a session ends; set by judgement: a lunch break.
IDLE_S: Final = 3600
#: s after which it ends in any case; a working day.
LONGEST_S: Final = 12 * 3600
#: s between two notes that a session was used: a cookie with every answer would be written by answers out of order.
NOTED_EVERY_S: Final = 60
#: Tries of a password: of one address in a minute, of all together in an hour. Set by judgement.
TRIES: Final = RateLimitItemPerMinute(5), RateLimitItemPerHour(60)
#: Letters of a new password at least. NIST SP 800-63B (2017), section 5.1.1.2: eight.
SHORTEST_PASSWORD: Final = 8
READ_ONLY: Final = ("GET", "HEAD", "OPTIONS")
#: What may be seen without the password.
OPEN: Final = ("/login", "/static/")

FORM: Final = "application/x-www-form-urlencoded"
TOKEN_HEADER: Final = "x-csrftoken"
#: Bytes of the longest form; a pasted sheet of 1,000 rows has a tenth of it.
LONGEST_FORM: Final = 2_000_000
TOO_OLD: Final = "This page is too old to be sent; load it again, then try once more."

HEADERS: Final = {
    "content-security-policy": "default-src 'self'; img-src 'self' data: blob:; media-src 'self' blob:; "
    "style-src 'self' 'unsafe-inline'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'self'",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "referrer-policy": "same-origin",
    "x-content-type-options": "nosniff",
}
#: It needs nothing that may be what is broken.
FAULT_PAGE: Final = (
    '<!DOCTYPE html><html lang="en-GB"><head><meta charset="utf-8"><title>Not possible – pawfall</title>'
    '<meta name="viewport" content="width=device-width, initial-scale=1">'
    '<meta name="color-scheme" content="light dark">'
    '<link rel="stylesheet" href="/static/report.css"><link rel="stylesheet" href="/static/desk.css"></head>'
    f'<body class="desk"><main><h1>That is not possible</h1><p class="lead">{OUR_FAULT}</p>'
    '<p><a class="button" href="/">Back to Today</a></p></main></body></html>'
)
HASHER: Final = PasswordHasher()


class Headed:
    """Puts HEADERS on every answer, tells faults in a plain sentence, and refuses what another site sends."""

    def __init__(self, app: Any, desk: Desk) -> None:
        self.app, self.desk = app, desk

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Answer, as ASGI asks."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        begun = False

        async def send_headed(message: Any) -> None:
            """Send, with the headers that keep a page to itself."""
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("cache-control", "no-store")
            await send(message)

        if _from_elsewhere(scope):
            await _plain("Another site asked for this; it is refused.", 403)(scope, receive, send_headed)
            return
        try:
            await self.app(scope, receive, send_headed)
        except Exception:
            self._note(scope)
            if not begun:
                html = "text/html" in Headers(scope=scope).get("accept", "")
                answer = HTMLResponse(FAULT_PAGE, 500) if html else _plain(OUR_FAULT, 500)
                await answer(scope, receive, send_headed)

    def _note(self, scope: Any) -> None:
        """Keep what happened where whoever looks after the machine finds it, and no visitor does."""
        path = self.desk.folder / "faults.log"
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("a", encoding="utf-8") as file:
            file.write(f"{time.strftime('%Y-%m-%d %H:%M:%S')} {scope['method']} {scope['path']}\n")
            file.write(traceback.format_exc() + "\n")


def _plain(words: str, status: int) -> Response:
    return Response(f"{words}\n", status, media_type="text/plain")


def _from_elsewhere(scope: Any) -> bool:
    """Whether a page of another site sent this: browsers tell where everything comes from that changes something."""
    headers = Headers(scope=scope)
    origin, site = headers.get("origin"), headers.get("sec-fetch-site", "same-origin")
    if origin is not None:
        return origin.partition("://")[2] != headers.get("host")
    return scope["method"] not in READ_ONLY and site not in ("same-origin", "none")


class SignedIn:
    """Lets pass who signed in, once the desk has a password; the others are led to the page that asks for it."""

    def __init__(self, app: Any, desk: Desk) -> None:
        self.app, self.desk = app, desk

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Answer, as ASGI asks."""
        if scope["type"] != "http" or is_in(scope["session"], self.desk) or scope["path"].startswith(OPEN):
            await self.app(scope, receive, send)
            return
        script = "text/html" not in Headers(scope=scope).get("accept", "")
        answer = _plain("Sign in first.", 401) if script else RedirectResponse("/login", 303)
        await answer(scope, receive, send)


def is_in(session: dict[str, Any], desk: Desk, now_s: float | None = None) -> bool:
    """Whether a session may see everything; one that may is longer at hand for being used."""
    if not desk.kept.password_hash:
        return True
    now = time.time() if now_s is None else now_s
    seen, since = session.get("seen", 0), session.get("since", 0)
    if not (now - seen < IDLE_S and now - since < LONGEST_S) or session.get("of") != _mark(desk.kept):
        return False
    if session.get("id") in desk.ended:
        return False
    if now - seen > NOTED_EVERY_S:
        session["seen"] = now
    return True


def sign_in(session: dict[str, Any], kept: Kept) -> None:
    """Begin a session."""
    now = time.time()
    session.clear()
    session.update(id=secrets.token_urlsafe(12), since=now, seen=now, of=_mark(kept))


def sign_out(session: dict[str, Any], desk: Desk) -> None:
    """End a session, also for a request of it that is still under way and would write its cookie again."""
    desk.ended.add(str(session.get("id", "")))
    session.clear()


def _mark(kept: Kept) -> str:
    """Tells the password from an earlier one without telling it: a new password ends all sessions."""
    return hashlib.sha256(f"{kept.secret}{kept.password_hash}".encode()).hexdigest()[:24]


class Gate:
    """Checks passwords, slowly on purpose, and not often."""

    def __init__(self) -> None:
        self._limiter = MovingWindowRateLimiter(MemoryStorage())

    def check(self, password: str, kept: Kept, address: str) -> bool:
        """Whether it is the password. Raises DeskError (429) when that was tried too often."""
        of_one, of_all = TRIES
        if not (self._limiter.hit(of_one, "login", address) and self._limiter.hit(of_all, "login")):
            raise DeskError("Too many tries. Wait a minute, then try again.", 429)
        try:
            return HASHER.verify(kept.password_hash, password)
        except (VerificationError, InvalidHashError):
            return False


def hashed(password: str) -> str:
    """The hash of a new password. Raises DeskError when it is too short."""
    if len(password) < SHORTEST_PASSWORD:
        raise DeskError(f"A password needs {SHORTEST_PASSWORD} letters or more; a few words in a row are good.")
    return HASHER.hash(password)


def middleware(desk: Desk, hosts: tuple[str, ...], tag: str) -> list[Middleware]:
    """Everything that stands before the pages, the outermost first.

    hosts  names by which the desk may be called; another one is refused, so that no foreign name leads here
    tag    keeps the cookies of two desks on one machine apart
    """
    cookie = f"pawfall-{tag}"
    return [
        Middleware(TrustedHostMiddleware, list(hosts)),
        Middleware(Headed, desk),
        Middleware(
            SessionMiddleware, desk.kept.secret, session_cookie=cookie, max_age=LONGEST_S, same_site="strict"
        ),
        Middleware(SignedIn, desk),
        Middleware(Tokened),
    ]  # fmt: skip


class Tokened:
    """Lets nothing be changed but by a page of this desk: what changes something brings the token of its session, in a
    header or in a form (synchronizer token; OWASP Cross-Site Request Forgery Prevention Cheat Sheet)."""

    def __init__(self, app: Any) -> None:
        self.app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Answer, as ASGI asks."""
        if scope["type"] != "http" or scope["method"] in READ_ONLY:
            await self.app(scope, receive, send)
            return
        headers, told = Headers(scope=scope), ""
        if TOKEN_HEADER in headers:
            told = headers[TOKEN_HEADER]
        elif headers.get("content-type", "").partition(";")[0].strip() == FORM:
            body = await _body(receive)
            if body is None:
                await _plain("This form is too long.", 413)(scope, receive, send)
                return
            told, receive = dict(parse_qsl(body.decode("utf-8", "replace"))).get(TOKEN_FIELD, ""), _again(body)
        if not secrets.compare_digest(told.encode(), str(scope["session"].get("token", "\0")).encode()):
            await _plain(TOO_OLD, 403)(scope, receive, send)
            return
        await self.app(scope, receive, send)


async def _body(receive: Any) -> bytes | None:
    """The whole of a form; None when it is longer than any form here."""
    body, more = b"", True
    while more:
        message = await receive()
        body += message.get("body", b"")
        more = message.get("more_body", False)
        if len(body) > LONGEST_FORM:
            return None
    return body


def _again(body: bytes) -> Any:
    """Gives what was received once more."""
    left = [{"type": "http.request", "body": body, "more_body": False}]

    async def receive() -> Any:
        """The body, then that nothing follows."""
        return left.pop() if left else {"type": "http.disconnect"}

    return receive
