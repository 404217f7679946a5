"""A gauge behind a TCP socket: a serial server, or a gauge with a network of its own.

Here: connecting, reading, writing and losing a connection. Not here: what comes through it.
"""

from __future__ import annotations

import asyncio
import errno
import ipaddress
import re
import socket
from contextlib import suppress
from typing import Any, cast

from gaugelog.errors import AddressError, LinkFailedError, LinkReason
from gaugelog.links.clock import now_ns
from gaugelog.links.inbox import Clock, Inbox
from gaugelog.links.options import Options
from gaugelog.model.gauges import Address
from gaugelog.model.readings import Chunk

WITHIN_S = 5.0
"""How long connecting may take, unless the address says otherwise."""

_SEND_S = 2.0
_PIECE = 4096
"""How many bytes make one chunk at most: the system may hand over a quarter of a megabyte at once, and whatever is done
with a chunk keeps everything else waiting."""

_KEEPALIVE = {"TCP_KEEPIDLE": 5, "TCP_KEEPINTVL": 2, "TCP_KEEPCNT": 3, "TCP_USER_TIMEOUT": 11_000}
"""After 5 s of silence the other side is asked every 2 s whether it is still there; three times no answer is a loss.
What was sent and is not acknowledged within 11 000 ms is one too: the system doesn't ask while it waits for that.
"""

_NAME = re.compile(r"[\w.-]+").fullmatch

_NOT_THERE = {
    errno.ECONNREFUSED: "nothing listens at that port",
    errno.EHOSTUNREACH: "that host can't be reached",
    errno.ENETUNREACH: "there is no network that leads there",
    errno.EHOSTDOWN: "that host is down",
    errno.ETIMEDOUT: "no answer",
    errno.EADDRNOTAVAIL: "this computer has no address of that kind",
}


def host_and_port(address: Address) -> tuple[str, int]:
    """Return the host and the port of `tcp:HOST:PORT`; an IPv6 address stands in brackets.

    Raises:
        AddressError: one of the two is missing, or the port is no number from 1 to 65535.
    """
    host, colon, port = address.target.rpartition(":")
    if not colon or not host:
        raise AddressError(address.text, "host and port stand behind tcp:, such as tcp:192.0.2.7:4001")
    if not (port.isascii() and port.isdigit()) or not 1 <= int(port) <= 65535:
        raise AddressError(address.text, "the port is a whole number from 1 to 65535")
    in_brackets = host.startswith("[") and host.endswith("]")
    try:
        return (_version_6(host[1:-1]) if in_brackets else _name_or_version_4(host)), int(port)
    except ValueError as reason:
        raise AddressError(address.text, str(reason)) from None


def _version_6(text: str) -> str:
    """Return an IPv6 address as written; raise `ValueError` if it is none."""
    try:
        ipaddress.IPv6Address(text)
    except ValueError:
        raise ValueError("in brackets stands an IPv6 address, such as tcp:[::1]:4001") from None
    return text


def _name_or_version_4(text: str) -> str:
    """Return a host as written; raise `ValueError` if no host can be called so."""
    if ":" in text:
        raise ValueError("an IPv6 address stands in brackets, such as tcp:[::1]:4001")
    try:
        text.encode("idna")
    except UnicodeError:
        raise ValueError("a host's name has 1 to 63 characters between two points") from None
    if not _NAME(text):
        raise ValueError("a host's name has letters, digits, points and hyphens")
    return text


