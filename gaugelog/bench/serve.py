"""Running the bench: gauges, pages and time side by side until it is stopped.

Here: the one loop, the server's socket, how often pages are told. Not here: what is answered (`app`), the work
(`work`).
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import uvicorn

from gaugelog.bench.app import Documents, Pages
from gaugelog.bench.client import LOOPBACK
from gaugelog.bench.guard import Door
from gaugelog.bench.patience import ACCEPTED_AT_ONCE, QUEUE, PatientHttp
from gaugelog.bench.state import clamps_document, readings_document
from gaugelog.bench.work import Bench
from gaugelog.errors import PortTakenError
from gaugelog.gauges.listen import listen
from gaugelog.model.readings import Heard, LinkChange, Reading
from gaugelog.recorder.attend import Attendance, ticks
from gaugelog.recorder.work import now

TOLD_EVERY_S = 0.025
GATHER_S = 0.004
CLAMPS_EVERY_S = 0.5
_ELSEWHERE = ("192.0.2.1", 9)


@dataclass(frozen=True, slots=True)
class Place:
    """Where the bench listens: its socket, and the Host headers it answers to."""

    listener: socket.socket
    hosts: frozenset[str]
    address: str

    @property
    def url(self) -> str:
        """What to type into a browser."""
        return f"http://{self.address}:{self.listener.getsockname()[1]}/"


def open_place(port: int, share: bool) -> Place:
    """Begin to listen: on loopback only, or on every address of this machine where it is shared.

    Raises:
        PortTakenError: another program listens there, or it may not be opened.
    """
    try:
        listener = socket.create_server(("" if share else LOOPBACK, port))
    except OSError as reason:
        raise PortTakenError(port, reason.strerror or str(reason)) from None
    address = own_address() if share else LOOPBACK
    number = listener.getsockname()[1]
    names = {LOOPBACK, "localhost", address} if not share else {LOOPBACK, "localhost", address, socket.gethostname()}
    return Place(listener, frozenset(f"{name.lower()}:{number}" for name in names), address)


def own_address() -> str:
    """Return this machine's address in its network, loopback's where it has none; nothing is sent for that."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(_ELSEWHERE)
        except OSError:
            return LOOPBACK
        return str(asking.getsockname()[0])


async def _ended(serving: asyncio.Task[None]) -> None:
    """Wait for the server's own end, without ending it."""
    await asyncio.wait([serving])


class _Server(uvicorn.Server):
    """The web server, without handlers for signals: they are the attendance's; and with a queue before its door."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave signals alone."""
        yield

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to serve; who comes while others are let in waits in the system's queue."""
        await super().startup(sockets=sockets)
        for each in sockets or ():
            each.listen(QUEUE)


class BenchServer:
    """Serves a bench until Ctrl-C."""

    def __init__(self, bench: Bench, place: Place, documents: Documents, door: Door | None = None) -> None:
        """Take the bench, where to listen, what its documents are made by, and the door where it is shared."""
        self.bench, self.place = bench, place
        self.pages = Pages(bench, documents, door)
        self.attendance = Attendance()
        self._fresh: dict[str, None] = {}
        self._flushing: asyncio.TimerHandle | None = None
        self._flushed_s = self._clamps_told_s = 0.0
        config = uvicorn.Config(
            self.pages.app(place.hosts), log_level="warning", access_log=False, server_header=False, ws="none",
            timeout_graceful_shutdown=1, http=PatientHttp, backlog=ACCEPTED_AT_ONCE,
        )  # fmt: skip
        self._server = _Server(config)

    async def attend(self) -> None:
        """Listen to the gauges, serve the pages, and keep time, until it is stopped."""
        streams = self.bench.work.streams(self.bench.gauges, reconnect=True)
        serving = asyncio.create_task(self._server.serve(sockets=[self.place.listener]))
        beat = self.attendance.each(ticks(0.25), self._beat)
        heard = (self.attendance.each(listen(streams), self.hear),) if streams else ()
        try:
            await self.attendance.run(_ended(serving), beside=(beat, *heard))
        finally:
            if self._flushing is not None:
                self._flushing.cancel()
            self.pages.hub.close()
            self._server.should_exit = True
            await serving
            self.bench.close()

    def hear(self, event: Heard | LinkChange) -> None:
        """Take what a gauge said, and tell the pages: in a moment, so that gauges read together are told together."""
        self.bench.hear(event)
        if isinstance(event, LinkChange) or not len(self.pages.hub):
            return
        if any(isinstance(item, Reading) for item in event.items):
            self._fresh[event.gauge] = None
            self._flush_soon()

    def _flush_soon(self) -> None:
        if self._flushing is None:
            loop = asyncio.get_running_loop()
            wait_s = max(GATHER_S, self._flushed_s + TOLD_EVERY_S - loop.time())
            self._flushing = loop.call_later(wait_s, self._flush)

    def _flush(self) -> None:
        """Tell the pages of every gauge that was heard since the last message."""
        self._flushing = None
        self._flushed_s = now_s = asyncio.get_running_loop().time()
        names, self._fresh = list(self._fresh), {}
        document = readings_document(self.bench, names)
        clamping = self.bench.clamping
        if clamping is not None and now_s - self._clamps_told_s >= CLAMPS_EVERY_S:
            self._clamps_told_s = now_s
            document["clamps"] = clamps_document(clamping, self.bench.gauges)
        self.pages.hub.tell("reading", document)

    def _beat(self, _now_ns: int) -> None:
        self.bench.beat(now())
