"""The quick radio: gaugelog hears the air through Bumble's host and a socket of this machine.

Here: the air's end of that socket: every process that connects gets a controller of its own. Not here: the other end,
which is the plug-in `virtual_radio`.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

from bumble.transport.common import StreamPacketSink, StreamPacketSource

from radio_bench.controllers import Air, AirController
from radio_bench.radio import Radio


class _Socket(StreamPacketSource):
    """One process's adapter: its HCI on a socket, its controller in the air."""

    def __init__(self, radio: BumbleRadio) -> None:
        super().__init__()
        self._radio = radio
        self._controller: AirController | None = None
        self.transport: Any = None

    def connection_made(self, transport: Any) -> None:
        if not self._radio.powered:
            transport.close()
            return
        self.transport = transport
        self._controller = AirController("adapter", self, StreamPacketSink(transport), self._radio.air)
        self._radio.sockets.add(self)

    def connection_lost(self, _reason: Exception | None) -> None:
        if self._controller is None:
            return
        self._radio.sockets.discard(self)
        self._controller.hang_up_everywhere()
        self._controller.set_packet_sink(None)
        self._radio.air.remove_controller(self._controller)


class BumbleRadio(Radio):
    """A radio that any process can hear which knows the port."""

    scheme = "ble-virtual"
    settle_s = 0.02

    def __init__(self, air: Air) -> None:
        super().__init__(air)
        self.powered = True
        self.sockets: set[_Socket] = set()

    async def power(self, on: bool) -> None:
        self.powered = on
        for socket in () if on else tuple(self.sockets):
            socket.transport.close()
        await asyncio.sleep(self.settle_s)


@asynccontextmanager
async def bumble_radio() -> AsyncIterator[tuple[BumbleRadio, int]]:
    """Yield a radio and the port on which it is to be heard."""
    radio = BumbleRadio(Air())
    server = await asyncio.get_running_loop().create_server(lambda: _Socket(radio), "127.0.0.1", 0)
    try:
        yield radio, server.sockets[0].getsockname()[1]
    finally:
        await radio.silence()
        server.close()
        await radio.power(False)
        await server.wait_closed()
