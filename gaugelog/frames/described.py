"""A value that comes with its own description: that of a Bluetooth LE characteristic.

Here: the seven bytes of a Characteristic Presentation Format (descriptor 2904) with a value behind them, both ways. Not
here: reading the descriptor, and putting it before each value, which the link does. Source: Bluetooth Core
Specification, volume 3, part G, 3.3.3.5; the numbers of formats and units are those of the Bluetooth Assigned Numbers.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from decimal import Decimal

from gaugelog.frames.numbers import NUMBER_TYPES, NoNumber, decimal_of, plain
from gaugelog.frames.scan import NOTHING, Kind, Piece, Scan, reject_of
from gaugelog.model.readings import Chunk, Frame, Reject
from gaugelog.model.section import Section

_FORMATS = {
    0x04: "uint8",
    0x05: "uint12",
    0x06: "uint16",
    0x07: "uint24",
    0x08: "uint32",
    0x09: "uint48",
    0x0A: "uint64",
    0x0B: "uint128",
    0x0C: "sint8",
    0x0D: "sint12",
    0x0E: "sint16",
    0x0F: "sint24",
    0x10: "sint32",
    0x11: "sint48",
    0x12: "sint64",
    0x13: "sint128",
    0x14: "float32",
    0x15: "float64",
    0x16: "medfloat16",
    0x17: "medfloat32",
}
"""The formats that are one number; truth values, parts of a byte, pairs, texts and structures are none."""

_LAST_WITH_EXPONENT = 0x13
_GREATEST_EXPONENT = 12

_UNITS = {
    0x2700: "unitless",
    0x2701: "metre",
    0x2720: "radian",
    0x272F: "degree Celsius",
    0x2763: "degree",
    0x2764: "arc minute",
    0x2765: "arc second",
    0x27A2: "inch",
    0x27A3: "foot",
    0x27AC: "degree Fahrenheit",
    0x27AD: "percentage",
}
"""The units of what a gauge measures, in words of our own; millimetres are metres with an exponent of -3."""

_ASSIGNED = 1
"""The name space of the Bluetooth Assigned Numbers."""

_LAYOUT = struct.Struct("<BbHBH")
"""Format, exponent, unit, name space, description."""

_HEAD = _LAYOUT.size


def _code_of(table: Mapping[int, str], name: str) -> int:
    return next(code for code, known in table.items() if known == name)


def _last_digit(number: Decimal) -> int:
    """Return the power of ten of a number's last digit that isn't zero."""
    exponent = number.normalize().as_tuple().exponent
    assert isinstance(exponent, int)
    return exponent


def recognise(data: bytes, at: int) -> int:
    """Say whether a description with its value begins at a place: see `frames.scan`."""
    there = len(data) - at
    if data[at] not in _FORMATS:
        return NOTHING
    if there < _HEAD:
        return -_HEAD
    code, exponent, unit, space, _ = _LAYOUT.unpack_from(data, at)
    if space != _ASSIGNED or unit not in _UNITS or abs(exponent) > _GREATEST_EXPONENT:
        return NOTHING
    length = _HEAD + NUMBER_TYPES[_FORMATS[code]].size
    return length if length <= there else -length


class DescribedFraming:
    """Values behind their own description; the fields are `number`, `unit` and `format`.

    Options, which say how a value is written and nothing of what is read: `format`, `exponent`, `unit`.
    """

    def __init__(self, options: Section) -> None:
        self.format = options.choice("format", list(_FORMATS.values()), "sint16")
        self.unit = options.choice("unit", list(_UNITS.values()), "unitless")
        self.exponent = options.whole("exponent", -_GREATEST_EXPONENT, _GREATEST_EXPONENT) or 0
        self.fields = frozenset({"number", "unit", "format"})
        self.question = b""

    def decoder(self) -> DescribedDecoder:
        """Return a fresh decoder."""
        return DescribedDecoder()

    def encode(self, fields: Mapping[str, str | int | float | bytes]) -> bytes:
        """Return a description and the value behind it; the options count where a field is missing or empty.

        A number with more decimals than the exponent leaves gets the exponent that it needs.

        Raises:
            ValueError: no such format or unit, or the format can't hold the number.
        """
        name, unit = str(fields.get("format") or self.format), str(fields.get("unit") or self.unit)
        if name not in _FORMATS.values() or unit not in _UNITS.values():
            raise ValueError(f"no format {name} or no unit {unit}")
        code, number = _code_of(_FORMATS, name), decimal_of(fields.get("number", 0))
        exponent = min(self.exponent, _last_digit(number)) if code <= _LAST_WITH_EXPONENT else 0
        head = _LAYOUT.pack(code, exponent, _code_of(_UNITS, unit), _ASSIGNED, 0)
        return head + NUMBER_TYPES[name].write(plain(number.scaleb(-exponent)), "little")


class DescribedDecoder:
    """One connection's values, each behind its description."""

    def __init__(self) -> None:
        self._scan = Scan(recognise)

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        """Take a chunk, return the values that it completed."""
        return [self._item(piece, chunk.time_ns) for piece in self._scan.feed(chunk.data)]

    def finish(self, time_ns: int) -> list[Frame | Reject]:
        """Say that the connection has ended; what was left over comes back as rejects."""
        return [self._item(piece, time_ns) for piece in self._scan.finish()]

    def _item(self, piece: Piece, time_ns: int) -> Frame | Reject:
        raw = piece.raw
        if piece.kind is not Kind.WHOLE:
            return reject_of(piece, time_ns)
        code, exponent, unit, _, _ = _LAYOUT.unpack_from(raw)
        number = NUMBER_TYPES[_FORMATS[code]].read(raw[_HEAD:], "little")
        if isinstance(number, NoNumber):
            return Reject(time_ns, raw, *number)
        if code <= _LAST_WITH_EXPONENT and exponent:
            number = plain(Decimal(number).scaleb(exponent))
        return Frame(time_ns, raw, {"number": number, "unit": _UNITS[unit], "format": _FORMATS[code]})
