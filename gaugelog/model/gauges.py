"""How a gauge is named.

Here: `DATASHEET@ADDRESS` and its parts. Not here: which schemes there are (`plugins`), nor opening one (`links`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from urllib.parse import parse_qsl, unquote

from gaugelog.errors import AddressError


@dataclass(frozen=True, slots=True)
class Address:
    """Where a gauge is: `serial:PORT?baud=9600` has scheme serial, target PORT and options {baud: 9600}."""

    scheme: str
    target: str = ""
    options: Mapping[str, str] = field(default_factory=dict)
    text: str = ""

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, slots=True)
class GaugeName:
    """A gauge as written: the datasheet's name, the address, and the short name it goes by."""

    datasheet: str
    address: Address
    name: str

    def __str__(self) -> str:
        return f"{self.datasheet}@{self.address}"


def gauge_key(name: str, datasheet: str, identity: str = "") -> str:
    """Return what tells a gauge from every other, in words: `cal (depth-line, A1)`.

    A short name may be given to another gauge later, and a port may be renamed: so the datasheet's name and the gauge's
    identity belong to it, its address doesn't.
    """
    return f"{name} ({datasheet}, {identity})" if identity else f"{name} ({datasheet})"


def book_key(datasheet: str, address: str, identity: str = "") -> str:
    """Return what a gauge goes by in a gauge book: `depth-line, A1`; without an identity its address tells it."""
    return f"{datasheet}, {identity}" if identity else f"{datasheet}@{address}"


def parse_address(text: str) -> Address:
    """Return the parts of `SCHEME:TARGET?KEY=VALUE&…`.

    Raises:
        AddressError: no scheme, or an option without a value or given twice.
    """
    scheme, colon, rest = text.strip().partition(":")
    if not colon or not scheme.replace("-", "").isalnum():
        raise AddressError(text, "an address begins with its scheme, such as serial: or typed:")
    target, _, query = rest.partition("?")
    try:
        pairs = parse_qsl(query, keep_blank_values=True, strict_parsing=bool(query))
    except ValueError:
        raise AddressError(text, "options are written ?key=value&key=value") from None
    if not all(value for _, value in pairs):
        raise AddressError(text, "an option has no value")
    options = dict(pairs)
    if len(options) != len(pairs):
        raise AddressError(text, "an option is given twice")
    return Address(scheme.lower(), unquote(target), options, text.strip())


def parse_gauge(text: str, name: str = "") -> GaugeName:
    """Return the gauge that `DATASHEET@ADDRESS` names; its short name is `name`, else the datasheet's.

    Raises:
        AddressError: no @, no datasheet, or an address that can't be read.
    """
    datasheet, at, address = text.strip().partition("@")
    if not at or not datasheet:
        raise AddressError(text, "the datasheet's name stands before an @, the address behind it")
    return GaugeName(datasheet, parse_address(address), name or datasheet)
