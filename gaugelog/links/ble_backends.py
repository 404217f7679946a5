"""By what bleak reaches the radio.

Here: the three classes that bleak lets be replaced, as data. Not here: any of them; without one, bleak takes the
system's own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bleak.backends.adapter import BaseBleakAdapter
    from bleak.backends.client import BaseBleakClient
    from bleak.backends.scanner import BaseBleakScanner


@dataclass(frozen=True, slots=True)
class Backends:
    """What stands in for the system's Bluetooth, None where the system's own is used."""

    scanner: type[BaseBleakScanner] | None = None
    client: type[BaseBleakClient] | None = None
    adapter: type[BaseBleakAdapter] | None = None
