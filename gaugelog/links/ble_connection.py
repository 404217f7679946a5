"""One connection to a Bluetooth LE gauge, from the first packet to the last.

Here: connecting, subscribing, sending, and noticing that nothing is there any more. Not here: looking for the device
(`links.ble_search`), nor connecting again: that is a new connection.
"""

from __future__ import annotations

import asyncio
from collections.abc import Sequence

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.descriptor import BleakGATTDescriptor
from bleak.backends.device import BLEDevice
from bleak.exc import BleakGATTProtocolError

from gaugelog.errors import LinkFailedError, LinkReason
from gaugelog.links.ble_address import BleTarget, short_uuid
from gaugelog.links.ble_backends import Backends
from gaugelog.links.ble_offers import (
    NotOfferedError,
    is_writable,
    listed,
    meant_to_notify,
    meant_to_write,
    notifies,
    presentation_format,
)
from gaugelog.links.ble_words import GONE_WORDS, RADIO_ERRORS, why, why_not_connected
from gaugelog.links.inbox import FULL, Inbox

CONNECT_S = 15.0
"""How long connecting may take, finding out what the device offers included."""

CLOSE_S = 5.0
LOOK_S = 4.0
"""After how long a silence it is looked whether the gauge is still there, and how long its answer may take."""

_FORMAT_LENGTH = 7


