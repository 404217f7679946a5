"""Fixed binary frames: found, checked, read and written; faults told all at once."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.frames.binary import BinaryFraming
from gaugelog.model.readings import Chunk, Frame, Reject, RejectReason
from gaugelog.model.section import Section

SYNCED: dict[str, Any] = {
    "sync": "AA 55",
    "length": 9,
    "field": [
        {"name": "number", "at": 2, "type": "sint32"},
        {"name": "hold", "at": 6, "type": "uint8", "bits": [0, 1]},
        {"name": "sign", "at": 6, "type": "uint8", "bits": [7, 1]},
    ],
    "check": {"kind": "CRC-16/MODBUS", "over": [0, 7], "at": 7},
}
BARE: dict[str, Any] = {"length": 2, "field": [{"name": "number", "at": 0, "type": "sint16"}]}


def framing(options: dict[str, Any], **more: Any) -> BinaryFraming:
    section = Section({**options, **more})
    made = BinaryFraming(section)
    section.done()
    assert section.faults == []
    return made


def run(made: BinaryFraming, *pieces: bytes) -> list[Frame | Reject]:
    decoder = made.decoder()
    found = [item for place, piece in enumerate(pieces) for item in decoder.feed(Chunk(place, piece))]
    return [*found, *decoder.finish(len(pieces))]


def fields(found: list[Frame | Reject]) -> list[dict[str, Any]]:
    return [dict(item.fields) for item in found if isinstance(item, Frame)]


def reasons(found: list[Frame | Reject]) -> list[RejectReason]:
    return [item.reason for item in found if isinstance(item, Reject)]


def test_a_frame_by_hand() -> None:
    """285 is 1D 01 00 00 little-endian; the CRC of AA 55 1D 01 00 00 81 was computed by an independent library."""
    from crccheck.crc import CrcModbus

    head = bytes.fromhex("AA 55 1D 01 00 00 81")
    data = head + CrcModbus.calc(head).to_bytes(2, "little")
    made = framing(SYNCED)
    assert fields(run(made, data)) == [{"number": 285, "hold": 1, "sign": 1}]
    assert made.encode({"number": "285", "hold": 1, "sign": "1"}) == data


def test_temperature_of_the_environmental_sensing_service_by_hand() -> None:
    """Characteristic 2A6E: sint16, hundredths of a degree Celsius, little-endian (Bluetooth Assigned Numbers)."""
    assert fields(run(framing(BARE), bytes.fromhex("59 08"))) == [{"number": 2137}]


def test_a_wrong_check_is_told_and_the_next_frame_is_read() -> None:
    made = framing(SYNCED)
    good = made.encode({"number": 7})
    spoilt = bytes((*good[:2], good[2] ^ 4, *good[3:]))
    found = run(made, spoilt + good)
    assert fields(found) == [{"number": 7, "hold": 0, "sign": 0}]
    assert reasons(found) == [RejectReason.CHECKSUM]


def test_a_sync_cut_in_two_is_found() -> None:
    made = framing(SYNCED)
    data = made.encode({"number": -1})
    assert len(fields(run(made, data[:1], data[1:]))) == 1


def test_without_sync_the_check_alone_finds_the_frame() -> None:
    made = framing({**SYNCED, "sync": ""})
    data = made.encode({"number": 285})
    found = run(made, b"\x01\x02\x03" + data)
    assert fields(found) == [{"number": 285, "hold": 0, "sign": 0}]
    assert reasons(found) == [RejectReason.CHECKSUM]


def test_a_piece_that_is_whole_begins_with_a_frame() -> None:
    found = run(framing(BARE), b"\x59", b"\x59\x08\x5a\x08")
    assert fields(found) == [{"number": 0x0859}, {"number": 0x085A}]
    assert reasons(found) == [RejectReason.CUT_OFF]


def test_a_half_byte_that_is_no_digit_is_no_number() -> None:
    made = framing(
        {"sync": "FA", "length": 3, "field": [{"name": "number", "at": 1, "type": "bcd", "digits": 4, "order": "big"}]}
    )
    found = run(made, b"\xfa\x12\x34\xfa\x12\x3f")
    assert fields(found) == [{"number": 1234}]
    (told,) = [item for item in found if isinstance(item, Reject)]
    assert (told.reason, told.detail) == (RejectReason.NUMBER, "number: 123f")


def test_bits_across_bytes_in_either_order() -> None:
    for order, data in (("big", b"\xfa\x0a\xbc"), ("little", b"\xfa\xbc\x0a")):
        part = {"name": "number", "at": 1, "type": "uint16", "bits": [4, 8], "order": order}
        made = framing({"sync": "FA", "length": 3, "field": [part]})
        assert fields(run(made, data)) == [{"number": 0xAB}]
        assert made.encode({"number": 0xAB}) == b"\xfa" + (b"\x0a\xb0" if order == "big" else b"\xb0\x0a")


def test_a_number_that_does_not_fit_is_never_written() -> None:
    with pytest.raises(ValueError, match="outside"):
        framing(BARE).encode({"number": 40_000})


TYPES = ["uint8", "sint16", "uint24", "sint32", "float32", "medfloat16"]


@given(
    kinds=st.lists(st.sampled_from(TYPES), min_size=1, max_size=4),
    check=st.sampled_from(["sum8", "sum16", "xor8", "lrc", "CRC-8/SMBUS", "CRC-16/X-25", "CRC-32"]),
    orders=st.lists(st.sampled_from(["little", "big"]), min_size=5, max_size=5),
    values=st.lists(st.integers(0, 127), min_size=12, max_size=12),
    cuts=st.lists(st.integers(0, 90), max_size=6),
)
def test_frames_of_any_layout_come_back_however_they_are_cut(kinds, check, orders, values, cuts) -> None:
    sizes = {"uint8": 1, "sint16": 2, "uint24": 3, "sint32": 4, "float32": 4, "medfloat16": 2}
    at, described = 2, []
    for place, kind in enumerate(kinds):
        described.append({"name": f"f{place}", "at": at, "type": kind, "order": orders[place]})
        at += sizes[kind]
    size = {"sum16": 2, "CRC-16/X-25": 2, "CRC-32": 4}.get(check, 1)
    made = framing(
        {
            "sync": "AA 55",
            "length": at + size,
            "field": described,
            "check": {"kind": check, "over": [0, at], "at": at, "order": orders[4]},
        }
    )
    wanted = []
    for start in (0, 4, 8):
        numbers = values[start : start + len(kinds)]
        whole = zip(kinds, numbers, strict=True)
        wanted.append({f"f{place}": str(n) if "float" in kind else n for place, (kind, n) in enumerate(whole)})
    stream = b"".join(map(made.encode, wanted))
    places = [0, *sorted(min(cut, len(stream)) for cut in cuts), len(stream)]
    assert fields(run(made, *[stream[start:end] for start, end in pairwise(places)])) == wanted


@given(st.sampled_from([SYNCED, BARE, {**SYNCED, "sync": ""}]), st.binary(max_size=200), st.integers(0, 200))
def test_bytes_never_raise_and_none_is_lost(options, noise: bytes, cut: int) -> None:
    found = run(framing(options), noise[:cut], noise[cut:])
    assert b"".join(item.raw for item in found) == noise


def with_field(**changes: Any) -> dict[str, Any]:
    return {**SYNCED, "field": [{**SYNCED["field"][0], **changes}]}


def with_check(**changes: Any) -> dict[str, Any]:
    return {**SYNCED, "check": {**SYNCED["check"], **changes}}


@pytest.mark.parametrize(
    ("options", "keys"),
    [
        ({}, {"length", "field"}),
        ({**SYNCED, "sync": "A"}, {"sync"}),
        ({"sync": "AA 55 AA", "length": 2, "field": BARE["field"]}, {"sync"}),
        (with_field(at=1), {"field[1].at"}),
        (with_field(at=6), {"field[1].at"}),
        (with_field(at=5), {"check.at"}),
        (with_field(type="sint33"), {"field[1].type"}),
        (with_field(type="bcd"), {"field[1].digits"}),
        (with_field(digits=3), {"field[1].digits"}),
        (with_field(bits=[0, 4]), {"field[1].bits"}),
        (with_field(type="uint32", bits=[30, 4]), {"field[1].bits"}),
        (with_field(order="middle"), {"field[1].order"}),
        (with_field(colour=1), {"field[1].colour"}),
        ({**SYNCED, "field": [SYNCED["field"][1], {**SYNCED["field"][2], "name": "hold"}]}, {"field"}),
        ({**SYNCED, "field": [SYNCED["field"][1], {**SYNCED["field"][2], "bits": [0, 2]}]}, {"field[2].at"}),
        (with_check(kind="CRC-16/NONE"), {"check.kind"}),
        (with_check(over=[7, 2]), {"check.over"}),
        (with_check(over=[0, 8]), {"check.over"}),
        (with_check(over=[0, 2.5]), {"check.over"}),
        (with_check(at=8), {"check.at"}),
        ({**SYNCED, "check": {}}, {"check.kind", "check.over", "check.at"}),
    ],
)
def test_all_faults_of_the_options_are_named(options: dict[str, Any], keys: set[str]) -> None:
    section = Section(options, "framing")
    BinaryFraming(section)
    section.done()
    assert {fault.key for fault in section.faults} == {f"framing.{key}" for key in keys}
