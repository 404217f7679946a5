"""Which serial ports this machine has.

Here: listing them. Not here: opening one (`links.serial_port`).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SerialPort:
    """A port that is there: its path, what the system says it is, and the identity of the hardware behind it."""

    path: str
    description: str = ""
    hardware: str = ""


def _known(text: str | None) -> str:
    """Return a text of pyserial, empty where it says that it doesn't know."""
    return "" if text is None or text == "n/a" else text


def serial_ports() -> tuple[SerialPort, ...]:
    """Return the serial ports that the system names, in order of their paths."""
    from serial.tools.list_ports import comports

    found = (SerialPort(port.device, _known(port.description), _known(port.hwid)) for port in comports())
    return tuple(sorted(found, key=lambda port: port.path))
