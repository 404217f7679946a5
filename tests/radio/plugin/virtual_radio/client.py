"""bleak's client over the virtual radio."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable
from typing import Any, TypeVar

from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import BaseBleakClient, NotifyCallback
from bleak.backends.descriptor import BleakGATTDescriptor
from bleak.backends.device import BLEDevice
from bleak.backends.service import BleakGATTService, BleakGATTServiceCollection
from bleak.exc import BleakBluetoothNotAvailableError, BleakError, BleakGATTProtocolError
from bumble import att, core, hci
from bumble.device import Connection, Device, Peer
from bumble.gatt import Characteristic

from virtual_radio.adapter import adapter
from virtual_radio.scanner import uuid_text

_MTU = 517
_PROPERTIES = {
    Characteristic.Properties.BROADCAST: "broadcast",
    Characteristic.Properties.READ: "read",
    Characteristic.Properties.WRITE_WITHOUT_RESPONSE: "write-without-response",
    Characteristic.Properties.WRITE: "write",
    Characteristic.Properties.NOTIFY: "notify",
    Characteristic.Properties.INDICATE: "indicate",
}
_T = TypeVar("_T")


class VirtualClient(BaseBleakClient):
    """A GATT client; a device that is connected already is shared, and one who hangs up hangs up for all."""

    def __init__(self, address_or_ble_device: Any, *, disconnected_callback: Any, timeout: float, **_options: Any):
        super().__init__(address_or_ble_device, disconnected_callback=disconnected_callback, timeout=timeout)
        if not isinstance(address_or_ble_device, BLEDevice):
            raise BleakError("the virtual client is given a device that was found")
        self._found = address_or_ble_device
        self._adapter = adapter()
        self._uses_adapter = False
        self._lost = asyncio.Event()
        self._connection: Connection | None = None
        self._peer: Peer | None = None
        self._subscribed: dict[int, Any] = {}

    @property
    def name(self) -> str:
        return self._found.name or self.address.replace(":", "-")

    @property
    def mtu_size(self) -> int:
        return self._connection.att_mtu if self._connection else 23

    @property
    def is_connected(self) -> bool:
        return self._connection is not None

    async def connect(self, pair: bool, **_options: Any) -> None:
        try:
            await self._adapter.open()
        except BleakBluetoothNotAvailableError as error:  # the system's own client says no more than this
            raise BleakError("Failed") from error
        self._uses_adapter = True
        self._lost = asyncio.Event()
        try:
            async with asyncio.timeout(self._timeout):
                await self._connect()
        except BaseException:
            await self.disconnect()
            raise

    async def disconnect(self) -> None:
        if self._connection is not None:
            await self._adapter.unless_lost(self._connection.disconnect(), self._lost)
        if self._uses_adapter:
            self._uses_adapter = False
            await self._adapter.close()

    async def pair(self, *_arguments: Any, **_options: Any) -> None:
        raise NotImplementedError("gaugelog never pairs: the system's settings do")

    async def unpair(self) -> None:
        raise NotImplementedError("gaugelog never pairs: the system's settings do")

    async def read_gatt_char(self, characteristic: BleakGATTCharacteristic, **_options: Any) -> bytearray:
        return bytearray(await self._asked(self._needed().read_value(characteristic.obj)))

    async def read_gatt_descriptor(self, descriptor: BleakGATTDescriptor, **_options: Any) -> bytearray:
        return bytearray(await self._asked(self._needed().read_value(descriptor.obj)))

    async def write_gatt_char(self, characteristic: BleakGATTCharacteristic, data: Any, response: bool) -> None:
        if not response and len(data) > self.mtu_size - 3:
            raise BleakError("more than fits into one packet")
        await self._asked(self._needed().write_value(characteristic.obj, bytes(data), with_response=response))

    async def write_gatt_descriptor(self, descriptor: BleakGATTDescriptor, data: Any) -> None:
        await self._asked(self._needed().write_value(descriptor.obj, bytes(data), with_response=True))

    async def start_notify(
        self, characteristic: BleakGATTCharacteristic, callback: NotifyCallback, **_options: Any
    ) -> None:
        def came(value: bytes) -> None:
            callback(bytearray(value))

        self._subscribed[characteristic.handle] = came
        await self._asked(self._needed().subscribe(characteristic.obj, came))

    async def stop_notify(self, characteristic: BleakGATTCharacteristic) -> None:
        came = self._subscribed.pop(characteristic.handle, None)
        await self._asked(self._needed().unsubscribe(characteristic.obj, came))

    async def _connect(self) -> None:
        device, target = self._adapter.device, self._found.details
        connection = device.find_connection_by_bd_addr(target)
        if connection is None:
            connection = await self._new_connection(device, target)
        self._connection = connection
        connection.on(Connection.EVENT_DISCONNECTION, self._hung_up)
        self._peer = Peer(connection)
        if connection.att_mtu == att.ATT_DEFAULT_MTU:
            await self._asked(self._peer.request_mtu(_MTU))
        await self._asked(self._peer.discover_all())
        self.services = self._collected(self._peer)

    async def _new_connection(self, device: Device, target: hci.Address) -> Connection:
        """Return a new connection; a host makes one at a time, and takes an attempt back that is called off."""
        async with self._adapter.connecting:
            try:
                return await self._adapter.unless_lost(device.connect(target, timeout=self._timeout))
            except core.TimeoutError as error:
                raise TimeoutError from error
            except core.BaseBumbleError as error:
                raise BleakError(str(error)) from error
            finally:
                if device.is_le_connecting and not self._adapter.lost.is_set():
                    await device.cancel_connection(target)

    def _collected(self, peer: Peer) -> BleakGATTServiceCollection:
        collection = BleakGATTServiceCollection()
        for service in peer.services:
            offered = BleakGATTService(service, service.handle, uuid_text(service.uuid))
            collection.add_service(offered)
            for each in service.characteristics:
                properties: Any = [name for flag, name in _PROPERTIES.items() if each.properties & flag]
                characteristic = BleakGATTCharacteristic(
                    each, each.handle, uuid_text(each.uuid), properties, lambda: self.mtu_size - 3, offered
                )
                collection.add_characteristic(characteristic)
                for descriptor in each.descriptors:
                    collection.add_descriptor(
                        BleakGATTDescriptor(descriptor, descriptor.handle, uuid_text(descriptor.type), characteristic)
                    )
        return collection

    def _hung_up(self, _reason: int) -> None:
        self._connection = self._peer = None
        self.services = None
        self._subscribed.clear()
        self._lost.set()
        if self._disconnected_callback:
            self._disconnected_callback()

    async def _asked(self, request: Awaitable[_T]) -> _T:
        """Return the device's answer, with Bumble's exceptions turned into bleak's."""
        try:
            return await self._adapter.unless_lost(request, self._lost)
        except att.ATT_Error as error:
            raise BleakGATTProtocolError(error.error_code) from error
        except core.TimeoutError as error:
            raise TimeoutError from error
        except core.BaseBumbleError as error:
            raise BleakError(str(error)) from error

    def _needed(self) -> Peer:
        if self._peer is None:
            raise BleakError("Not connected")
        return self._peer
