"""NMEA 0183 sentences, against an independent parser and sentences that others published."""

from __future__ import annotations

from decimal import Decimal

import pynmea2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.frames.nmea import NmeaFraming, checksum
from gaugelog.model.readings import Chunk, Frame, Reject, RejectReason
from gaugelog.model.section import Section

# The first is of the independent parser's own tests, the second widely quoted; the others are made here.
FOUR_TRANSDUCERS = "$YXXDR,A,-64.437,M,N,A,054.454,D,E,C,17.09,C,T-N1052*46"
POSITION = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"
TWO_ANGLES = "$IIXDR,A,0.7,D,HEEL,A,-12.3,D,TRIM*52"
SENTENCES = [
    FOUR_TRANSDUCERS,
    TWO_ANGLES,
    "$IIXDR,A,-12.34,D,PITCH*0A",
    "$IIXDR,A,3.95,D,GAUGE1*3A",
    "$IIXDR,D,0.0125,M,CALIPER1*2E",
    "$IIXDR,C,21.5,C,AIR*0C",
    "$IIXDR,H,45.2,P,RH*51",
]
A_NULL = "$IIXDR,A,,D,GAUGE1*2B"


def framing(**options: object) -> NmeaFraming:
    section = Section(options)
    made = NmeaFraming(section)
    section.done()
    assert section.faults == []
    return made


def run(made: NmeaFraming, *lines: str) -> list[Frame | Reject]:
    decoder = made.decoder()
    found = decoder.feed(Chunk(0, "".join(line + "\r\n" for line in lines).encode("latin-1")))
    return [*found, *decoder.finish(1)]


def numbers(found: list[Frame | Reject]) -> list[object]:
    return [item.fields["number"] for item in found if isinstance(item, Frame)]


def reasons(found: list[Frame | Reject]) -> list[RejectReason]:
    return [item.reason for item in found if isinstance(item, Reject)]


@pytest.mark.parametrize("sentence", SENTENCES)
@pytest.mark.parametrize("kind", ["A", "C", "D", "H"])
def test_each_transducer_is_what_an_independent_parser_says(sentence: str, kind: str) -> None:
    parsed = pynmea2.parse(sentence, check=True)
    transducers = [parsed.get_transducer(i) for i in range(parsed.num_transducers)]
    wanted = [(Decimal(str(each.value)), each.units, each.id) for each in transducers if each.type == kind]
    found = run(framing(type=kind), sentence)
    assert [(Decimal(f.fields["number"]), f.fields["unit"], f.fields["id"]) for f in found] == wanted
    assert all(item.fields["talker"] == parsed.talker for item in found)


def test_the_digits_are_those_that_were_sent() -> None:
    assert numbers(run(framing(type="A", id="E"), FOUR_TRANSDUCERS)) == ["054.454"]
    assert numbers(run(framing(type="A"), TWO_ANGLES)) == ["0.7", "-12.3"]
    assert [item.raw for item in run(framing(id="TRIM"), TWO_ANGLES)] == [b"A,-12.3,D,TRIM"]


def test_what_is_for_others_gives_nothing() -> None:
    radio = "!AIVDM,1,1,,A,14eG;o@034o8sd<L9i:a;WF>062D,0*7D"
    assert pynmea2.NMEASentence.checksum(radio[1:-3]) == 0x7D
    maker = f"$PAXDR,1,2*{checksum(b'PAXDR,1,2'):02X}"
    assert run(framing(type="A", id="GAUGE1"), POSITION, FOUR_TRANSDUCERS, radio, maker) == []
    assert run(framing(type="A", talker="II"), FOUR_TRANSDUCERS) == []


