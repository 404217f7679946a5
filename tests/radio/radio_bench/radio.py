"""What a test has of a radio, whichever of the two it is.

Here: gauges in the air, and gaugelog's link to them. Not here: how these are heard (`on_bumble`, `on_bluez`).
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Any

from bleak import BleakClient

from gaugelog.links.ble import BleLink
from gaugelog.links.ble_address import ble_target
from gaugelog.links.ble_search import find_device
from gaugelog.model.gauges import Address, parse_address
from gaugelog.plugins import LINKS, load
from radio_bench.controllers import Air
from radio_bench.gauge import Build, VirtualGauge


class Radio(ABC):
    """Gauges in the air and an adapter that hears them.

    `scheme` is that of the link under test, `settle_s` how long the slower of its sides needs until nothing is on its
    way any more, `environment` what another process needs to hear the same gauges.
    """

    scheme = "ble"
    settle_s = 0.3

    def __init__(self, air: Air) -> None:
        self.air = air
        self.gauges: list[VirtualGauge] = []
        self.environment: dict[str, str] = {}

    @property
    def link_class(self) -> type[BleLink]:
        """The link under test, as the plug-in table has it."""
        return load(LINKS, self.scheme)

    async def gauge(self, **build: Any) -> VirtualGauge:
        """Switch a new gauge on."""
        gauge = VirtualGauge(self.air, Build(**build))
        self.gauges.append(gauge)
        await gauge.start()
        return gauge

    def address(self, target: str, options: str = "") -> Address:
        """Return the address of a device, or of a name."""
        return parse_address(f"{self.scheme}:{target}" + (f"?{options}" if options else ""))

    def link(self, target: str, options: str = "") -> BleLink:
        """Return a link, not opened yet."""
        return self.link_class(self.address(target, options))

    async def other_program(self, gauge: VirtualGauge) -> BleakClient:
        """Return a client that is connected to a gauge, as another program on this computer would be."""
        backends = self.link_class.backends
        found = await find_device(ble_target(self.address(gauge.address)), backends, "another program")
        client = BleakClient(found, backend=backends.client)
        await client.connect()
        return client

    @abstractmethod
    async def power(self, on: bool) -> None:
        """Switch the adapter on or off."""

    async def silence(self) -> None:
        """Let all gauges be switched off, those that are off already too."""
        for gauge in self.gauges:
            await gauge.stop()
