"""Values that bring their own description, against the published layout and codes."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.datasheets.meaning import Decoding
from gaugelog.frames.described import DescribedFraming
from gaugelog.model.readings import Chunk, Frame, Reading, Reject, RejectReason
from gaugelog.model.section import Section

DEGREES = bytes.fromhex("0E FE 63 27 01 00 00")
"""sint16, exponent -2, unit 2763 degree, name space 1, no description (layout: Bluetooth Core, vol 3, part G, 3.3.3.5;
codes: Bluetooth Assigned Numbers)."""


def framing(**options: object) -> DescribedFraming:
    section = Section(options)
    made = DescribedFraming(section)
    section.done()
    assert section.faults == []
    return made


def run(*pieces: bytes) -> list[Frame | Reject]:
    decoder = framing().decoder()
    found = [item for place, piece in enumerate(pieces) for item in decoder.feed(Chunk(place, piece))]
    return [*found, *decoder.finish(len(pieces))]


# Formats and units: Bluetooth Assigned Numbers, format types and units. The exponent counts for whole numbers alone.
PUBLISHED = [
    ("0E FE 63 27 01 00 00", "1D 01", "2.85", "degree", "sint16"),
    ("0E FE 63 27 01 00 00", "DD FF", "-0.35", "degree", "sint16"),
    ("0E FE 2F 27 01 00 00", "59 08", "21.37", "degree Celsius", "sint16"),
    ("06 FE AD 27 01 00 00", "D2 04", "12.34", "percentage", "uint16"),
    ("10 FB 01 27 01 00 00", "2A 00 00 00", "0.00042", "metre", "sint32"),
    ("0F FC A2 27 01 00 00", "FF FF FF", "-0.0001", "inch", "sint24"),
    ("04 00 63 27 01 00 00", "5A", 90, "degree", "uint8"),
    ("0C 01 63 27 01 00 00", "FB", "-50", "degree", "sint8"),
    ("05 FF 64 27 01 00 00", "FF 0F", "409.5", "arc minute", "uint12"),
    ("0D FF 65 27 01 00 00", "FF 0F", "-0.1", "arc second", "sint12"),
    ("14 FE 63 27 01 00 00", "66 66 36 40", "2.85", "degree", "float32"),
    ("15 00 20 27 01 00 00", "9A 99 99 99 99 99 A9 3F", "0.05", "radian", "float64"),
    ("17 00 2F 27 01 00 00", "6C 01 00 FF", "36.4", "degree Celsius", "medfloat32"),
    ("16 05 AC 27 01 00 00", "72 F0", "11.4", "degree Fahrenheit", "medfloat16"),
    ("0E FE A3 27 01 01 00", "0A 00", "0.10", "foot", "sint16"),
]


@pytest.mark.parametrize(("head", "value", "number", "unit", "name"), PUBLISHED)
def test_published_descriptions(head: str, value: str, number: object, unit: str, name: str) -> None:
    (found,) = run(bytes.fromhex(head + value))
    assert isinstance(found, Frame)
    assert found.fields == {"number": number, "unit": unit, "format": name}


@pytest.mark.parametrize(
    "head",
    [
        "01 00 63 27 01 00 00",  # a truth value
        "19 00 63 27 01 00 00",  # a text
        "0E FE 63 27 02 00 00",  # another name space
        "0E FE 28 27 01 00 00",  # volts
        "0E 7F 63 27 01 00 00",  # an exponent of 127
    ],
)
def test_what_is_no_measured_number_of_ours_is_no_reading(head: str) -> None:
    found = run(bytes.fromhex(head) + b"\x1d\x01")
    assert [item.reason for item in found if isinstance(item, Reject)] == [RejectReason.NO_MATCH]


@pytest.mark.parametrize(
    ("value", "reason"), [("FF 07", RejectReason.NUMBER), ("00 08", RejectReason.NUMBER), ("FE 07", RejectReason.RANGE)]
)
def test_what_a_medical_float_says_instead_of_a_number_is_no_reading(value: str, reason: RejectReason) -> None:
    (found,) = run(bytes.fromhex("16 00 2F 27 01 00 00" + value))
    assert isinstance(found, Reject)
    assert found.reason is reason


SHEETS = {
    "described-angle": [
        ("0E FE 63 27", "1D 01", 2.85),
        ("0E FF 64 27", "1E 00", 0.05),
        ("14 00 20 27", "00000000", 0.0),
    ],
    "described-length": [("10 FB 01 27", "2A 00 00 00", 0.42), ("0E FD A2 27", "E8 03", 25.4)],
    "described-temperature": [("0E FE 2F 27", "59 08", 21.37), ("0E FF AC 27", "A4 02", 19.777777777777779)],
    "described-humidity": [("06 FE AD 27", "D2 04", 12.34)],
}


@pytest.mark.parametrize("sheet", SHEETS)
def test_bundled_datasheets_take_each_unit_for_what_it_is(sheet: str) -> None:
    for head, value, wanted in SHEETS[sheet]:
        data = bytes.fromhex(head + "01 00 00" + value)
        (found,) = Decoding(find_datasheet(sheet), "gauge").feed(Chunk(0, data)).items
        assert isinstance(found, Reading)
        assert found.value == wanted


def test_a_temperature_that_is_not_known_is_outside_the_range_of_the_datasheet() -> None:
    data = bytes.fromhex("0E FE 2F 27 01 00 00 00 80")
    (found,) = Decoding(find_datasheet("described-temperature"), "gauge").feed(Chunk(0, data)).items
    assert isinstance(found, Reject)
    assert found.reason is RejectReason.RANGE


def test_another_quantity_is_no_reading() -> None:
    data = bytes.fromhex("0E FE 2F 27 01 00 00 59 08")
    (found,) = Decoding(find_datasheet("described-angle"), "gauge").feed(Chunk(0, data)).items
    assert isinstance(found, Reject)
    assert found.reason is RejectReason.UNIT


def test_the_published_description_is_written() -> None:
    made = framing(format="sint16", exponent=-2, unit="degree")
    assert made.encode({"number": "2.85"}) == DEGREES + b"\x1d\x01"
    with pytest.raises(ValueError, match="outside"):
        made.encode({"number": "400"})
    with pytest.raises(ValueError, match="no unit"):
        made.encode({"number": "4", "unit": "ell"})


WHOLE = st.sampled_from(["sint8", "sint16", "sint24", "sint32", "sint48", "sint64", "sint12", "uint8", "uint64"])


@given(
    name=WHOLE,
    exponent=st.integers(-9, 0),
    raws=st.lists(st.integers(0, 127), min_size=1, max_size=6),
    cuts=st.lists(st.integers(0, 60), max_size=6),
)
def test_what_is_encoded_comes_back_however_it_is_cut(name, exponent, raws, cuts) -> None:
    made = framing(format=name, exponent=exponent, unit="degree")
    texts = [format(Decimal(raw).scaleb(exponent), "f") for raw in raws]
    stream = b"".join(made.encode({"number": text}) for text in texts)
    places = [0, *sorted(min(cut, len(stream)) for cut in cuts), len(stream)]
    found = run(*[stream[start:end] for start, end in pairwise(places)])
    assert [str(item.fields["number"]) for item in found if isinstance(item, Frame)] == texts
    assert len(found) == len(texts)


@given(st.binary(max_size=200), st.integers(0, 200))
def test_bytes_never_raise_and_none_is_lost(noise: bytes, cut: int) -> None:
    assert b"".join(item.raw for item in run(noise[:cut], noise[cut:])) == noise


def test_all_faults_of_the_options_are_named() -> None:
    section = Section({"format": "utf8s", "exponent": 40, "unit": "furlong"}, "framing")
    DescribedFraming(section)
    assert {fault.key for fault in section.faults} == {"framing.format", "framing.exponent", "framing.unit"}
