"""The adapter of this process: one Bumble host, there as long as something uses it.

Here: opening it for the first user, closing it behind the last, and who waits for it to be lost. Not here: scanning
and connecting. A refused socket means that there is no adapter, one that is closed at once that it is switched off.
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import Awaitable
from typing import Any, TypeVar

from bleak.exc import BleakBluetoothNotAvailableError, BleakBluetoothNotAvailableReason, BleakError
from bumble import core, hci
from bumble.device import Device
from bumble.transport.tcp_client import open_tcp_client_transport

from virtual_radio import PORT_VARIABLE

_T = TypeVar("_T")


class LostError(BleakError):
    """The adapter went away in the middle of something."""


class Adapter:
    """A Bumble host on the controller behind the socket."""

    def __init__(self) -> None:
        self.loop = asyncio.get_running_loop()
        self.users = 0
        self.scanners = 0
        self.lost = asyncio.Event()
        self.connecting = asyncio.Lock()
        self._opening = asyncio.Lock()
        self._transport: Any = None
        self._device: Device | None = None

    @property
    def device(self) -> Device:
        """The host's stack; only while the adapter is used."""
        if self._device is None:
            raise BleakError("Not connected")
        return self._device

    async def open(self) -> None:
        """Use it; every use is ended by `close`.

        Raises:
            BleakBluetoothNotAvailableError: there is none, or it is switched off.
        """
        async with self._opening:
            if self._device is None or self.lost.is_set():
                await self._connect()
            self.users += 1

    async def close(self) -> None:
        """End a use; the last one leaves the adapter."""
        self.users -= 1
        if self.users == 0:
            await self._leave()

    async def unless_lost(self, awaitable: Awaitable[_T], also: asyncio.Event | None = None) -> _T:
        """Return what is awaited.

        Raises:
            LostError: the adapter, or what `also` stands for, was lost first.
        """
        task = asyncio.ensure_future(awaitable)
        losses = [asyncio.ensure_future(event.wait()) for event in (self.lost, also) if event is not None]
        try:
            await asyncio.wait({task, *losses}, return_when=asyncio.FIRST_COMPLETED)
            if not task.done() or task.cancelled():
                raise LostError("disconnected")
            return task.result()
        finally:
            for each in (task, *losses):
                each.cancel()
            await asyncio.gather(*losses, return_exceptions=True)

    async def _connect(self) -> None:
        port = os.environ.get(PORT_VARIABLE, "")
        try:
            self._transport = await open_tcp_client_transport(f"127.0.0.1:{port or 1}")
        except OSError as error:
            raise BleakBluetoothNotAvailableError(
                "there is no virtual adapter", BleakBluetoothNotAvailableReason.NO_BLUETOOTH
            ) from error
        self.lost = asyncio.Event()
        self.scanners = 0
        address = hci.Address.generate_static_address()
        self._device = Device.with_hci("central", address, self._transport.source, self._transport.sink)
        self._transport.source.terminated.add_done_callback(lambda _, lost=self.lost: lost.set())
        try:
            await self.unless_lost(self._device.power_on())
        except (LostError, core.BaseBumbleError, ConnectionError) as error:
            await self._leave()
            raise BleakBluetoothNotAvailableError(
                "the virtual adapter is switched off", BleakBluetoothNotAvailableReason.POWERED_OFF
            ) from error

    async def _leave(self) -> None:
        device, self._device = self._device, None
        if device is not None:
            await device.power_off()
        await self._transport.close()
        await self._transport.source.terminated


_adapter: Adapter | None = None


def adapter() -> Adapter:
    """Return the adapter of this process and event loop."""
    global _adapter
    if _adapter is None or _adapter.loop is not asyncio.get_running_loop():
        _adapter = Adapter()
    return _adapter
