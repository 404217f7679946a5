"""The clocked bits of inexpensive calipers, as a small microcontroller passes them on.

Here: a count of 24 bits and a number of 13 digits, in three ways of sending them on, both ways. Not here: the wire
between caliper and microcontroller. Source of both frames: common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Protocol

from gaugelog.frames import Decoder
from gaugelog.frames.cut import Lines
from gaugelog.frames.numbers import decimal_of, plain
from gaugelog.frames.scan import NOTHING, Kind, Piece, Scan, reject_of
from gaugelog.model.readings import Chunk, Frame, Reject, RejectReason
from gaugelog.model.section import Section

_UNITS = ("mm", "in")
_MOST_LEAD = 8
_DIGITS = re.compile(r"ffff([08])([0-9]{6})([0-5])([01])").fullmatch
_SPACE = 20
"""How much longer than a frame a line may be before it is told as too long."""


_OWN_LEAD = b"\xff\xff"
"""How packed frames of 13 digits begin: their first four digits are 15."""


def _parts(fields: Mapping[str, str | int | float | bytes]) -> tuple[bool, Decimal, int]:
    """Return whether a number is below nothing, its size, and the place of its unit.

    Raises:
        ValueError: it is no number, or the unit is none that can be shown.
    """
    number, unit = decimal_of(fields.get("number", 0)), str(fields.get("unit") or _UNITS[0])
    if unit not in _UNITS:
        raise ValueError(f"{unit!r} is neither mm nor in")
    return number < 0, abs(number), _UNITS.index(unit)


class _Content(Protocol):
    """What the bits of a frame hold; the bit that is sent first is the lowest of `bits`."""

    bits: int
    first_digit_first: bool

    def read(self, word: int) -> dict[str, str] | None:
        """Return the fields, None where these bits are no frame."""
        ...

    def write(self, fields: Mapping[str, str | int | float | bytes]) -> int:
        """Return the bits for fields."""
        ...


class CountOf24Bits:
    """Bits 0 to 19 a count, 20 minus, 23 inch; hundredths of a millimetre or half thousandths of an inch."""

    bits = 24
    first_digit_first = False
    _COUNT, _MINUS, _NOUGHT, _INCH = 0xFFFFF, 1 << 20, 3 << 21, 1 << 23
    _STEPS = (Decimal("0.01"), Decimal("0.0005"))

    def read(self, word: int) -> dict[str, str] | None:
        """Return the fields; None where bit 21 or 22 is set."""
        if word & self._NOUGHT:
            return None
        count = word & self._COUNT
        sign = "-" if word & self._MINUS and count else ""
        if word & self._INCH:
            whole, part = divmod(5 * count, 10_000)
            return {"number": f"{sign}{whole}.{part:04d}", "unit": "in"}
        whole, part = divmod(count, 100)
        return {"number": f"{sign}{whole}.{part:02d}", "unit": "mm"}

    def write(self, fields: Mapping[str, str | int | float | bytes]) -> int:
        """Return the bits of the nearest count."""
        minus, size, unit = _parts(fields)
        count = int((size / self._STEPS[unit]).to_integral_value(ROUND_HALF_EVEN))
        if count > self._COUNT:
            raise ValueError(f"{size} {_UNITS[unit]} is more than {self._COUNT} steps")
        return count | self._MINUS * (minus and count > 0) | self._INCH * unit


class NumberOf13Digits:
    """Four digits of 15, sign (0 or 8), six digits of the value, how many of them are decimals, unit (0 mm, 1 inch)."""

    bits = 52
    first_digit_first = True
    _DIGITS, _MOST_DECIMALS = 6, 5

    def read(self, word: int) -> dict[str, str] | None:
        """Return the fields; None where a digit is one that can't stand there."""
        match = _DIGITS(f"{word:013x}"[::-1])
        if match is None:
            return None
        sign, digits, decimals, unit = match.groups()
        value = int(digits)
        point = self._DIGITS - int(decimals)
        number = f"{int(digits[:point])}.{digits[point:]}" if point < self._DIGITS else str(value)
        return {"number": f"-{number}" if sign == "8" and value else number, "unit": _UNITS[int(unit)]}

    def write(self, fields: Mapping[str, str | int | float | bytes]) -> int:
        """Return the bits of a number with the decimals that it was given."""
        minus, size, unit = _parts(fields)
        whole, _, part = plain(size).partition(".")
        digits = (whole + part).zfill(self._DIGITS)
        while len(digits) > self._DIGITS and digits[0] == "0":
            digits = digits[1:]
        if len(digits) > self._DIGITS or len(part) > self._MOST_DECIMALS:
            raise ValueError(f"{plain(size)} has more than six digits, or more than five decimals")
        return int(f"ffff{8 * minus}{digits}{len(part)}{unit}"[::-1], 16)


_CONTENTS: Mapping[str, type[CountOf24Bits] | type[NumberOf13Digits]] = {
    "24 bits": CountOf24Bits,
    "13 digits": NumberOf13Digits,
}
_SENT_AS = ("bits", "hex", "packed")


