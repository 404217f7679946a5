"""Which Bluetooth LE devices are about, and where in one of them readings may come from.

Here: sightings and ways, in the words of `gaugelog.links.Finds`. Not here: looking for one known device
(`links.ble_search`).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from contextlib import suppress

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bleak.backends.service import BleakGATTServiceCollection

from gaugelog.errors import LinkFailedError, LinkReason
from gaugelog.links.ble_address import ble_target, short_uuid
from gaugelog.links.ble_backends import Backends
from gaugelog.links.ble_connection import CONNECT_S
from gaugelog.links.ble_offers import presentation_format, with_readings, writable_beside
from gaugelog.links.ble_search import connected_devices, find_device, scan_of
from gaugelog.links.ble_words import RADIO_ERRORS, why, why_not_connected
from gaugelog.model.device import Sighting
from gaugelog.model.gauges import Address, parse_address

CONNECTED = "connected to this computer already"


async def look_around(scheme: str, backends: Backends, wait_s: float, seen: Callable[[Sighting], None]) -> None:
    """Call `seen` for each device heard within `wait_s` seconds, and again when its name or services become known.

    Raises:
        LinkFailedError: nothing can be received: no adapter, Bluetooth off, or not permitted.
    """
    known: dict[str, Sighting] = {}

    def noticed(sighting: Sighting) -> None:
        before = known.get(sighting.address)
        known[sighting.address] = sighting
        if before is None or (before.name, before.services) != (sighting.name, sighting.services):
            seen(sighting)

    def heard(device: BLEDevice, advertised: AdvertisementData) -> None:
        before = known.get(f"{scheme}:{device.address}", Sighting(""))
        noticed(
            Sighting(
                address=f"{scheme}:{device.address}",
                name=advertised.local_name or device.name or before.name,
                detail=before.detail,
                services=tuple(sorted({*before.services, *advertised.service_uuids})),
                strength_dbm=advertised.rssi,
            )
        )

    for device in await connected_devices(backends):
        noticed(Sighting(f"{scheme}:{device.address}", device.name or "", CONNECTED))
    try:
        async with scan_of(backends).heard_by(heard):
            await asyncio.sleep(wait_s)
    except RADIO_ERRORS as error:
        raise LinkFailedError(f"{scheme}:", *why(error, LinkReason.FAILED)) from error


async def ways_into(sighting: Sighting, backends: Backends) -> Sequence[Address]:
    """Return the addresses at which a device notifies, those first that describe their values.

    Raises:
        LinkFailedError: it isn't found any more, or can't be connected to.
    """
    device = await find_device(ble_target(parse_address(sighting.address)), backends, sighting.address)
    client = BleakClient(device, timeout=CONNECT_S, backend=backends.client)
    try:
        await client.connect()
        services = client.services
    except RADIO_ERRORS as error:
        raise LinkFailedError(sighting.address, *await why_not_connected(error, backends)) from error
    finally:
        with suppress(*RADIO_ERRORS):
            await client.disconnect()
    likeliest_first = sorted(with_readings(services), key=lambda each: presentation_format(each) is None)
    return [parse_address(_way(sighting.address, services, each)) for each in likeliest_first]


def _way(address: str, services: BleakGATTServiceCollection, notify: BleakGATTCharacteristic) -> str:
    way = f"{address}?service={short_uuid(notify.service_uuid)}&notify={short_uuid(notify.uuid)}"
    if presentation_format(notify) is not None:
        return f"{way}&described=yes"
    write = writable_beside(services, notify)
    return f"{way}&write={short_uuid(write)}" if write else way
