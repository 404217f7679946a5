"""bleak's scanner, and what it calls an adapter, over the virtual radio."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from bleak.backends.adapter import BaseBleakAdapter
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData, BaseBleakScanner
from bleak.uuids import normalize_uuid_str
from bumble import core
from bumble.core import AdvertisingData
from bumble.device import Advertisement, Device

from virtual_radio.adapter import LostError, adapter

_NAMES = (AdvertisingData.COMPLETE_LOCAL_NAME, AdvertisingData.SHORTENED_LOCAL_NAME)
_SERVICES = (
    AdvertisingData.COMPLETE_LIST_OF_16_BIT_SERVICE_CLASS_UUIDS,
    AdvertisingData.INCOMPLETE_LIST_OF_16_BIT_SERVICE_CLASS_UUIDS,
    AdvertisingData.COMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS,
    AdvertisingData.INCOMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS,
)


def uuid_text(uuid: core.UUID) -> str:
    """Return a UUID as bleak writes it."""
    return normalize_uuid_str(uuid.to_hex_str("-"))


@dataclass
class _Known:
    """What was received of one device so far: its advertisement and its scan response together."""

    name: str | None = None
    services: list[str] = field(default_factory=list)

    def add(self, data: AdvertisingData) -> None:
        for kind, raw in data.ad_structures:
            if kind in _NAMES:
                self.name = raw.decode()
            elif kind in _SERVICES:
                uuids = map(uuid_text, AdvertisingData.ad_data_to_object(kind, raw))
                self.services += [uuid for uuid in uuids if uuid not in self.services]


class VirtualScanner(BaseBleakScanner):
    """Scans actively: scan responses are asked for."""

    def __init__(self, detection_callback: Any, service_uuids: Any, scanning_mode: Any, **_options: Any) -> None:
        super().__init__(detection_callback, service_uuids)
        self._known: dict[str, _Known] = {}
        self._adapter = adapter()
        self._running = False

    async def start(self) -> None:
        self.seen_devices = {}
        self._known = {}
        await self._adapter.open()
        self._running = True
        self._adapter.device.on(Device.EVENT_ADVERTISEMENT, self._came)
        self._adapter.scanners += 1
        if self._adapter.scanners == 1:
            await self._adapter.unless_lost(self._adapter.device.start_scanning(active=True, filter_duplicates=False))

    async def stop(self) -> None:
        if not self._running:
            return
        self._running = False
        try:
            self._adapter.device.remove_listener(Device.EVENT_ADVERTISEMENT, self._came)
            self._adapter.scanners -= 1
            if self._adapter.scanners == 0:
                await self._adapter.unless_lost(self._adapter.device.stop_scanning())
        except (LostError, KeyError):
            return
        finally:
            await self._adapter.close()

    def _came(self, advertisement: Advertisement) -> None:
        address = advertisement.address.to_string(False)
        known = self._known.setdefault(address, _Known())
        known.add(advertisement.data)
        if not self.is_allowed_uuid(known.services):
            return
        data = AdvertisementData(
            local_name=known.name,
            manufacturer_data={},
            service_data={},
            service_uuids=list(known.services),
            tx_power=None,
            rssi=advertisement.rssi,
            platform_data=(advertisement,),
        )
        device = self.create_or_update_device(address, address, known.name, advertisement.address, data)
        self.call_detection_callbacks(device, data)


class VirtualAdapter(BaseBleakAdapter):
    """Tells which devices this process is connected to."""

    @classmethod
    async def get(cls, **_options: Any) -> VirtualAdapter:
        return cls()

    async def get_connected_devices(self, service_uuids: frozenset[str]) -> list[BLEDevice]:
        mine = adapter()
        connections = mine.device.connections.values() if mine.users else ()
        return [BLEDevice(each.peer_address.to_string(False), None, each.peer_address) for each in connections]