class ClockedFraming:
    """The bits of one caliper; the fields are `number` and `unit`.

    Options: `frame`, what the bits hold; `sent_as`, how they are passed on; `lead`, in hexadecimal, what stands before
    packed frames of 24 bits, which nothing else marks.
    """

    def __init__(self, options: Section) -> None:
        frame = options.choice("frame", list(_CONTENTS), "24 bits", required=True)
        self.sent_as = options.choice("sent_as", _SENT_AS, _SENT_AS[0], required=True)
        self.content: _Content = _CONTENTS[frame]()
        self.size = (self.content.bits + 7) // 8
        self.lead = b""
        if self.sent_as == "packed" and not self.content.first_digit_first:
            self.lead = self._read_lead(options)
        digit, count = (
            ("[01]", self.content.bits) if self.sent_as == "bits" else ("[0-9A-Fa-f]", self.content.bits // 4)
        )
        self._is_text = re.compile(b"%b{%d}" % (digit.encode("ascii"), count)).fullmatch
        self.fields = frozenset({"number", "unit"})
        self.question = b""

    def _read_lead(self, options: Section) -> bytes:
        wanted = f'one to {_MOST_LEAD} pairs of hexadecimal digits, such as "A5 5A"'
        text = options.text("lead", required=True, wanted=wanted)
        try:
            lead = bytes.fromhex(text)
        except ValueError:
            lead = b""
        if text.strip() and not 0 < len(lead) <= _MOST_LEAD:
            options.fault("lead", text, wanted)
        return lead[:_MOST_LEAD]

    def decoder(self) -> Decoder:
        """Return a fresh decoder."""
        return PackedDecoder(self) if self.sent_as == "packed" else TextDecoder(self)

    def encode(self, fields: Mapping[str, str | int | float | bytes]) -> bytes:
        """Return one frame with these fields as it is passed on.

        Raises:
            ValueError: a number or a unit that the frame can't hold.
        """
        word, bits = self.content.write(fields), self.content.bits
        if self.sent_as == "packed":
            return self.lead + word.to_bytes(self.size, "little")
        as_bits, as_hex = f"{word:0{bits}b}"[::-1], self._in_order(f"{word:0{bits // 4}X}")
        return (as_bits if self.sent_as == "bits" else as_hex).encode("ascii") + b"\r\n"

    def _in_order(self, digits: str) -> str:
        """Return hexadecimal digits in the order in which they are written, or back."""
        return digits[::-1] if self.content.first_digit_first else digits

    def word_of(self, line: bytes) -> int | None:
        """Return the bits that a line of text holds, None where it holds none."""
        if self._is_text(line) is None:
            return None
        text = line.decode("ascii")
        return int(text[::-1], 2) if self.sent_as == "bits" else int(self._in_order(text), 16)


class TextDecoder:
    """One connection's lines of text, each the bits of one frame."""

    def __init__(self, framing: ClockedFraming) -> None:
        self._framing = framing
        self._lines = Lines(framing.content.bits + _SPACE)

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        """Take a chunk, return the frames that it completed."""
        time_ns = chunk.time_ns
        return [
            line if isinstance(line, Reject) else self._frame(line, time_ns)
            for line in self._lines.feed(chunk.data, time_ns)
        ]

    def finish(self, time_ns: int) -> list[Frame | Reject]:
        """Say that the connection has ended: an unfinished line is told as cut off."""
        return [*self._lines.finish(time_ns)]

    def _frame(self, line: bytes, time_ns: int) -> Frame | Reject:
        word = self._framing.word_of(line)
        fields = None if word is None else self._framing.content.read(word)
        if fields is None:
            return Reject(time_ns, line, RejectReason.NO_MATCH)
        return Frame(time_ns, line, fields)


class PackedDecoder:
    """One connection's bytes searched for packed frames."""

    def __init__(self, framing: ClockedFraming) -> None:
        self._read = framing.content.read
        self._head = framing.lead or _OWN_LEAD
        self._skipped = len(framing.lead)
        self._length = self._skipped + framing.size
        self._scan = Scan(self._recognise)

    def _word(self, data: bytes, at: int) -> int:
        return int.from_bytes(data[at + self._skipped : at + self._length], "little")

    def _recognise(self, data: bytes, at: int) -> int:
        """Say whether a frame begins at a place: see `frames.scan`."""
        if not data.startswith(self._head, at):
            begun = len(data) - at < len(self._head) and self._head.startswith(data[at:])
            return -self._length if begun else NOTHING
        if len(data) - at < self._length:
            return -self._length
        return NOTHING if self._read(self._word(data, at)) is None else self._length

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        """Take a chunk, return the frames that it completed."""
        return [self._item(piece, chunk.time_ns) for piece in self._scan.feed(chunk.data)]

    def finish(self, time_ns: int) -> list[Frame | Reject]:
        """Say that the connection has ended; what was left over comes back as rejects."""
        return [self._item(piece, time_ns) for piece in self._scan.finish()]

    def _item(self, piece: Piece, time_ns: int) -> Frame | Reject:
        fields = self._read(self._word(piece.raw, 0)) if piece.kind is Kind.WHOLE else None
        return reject_of(piece, time_ns) if fields is None else Frame(time_ns, piece.raw, fields)
