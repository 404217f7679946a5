"""Which serial ports this machine has.

Here: listing them, and the name under which a port stays the same. Not here: opening one (`links.serial_port`).
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from serial.tools.list_ports_common import ListPortInfo

SPEEDS = (9600, 19200, 38400, 57600, 115200, 4800, 2400)
"""The speeds that gauges are commonly set to, in bits a second, likeliest first: common practice, no source."""

_BY_ID = Path("/dev/serial/by-id")


@dataclass(frozen=True, slots=True)
class SerialPort:
    """A port that is there: its path, what the system says it is, and the identity of the hardware behind it.

    `identity` tells the hardware from every other of its kind, whatever the path: empty where it has no serial number.
    """

    path: str
    description: str = ""
    hardware: str = ""
    identity: str = ""


def _known(text: str | None) -> str:
    """Return a text of pyserial, empty where it says that it doesn't know."""
    return "" if text is None or text == "n/a" else text


def serial_ports() -> tuple[SerialPort, ...]:
    """Return the serial ports that the system names, in order of their paths."""
    from serial.tools.list_ports import comports

    found = (
        SerialPort(port.device, _known(port.description), _known(port.hwid), _identity(port)) for port in comports()
    )
    return tuple(sorted(found, key=lambda port: port.path))


def _identity(port: ListPortInfo) -> str:
    """Return vendor, product, serial number and which port of that device; empty where no serial number tells."""
    if not port.serial_number:
        return ""
    which = port.location.partition(":")[2] if port.location else ""
    return f"{port.vid}/{port.pid}/{port.serial_number}/{which}"


def port_at(path: str, ports: Iterable[SerialPort]) -> SerialPort | None:
    """Return which of `ports` a path leads to, be it the port's own or a link to it; None for none of them."""
    real = os.path.realpath(path)
    return next((port for port in ports if port.path in (path, real)), None)


def lasting_path(path: str, by_id: Path = _BY_ID) -> str:
    """Return the path under which the same hardware is found again after it was plugged in anew.

    Args:
        path: of a port.
        by_id: the folder in which the system keeps a link for each piece of hardware, where it does.

    Returns:
        The link to that port, the first by name where there are several; the path itself where there is none.
    """
    try:
        links = sorted(by_id.iterdir())
        port = Path(path).resolve()
        return next((str(link) for link in links if link.resolve() == port), path)
    except OSError:
        return path


def path_in_address(path: str) -> str:
    """Return a path as an address has it: what an address would misread is written `%` and two hex digits."""
    return "".join(f"%{ord(each):02X}" if each in "%?" else each for each in path)
