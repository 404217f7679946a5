"""What the address of a serial port says.

Here: `serial:PATH?baud=9600&bits=8&parity=N&stop=1` as data. Not here: opening the port (`links.serial_port`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from gaugelog.errors import AddressError
from gaugelog.links.options import Options
from gaugelog.model.gauges import Address

_NAMES = ("baud", "bits", "parity", "stop", "flow", "dtr", "rts")
_BITS = {"5": 5, "6": 6, "7": 7, "8": 8}
_PARITY = {"n": "N", "e": "E", "o": "O", "m": "M", "s": "S"}
_STOP: dict[str, float] = {"1": 1, "1.5": 1.5, "2": 2}
_FLOW = {"none": "none", "xonxoff": "xonxoff", "rtscts": "rtscts"}
_LINE: dict[str, bool | None] = {"on": True, "off": False, "": None}


@dataclass(frozen=True, slots=True)
class SerialSettings:
    """A port's path (or pyserial URL) and how bytes pass through it.

    `dtr` and `rts` are the levels that those two lines are held at, None where they are left as the system sets them:
    some cables draw their power from them.
    """

    path: str
    baud: int = 9600
    bits: int = 8
    parity: str = "N"
    stop: float = 1
    flow: str = "none"
    dtr: bool | None = None
    rts: bool | None = None

    @property
    def is_url(self) -> bool:
        """Whether pyserial finds the port by URL, with no descriptor of its own to watch."""
        return "://" in self.path

    @property
    def keywords(self) -> dict[str, Any]:
        """The settings as pyserial's keywords."""
        return {
            "baudrate": self.baud,
            "bytesize": self.bits,
            "parity": self.parity,
            "stopbits": self.stop,
            "xonxoff": self.flow == "xonxoff",
            "rtscts": self.flow == "rtscts",
        }


def serial_settings(address: Address) -> SerialSettings:
    """Return what `address` says.

    Raises:
        AddressError: no port is named, or an option can't be understood.
    """
    if not address.target:
        raise AddressError(address.text, "the port's path stands behind serial:, such as serial:/dev/ttyUSB0 or COM3")
    options = Options(address, _NAMES)
    return SerialSettings(
        path=address.target,
        baud=options.whole("baud", 9600, 50, 4_000_000),
        bits=options.choice("bits", _BITS, "8"),
        parity=options.choice("parity", _PARITY, "n"),
        stop=options.choice("stop", _STOP, "1"),
        flow=options.choice("flow", _FLOW, "none"),
        dtr=options.choice("dtr", _LINE, ""),
        rts=options.choice("rts", _LINE, ""),
    )
