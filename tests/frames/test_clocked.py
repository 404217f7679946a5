"""The clocked bits of calipers. Every frame here is worked by hand: common practice, no source."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.frames.clocked import ClockedFraming
from gaugelog.model.readings import Chunk, Frame, Reject, RejectReason
from gaugelog.model.section import Section

FORMS: list[dict[str, object]] = [
    {"frame": "24 bits", "sent_as": "bits"},
    {"frame": "24 bits", "sent_as": "hex"},
    {"frame": "24 bits", "sent_as": "packed", "lead": "A5 5A"},
    {"frame": "13 digits", "sent_as": "bits"},
    {"frame": "13 digits", "sent_as": "hex"},
    {"frame": "13 digits", "sent_as": "packed"},
]
COUNTS, DIGITS = FORMS[:3], FORMS[3:]


def framing(options: dict[str, object]) -> ClockedFraming:
    section = Section(options)
    made = ClockedFraming(section)
    section.done()
    assert section.faults == []
    return made


def run(options: dict[str, object], data: bytes) -> list[Frame | Reject]:
    decoder = framing(options).decoder()
    return [*decoder.feed(Chunk(0, data)), *decoder.finish(1)]


def shown(options: dict[str, object], data: bytes) -> list[tuple[object, object]]:
    found = run(options, data)
    return [(item.fields["number"], item.fields["unit"]) for item in found if isinstance(item, Frame)]


# 1234 = 0x4D2 hundredths of a millimetre; 971 = 0x3CB half thousandths of an inch; 35 = 0x23.
@pytest.mark.parametrize(
    ("number", "unit", "word", "bits"),
    [
        ("12.34", "mm", 0x0004D2, "010010110010000000000000"),
        ("0.4855", "in", 0x8003CB, "110100111100000000000001"),
        ("-0.35", "mm", 0x100023, "110001000000000000001000"),
        ("-0.0005", "in", 0x900001, "100000000000000000001001"),
        ("0.00", "mm", 0x000000, "0" * 24),
        ("10485.75", "mm", 0x0FFFFF, "1" * 20 + "0000"),
    ],
)
def test_a_count_in_each_way_of_sending_it(number: str, unit: str, word: int, bits: str) -> None:
    sent = [bits.encode() + b"\r\n", f"{word:06X}\r\n".encode(), b"\xa5\x5a" + word.to_bytes(3, "little")]
    for options, data in zip(COUNTS, sent, strict=True):
        assert shown(options, data) == [(number, unit)]
        assert framing(options).encode({"number": number, "unit": unit}) == data


@pytest.mark.parametrize(
    ("number", "unit", "digits", "packed"),
    [
        ("12.34", "mm", "FFFF000123420", "FF FF 00 10 32 24 00"),
        ("-0.4855", "in", "FFFF800485541", "FF FF 08 40 58 45 01"),
        ("0.00", "mm", "FFFF000000020", "FF FF 00 00 00 20 00"),
        ("123456", "mm", "FFFF012345600", "FF FF 10 32 54 06 00"),
        ("-9.99999", "in", "FFFF899999951", "FF FF 98 99 99 59 01"),
    ],
)
def test_digits_in_each_way_of_sending_them(number: str, unit: str, digits: str, packed: str) -> None:
    bits = "".join(f"{int(digit, 16):04b}"[::-1] for digit in digits)
    sent = [bits.encode() + b"\r\n", digits.encode() + b"\r\n", bytes.fromhex(packed)]
    for options, data in zip(DIGITS, sent, strict=True):
        assert shown(options, data) == [(number, unit)]
        assert framing(options).encode({"number": number, "unit": unit}) == data


@pytest.mark.parametrize("word", [0x2004D2, 0x4004D2, 0x6004D2, 0xFFFFFF])
def test_a_bit_that_must_be_nought(word: int) -> None:
    sent = [f"{word:024b}"[::-1].encode() + b"\n", f"{word:06X}\n".encode(), b"\xa5\x5a" + word.to_bytes(3, "little")]
    for options, data in zip(COUNTS, sent, strict=True):
        found = run(options, data)
        assert [item.reason for item in found if isinstance(item, Reject)] == [RejectReason.NO_MATCH]
        assert len(found) == 1


@pytest.mark.parametrize(
    "digits",
    [
        "EFFF000123420",
        "FFFE000123420",
        "FFFF100123420",
        "FFFF900123420",
        "FFFF0A0123420",
        "FFFF00012A420",
        "FFFF000123460",
        "FFFF000123422",
        "FFFFFFFFFFFFF",
        "0000000000000",
    ],
)
def test_a_digit_that_cannot_stand_there(digits: str) -> None:
    packed = int(digits[::-1], 16).to_bytes(7, "little")
    bits = "".join(f"{int(digit, 16):04b}"[::-1] for digit in digits)
    for options, data in zip(DIGITS, [bits.encode() + b"\n", digits.encode() + b"\n", packed], strict=True):
        found = run(options, data)
        assert found
        assert all(isinstance(item, Reject) for item in found)


def test_the_half_byte_behind_packed_digits_is_nought() -> None:
    assert shown(DIGITS[2], bytes.fromhex("FF FF 00 10 32 24 00")) == [("12.34", "mm")]
    assert shown(DIGITS[2], bytes.fromhex("FF FF 00 10 32 24 10")) == []


@pytest.mark.parametrize(
    "line", [b"0004D\r\n", b"0004D21\r\n", b"0004G2\r\n", b"+004D2\r\n", b" 004D2\r\n", b"0_04D2\r\n"]
)
def test_a_line_of_another_form(line: bytes) -> None:
    (found,) = run(COUNTS[1], line)
    assert isinstance(found, Reject)
    assert found.reason is RejectReason.NO_MATCH


def test_what_no_frame_can_hold() -> None:
    for options, number in ((COUNTS[0], "10485.76"), (DIGITS[0], "1234.567"), (DIGITS[0], "0.000001")):
        with pytest.raises(ValueError, match="more than"):
            framing(options).encode({"number": number, "unit": "mm"})
    with pytest.raises(ValueError, match="neither"):
        framing(COUNTS[0]).encode({"number": "1", "unit": "cm"})


@pytest.mark.parametrize(
    ("options", "key"),
    [
        ({"frame": "24 bits", "sent_as": "packed"}, "lead"),
        ({"frame": "24 bits", "sent_as": "packed", "lead": "A"}, "lead"),
        ({"frame": "24 bits", "sent_as": "packed", "lead": "00" * 9}, "lead"),
        ({"frame": "24 bits", "sent_as": "hex", "lead": "A5"}, "lead"),
        ({"frame": "12 bits", "sent_as": "hex"}, "frame"),
        ({"frame": "24 bits"}, "sent_as"),
    ],
)
def test_faults_are_noted(options: dict[str, object], key: str) -> None:
    section = Section(options)
    ClockedFraming(section)
    section.done()
    assert key in {fault.key for fault in section.faults}


@pytest.mark.parametrize("options", COUNTS, ids=lambda options: options["sent_as"])
@given(count=st.integers(-0xFFFFF, 0xFFFFF), unit=st.sampled_from(["mm", "in"]))
def test_every_count_is_read_back(options: dict[str, object], count: int, unit: str) -> None:
    number = f"{count * (Decimal('0.01') if unit == 'mm' else Decimal('0.0005')):f}"
    assert shown(options, framing(options).encode({"number": number, "unit": unit})) == [(number, unit)]


@pytest.mark.parametrize("options", DIGITS, ids=lambda options: options["sent_as"])
@given(value=st.integers(-999_999, 999_999), decimals=st.integers(0, 5), unit=st.sampled_from(["mm", "in"]))
def test_every_number_of_six_digits_is_read_back(
    options: dict[str, object], value: int, decimals: int, unit: str
) -> None:
    number = f"{Decimal(value).scaleb(-decimals):f}"
    assert shown(options, framing(options).encode({"number": number, "unit": unit})) == [(number, unit)]
