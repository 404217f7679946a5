"""Numbers as gauges write them in bytes, both ways.

Here: whole numbers, binary fractions, decimal digits in half bytes (BCD) and the two medical floats, as exact ints or
decimal text. Not here: where in a frame a number stands, nor what it means.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, ROUND_UP, Context, Decimal, InvalidOperation
from typing import Literal, NamedTuple, Protocol

from gaugelog.model.readings import RejectReason

Order = Literal["little", "big"]
Number = int | str
"""A whole number, or a decimal text with a point and no exponent."""

Given = str | int | float | bytes


class NoNumber(NamedTuple):
    """Bytes of the right size that hold no reading, and why."""

    reason: RejectReason
    detail: str


class NumberType(Protocol):
    """One way to write a number; it is held in `size` bytes, of which it fills the lowest `bits` bits."""

    @property
    def size(self) -> int:
        """Bytes that it stands in."""
        ...

    @property
    def bits(self) -> int:
        """Bits of them that it fills, from the lowest."""
        ...

    def read(self, data: bytes, order: Order) -> Number | NoNumber:
        """Return the number that `size` bytes hold."""
        ...

    def write(self, number: Given, order: Order) -> bytes:
        """Return the bytes of the number of this type that is nearest (a tie to the even one).

        Raises:
            ValueError: it is no number, or one that this type can't hold.
        """
        ...


def decimal_of(number: Given) -> Decimal:
    """Return a number given as text or as a number.

    Raises:
        ValueError: it is none.
    """
    try:
        value = Decimal(number.decode("ascii") if isinstance(number, bytes) else str(number).strip())
    except (InvalidOperation, UnicodeDecodeError):
        value = Decimal("nan")
    if not value.is_finite():
        raise ValueError(f"{number!r} is no number")
    return value


def plain(value: Decimal) -> str:
    """Return a decimal as text without an exponent; nothing has no sign."""
    return format(abs(value) if value == 0 else value, "f")


def _whole(number: Given) -> int:
    return int(decimal_of(number).to_integral_value(ROUND_HALF_EVEN))


@dataclass(frozen=True, slots=True)
class Integer:
    """A whole number in two's complement (signed) or plain binary; bits above its own are not looked at."""

    bits: int
    signed: bool

    @property
    def size(self) -> int:
        """Bytes that it stands in."""
        return (self.bits + 7) // 8

    def read(self, data: bytes, order: Order) -> int:
        """Return the number that `size` bytes hold."""
        if not self.bits % 8:
            return int.from_bytes(data, order, signed=self.signed)
        value = int.from_bytes(data, order) & ((1 << self.bits) - 1)
        return value - (1 << self.bits) if self.signed and value >> (self.bits - 1) else value

    def write(self, number: Given, order: Order) -> bytes:
        """Return the bytes of the nearest whole number."""
        whole = _whole(number)
        low, high = (-1 << (self.bits - 1), (1 << (self.bits - 1)) - 1) if self.signed else (0, (1 << self.bits) - 1)
        if not low <= whole <= high:
            raise ValueError(f"{number!r} is outside {low} to {high}")
        return (whole & ((1 << self.bits) - 1)).to_bytes(self.size, order)


_LEAST_NORMAL_EXPONENT = -125
"""That of the least float32 that has all its digits, 2**-126 (IEEE 754-2019, table 3.5), as `frexp` gives it."""

_CERTAIN, _ENOUGH = 6, 9
"""Any decimal of six digits survives a float32; nine digits tell every one (IEEE 754-2019, 5.12.2)."""

_FORMS = tuple(f"%.{digits}g" for digits in range(_CERTAIN, _ENOUGH + 1))
_LAYOUTS = {
    (code, order): struct.Struct(mark + code) for code in "fd" for order, mark in (("little", "<"), ("big", ">"))
}


def _float32(text: str) -> float:
    """Return the float32 nearest to a decimal, infinity where none is great enough."""
    try:
        (value,) = struct.unpack("f", struct.pack("f", float(text)))
    except OverflowError:
        return math.inf
    return float(value)


def _shortest_float32(value: float) -> str:
    """Return the decimal with the fewest digits that a float32 can be got back from, perhaps with an exponent.

    Between powers of two the floats stand evenly: a decimal less than half a step away leads back.
    """
    fraction, exponent = math.frexp(value)
    if abs(fraction) == 0.5 or exponent < _LEAST_NORMAL_EXPONENT:
        return _shortest_where_uneven(value)
    half_step = math.ldexp(0.5, exponent - 24)
    for form in _FORMS:
        text = form % value
        off = abs(float(text) - value)
        if off < half_step or (off == half_step and _float32(text) == value):
            return text
    raise AssertionError("nine digits tell every float32")  # pragma: no cover


def _shortest_where_uneven(value: float) -> str:
    """Return the same for a power of two, below which the floats stand twice as dense, and for the very small ones."""
    for digits in range(1, _ENOUGH):
        further = Context(prec=digits, rounding=ROUND_UP).create_decimal(Decimal(value))
        for text in (f"{value:.{digits}g}", str(further)):
            if _float32(text) == value:
                return text
    return f"{value:.{_ENOUGH}g}"