class _Connection(asyncio.Protocol):
    """One connection: what it gives goes into its own inbox, so that an old one can't end a new one."""

    def __init__(self, inbox: Inbox, address: str) -> None:
        self.inbox = inbox
        self.may_write = asyncio.Event()
        self.may_write.set()
        self.loss: LinkFailedError | None = None
        self._address = address
        self._transport: asyncio.Transport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Take the connection; `send` is to wait until the system has taken all."""
        self._transport = cast(asyncio.Transport, transport)
        self._transport.set_write_buffer_limits(0)
        self.inbox.filled_by(self)

    def data_received(self, data: bytes) -> None:
        """Put what came where `receive` takes it."""
        for start in range(0, len(data), _PIECE):
            self.inbox.put(data[start : start + _PIECE])

    def connection_lost(self, reason: Exception | None) -> None:
        """Say that nothing will come any more."""
        words = "the other side closed the connection" if reason is None else _words_of(reason)
        self.loss = LinkFailedError(self._address, LinkReason.LOST, words)
        self.inbox.end(self.loss)
        self.may_write.set()

    def pause_writing(self) -> None:
        """Let `send` wait: the other side takes nothing."""
        self.may_write.clear()

    def resume_writing(self) -> None:
        """Let `send` go on."""
        self.may_write.set()

    def pause(self) -> None:
        """Read no more for now: the other side then has to wait."""
        if self._transport is not None:
            self._transport.pause_reading()

    def resume(self) -> None:
        """Go on reading."""
        if self._transport is not None:
            self._transport.resume_reading()


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

    def __init__(self, address: Address, clock: Clock = now_ns) -> None:
        self.address = address
        self._host, self._port = host_and_port(address)
        self._within_s = Options(address, ("within",)).number("within", WITHIN_S, 0.1, 600.0)
        self._clock = clock
        self._connection: _Connection | None = None
        self._transport: asyncio.Transport | None = None

    async def open(self) -> None:
        """Connect.

        Raises:
            LinkFailedError: the name isn't known, nothing listens there, it can't be reached or doesn't answer in time,
                or the system doesn't permit it.
        """
        await self.close()
        try:
            connected = await self._connected()
        except TimeoutError as reason:
            words = _words_of(reason) if reason.errno else f"no answer within {self._within_s:g} s"
            raise LinkFailedError(self.address.text, LinkReason.NOT_FOUND, words) from reason
        except OSError as reason:
            raise LinkFailedError(self.address.text, *_why_not_connected(reason)) from reason
        connection = self._connection = _Connection(Inbox(self._clock), self.address.text)
        try:
            loop = asyncio.get_running_loop()
            self._transport, _ = await loop.create_connection(lambda: connection, sock=connected)
        except BaseException:
            connected.close()
            await self.close()
            raise

    async def receive(self) -> Chunk:
        """Return the next bytes, or a tick.

        Raises:
            LinkFailedError: the other side closed the connection, or it broke.
        """
        return await self._opened().inbox.get()

    async def send(self, data: bytes) -> None:
        """Send bytes to the gauge.

        Raises:
            LinkFailedError: the connection is gone, or took nothing for two seconds.
        """
        connection, transport = self._opened(), self._transport
        if connection.loss is not None or transport is None or transport.is_closing():
            raise connection.loss or self._lost("the connection is closed")
        transport.write(data)
        try:
            async with asyncio.timeout(_SEND_S):
                await connection.may_write.wait()
        except TimeoutError:
            raise self._lost("nothing was taken for two seconds") from None
        if connection.loss is not None:
            raise connection.loss

    async def close(self) -> None:
        """Hang up; closing twice is fine."""
        connection, self._connection = self._connection, None
        transport, self._transport = self._transport, None
        if transport is not None:
            transport.abort()
            await asyncio.sleep(0)  # it lets go of its socket in the next turn
        if connection is not None:
            connection.inbox.close()

    async def _connected(self) -> socket.socket:
        """Return a connected socket, trying each address of the host; none may take all the time from the others.

        Raises:
            OSError: what the likeliest of its addresses said.
        """
        loop = asyncio.get_running_loop()
        until_s = loop.time() + self._within_s
        async with asyncio.timeout_at(until_s):
            places = await loop.getaddrinfo(self._host, self._port, type=socket.SOCK_STREAM)
        reasons: list[OSError] = []
        for left, (family, kind, protocol, _, where) in zip(range(len(places), 0, -1), places, strict=True):
            try:
                async with asyncio.timeout((until_s - loop.time()) / left):
                    return await _connected_socket(socket.socket(family, kind, protocol), where)
            except OSError as reason:
                reasons.append(reason)
        raise reasons[0]

    def _opened(self) -> _Connection:
        if self._connection is None:
            raise ValueError(f"{self.address} is not open")
        return self._connection

    def _lost(self, words: str) -> LinkFailedError:
        return LinkFailedError(self.address.text, LinkReason.LOST, words)


async def _connected_socket(made: socket.socket, where: Any) -> socket.socket:
    """Return a new socket connected and watched over by the system; closed where that fails."""
    try:
        made.setblocking(False)
        await asyncio.get_running_loop().sock_connect(made, where)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        for name, value in _KEEPALIVE.items():
            if hasattr(socket, name):
                with suppress(OSError):
                    made.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)
    except BaseException:
        made.close()
        raise
    return made


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
    return LinkReason.FAILED, _words_of(reason)
