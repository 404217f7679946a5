"""What the address of a Bluetooth LE gauge says.

Here: `ble:ADDRESS-or-NAME?service=…&notify=…` as data, UUIDs, and what a datasheet fills in. Not here: the radio.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass, replace

from gaugelog.errors import AddressError
from gaugelog.links.options import Options
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.gauges import Address

FIND_S = 10.0
"""How long a gauge is looked for, unless its address says otherwise."""

DESCRIBED = "described"

_NAMES = ("service", "notify", "write", "described", "find")
_YES_NO = {"yes": True, "no": False}
_BASE_TAIL = "-0000-1000-8000-00805f9b34fb"
_SHORT_UUID = re.compile(r"(?:0x)?([0-9a-f]{4}|[0-9a-f]{8})")
_LONG_UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
_DEVICE_ADDRESS = re.compile(r"[0-9A-F]{2}(:[0-9A-F]{2}){5}")


@dataclass(frozen=True, slots=True)
class BleTarget:
    """A device by its address or by its name, and where in it the readings are.

    `device` is upper-case where it is an address (a UUID on systems that hide addresses). UUIDs are whole and
    lower-case, empty where the address leaves them open. `find_s` is how long the device is looked for.
    """

    device: str
    by_name: bool
    service: str = ""
    notify: str = ""
    write: str = ""
    described: bool = False
    find_s: float = FIND_S

    def is_meant(self, address: str, names: Collection[str | None]) -> bool:
        """Return whether a device of this address, known under these names, is the one."""
        return self.device in names if self.by_name else address.upper() == self.device


def whole_uuid(text: str) -> str:
    """Return a UUID in its whole form, lower-case: `2a19` and `0x2A19` stand for one on the Bluetooth base UUID.

    Source: Bluetooth Core Specification, volume 3, part B, 2.5.1.

    Raises:
        ValueError: it is none.
    """
    written = text.lower()
    short = _SHORT_UUID.fullmatch(written)
    if short:
        return short[1].rjust(8, "0") + _BASE_TAIL
    if not _LONG_UUID.fullmatch(written):
        raise ValueError(f"{text!r} is no UUID")
    return written


def short_uuid(uuid: str) -> str:
    """Return a whole UUID as briefly as it can be written."""
    if not uuid.endswith(_BASE_TAIL):
        return uuid
    return uuid[: -len(_BASE_TAIL)].removeprefix("0000")


def ble_target(address: Address) -> BleTarget:
    """Return what `address` says.

    Raises:
        AddressError: no device is named, or an option can't be understood.
    """
    if not address.target:
        wanted = f"the device's address or name stands behind {address.scheme}:, such as {address.scheme}:MY-GAUGE"
        raise AddressError(address.text, wanted)
    options = Options(address, _NAMES)
    by_address = _is_device_address(address.target)
    return BleTarget(
        device=address.target.upper() if by_address else address.target,
        by_name=not by_address,
        service=_uuid(address, options, "service"),
        notify=_uuid(address, options, "notify"),
        write=_uuid(address, options, "write"),
        described=options.choice("described", _YES_NO, "no"),
        find_s=options.number("find", FIND_S, 0.1, 3600),
    )


def suited(address: Address, datasheet: Datasheet) -> Address:
    """Return the address with what the datasheet knows; what the address says itself stays."""
    known = {
        "service": datasheet.radio.service,
        "notify": datasheet.radio.notify,
        "write": datasheet.radio.write,
        "described": "yes" if datasheet.framing == DESCRIBED else "",
    }
    return replace(address, options={name: value for name, value in known.items() if value} | dict(address.options))


def _is_device_address(text: str) -> bool:
    return bool(_DEVICE_ADDRESS.fullmatch(text.upper()) or _LONG_UUID.fullmatch(text.lower()))


def _uuid(address: Address, options: Options, name: str) -> str:
    if not options.has(name):
        return ""
    try:
        return whole_uuid(options.text(name))
    except ValueError:
        wanted = f"{name} is a UUID, such as 2a19 or 0000abcd-0000-1000-8000-00805f9b34fb"
        raise AddressError(address.text, wanted) from None
