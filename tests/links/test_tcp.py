"""A gauge behind a TCP socket, with a real server on this machine."""

from __future__ import annotations

import asyncio
import errno
import os
import socket
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress

import pytest

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.datasheets.meaning import Encoding
from gaugelog.errors import AddressError, LinkFailedError, LinkReason
from gaugelog.gauges.connect import open_gauge
from gaugelog.gauges.read_once import read_once
from gaugelog.links import GoesDeaf, tcp
from gaugelog.links.tcp import TcpLink, host_and_port
from gaugelog.model.gauges import parse_address

Handler = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


@asynccontextmanager
async def serving(handle: Handler, host: str = "127.0.0.1") -> AsyncIterator[int]:
    """A server on this machine; its port. At the end every connection is closed and has been seen to its end."""
    handlers: list[asyncio.Task[None]] = []

    async def accept(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        handlers.append(task)
        with suppress(ConnectionError):
            await handle(reader, writer)
        writer.close()
        with suppress(ConnectionError):
            await writer.wait_closed()

    server = await asyncio.start_server(accept, host, 0)
    yield server.sockets[0].getsockname()[1]
    server.close()
    await asyncio.gather(*handlers)
    await server.wait_closed()


def has_ipv6() -> bool:
    """Return whether this machine has an IPv6 address of its own."""
    with socket.socket(socket.AF_INET6) as probe, suppress(OSError):
        probe.bind(("::1", 0))
        return True
    return False


def link_to(address: str) -> TcpLink:
    return TcpLink(parse_address(address))


async def until_lost(link: TcpLink, got: list[bytes] | None = None) -> None:
    while True:
        data = (await link.receive()).data
        if got is not None:
            got.append(data)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("tcp:192.0.2.7:4001", ("192.0.2.7", 4001)),
        ("tcp:bench.example:23", ("bench.example", 23)),
        ("tcp:[2001:db8::7]:4001", ("2001:db8::7", 4001)),
    ],
)
def test_host_and_port_are_read(text: str, wanted: tuple[str, int]) -> None:
    assert host_and_port(parse_address(text)) == wanted


@pytest.mark.parametrize(
    "text",
    ["tcp:", "tcp:host", "tcp::4001", "tcp:host:0", "tcp:host:65536", "tcp:host:x", "tcp:2001:db8::7:4001",
     "tcp:a..b:4001", "tcp:" + 64 * "x" + ":4001", "tcp:[host]:4001", "tcp:a%00b:4001", "tcp:ho st:4001",
     "tcp:host:4001?within=0", "tcp:host:4001?baud=9600"],
)  # fmt: skip
def test_what_is_no_address_is_told(text: str) -> None:
    with pytest.raises(AddressError):
        link_to(text)


