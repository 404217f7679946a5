"""Who may ask the bench page's server for anything.

Here: host and origin, the one-time code, how often it may be tried, and what every answer says to a browser. Not here:
what is answered (`app`).

Loopback alone needs no code. Shared with a network, nothing but the code page answers without it, on loopback too.
"""

from __future__ import annotations

import hmac
import secrets
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from http import HTTPStatus
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from gaugelog.bench.client import COOKIE

CODE_PATH = "/code"
CODE_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
CODE_LENGTH = 6
TRIES, TRIES_IN_S = 5, 60.0
TRIES_A_CODE = 20
_HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self';"
        " frame-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), screen-wake-lock=(self)",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
}


@dataclass(slots=True)
class Door:
    """The one-time code and who has come in by it.

    A code lets one device in; then there is a new one, which `shown` is told. Wrong tries are few a minute, over all
    devices, and after twenty the code is made anew.
    """

    shown: Callable[[str], None] = lambda _: None
    now_s: Callable[[], float] = time.monotonic
    code: str = ""
    _tokens: set[str] = field(default_factory=set)
    _tries: deque[float] = field(default_factory=deque)
    _wrong: int = 0

    def __post_init__(self) -> None:
        self._renew()

    def _renew(self) -> None:
        self.code = "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))
        self._wrong = 0
        self.shown(self.code)

    @property
    def wait_s(self) -> float:
        """How many seconds until a code may be tried again, 0 where it may now."""
        now_s = self.now_s()
        while self._tries and now_s - self._tries[0] >= TRIES_IN_S:
            self._tries.popleft()
        return 0.0 if len(self._tries) < TRIES else TRIES_IN_S - (now_s - self._tries[0])

    def enter(self, code: str) -> str | None:
        """Try a code; return the token of who is let in, None where the code is wrong or tried too often."""
        if self.wait_s > 0:
            return None
        given = code.strip().upper().encode("utf-8", "replace")
        if not hmac.compare_digest(given, self.code.encode()):
            self._tries.append(self.now_s())
            self._wrong += 1
            if self._wrong >= TRIES_A_CODE:
                self._renew()
            return None
        self._renew()
        return self.admit()

    def admit(self) -> str:
        """Let in a program of this machine's own without a code; return its token."""
        token = secrets.token_urlsafe(32)
        self._tokens.add(token)
        return token

    def knows(self, token: str) -> bool:
        """Return whether somebody came in with this token."""
        return any(hmac.compare_digest(token.encode("utf-8", "replace"), each.encode()) for each in self._tokens)


class Guard:
    """Lets through what comes from the page itself, and, where there is a door, from those who came in by it."""

    def __init__(self, app: ASGIApp, hosts: frozenset[str], door: Door | None = None) -> None:
        """Take the app to guard, the Host headers it answers to (name or name:port), and the door, if it is shared."""
        self._app, self._hosts, self._door = app, hosts, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or hand on what may pass."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        refusal = self._refusal(scope)
        if refusal is not None:
            await _answer(send, refusal)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("cache-control", "no-store")
            await send(message)

        await self._app(scope, receive, with_headers)

    def _refusal(self, scope: Scope) -> HTTPStatus | None:
        headers = Headers(scope=scope)
        if headers.get("host", "").lower() not in self._hosts:
            return HTTPStatus.MISDIRECTED_REQUEST
        origin = headers.get("origin")
        if origin is not None and _host_of(origin) not in self._hosts:
            return HTTPStatus.FORBIDDEN
        if headers.get("sec-fetch-site", "none") not in ("same-origin", "none"):
            return HTTPStatus.FORBIDDEN
        if scope["method"] not in ("GET", "HEAD") and origin is None:
            return HTTPStatus.FORBIDDEN
        if self._door is None or scope["path"] == CODE_PATH:
            return None
        token = cookie_parser(headers.get("cookie", "")).get(COOKIE, "")
        if self._door.knows(token):
            return None
        return HTTPStatus.SEE_OTHER if scope["path"] == "/" else HTTPStatus.UNAUTHORIZED


def _host_of(origin: str) -> str:
    """Return an origin's host and port in small letters, empty where it is no address at all."""
    try:
        return urlsplit(origin).netloc.lower()
    except ValueError:
        return ""


async def _answer(send: Send, status: HTTPStatus) -> None:
    """Answer with nothing but a status, or the way to the code page."""
    headers = [(name.encode(), value.encode()) for name, value in _HEADERS.items()]
    if status is HTTPStatus.SEE_OTHER:
        headers.append((b"location", CODE_PATH.encode()))
    headers += [(b"content-length", b"0"), (b"cache-control", b"no-store")]
    await send({"type": "http.response.start", "status": int(status), "headers": headers})
    await send({"type": "http.response.body", "body": b""})
