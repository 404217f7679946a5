"""What a gauge tells of itself, and where one was seen.

Here: the frozen results of asking a device who it is, and of looking around. Not here: asking or looking (`links`).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Device:
    """A gauge as it describes itself; what it doesn't offer is empty, or None."""

    name: str = ""
    maker: str = ""
    model: str = ""
    serial_number: str = ""
    firmware: str = ""
    battery_percent: int | None = None

    def __str__(self) -> str:
        parts = [self.name, f"{self.maker} {self.model}".strip()]
        parts += [f"serial number {self.serial_number}"] if self.serial_number else []
        parts += [f"firmware {self.firmware}"] if self.firmware else []
        parts += [f"battery {self.battery_percent} %"] if self.battery_percent is not None else []
        return ", ".join(part for part in parts if part)


@dataclass(frozen=True, slots=True)
class Sighting:
    """Something at which a gauge may be: a port that is there, or a device that advertises.

    `address` is enough to look at it more closely, such as `serial:/dev/ttyUSB0`; `name` is what it calls itself;
    `detail` is what else is known of it, in words; `services` are what a radio device advertises; `strength_dbm` is how
    strongly it was received.
    """

    address: str
    name: str = ""
    detail: str = ""
    services: tuple[str, ...] = ()
    strength_dbm: int | None = None
