"""Numbers in bytes against published values, and both ways."""

from __future__ import annotations

import math
import struct
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from gaugelog.frames.numbers import NUMBER_TYPES, DecimalDigits, Integer, NoNumber, decimal_of, plain
from gaugelog.model.readings import RejectReason

ORDERS = st.sampled_from(["little", "big"])

# IEEE 11073-20601 medical floats: 36.4 is the worked example of the Bluetooth SIG's paper on transcoding (2.2.1); the
# others follow from the layout (computed).
MEDICAL = [
    ("medfloat32", "6C 01 00 FF", "36.4"),
    ("medfloat16", "6D F1", "36.5"),
    ("medfloat16", "72 F0", "11.4"),
    ("medfloat16", "64 E0", "1.00"),
    ("medfloat32", "85 01 00 00", "389"),
    ("medfloat32", "F2 FE FF FF", "-27.0"),
    ("medfloat16", "FF FF", "-0.1"),
]

NOT_NUMBERS = [
    ("medfloat16", "FF 07", RejectReason.NUMBER),
    ("medfloat16", "00 08", RejectReason.NUMBER),
    ("medfloat16", "01 08", RejectReason.NUMBER),
    ("medfloat16", "FE 07", RejectReason.RANGE),
    ("medfloat16", "02 08", RejectReason.RANGE),
    ("medfloat32", "FF FF 7F 00", RejectReason.NUMBER),
    ("medfloat32", "00 00 80 00", RejectReason.NUMBER),
    ("medfloat32", "01 00 80 00", RejectReason.NUMBER),
    ("medfloat32", "FE FF 7F 00", RejectReason.RANGE),
    ("medfloat32", "02 00 80 00", RejectReason.RANGE),
    ("float32", "00 00 C0 7F", RejectReason.NUMBER),
    ("float32", "00 00 80 7F", RejectReason.NUMBER),
    ("float64", "00 00 00 00 00 00 F0 FF", RejectReason.NUMBER),
]


@pytest.mark.parametrize(("name", "data", "text"), MEDICAL)
def test_published_medical_floats(name: str, data: str, text: str) -> None:
    assert NUMBER_TYPES[name].read(bytes.fromhex(data), "little") == text
    assert NUMBER_TYPES[name].write(text, "little") == bytes.fromhex(data)


@pytest.mark.parametrize(("name", "data", "reason"), NOT_NUMBERS)
def test_what_is_no_number_is_never_a_reading(name: str, data: str, reason: RejectReason) -> None:
    found = NUMBER_TYPES[name].read(bytes.fromhex(data), "little")
    assert isinstance(found, NoNumber)
    assert found.reason is reason


@pytest.mark.parametrize("text", ["2.85", "0.1", "-0.35", "686", "0", "0.0001", "16777216"])
def test_a_float_is_shown_as_it_was_meant(text: str) -> None:
    for name in ("float32", "float64"):
        assert NUMBER_TYPES[name].read(NUMBER_TYPES[name].write(text, "big"), "big") == text


def shortest_by_numpy(value: float) -> str:
    return np.format_float_positional(np.float32(value), unique=True, trim="-")


@given(st.floats(width=32, allow_nan=False, allow_infinity=False), ORDERS)
@example(2.0**-96, "little")
@example(2.0**87, "little")
@example(2.0**-149, "big")
@example(3.4028234663852886e38, "big")
@example(-0.0, "big")
def test_a_float32_is_shown_with_the_fewest_digits_that_give_it_back(value: float, order) -> None:
    data = struct.pack("<f" if order == "little" else ">f", value)
    text = NUMBER_TYPES["float32"].read(data, order)
    assert isinstance(text, str)
    assert "e" not in text
    assert float(np.float32(text)) == value
    if value:
        mine = Decimal(text).normalize().as_tuple().digits
        assert len(mine) == len(Decimal(shortest_by_numpy(value)).normalize().as_tuple().digits)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_float64_comes_back_bit_for_bit(value: float) -> None:
    kind = NUMBER_TYPES["float64"]
    text = kind.read(struct.pack("<d", value), "little")
    assert isinstance(text, str)
    assert "e" not in text
    assert float(text) == value


@given(st.data(), ORDERS)
@pytest.mark.parametrize("name", [name for name in NUMBER_TYPES if "int" in name])
def test_whole_numbers_come_back(name: str, data: st.DataObject, order) -> None:
    kind = NUMBER_TYPES[name]
    low, high = (-1 << (kind.bits - 1), 1 << (kind.bits - 1)) if name.startswith("s") else (0, 1 << kind.bits)
    value = data.draw(st.integers(low, high - 1))
    written = kind.write(str(value), order)
    assert len(written) == kind.size
    assert kind.read(written, order) == value
    if kind.bits % 8 == 0:
        assert written == value.to_bytes(kind.size, order, signed=low < 0)
    for beyond in (low - 1, high):
        with pytest.raises(ValueError, match="outside"):
            kind.write(beyond, order)


def test_bits_above_a_twelve_bit_number_are_not_looked_at() -> None:
    assert NUMBER_TYPES["sint12"].read(b"\xff\x0f", "little") == -1
    assert NUMBER_TYPES["sint12"].read(b"\xff\xff", "little") == -1
    assert NUMBER_TYPES["uint12"].read(b"\x01\xf0", "little") == 1


@given(st.integers(-2045, 2045), st.integers(-8, 7), ORDERS)
def test_medical_floats_come_back_with_their_digits(mantissa: int, exponent: int, order) -> None:
    text = plain(Decimal(mantissa).scaleb(exponent))
    kind = NUMBER_TYPES["medfloat16"]
    found = kind.read(kind.write(text, order), order)
    assert isinstance(found, str)
    assert Decimal(found) == Decimal(text)
    if exponent <= 0 and mantissa:
        assert found == text


def test_a_medical_float_gives_up_digits_rather_than_the_number() -> None:
    kind = NUMBER_TYPES["medfloat16"]
    assert kind.read(kind.write("204.44", "little"), "little") == "204.4"
    with pytest.raises(ValueError, match="too great"):
        kind.write("99999999999999", "little")


@given(st.integers(1, 18), ORDERS, st.data())
def test_decimal_digits_come_back(digits: int, order, data: st.DataObject) -> None:
    kind = DecimalDigits(digits)
    value = data.draw(st.integers(0, 10**digits - 1))
    assert kind.read(kind.write(value, order), order) == value
    with pytest.raises(ValueError, match="digits"):
        kind.write(10**digits, order)


def test_decimal_digits_by_hand() -> None:
    assert DecimalDigits(6).read(b"\x12\x34\x56", "big") == 123456
    assert DecimalDigits(6).read(b"\x12\x34\x56", "little") == 563412
    assert DecimalDigits(5).read(b"\xf2\x34\x56", "big") == 23456
    assert isinstance(DecimalDigits(6).read(b"\x12\x3a\x56", "big"), NoNumber)


def test_a_fraction_goes_to_the_nearest_whole_number_ties_to_even() -> None:
    kind = Integer(16, signed=True)
    assert [kind.read(kind.write(text, "big"), "big") for text in ("2.5", "3.5", "-2.5", "2.51")] == [2, 4, -2, 3]


@pytest.mark.parametrize("wrong", ["", "abc", "nan", "inf", b"\xff", math.inf])
def test_what_is_no_number_is_not_written(wrong) -> None:
    with pytest.raises(ValueError, match="no number"):
        decimal_of(wrong)