def test_a_number_at_a_place_of_another_sentence() -> None:
    (height,) = run(framing(sentence="GGA", place=9, unit_place=10), POSITION)
    parsed = pynmea2.parse(POSITION, check=True)
    assert height.fields == {"number": "545.4", "unit": "M", "talker": "GP"}
    assert (Decimal(str(parsed.altitude)), parsed.altitude_units) == (Decimal("545.4"), "M")
    assert reasons(run(framing(sentence="GGA", place=3), POSITION)) == [RejectReason.NUMBER]
    assert reasons(run(framing(sentence="GGA", place=40), POSITION)) == [RejectReason.NO_MATCH]


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("$IIXDR,A,3.95,D,GAUGE1*3B", RejectReason.CHECKSUM),
        ("$IIXDR,A,3.95,D,GAUGE1", RejectReason.CHECKSUM),
        ("$IIXDR,A,3.95,D,GAUGE1*3", RejectReason.CHECKSUM),
        (A_NULL, RejectReason.NUMBER),
        ("IIXDR,A,3.95,D,GAUGE1*3A", RejectReason.NO_MATCH),
        ("$IIXDR,A,3.95,D,GA\xb0GE1*3A", RejectReason.ENCODING),
        ("$IIXDR,A,3.95,D,GAUGE1*3A" + " " * 60, RejectReason.TOO_LONG),
    ],
)
def test_what_is_damaged_is_no_reading(line: str, reason: RejectReason) -> None:
    assert reasons(run(framing(type="A"), line)) == [reason]
    assert numbers(run(framing(type="A"), line)) == []


def test_quadruples_that_are_incomplete_are_no_reading() -> None:
    body = "IIXDR,A,0.7,D,HEEL,A,1.5,D"
    sentence = f"${body}*{pynmea2.NMEASentence.checksum(body):02X}"
    assert reasons(run(framing(type="A"), sentence)) == [RejectReason.NO_MATCH]


def test_a_sentence_may_begin_behind_the_rest_of_another() -> None:
    found = run(framing(type="A"), "$IIXDR,A,3.9$IIXDR,A,3.95,D,GAUGE1*3A")
    assert numbers(found) == ["3.95"]
    assert reasons(found) == [RejectReason.NO_MATCH]


def test_no_sentence_is_longer_than_the_standard_lets_it() -> None:
    """82 characters with $ and CR LF: from memory."""
    name = "N" * (82 - len("$IIXDR,A,1,D,*hh\r\n"))
    longest = framing(id=name, type="A").encode({"number": 1, "unit": "D"})
    assert len(longest) == 82
    assert numbers(run(framing(type="A"), longest.decode("ascii").strip())) == ["1"]
    with pytest.raises(ValueError, match="longer than 82"):
        framing(id=name, type="A").encode({"number": 12, "unit": "D"})
    with pytest.raises(ValueError, match="can hold"):
        framing(type="A").encode({"number": 1, "unit": "D,"})


@pytest.mark.parametrize(
    ("options", "key"),
    [
        ({}, "type"),
        ({"type": "A,"}, "type"),
        ({"sentence": "xdr", "place": 1}, "sentence"),
        ({"sentence": "MTW"}, "place"),
        ({"sentence": "MTW", "place": 1, "unit_place": 1}, "unit_place"),
        ({"type": "A", "talker": "PX"}, "talker"),
        ({"type": "A", "place": 1}, "place"),
    ],
)
def test_faults_are_noted(options: dict[str, object], key: str) -> None:
    section = Section(options)
    NmeaFraming(section)
    section.done()
    assert key in {fault.key for fault in section.faults}


@given(st.binary(max_size=300))
def test_the_checksum_is_the_exclusive_or(body: bytes) -> None:
    assert checksum(body) == pynmea2.NMEASentence.checksum(body.decode("latin-1"))


@given(st.decimals(-1000, 1000, places=3), st.sampled_from("DM"), st.from_regex("[A-Z0-9-]{0,10}", fullmatch=True))
def test_what_is_written_is_read_back_here_and_by_an_independent_parser(value: Decimal, unit: str, name: str) -> None:
    fields = {"number": f"{value:f}", "unit": unit, "id": name, "type": "A", "talker": "YX"}
    sentence = framing(type="A").encode(fields)
    (frame,) = framing(type="A").decoder().feed(Chunk(0, sentence))
    assert isinstance(frame, Frame)
    assert frame.fields == fields
    parsed = pynmea2.parse(sentence.decode("ascii"), check=True).get_transducer(0)
    assert (Decimal(str(parsed.value)), parsed.units, parsed.id) == (Decimal(str(float(value))), unit, name)
