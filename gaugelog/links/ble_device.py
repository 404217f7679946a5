"""What a connected Bluetooth LE device tells of itself.

Here: its Device Information and its battery, read once and kept up to date. Not here: its readings. Whatever can't be
read is left out: nothing of this is needed to measure.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable
from dataclasses import replace

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic

from gaugelog.links.ble_address import whole_uuid
from gaugelog.links.ble_offers import BATTERY_LEVEL, notifies
from gaugelog.links.ble_words import RADIO_ERRORS
from gaugelog.model.device import Device

READ_S = 3.0
"""How long one answer is waited for."""

BATTERY_AGAIN_S = 600.0
"""After how long a battery that doesn't tell by itself is read again."""

_MAKER, _MODEL, _SERIAL, _FIRMWARE = (whole_uuid(short) for short in ("2a29", "2a24", "2a25", "2a26"))


class DeviceKeeper:
    """Asks a device who it is, then keeps its battery up to date until it is stopped.

    Args:
        client: connected.
        name: what the device calls itself.
        told: called with what is known, whenever more is.
        offered: what there is to read; not among it what gives the readings, which is never read.
    """

    def __init__(
        self,
        client: BleakClient,
        name: str,
        told: Callable[[Device], None],
        offered: Iterable[BleakGATTCharacteristic],
    ) -> None:
        self._client, self._told = client, told
        self._offered = {each.uuid: each for each in offered}
        self._device = Device(name=name)
        self._reading_again: asyncio.Task[None] | None = None

    async def ask(self) -> None:
        """Read what the device offers of itself."""
        self._device = replace(
            self._device,
            maker=await self._text(_MAKER),
            model=await self._text(_MODEL),
            serial_number=await self._text(_SERIAL),
            firmware=await self._text(_FIRMWARE),
        )
        self._told(self._device)
        battery = self._offered.get(BATTERY_LEVEL)
        if battery is not None:
            await self._watch(battery)

    def stop(self) -> None:
        """Ask no more; stopping twice is fine."""
        if self._reading_again is not None:
            self._reading_again.cancel()
            self._reading_again = None

    async def _watch(self, battery: BleakGATTCharacteristic) -> None:
        """Read the battery, then let it tell by itself; one that tells is never read, as that would tell it twice."""
        self._battery_is(await self._read(battery))
        if notifies(battery):
            try:
                async with asyncio.timeout(READ_S):
                    await self._client.start_notify(battery, lambda _, value: self._battery_is(bytes(value)))
            except RADIO_ERRORS:
                return
        else:
            self._reading_again = asyncio.create_task(self._read_again(battery))

    async def _read_again(self, battery: BleakGATTCharacteristic) -> None:
        while True:
            await asyncio.sleep(BATTERY_AGAIN_S)
            self._battery_is(await self._read(battery))

    def _battery_is(self, value: bytes) -> None:
        """Take a battery level in percent; more than 100 is reserved and means nothing."""
        if len(value) == 1 and value[0] <= 100:
            self._device = replace(self._device, battery_percent=value[0])
            self._told(self._device)

    async def _text(self, uuid: str) -> str:
        characteristic = self._offered.get(uuid)
        value = b"" if characteristic is None else await self._read(characteristic)
        return value.decode("utf-8", "replace").strip("\0 \t\r\n")

    async def _read(self, characteristic: BleakGATTCharacteristic) -> bytes:
        """Return a value, empty where there is none to be had."""
        if "read" not in characteristic.properties:
            return b""
        try:
            async with asyncio.timeout(READ_S):
                return bytes(await self._client.read_gatt_char(characteristic))
        except RADIO_ERRORS:
            return b""
