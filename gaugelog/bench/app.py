"""The bench page's server: the page, the stream of what happens, and what a page asks for.

Here: HTTP. Not here: who may ask (`guard`), the work (`work`), what is told of it (`state`).
"""

from __future__ import annotations

import asyncio
import json
import secrets
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from html import escape
from http import HTTPStatus
from importlib.resources import files
from typing import Any

from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp

from gaugelog.bench.client import COOKIE
from gaugelog.bench.guard import CODE_PATH, Door, Guard
from gaugelog.bench.hub import Hub, event_bytes
from gaugelog.bench.patience import ASKS_WITHIN_S
from gaugelog.bench.state import state_document
from gaugelog.bench.work import Bench, failure
from gaugelog.errors import GaugelogError
from gaugelog.links.clock import now_ns

BEAT_S = 1.0
MOST_BYTES = 4096
_KINDS = {"js": "text/javascript", "css": "text/css", "html": "text/html"}
_STATIC = ("bench.css", "bench.js", "live.js", "sanding.js", "snapshot.js", "clamps.js", "outcome.js", "tone.js")
_REPORT_POLICY = (
    "sandbox allow-scripts; default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:;"
    " frame-ancestors 'self'"
)
_CODE_PAGE = """<!doctype html><html lang="en"><head><meta charset="utf-8"><title>gaugelog bench: code</title>
<link rel="icon" href="data:,">
<meta name="viewport" content="width=device-width, initial-scale=1"></head><body><main>
<h1>Code</h1><p>{words}</p><form method="post" action="{path}"><label>Code, as the bench's terminal shows it
<input name="code" autocomplete="off" autocapitalize="characters" spellcheck="false" required maxlength="12"
 autofocus></label> <button>Go in</button></form></main></body></html>"""

_SAID_PAGE = '<!doctype html><html lang="en"><meta charset="utf-8"><title>chart</title><p>{words}</p></html>'


@dataclass(frozen=True, slots=True)
class Documents:
    """What is made anew when it is looked at: the report and the chart of the clamp session as HTML pages, and a
    drawing as SVG of where a checkpoint is read. `chart` raises NothingToDoError where there is no session.
    """

    report: Callable[[], str]
    chart: Callable[[], str]
    place: Callable[[str], str]