class BleConnection:
    """A connection; to be made inside a running event loop, opened once and closed once.

    Args:
        target: what the gauge's address says.
        inbox: where each notification goes, and how this ends.
        backends: what stands in for the system's Bluetooth.
        address_text: names the gauge in failures.

    `offered` is all that the gauge offers, once it is connected.
    """

    def __init__(self, target: BleTarget, inbox: Inbox, backends: Backends, address_text: str) -> None:
        self._target, self._inbox, self._backends = target, inbox, backends
        self._address_text = address_text
        self._before_each = b""
        self._client: BleakClient | None = None
        self.offered: Sequence[BleakGATTCharacteristic] = ()
        self._notify: BleakGATTCharacteristic | None = None
        self._write: BleakGATTCharacteristic | None = None
        self._watch: asyncio.Task[None] | None = None
        self._last_s = 0.0
        self._given_up = False
        inbox.filled_by(self)

    @property
    def client(self) -> BleakClient:
        """The client, once it is connected."""
        if self._client is None:
            raise ValueError("not connected yet")
        return self._client

    @property
    def notify(self) -> BleakGATTCharacteristic:
        """The characteristic that gives the readings, once it is connected."""
        if self._notify is None:
            raise ValueError("not connected yet")
        return self._notify

    async def connect(self, device: BLEDevice) -> None:
        """Connect to a device that was just found, and choose what to listen to.

        Raises:
            LinkFailedError: it can't be connected to, or doesn't offer what is wanted.
        """
        client = BleakClient(device, self._hung_up, timeout=CONNECT_S, backend=self._backends.client)
        self._client = client
        try:
            await client.connect()
        except RADIO_ERRORS as error:
            raise self._failed(*await why_not_connected(error, self._backends)) from error
        try:
            self.offered = list(client.services.characteristics.values())
            self._notify = meant_to_notify(client.services, self._target)
            self._write = meant_to_write(client.services, self._target, self._notify)
            if self._target.described:
                self._before_each = await self._format(self._notify)
        except NotOfferedError as missing:
            raise self._failed(LinkReason.NOT_OFFERED, str(missing)) from missing
        except RADIO_ERRORS as error:
            raise self._failed(*self._why_not_asked(error)) from error

    async def subscribe(self) -> None:
        """Let the readings come.

        Raises:
            LinkFailedError: the gauge refuses, or is gone.
        """
        try:
            async with asyncio.timeout(CONNECT_S):
                await self.client.start_notify(self.notify, self._came)
        except RADIO_ERRORS as error:
            raise self._failed(*self._why_not_asked(error)) from error
        self._last_s = asyncio.get_running_loop().time()
        self._watch = asyncio.create_task(self._look_again_and_again())

    async def send(self, data: bytes) -> None:
        """Send bytes, in pieces that the connection can carry.

        Raises:
            LinkFailedError: there is nothing to write to, the gauge rejects it, or it is gone.
        """
        write = self._write
        if not self.client.is_connected:
            raise self._failed(LinkReason.LOST, GONE_WORDS)
        if write is None:
            where = listed(filter(is_writable, self.offered))
            raise self._failed(LinkReason.NOT_OFFERED, f"write= has to say where to send to: {where}")
        length = write.max_write_without_response_size
        try:
            for start in range(0, len(data), length):
                piece = data[start : start + length]
                await self.client.write_gatt_char(write, piece, response="write" in write.properties)
        except BleakGATTProtocolError as error:
            raise self._failed(*why(error, LinkReason.FAILED)) from error
        except RADIO_ERRORS as error:
            raise self._failed(LinkReason.LOST, why(error, LinkReason.LOST)[1]) from error

    async def close(self) -> None:
        """Hang up; closing twice is fine. It is done after a loss too: else each notification would come twice."""
        watch, self._watch = self._watch, None
        if watch is not None:
            watch.cancel()
        client, self._client = self._client, None
        if client is None:
            return
        try:
            async with asyncio.timeout(CLOSE_S):
                await client.disconnect()
        except RADIO_ERRORS:
            return

    def pause(self) -> None:
        """Give up: nobody takes what comes, a radio can't be made to wait, and what is left out would falsify lines."""
        self._given_up = True
        self._lost(f"{FULL} notifications came that nothing took")

    def resume(self) -> None:
        """Do nothing: it was given up."""

    def _came(self, _characteristic: BleakGATTCharacteristic, value: bytearray) -> None:
        self._last_s = asyncio.get_running_loop().time()
        if not self._given_up:
            self._inbox.put(self._before_each + value)

    def _hung_up(self, _client: BleakClient) -> None:
        self._lost(GONE_WORDS)

    def _lost(self, words: str) -> None:
        self._inbox.end(self._failed(LinkReason.LOST, words))

    async def _format(self, characteristic: BleakGATTCharacteristic) -> bytes:
        """Return the seven bytes in which a characteristic describes its value."""
        descriptor = presentation_format(characteristic)
        named = short_uuid(characteristic.uuid)
        if descriptor is None:
            raise NotOfferedError(f"{named} does not describe its value (it has no descriptor 2904)")
        async with asyncio.timeout(CONNECT_S):
            described = bytes(await self.client.read_gatt_descriptor(descriptor))
        if len(described) != _FORMAT_LENGTH:
            raise NotOfferedError(f"{named} describes its value in {len(described)} bytes, not {_FORMAT_LENGTH}")
        return described

    async def _look_again_and_again(self) -> None:
        """While nothing comes, look whether anything could: a Bluetooth service that died doesn't say so."""
        loop = asyncio.get_running_loop()
        while True:
            await asyncio.sleep(LOOK_S)
            if loop.time() - self._last_s < LOOK_S:
                continue
            try:
                async with asyncio.timeout(LOOK_S):
                    alive = self.client.is_connected and await self._answers()
            except RADIO_ERRORS as error:
                self._lost(why(error, LinkReason.LOST)[1])
                return
            if not alive:
                self._lost(GONE_WORDS)
                return

    async def _answers(self) -> bool:
        """Read something harmless; that the gauge refuses it is an answer too.

        What is subscribed is never read, as its value would come once more. True where there is nothing to read.
        """
        readable = _harmless(self.offered)
        try:
            if isinstance(readable, BleakGATTDescriptor):
                await self.client.read_gatt_descriptor(readable)
            elif readable is not None:
                await self.client.read_gatt_char(readable)
        except BleakGATTProtocolError:
            return True
        return True

    def _why_not_asked(self, error: BaseException) -> tuple[LinkReason, str]:
        """Return why a device that was connected did not do what it was asked."""
        reason, words = why(error, LinkReason.FAILED)
        if reason is LinkReason.FAILED and not self.client.is_connected:
            return LinkReason.LOST, GONE_WORDS
        return reason, words

    def _failed(self, reason: LinkReason, words: str) -> LinkFailedError:
        return LinkFailedError(self._address_text, reason, words)


def _harmless(offered: Sequence[BleakGATTCharacteristic]) -> BleakGATTCharacteristic | BleakGATTDescriptor | None:
    """Return what can be read without any effect: of what sends by itself, only a descriptor."""
    for each in offered:
        if "read" in each.properties and not notifies(each):
            return each
    return next((descriptor for each in offered for descriptor in each.descriptors), None)
