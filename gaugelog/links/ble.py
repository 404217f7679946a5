"""A gauge on Bluetooth LE.

Here: the link, what its address leaves open, and looking around. Not here: the radio itself, which bleak is
(`links.ble_search`, `links.ble_connection`); bleak is imported only when something is opened or looked for.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from gaugelog.links.ble_address import ble_target, suited
from gaugelog.links.ble_backends import Backends
from gaugelog.links.clock import now_ns
from gaugelog.links.inbox import Clock, Inbox
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.device import Device, Sighting
from gaugelog.model.gauges import Address
from gaugelog.model.readings import Chunk

if TYPE_CHECKING:
    from gaugelog.links.ble_connection import BleConnection
    from gaugelog.links.ble_device import DeviceKeeper


class BleLink:
    """Notifications of one characteristic, each a chunk: readings by themselves, or pieces of a stream of bytes.

    Every opening is a new connection, after a new look for the device: so nothing of an old one can come twice. A
    subclass on another radio says its `scheme` and its `backends`.

    Args:
        address: `ble:ADDRESS-or-NAME?service=UUID&notify=UUID&write=UUID&described=yes&find=SECONDS`.
        clock: gives monotonic nanoseconds.

    Raises:
        AddressError: no device is named, or an option can't be understood.
    """

    scheme = "ble"
    backends = Backends()
    goes_deaf = True

    def __init__(self, address: Address, clock: Clock = now_ns) -> None:
        self.address = address
        self.device: Device | None = None
        self._target = ble_target(address)
        self._clock = clock
        self._inbox: Inbox | None = None
        self._connection: BleConnection | None = None
        self._keeper: DeviceKeeper | None = None

    async def open(self) -> None:
        """Look for the device, connect, ask it who it is, and subscribe.

        Raises:
            LinkFailedError: no adapter, Bluetooth off, not permitted, not found, several of this name, refused, not
                offered, lost at once, or failed otherwise.
        """
        from gaugelog.links.ble_connection import BleConnection
        from gaugelog.links.ble_device import DeviceKeeper
        from gaugelog.links.ble_search import find_device

        await self.close()
        found = await find_device(self._target, self.backends, self.address.text)
        inbox = self._inbox = Inbox(self._clock)
        connection = self._connection = BleConnection(self._target, inbox, self.backends, self.address.text)
        try:
            await connection.connect(found)
            name = found.name or (self._target.device if self._target.by_name else "")
            others = [each for each in connection.offered if each is not connection.notify]
            self._keeper = DeviceKeeper(connection.client, name, self._told, others)
            await self._keeper.ask()
            await connection.subscribe()
        except BaseException:
            await self.close()
            raise

    async def receive(self) -> Chunk:
        """Return the next notification, or a tick.

        Raises:
            LinkFailedError: the gauge hung up, went out of range, or is there no more without having said so.
        """
        if self._inbox is None or self._connection is None:
            raise ValueError(f"{self.address} is not open")
        return await self._inbox.get()

    async def send(self, data: bytes) -> None:
        """Send bytes to the gauge.

        Raises:
            LinkFailedError: there is nothing to send to, the gauge rejects it, or the link is lost.
        """
        if self._connection is None:
            raise ValueError(f"{self.address} is not open")
        await self._connection.send(data)

    async def close(self) -> None:
        """Hang up; closing twice is fine."""
        keeper, self._keeper = self._keeper, None
        if keeper is not None:
            keeper.stop()
        if self._inbox is not None:
            self._inbox.close()
        connection, self._connection = self._connection, None
        if connection is not None:
            await connection.close()

    @classmethod
    def suit(cls, address: Address, datasheet: Datasheet) -> Address:
        """Return the address with the service and characteristics that the datasheet knows."""
        return suited(address, datasheet)

    @classmethod
    async def find(cls, wait_s: float, seen: Callable[[Sighting], None]) -> None:
        """Call `seen` for each device that is heard within `wait_s` seconds, and again when its name comes.

        Raises:
            LinkFailedError: no adapter, Bluetooth off, or not permitted.
        """
        from gaugelog.links.ble_find import look_around

        await look_around(cls.scheme, cls.backends, wait_s, seen)

    @classmethod
    async def ways(cls, sighting: Sighting) -> Sequence[Address]:
        """Return the addresses at which a device notifies, those first that describe their values.

        Raises:
            LinkFailedError: it can't be connected to.
        """
        from gaugelog.links.ble_find import ways_into

        return await ways_into(sighting, cls.backends)

    def _told(self, device: Device) -> None:
        self.device = device
