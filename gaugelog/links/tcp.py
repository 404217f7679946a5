"""A gauge behind a TCP socket: a serial server, or a gauge with a network of its own.

Here: connecting, reading, writing and losing a connection. Not here: what comes through it.
"""

from __future__ import annotations

import asyncio
import errno
import os
import socket
import time
from collections.abc import Callable
from typing import cast

from gaugelog.errors import AddressError, LinkFailedError, LinkReason
from gaugelog.links.inbox import Clock, Inbox
from gaugelog.links.options import Options
from gaugelog.model.gauges import Address
from gaugelog.model.readings import Chunk

WITHIN_S = 5.0
"""How long connecting may take, unless the address says otherwise."""

_SEND_S = 2.0
_KEEPALIVE = {"TCP_KEEPIDLE": 5, "TCP_KEEPINTVL": 2, "TCP_KEEPCNT": 3}
"""After 5 s of silence the other side is asked every 2 s whether it is still there; three times no answer is a loss."""

_NOT_THERE = {
    errno.ECONNREFUSED: "nothing listens at that port",
    errno.EHOSTUNREACH: "that host can't be reached",
    errno.ENETUNREACH: "there is no network that leads there",
    errno.EHOSTDOWN: "that host is down",
    errno.ETIMEDOUT: "no answer",
}


def host_and_port(address: Address) -> tuple[str, int]:
    """Return the host and the port of `tcp:HOST:PORT`; an IPv6 address stands in brackets.

    Raises:
        AddressError: one of the two is missing, or the port is no number from 1 to 65535.
    """
    host, colon, port = address.target.rpartition(":")
    if host.startswith("[") and host.endswith("]"):
        host = host[1:-1]
    elif ":" in host:
        raise AddressError(address.text, "an IPv6 address stands in brackets, such as tcp:[::1]:4001")
    if not colon or not host:
        raise AddressError(address.text, "host and port stand behind tcp:, such as tcp:192.0.2.7:4001")
    if not (port.isascii() and port.isdigit()) or not 1 <= int(port) <= 65535:
        raise AddressError(address.text, "the port is a whole number from 1 to 65535")
    return host, int(port)


class _Connection(asyncio.Protocol):
    """One connection: what comes goes into its inbox, and so does its end."""

    def __init__(self, inbox: Inbox, lost: Callable[[str], LinkFailedError]) -> None:
        self.transport: asyncio.Transport | None = None
        self.may_write = asyncio.Event()
        self.may_write.set()
        self._inbox, self._lost = inbox, lost
        inbox.filled_by(self)

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Take the connection, and have the system watch over it."""
        self.transport = cast(asyncio.Transport, transport)
        connection = transport.get_extra_info("socket")
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        for name, value in _KEEPALIVE.items():
            if hasattr(socket, name):
                connection.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)

    def data_received(self, data: bytes) -> None:
        """Hand on what came."""
        self._inbox.put(data)

    def connection_lost(self, reason: Exception | None) -> None:
        """Say that nothing will come any more."""
        self.may_write.set()
        self._inbox.end(self._lost("the other side closed the connection" if reason is None else _words_of(reason)))

    def pause_writing(self) -> None:
        """Let whoever sends wait: the other side takes nothing."""
        self.may_write.clear()

    def resume_writing(self) -> None:
        """Let whoever sends go on."""
        self.may_write.set()

    def pause(self) -> None:
        """Read no more for now: the other side then has to wait."""
        if self.transport is not None and not self.transport.is_closing():
            self.transport.pause_reading()

    def resume(self) -> None:
        """Go on reading."""
        if self.transport is not None and not self.transport.is_closing():
            self.transport.resume_reading()


class TcpLink:
    """Bytes of a TCP connection.

    A connection can die without a word (a cable pulled at the far end): the system is told to ask after it while it is
    silent, and `goes_deaf` lets a gauge that should send and doesn't be connected to anew.

    Args:
        address: `tcp:HOST:PORT?within=5`; `within` is how many seconds connecting may take.
        clock: gives monotonic nanoseconds.

    Raises:
        AddressError: host, port or an option can't be understood.
    """

    goes_deaf = True

    def __init__(self, address: Address, clock: Clock = time.monotonic_ns) -> None:
        self.address = address
        self._host, self._port = host_and_port(address)
        self._within_s = Options(address, ("within",)).number("within", WITHIN_S, 0.1, 600.0)
        self._clock = clock
        self._inbox: Inbox | None = None
        self._connection: _Connection | None = None

    async def open(self) -> None:
        """Connect.

        Raises:
            LinkFailedError: the name isn't known, nothing listens there, it can't be reached or doesn't answer in time,
                or the system doesn't permit it.
        """
        inbox = Inbox(self._clock)
        connection = _Connection(inbox, self._lost)
        try:
            async with asyncio.timeout(self._within_s):
                await asyncio.get_running_loop().create_connection(lambda: connection, self._host, self._port)
        except TimeoutError:
            words = f"no answer within {self._within_s:g} s"
            raise LinkFailedError(self.address.text, LinkReason.NOT_FOUND, words) from None
        except OSError as reason:
            raise LinkFailedError(self.address.text, *_why_not_connected(reason)) from reason
        self._inbox, self._connection = inbox, connection

    async def receive(self) -> Chunk:
        """Return the next bytes, or a tick.

        Raises:
            LinkFailedError: the other side closed the connection, or it broke.
        """
        if self._inbox is None:
            raise ValueError(f"{self.address} is not open")
        return await self._inbox.get()

    async def send(self, data: bytes) -> None:
        """Send bytes to the gauge.

        Raises:
            LinkFailedError: the connection is gone, or took nothing for two seconds.
        """
        connection = self._connection
        if connection is None:
            raise ValueError(f"{self.address} is not open")
        if connection.transport is None or connection.transport.is_closing():
            raise self._lost("the connection is closed")
        connection.transport.write(data)
        try:
            async with asyncio.timeout(_SEND_S):
                await connection.may_write.wait()
        except TimeoutError:
            raise self._lost("nothing was taken for two seconds") from None

    async def close(self) -> None:
        """Hang up; closing twice is fine."""
        connection, self._connection = self._connection, None
        if connection is not None and connection.transport is not None:
            connection.transport.abort()
            await asyncio.sleep(0)
        if self._inbox is not None:
            self._inbox.close()

    def _lost(self, words: str) -> LinkFailedError:
        return LinkFailedError(self.address.text, LinkReason.LOST, words)


def _words_of(reason: Exception) -> str:
    return (reason.strerror if isinstance(reason, OSError) else None) or str(reason)


def _why_not_connected(reason: OSError) -> tuple[LinkReason, str]:
    """Return why a connection could not be made, and words for it."""
    if isinstance(reason, socket.gaierror):
        return LinkReason.NOT_FOUND, "no host of that name is known"
    if isinstance(reason, PermissionError):
        return LinkReason.NOT_PERMITTED, _words_of(reason)
    if reason.errno in _NOT_THERE:
        return LinkReason.NOT_FOUND, _NOT_THERE[reason.errno]
    if reason.errno is None:  # several addresses were tried, each with a reason of its own
        return LinkReason.NOT_FOUND, str(reason)
    return LinkReason.FAILED, os.strerror(reason.errno)
