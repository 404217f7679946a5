"""Replies of laboratory instruments: the three forms of a number, and what is none."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.frames.scpi import ScpiFraming
from gaugelog.model.readings import Chunk, Frame, Reject, RejectReason
from gaugelog.model.section import Section


def framing(**options: object) -> ScpiFraming:
    section = Section(options)
    made = ScpiFraming(section)
    section.done()
    assert section.faults == []
    return made


def one(line: str, **options: object) -> Frame | Reject:
    (found,) = framing(**options).decoder().feed(Chunk(0, line.encode("latin-1") + b"\n"))
    return found


# The forms of IEEE 488.2 as instruments' programming guides print them; NR3 worked by hand.
@pytest.mark.parametrize(
    ("line", "number"),
    [
        ("12", "12"),
        ("-3", "-3"),
        ("+0", "+0"),
        ("12.34", "12.34"),
        ("-0.005", "-0.005"),
        ("1.234E+01", "12.34"),
        ("-2.5E-03", "-0.0025"),
        ("+2.85000000E+00", "2.85000000"),
        ("-1.00000E-09", "-0.00000000100000"),
        ("1.2e3\r", "1200"),
        (" 12.34", "12.34"),
    ],
)
def test_each_form_becomes_plain_digits(line: str, number: str) -> None:
    found = one(line)
    assert isinstance(found, Frame)
    assert found.fields == {"number": number}


# SCPI-1999: 9.9E37 is infinity, 9.91E37 not a number; the guides say to compare the numbers, not the texts. Those with
# eight or nine digits other than noughts are the two as a float32 holds them, or one step of it beside (computed).
@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("9.9E37", RejectReason.RANGE),
        ("-9.9E37", RejectReason.RANGE),
        ("9.90000000E+37", RejectReason.RANGE),
        ("+9.90000000E+37", RejectReason.RANGE),
        ("99E36", RejectReason.RANGE),
        ("9.9E+38", RejectReason.RANGE),
        ("99" + "0" * 36, RejectReason.RANGE),
        ("9.91E37", RejectReason.NUMBER),
        ("9.91000E+37", RejectReason.NUMBER),
        ("0.991E+038", RejectReason.NUMBER),
        ("9.90999953E+37", RejectReason.NUMBER),
        ("9.9100004E+37", RejectReason.NUMBER),
        ("9.90000030E+37", RejectReason.RANGE),
        ("9.8999995E+37", RejectReason.RANGE),
        ("1E+9999", RejectReason.NUMBER),
        ("1E-999999999", RejectReason.NUMBER),
        ("NAN", RejectReason.NUMBER),
        ("INF", RejectReason.NUMBER),
        ("1_0", RejectReason.NUMBER),
        ("1.2 mm", RejectReason.NUMBER),
        ("1E", RejectReason.NUMBER),
        ("\xb2", RejectReason.ENCODING),
        ('-113,"Undefined header"', RejectReason.ERROR_ANSWER),
        ('-224,"Illegal parameter value; 1,2"', RejectReason.ERROR_ANSWER),
        ("1;2", RejectReason.NO_MATCH),
        ("#15abcde", RejectReason.NO_MATCH),
        ('"1,2",3', RejectReason.NO_MATCH),
    ],
)
def test_what_is_no_number_is_never_a_reading(line: str, reason: RejectReason) -> None:
    found = one(line)
    assert isinstance(found, Reject)
    assert found.reason is reason


def test_one_of_several_elements() -> None:
    found = one("1.0,-2.5E-03,3", place=2)
    assert isinstance(found, Frame)
    assert found.fields == {"number": "-0.0025"}
    for line, options in (("1.0", {"place": 2}), ("1,2,3", {"elements": 2}), ("1", {"elements": 2})):
        found = one(line, **options)
        assert isinstance(found, Reject)
        assert found.reason is RejectReason.NO_MATCH
    assert framing(place=2, elements=3).encode({"number": "1.5"}) == b"0,1.5,0\n"


def test_faults_are_noted() -> None:
    section = Section({"place": 3, "elements": 2})
    ScpiFraming(section)
    assert [fault.key for fault in section.faults] == ["elements"]


@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**30), max_value=10**30, places=9))
def test_what_is_written_is_read_back(value: Decimal) -> None:
    made = framing(place=2)
    (frame,) = made.decoder().feed(Chunk(0, made.encode({"number": f"{value:f}"})))
    assert isinstance(frame, Frame)
    assert frame.fields == {"number": f"{value:f}"}


@given(st.integers(-(10**9), 10**9), st.integers(0, 8), st.integers(-20, 20))
def test_an_exponent_changes_no_digit(digits: int, decimals: int, exponent: int) -> None:
    mantissa = Decimal(digits).scaleb(-decimals)
    found = one(f"{mantissa:f}E{exponent:+03d}")
    assert isinstance(found, Frame)
    assert Decimal(str(found.fields["number"])) == mantissa.scaleb(exponent)
    assert "E" not in str(found.fields["number"])


@given(st.decimals(-1000, 1000, places=5))
def test_a_signed_number_with_an_exponent_shows_that_it_lost_its_head(value: Decimal) -> None:
    made = framing(form="signed NR3")
    reply = made.encode({"number": f"{value:f}"})
    (whole,) = made.decoder().feed(Chunk(0, reply))
    assert isinstance(whole, Frame)
    assert Decimal(str(whole.fields["number"])) == value
    for lost in range(1, len(reply)):
        assert not any(isinstance(item, Frame) for item in made.decoder().feed(Chunk(0, reply[lost:])))
