"""One contract over every link into which a test can put bytes."""

from __future__ import annotations

import asyncio
import os
import sys
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from tempfile import TemporaryDirectory

import pytest

from gaugelog.links import Link, LinkEnded, contract
from gaugelog.links.contract import check_link
from gaugelog.links.faults import FaultLink, Faults
from gaugelog.links.pair import memory_pair
from gaugelog.links.pty_pair import PtyFarEnd
from gaugelog.links.serial_port import SerialLink
from gaugelog.links.tap import TapLink
from gaugelog.links.tcp import TcpLink
from gaugelog.links.typed import TypedLink
from gaugelog.model.gauges import Address, parse_address

Write = Callable[[bytes], Awaitable[None]]
Unplug = Callable[[], Awaitable[None]]
Rig = tuple[Link, Write, Unplug]


@asynccontextmanager
async def serial_rig() -> AsyncIterator[Rig]:
    far = PtyFarEnd()
    await far.open()
    yield SerialLink(far.near_address), far.send, far.close
    await far.close()


@asynccontextmanager
async def server_rig(plain: type[SerialLink] | type[TcpLink], scheme: str) -> AsyncIterator[Rig]:
    writers: list[asyncio.StreamWriter] = []

    def came(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writers.append(writer)

    server = await asyncio.start_server(came, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]

    class AcceptedLink(plain):
        """Opened only when the other side knows of it, so that a test writes to the newest connection."""

        async def open(self) -> None:
            known = len(writers)
            await super().open()
            while len(writers) == known:
                await asyncio.sleep(0.01)

    async def write(data: bytes) -> None:
        writers[-1].write(data)

    async def unplug() -> None:
        writers[-1].close()

    yield AcceptedLink(parse_address(f"{scheme}127.0.0.1:{port}")), write, unplug
    server.close()
    for writer in writers:
        writer.close()
    await server.wait_closed()


def socket_rig() -> AbstractAsyncContextManager[Rig]:
    return server_rig(SerialLink, "serial:socket://")


def tcp_rig() -> AbstractAsyncContextManager[Rig]:
    return server_rig(TcpLink, "tcp:")


@asynccontextmanager
async def tapped_rig() -> AsyncIterator[Rig]:
    with TemporaryDirectory() as folder:
        async with tcp_rig() as (inner, write, unplug):
            yield TapLink(inner, f"{folder}/tapped.log"), write, unplug


@asynccontextmanager
async def faulty_rig() -> AsyncIterator[Rig]:
    async with serial_rig() as (inner, write, unplug):
        yield FaultLink(inner, Faults(cut=0.5, glue=0.4, delay=0.02)), write, unplug


@asynccontextmanager
async def pair_rig() -> AsyncIterator[Rig]:
    near, far = memory_pair()
    await far.open()
    yield near, far.send, far.close
    await far.close()


@asynccontextmanager
async def typed_rig() -> AsyncIterator[Rig]:
    read_end, write_end = os.pipe()

    async def write(data: bytes) -> None:
        os.write(write_end, data)

    async def unplug() -> None:
        os.close(write_end)

    yield TypedLink(parse_address("typed:"), descriptor=read_end), write, unplug
    os.close(read_end)


@pytest.mark.parametrize("rig", [serial_rig, socket_rig, tcp_rig, tapped_rig, faulty_rig, pair_rig, typed_rig])
async def test_every_link_keeps_the_contract(rig) -> None:
    if rig in (serial_rig, faulty_rig) and sys.platform == "win32":
        pytest.skip("there are no ptys on this system")
    async with rig() as (link, write, unplug):
        await check_link(link, write, unplug, ends_by=LinkEnded if rig is typed_rig else None)


class Doubling:
    """A faulty link: it gives every chunk twice."""

    def __init__(self, link: Link) -> None:
        self.address: Address = link.address
        self.link = link
        self.again = None

    def __getattr__(self, name: str):
        return getattr(self.link, name)

    async def receive(self):
        if self.again is not None:
            chunk, self.again = self.again, None
            return chunk
        chunk = await self.link.receive()
        self.again = chunk if chunk.data else None
        return chunk


class Mute(Doubling):
    """A faulty link: it never ticks and never ends."""

    async def receive(self):
        while True:
            try:
                chunk = await self.link.receive()
            except Exception:
                await asyncio.sleep(3600)
            if chunk.data:
                return chunk


@pytest.mark.parametrize("faulty", [Doubling, Mute])
async def test_the_contract_finds_a_faulty_link(faulty, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(contract, "_PATIENCE_S", 0.6)
    async with pair_rig() as (link, write, unplug):
        with pytest.raises(AssertionError):
            await check_link(faulty(link), write, unplug)
        await link.close()