@dataclass(frozen=True, slots=True)
class BinaryFloat:
    """A binary floating-point number of IEEE 754, told as the shortest decimal that gives the same one back.

    `code` is that of `struct`.
    """

    bits: int
    code: Literal["f", "d"]

    @property
    def size(self) -> int:
        """Bytes that it stands in."""
        return self.bits // 8

    def read(self, data: bytes, order: Order) -> str | NoNumber:
        """Return the number that `size` bytes hold; Python itself writes the shortest decimal of a float64."""
        (value,) = _LAYOUTS[self.code, order].unpack(data)
        if not math.isfinite(value):
            return NoNumber(RejectReason.NUMBER, str(value))
        if not value:
            return "0"
        text = _shortest_float32(value) if self.code == "f" else repr(value).removesuffix(".0")
        return plain(Decimal(text)) if "e" in text or "E" in text else text

    def write(self, number: Given, order: Order) -> bytes:
        """Return the bytes of the nearest number of this type."""
        try:
            return _LAYOUTS[self.code, order].pack(float(decimal_of(number)))
        except OverflowError:
            raise ValueError(f"{number!r} is too great for {self.bits} bits") from None


@dataclass(frozen=True, slots=True)
class MedicalFloat:
    """A decimal exponent above a whole number: SFLOAT and FLOAT (IEEE 11073-20601, annex F.8; clause from memory).

    The five whole numbers round the middle are no numbers: not a number, not at this resolution, beyond the range on
    either side, and one that is reserved; the standard lets no number have them, whatever the exponent.
    """

    bits: int
    mantissa_bits: int

    @property
    def size(self) -> int:
        """Bytes that it stands in."""
        return self.bits // 8

    def _special(self, mantissa: int) -> NoNumber | None:
        half = 1 << (self.mantissa_bits - 1)
        return {
            half - 1: NoNumber(RejectReason.NUMBER, "not a number"),
            -half: NoNumber(RejectReason.NUMBER, "not at this resolution"),
            half - 2: NoNumber(RejectReason.RANGE, "above the range"),
            -half + 2: NoNumber(RejectReason.RANGE, "below the range"),
            -half + 1: NoNumber(RejectReason.NUMBER, "reserved"),
        }.get(mantissa)

    def read(self, data: bytes, order: Order) -> str | NoNumber:
        """Return the number that `size` bytes hold; the digits behind the point are those that the exponent says."""
        whole = int.from_bytes(data, order, signed=True)
        exponent = whole >> self.mantissa_bits
        mantissa = whole & self._mask
        if mantissa >> (self.mantissa_bits - 1):
            mantissa -= 1 << self.mantissa_bits
        return self._special(mantissa) or plain(Decimal(mantissa).scaleb(exponent))

    @property
    def _mask(self) -> int:
        return (1 << self.mantissa_bits) - 1

    def write(self, number: Given, order: Order) -> bytes:
        """Return the bytes of the nearest number of this type, with the digits behind the point that it was given."""
        value = decimal_of(number)
        furthest = 1 << (self.bits - self.mantissa_bits - 1)
        written = value.as_tuple().exponent
        assert isinstance(written, int)
        for exponent in range(max(min(written, furthest - 1), -furthest), furthest):
            mantissa = int(value.scaleb(-exponent).to_integral_value(ROUND_HALF_EVEN))
            if abs(mantissa) <= (1 << (self.mantissa_bits - 1)) - 3:
                whole = (exponent << self.mantissa_bits) | (mantissa & self._mask)
                return whole.to_bytes(self.size, order, signed=True)
        raise ValueError(f"{number!r} is too great for {self.bits} bits")


@dataclass(frozen=True, slots=True)
class DecimalDigits:
    """Decimal digits, one in each half byte (packed BCD); a half byte above them is not looked at."""

    digits: int

    @property
    def bits(self) -> int:
        """Bits that the digits fill."""
        return 4 * self.digits

    @property
    def size(self) -> int:
        """Bytes that it stands in."""
        return (self.digits + 1) // 2

    def read(self, data: bytes, order: Order) -> int | NoNumber:
        """Return the number that `size` bytes hold."""
        shown = (data if order == "big" else data[::-1]).hex()[-self.digits :]
        return int(shown) if shown.isdecimal() else NoNumber(RejectReason.NUMBER, shown)

    def write(self, number: Given, order: Order) -> bytes:
        """Return the bytes of the nearest whole number."""
        whole = _whole(number)
        if not 0 <= whole < 10**self.digits:
            raise ValueError(f"{number!r} doesn't fit into {self.digits} digits")
        data = bytes.fromhex(f"{whole:0{2 * self.size}d}")
        return data if order == "big" else data[::-1]


_INTEGER_BITS = (8, 12, 16, 24, 32, 48, 64, 128)

NUMBER_TYPES: Mapping[str, NumberType] = {
    **{f"uint{bits}": Integer(bits, signed=False) for bits in _INTEGER_BITS},
    **{f"sint{bits}": Integer(bits, signed=True) for bits in _INTEGER_BITS},
    "float32": BinaryFloat(32, "f"),
    "float64": BinaryFloat(64, "d"),
    "medfloat16": MedicalFloat(16, 12),
    "medfloat32": MedicalFloat(32, 24),
}
"""The types of number by the names that the Bluetooth Presentation Format gives them."""