class Pages:
    """Everything that is answered, for one bench."""

    def __init__(self, bench: Bench, documents: Documents, door: Door | None = None) -> None:
        """Take the bench to show, what its documents are made by, and the door where it is shared with a network."""
        self.bench, self.hub, self.door, self._documents = bench, Hub(), door, documents
        self.boot = secrets.token_hex(8)
        bench.changed = self.tell_state

    def tell_state(self) -> None:
        """Tell every page the work as a whole."""
        if len(self.hub):
            self.hub.tell("state", state_document(self.bench, self.boot))

    def app(self, hosts: frozenset[str]) -> ASGIApp:
        """Return the guarded application.

        Args:
            hosts: Host headers that it answers to.
        """
        routes = [
            Route("/", self._page),
            Route("/events", self._events),
            Route("/do", self._do, methods=["POST"]),
            Route("/report", self._report),
            Route("/chart", self._chart),
            Route("/trail", self._trail),
            Route("/place/{name}", self._place),
            Route("/static/{name}", self._static),
            Route(CODE_PATH, self._code, methods=["GET", "POST"]),
        ]
        return Guard(Starlette(routes=routes), hosts, self.door)

    async def _page(self, _request: Request) -> Response:
        return HTMLResponse(_resource("bench.html"))

    async def _static(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name not in _STATIC:
            return Response(status_code=HTTPStatus.NOT_FOUND)
        return Response(_resource(name), media_type=_KINDS[name.rpartition(".")[2]])

    async def _events(self, _request: Request) -> Response:
        return StreamingResponse(self._told(), media_type="text/event-stream")

    async def _told(self) -> AsyncIterator[bytes]:
        """Yield the state, then whatever happens; a beat a second says that it lives."""
        with self.hub.listening() as queue:
            yield event_bytes("state", state_document(self.bench, self.boot))
            while True:
                try:
                    async with asyncio.timeout(BEAT_S):
                        message = await queue.get()
                except TimeoutError:
                    yield event_bytes("beat", {})
                    continue
                if not message:
                    return
                if self.hub.fell_behind(queue):
                    message = event_bytes("state", state_document(self.bench, self.boot))
                yield message

    async def _do(self, request: Request) -> Response:
        asked = await _small_json(request)
        if asked is None:
            return JSONResponse({"error": "a small JSON object is wanted"}, HTTPStatus.BAD_REQUEST)
        try:
            words = self.bench.do(asked, now_ns())
        except GaugelogError as error:
            return JSONResponse({"error": failure(error)}, HTTPStatus.CONFLICT)
        return JSONResponse({"said": words})

    async def _report(self, request: Request) -> Response:
        """The report as it is now, in a sandbox of its own: it can ask this server for nothing."""
        html = await asyncio.to_thread(self._documents.report)
        headers = {"content-security-policy": _REPORT_POLICY}
        if "save" in request.query_params:
            headers["content-disposition"] = f'attachment; filename="{self.bench.work.writer.path.stem}.html"'
        return HTMLResponse(html, headers=headers)

    async def _chart(self, _request: Request) -> Response:
        """The chart of the clamp session as it is now, in a sandbox as the report is."""
        headers = {"content-security-policy": _REPORT_POLICY}
        try:
            return HTMLResponse(await asyncio.to_thread(self._documents.chart), headers=headers)
        except GaugelogError as error:
            return HTMLResponse(_SAID_PAGE.format(words=escape(failure(error))), headers=headers)

    async def _trail(self, request: Request) -> Response:
        """The clamp session as it grows, drawn for a page so many pixels wide; nothing where none is recorded."""
        wide = request.query_params.get("width", "")
        if not wide.isascii() or not wide.isdecimal() or len(wide) > 5:
            return Response(status_code=HTTPStatus.BAD_REQUEST)
        drawn = self.bench.trails.picture(float(wide)) if self.bench.trails is not None else ""
        if not drawn:
            return Response(status_code=HTTPStatus.NO_CONTENT)
        return Response(drawn, media_type="image/svg+xml")

    async def _place(self, request: Request) -> Response:
        """A drawing of where a checkpoint is read; nothing where that isn't known."""
        drawn = self._documents.place(request.path_params["name"])
        if not drawn:
            return Response(status_code=HTTPStatus.NO_CONTENT)
        return Response(drawn, media_type="image/svg+xml")

    async def _code(self, request: Request) -> Response:
        if self.door is None:
            return RedirectResponse("/", HTTPStatus.SEE_OTHER)
        if request.method == "GET":
            return _code_page("This bench is shared with the workshop's network; its terminal shows a code.")
        if self.door.wait_s > 0:
            words = f"Too many tries. Wait {self.door.wait_s:.0f} s."
            return _code_page(words, HTTPStatus.TOO_MANY_REQUESTS)
        body = await _limited(request)
        given = _form_value(body, "code") if body is not None else ""
        token = self.door.enter(given)
        if token is None:
            return _code_page("That was not the code.", HTTPStatus.FORBIDDEN)
        answer = RedirectResponse("/", HTTPStatus.SEE_OTHER)
        answer.set_cookie(COOKIE, token, httponly=True, samesite="strict", path="/")
        return answer


def _code_page(words: str, status: HTTPStatus = HTTPStatus.OK) -> Response:
    return HTMLResponse(_CODE_PAGE.format(words=words, path=CODE_PATH), status)


async def _limited(request: Request) -> bytes | None:
    """Return a request's body, None where it is larger than any that is wanted, or never comes whole."""
    body = b""
    try:
        async with asyncio.timeout(ASKS_WITHIN_S):
            async for part in request.stream():
                body += part
                if len(body) > MOST_BYTES:
                    return None
    except (ClientDisconnect, TimeoutError):
        return None
    return body


async def _small_json(request: Request) -> dict[str, Any] | None:
    body = await _limited(request)
    if body is None or request.headers.get("content-type", "").partition(";")[0] != "application/json":
        return None
    try:
        asked = json.loads(body)
    except (ValueError, RecursionError):
        return None
    return asked if isinstance(asked, dict) else None


def _form_value(body: bytes, name: str) -> str:
    from urllib.parse import parse_qs

    return parse_qs(body.decode("utf-8", "replace")).get(name, [""])[0]


def _resource(name: str) -> bytes:
    return files("gaugelog.bench").joinpath("static", name).read_bytes()