async def test_a_gauge_with_a_network_of_its_own_is_read_over_both_versions_of_the_protocol() -> None:
    sheet = find_datasheet("angle-line")
    line = Encoding(sheet)

    async def gauge(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        for value in (2.80, 2.85, 2.90):
            writer.write(line.encode(value))
            await writer.drain()

    for host, shown in (("127.0.0.1", "127.0.0.1"), ("::1", "[::1]"))[: 2 if has_ipv6() else 1]:
        async with serving(gauge, host) as port:
            heard = await read_once(open_gauge(f"angle-line@tcp:{shown}:{port}"), count=3)
        assert [reading.text for reading in heard.readings] == ["2.80", "2.85", "2.90"]


async def test_what_is_asked_reaches_the_gauge() -> None:
    asked: asyncio.Queue[bytes] = asyncio.Queue()

    async def gauge(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while question := await reader.read(100):
            asked.put_nowait(question)
            writer.write(b"L=+0.42\r\n")

    async with serving(gauge) as port:
        heard = await read_once(open_gauge(f"caliper-polled@tcp:127.0.0.1:{port}"), count=2)
    assert [reading.text for reading in heard.readings] == ["0.42", "0.42"]
    assert asked.get_nowait() == b"?\r"


async def test_a_port_at_which_nothing_listens_is_not_found() -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with pytest.raises(LinkFailedError) as failed:
        await link_to(f"tcp:127.0.0.1:{port}").open()
    assert (failed.value.reason, failed.value.detail) == (LinkReason.NOT_FOUND, "nothing listens at that port")


async def test_a_name_that_nobody_knows_is_not_found() -> None:
    with pytest.raises(LinkFailedError) as failed:
        await link_to("tcp:no-such-host.invalid:4001").open()
    assert failed.value.reason is LinkReason.NOT_FOUND


async def test_a_host_that_does_not_answer_is_given_up_in_time() -> None:
    """A listener whose queue is full answers nothing, as a host behind a wall doesn't."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen(0)
        full = []
        for _ in range(8):
            waiting = socket.socket()
            waiting.setblocking(False)
            waiting.connect_ex(listener.getsockname())
            full.append(waiting)
        with pytest.raises(LinkFailedError) as failed:
            await link_to(f"tcp:127.0.0.1:{listener.getsockname()[1]}?within=0.2").open()
        for waiting in full:
            waiting.close()
    assert (failed.value.reason, failed.value.detail) == (LinkReason.NOT_FOUND, "no answer within 0.2 s")


async def test_a_reset_connection_is_lost_and_sending_into_it_fails() -> None:
    async def reset(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        linger_for_nothing = b"\1\0\0\0\0\0\0\0"
        writer.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger_for_nothing)

    async with serving(reset) as port:
        link = link_to(f"tcp:127.0.0.1:{port}")
        await link.open()
        for _ in range(2):
            with pytest.raises(LinkFailedError) as failed:
                await until_lost(link)
            assert failed.value.reason is LinkReason.LOST
        with pytest.raises(LinkFailedError) as failed:
            await link.send(b"?\r")
        assert failed.value.reason is LinkReason.LOST
        await link.close()


async def test_a_flood_is_taken_whole_and_in_order_though_nobody_reads_for_a_while() -> None:
    flood = bytes(range(256)) * 40_000

    async def gauge(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(flood)
        await writer.drain()

    async with serving(gauge) as port:
        link = link_to(f"tcp:127.0.0.1:{port}")
        await link.open()
        await asyncio.sleep(0.3)
        got: list[bytes] = []
        with pytest.raises(LinkFailedError):
            await until_lost(link, got)
        assert b"".join(got) == flood
        await link.close()


async def test_the_system_is_told_to_watch_a_silent_connection() -> None:
    async def silent(reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
        await reader.read()

    async with serving(silent) as port:
        link = link_to(f"tcp:127.0.0.1:{port}")
        await link.open()
        assert isinstance(link, GoesDeaf)
        assert link.goes_deaf
        assert link._transport is not None
        connection = link._transport.get_extra_info("socket")
        assert connection.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE)
        for name, value in tcp._KEEPALIVE.items():
            if hasattr(socket, name):
                assert connection.getsockopt(socket.IPPROTO_TCP, getattr(socket, name)) == value
        await link.close()


async def test_each_address_of_a_host_is_tried_and_the_likeliest_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    """Which addresses a name has is put in by hand: both are this machine's, and nothing listens at the first."""

    async def gauge(reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
        await reader.read()

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        nothing = free.getsockname()[1]
    ports = [nothing]

    async def known(*_asked: object, **_more: object) -> list[tuple[int, int, int, str, tuple[str, int]]]:
        return [(socket.AF_INET, socket.SOCK_STREAM, 0, "", ("127.0.0.1", port)) for port in ports]

    link = link_to("tcp:bench.example:4001")
    async with serving(gauge) as there:
        monkeypatch.setattr(asyncio.get_running_loop(), "getaddrinfo", known)
        ports.append(there)
        await link.open()
        await link.close()
    ports[1] = nothing
    with pytest.raises(LinkFailedError) as failed:
        await link.open()
    assert (failed.value.reason, failed.value.detail) == (LinkReason.NOT_FOUND, "nothing listens at that port")


@pytest.mark.parametrize(
    ("number", "reason"), [(errno.EACCES, LinkReason.NOT_PERMITTED), (errno.EHOSTUNREACH, LinkReason.NOT_FOUND)]
)
async def test_the_systems_refusal_to_connect_is_told_apart(
    monkeypatch: pytest.MonkeyPatch, number: int, reason: LinkReason
) -> None:
    """What the system says is put in by hand."""

    async def refuse(*_arguments: object) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(asyncio.get_running_loop(), "sock_connect", refuse)
    with pytest.raises(LinkFailedError) as failed:
        await link_to("tcp:127.0.0.1:4001").open()
    assert failed.value.reason is reason
