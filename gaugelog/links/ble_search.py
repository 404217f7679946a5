"""Looking for Bluetooth LE devices.

Here: one scan that several may use at once, devices that are connected already, and finding the one that is meant.
Not here: connecting to it (`links.ble_connection`).
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Coroutine
from contextlib import asynccontextmanager, suppress
from weakref import WeakKeyDictionary

from bleak import BleakAdapter, BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData

from gaugelog.errors import LinkFailedError, LinkReason
from gaugelog.links.ble_address import BleTarget, whole_uuid
from gaugelog.links.ble_backends import Backends
from gaugelog.links.ble_words import NOT_FOUND_WORDS, RADIO_ERRORS, why, why_no_radio

NAMESAKES_S = 1.0
"""How long it is still listened for a second device of the same name after the first was heard."""

_EVERY_DEVICE_HAS = [whole_uuid("1801"), whole_uuid("1800")]

Heard = Callable[[BLEDevice, AdvertisementData], None]


class _Scan:
    """The one scan of a radio: begun by the first who listens, ended with the last.

    A second scan of the same program would be refused by some systems.
    """

    def __init__(self, backends: Backends) -> None:
        self._backends = backends
        self._listeners: list[Heard] = []
        self._scanner: BleakScanner | None = None
        self._change = asyncio.Lock()

    @asynccontextmanager
    async def heard_by(self, listener: Heard) -> AsyncIterator[None]:
        """Call `listener` for everything that is received meanwhile; raises what bleak raises."""
        self._listeners.append(listener)
        try:
            async with self._change:
                if self._scanner is None:
                    await self._start()
            yield
        finally:
            self._listeners.remove(listener)
            async with self._change:
                if not self._listeners and self._scanner is not None:
                    scanner, self._scanner = self._scanner, None
                    with suppress(*RADIO_ERRORS):
                        await _whole(scanner.stop())

    async def _start(self) -> None:
        self._scanner = BleakScanner(self._heard, backend=self._backends.scanner)
        try:
            await _whole(self._scanner.start())
        except RADIO_ERRORS:
            self._scanner = None
            raise

    def _heard(self, device: BLEDevice, advertised: AdvertisementData) -> None:
        for listener in list(self._listeners):
            listener(device, advertised)


async def _whole(action: Coroutine[None, None, None]) -> None:
    """Do something to its end even if it is called off meanwhile, since half of it could not be undone."""
    doing = asyncio.ensure_future(action)
    try:
        await asyncio.shield(doing)
    except asyncio.CancelledError:
        await doing
        raise


_scans: WeakKeyDictionary[asyncio.AbstractEventLoop, dict[Backends, _Scan]] = WeakKeyDictionary()


def scan_of(backends: Backends) -> _Scan:
    """Return the scan that all share who use the same radio."""
    scans = _scans.setdefault(asyncio.get_running_loop(), {})
    return scans.setdefault(backends, _Scan(backends))


async def connected_devices(backends: Backends, service: str = "") -> list[BLEDevice]:
    """Return devices that this computer is connected to already: they are not heard in a scan.

    A program that was killed leaves its gauge like that. Empty where the system doesn't tell.
    """
    try:
        adapter = await BleakAdapter.get(backend=backends.adapter)
        return await adapter.get_connected_devices([*_EVERY_DEVICE_HAS, *([service] if service else [])])
    except (NotImplementedError, *RADIO_ERRORS):
        return []


async def find_device(target: BleTarget, backends: Backends, address_text: str) -> BLEDevice:
    """Return the device that is meant, as it is received now or connected already.

    Raises:
        LinkFailedError: it isn't found, several have its name, or nothing can be received.
    """
    found = {
        device.address: device
        for device in await connected_devices(backends, target.service)
        if target.is_meant(device.address, (device.name,))
    }
    if not found or target.by_name:
        try:
            await _scan_for(target, backends, found)
        except RADIO_ERRORS as error:
            raise LinkFailedError(address_text, *why(error, LinkReason.FAILED)) from error
    if not found:
        reason, words = await why_no_radio(backends) or (LinkReason.NOT_FOUND, NOT_FOUND_WORDS)
        raise LinkFailedError(address_text, reason, words)
    if len(found) > 1:
        words = f"{len(found)} devices are called {target.device}: {', '.join(sorted(found))}"
        raise LinkFailedError(address_text, LinkReason.AMBIGUOUS, words)
    return next(iter(found.values()))


async def _scan_for(target: BleTarget, backends: Backends, found: dict[str, BLEDevice]) -> None:
    """Put into `found` the device that is meant, and those that have the same name."""
    first = asyncio.Event()
    if found:
        first.set()

    def heard(device: BLEDevice, advertised: AdvertisementData) -> None:
        if target.is_meant(device.address, (device.name, advertised.local_name)):
            found[device.address] = device
            first.set()

    async with scan_of(backends).heard_by(heard):
        try:
            async with asyncio.timeout(target.find_s):
                await first.wait()
        except TimeoutError:
            return
        if target.by_name:
            await asyncio.sleep(min(NAMESAKES_S, target.find_s))
