"""Many ports at once: read in rounds, and none the worse for it."""

from __future__ import annotations

import asyncio
import sys

import pytest

from gaugelog.errors import LinkFailedError
from gaugelog.links.pty_pair import PtyFarEnd
from gaugelog.links.rounds import CROWD, ROUND_S
from gaugelog.links.serial_port import SerialLink

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="there are no ptys on this system")


async def opened() -> tuple[PtyFarEnd, SerialLink]:
    far = PtyFarEnd()
    await far.open()
    link = SerialLink(far.near_address)
    await link.open()
    return far, link


async def received(link: SerialLink, wanted: int) -> bytes:
    data = b""
    while len(data) < wanted:
        data += (await link.receive()).data
    return data


async def test_a_crowd_of_ports_loses_nothing_while_ports_come_and_go() -> None:
    ports = [await opened() for _ in range(2 * CROWD)]
    lines = [b"%03d\r\n" % count for count in range(60)]

    async def send(far: PtyFarEnd) -> None:
        for line in lines:
            await far.send(line)
            await asyncio.sleep(ROUND_S / 4)

    wanted = sum(map(len, lines))
    sending = [asyncio.create_task(send(far)) for far, _ in ports]
    late_far, late = await opened()
    await late.close()
    await late_far.close()
    got = await asyncio.gather(*(received(link, wanted) for _, link in ports))
    await asyncio.gather(*sending)
    assert got == [b"".join(lines)] * len(ports)
    for far, link in ports[: CROWD + 1]:
        await far.close()
        with pytest.raises(LinkFailedError):
            await received(link, 1)
        await link.close()
    for far, link in ports[CROWD + 1 :]:
        await far.send(b"still here\r\n")
        assert await received(link, 12) == b"still here\r\n"
        await link.close()
        await far.close()


async def test_after_the_last_port_is_closed_the_next_begins_anew() -> None:
    for _ in range(2):
        ports = [await opened() for _ in range(CROWD)]
        for far, _ in ports:
            await far.send(b"2.85\r\n")
        for far, link in ports:
            assert await received(link, 6) == b"2.85\r\n"
            await link.close()
            await far.close()
