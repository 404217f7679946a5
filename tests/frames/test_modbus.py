"""Modbus RTU: published frames, shared lines, and an independent implementation as a real slave on a real port."""

from __future__ import annotations

import asyncio
import struct
import sys
from collections.abc import AsyncIterator, Callable
from contextlib import aclosing, asynccontextmanager, suppress
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymodbus.client import AsyncModbusSerialClient
from pymodbus.client.mixin import ModbusClientMixin
from pymodbus.framer import FramerRTU, FramerType
from pymodbus.pdu import DecodePDU
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

from gaugelog.frames.modbus import ModbusFraming, with_crc
from gaugelog.gauges.connect import open_gauge
from gaugelog.links.pty_pair import PtyFarEnd
from gaugelog.model.readings import Chunk, Frame, Heard, Reading, Reject, RejectReason
from gaugelog.model.section import Section

OPTIONS: dict[str, object] = {"unit": 17, "function": 3, "register": 107, "type": "uint16"}
UNIT_1: dict[str, object] = {"unit": 1, "function": 3, "register": 0, "type": "sint16"}


def framing(options: dict[str, object] = OPTIONS, **more: object) -> ModbusFraming:
    section = Section({**options, **more})
    made = ModbusFraming(section)
    section.done()
    assert section.faults == []
    return made


def run(made: ModbusFraming, *pieces: bytes) -> list[Frame | Reject]:
    decoder = made.decoder()
    found = [item for place, piece in enumerate(pieces) for item in decoder.feed(Chunk(place, piece))]
    return [*found, *decoder.finish(len(pieces))]


def numbers(found: list[Frame | Reject]) -> list[object]:
    return [item.fields["number"] for item in found if isinstance(item, Frame)]


def request(unit: int, register: int, count: int, function: int = 3) -> bytes:
    return with_crc(struct.pack(">BBHH", unit, function, register, count))


def reply(unit: int, *registers: int, function: int = 3) -> bytes:
    held = struct.pack(f">{len(registers)}H", *registers)
    return with_crc(bytes((unit, function, len(held))) + held)


# Frames of the specification (MODBUS Application Protocol V1.1b3, 6.3, 6.4 and 7) with their CRC; the first request is
# printed with it in many manuals, those of unit 1 in one device's manual; the other CRCs are computed.
READ_THREE = bytes.fromhex("11 03 00 6B 00 03 76 87")
THREE = bytes.fromhex("11 03 06 02 2B 00 00 00 64 C8 BA")


def test_the_question_is_the_published_request() -> None:
    assert framing(status=109).question == READ_THREE
    assert framing(unit=1, status=109).question == bytes.fromhex("01 03 00 6B 00 03 74 17")
    input_register = framing(function=4, register=8)
    assert input_register.question == bytes.fromhex("11 04 00 08 00 01 B2 98")


@pytest.mark.parametrize(
    ("options", "data", "number"),
    [
        ({"status": 109}, "11 03 06 02 2B 00 00 00 64 C8 BA", 555),
        ({"register": 109, "status": 107}, "11 03 06 02 2B 00 00 00 64 C8 BA", 100),
        ({"unit": 1, "status": 109}, "01 03 06 02 2B 00 00 00 64 05 7A", 555),
        ({"function": 4, "register": 8}, "11 04 02 00 0A F8 F4", 10),
        ({"unit": 1, "function": 4, "register": 8}, "01 04 02 00 0A 39 37", 10),
    ],
)
def test_published_replies(options: dict[str, object], data: str, number: int) -> None:
    assert numbers(run(framing(**options), bytes.fromhex(data))) == [number]


@pytest.mark.parametrize(("unit", "data"), [(17, "11 83 02 C1 34"), (1, "01 83 02 C0 F1")])
def test_the_published_exception_is_told_in_words(unit: int, data: str) -> None:
    (found,) = run(framing(unit=unit), bytes.fromhex(data))
    assert found == Reject(0, bytes.fromhex(data), RejectReason.ERROR_ANSWER, "no such register")


def test_a_damaged_reply_is_told_and_the_next_is_read() -> None:
    made = framing(UNIT_1)
    spoilt = bytearray(reply(1, 285))
    spoilt[4] ^= 1
    found = run(made, bytes(spoilt), reply(1, 280))
    assert numbers(found) == [280]
    assert [item.reason for item in found if isinstance(item, Reject)] == [RejectReason.CHECKSUM]


def test_on_a_heard_line_the_value_is_taken_at_its_place() -> None:
    line = READ_THREE + THREE + request(17, 109, 2) + reply(17, 7, 9)
    assert numbers(run(framing(register=109), line)) == [100, 7]


def test_a_reply_for_other_registers_gives_nothing() -> None:
    line = request(17, 107, 1) + reply(17, 3) + request(17, 40, 1) + reply(17, 9)
    (found,) = run(framing(), line)
    assert isinstance(found, Frame)
    assert found.fields == {"number": 3}


def test_other_units_and_functions_give_nothing() -> None:
    line = (
        request(9, 107, 1)
        + reply(9, 5)
        + request(17, 107, 1, function=4)
        + reply(17, 5, function=4)
        + with_crc(bytes((9, 0x83, 2)))
        + with_crc(bytes.fromhex("11 06 00 6B 00 03")) * 2
        + with_crc(bytes.fromhex("11 10 00 01 00 02 04 00 0A 01 02"))
        + with_crc(bytes.fromhex("11 10 00 01 00 02"))
    )
    assert run(framing(), line) == []


def test_a_reply_whose_request_was_damaged_is_not_trusted() -> None:
    good = request(17, 107, 1) + reply(17, 5)
    spoilt = bytearray(request(17, 40, 1))
    spoilt[3] ^= 8
    found = run(framing(), good + bytes(spoilt) + reply(17, 9))
    assert numbers(found) == [5]
    reasons = [item.reason for item in found if isinstance(item, Reject)]
    assert reasons == [RejectReason.CHECKSUM, RejectReason.NO_MATCH]


def test_a_stray_byte_between_request_and_reply_does_no_harm() -> None:
    assert numbers(run(framing(), request(17, 107, 1) + b"\x00" + reply(17, 5))) == [5]


def test_joining_a_line_between_request_and_reply_gives_no_value_where_we_only_listen() -> None:
    (found,) = run(framing(listen=True), reply(17, 9) + request(17, 3, 1))
    assert isinstance(found, Reject)
    assert found.reason is RejectReason.NO_MATCH


def test_without_requests_a_reply_of_another_length_is_no_value() -> None:
    (found,) = run(framing(), THREE)
    assert isinstance(found, Reject)
    assert found.detail == "an answer of 3 registers, not of 1"


def test_an_exception_to_a_question_for_other_registers_is_nobody_s_business() -> None:
    assert run(framing(), request(17, 40, 1) + with_crc(bytes((17, 0x83, 2)))) == []


@pytest.mark.parametrize("listen", [False, True])
def test_a_question_that_looks_like_an_answer_is_never_taken_for_one(listen: bool) -> None:
    """The check of this request (found by trying) ends in nought, so all but its last byte has a check that fits."""
    made = framing(UNIT_1, unit=5, register=0x02E1, listen=listen)
    asked = made.question
    assert with_crc(asked[:5]) == asked[:7], "a whole answer of one register, as far as its check tells"
    line = asked * 3 + reply(5, 7)
    for pieces in ([line], [bytes((byte,)) for byte in line]):
        (found,) = run(made, *pieces)
        assert isinstance(found, Frame)
        assert found.fields == {"number": 7}


VALUES = {
    "sint16": st.integers(-(2**15), 2**15 - 1),
    "uint16": st.integers(0, 2**16 - 1),
    "sint32": st.integers(-(2**31), 2**31 - 1),
    "uint32": st.integers(0, 2**32 - 1),
    "float32": st.floats(width=32, allow_nan=False, allow_infinity=False),
}
DATATYPES = ModbusClientMixin.DATATYPE
THEIRS = {
    "sint16": DATATYPES.INT16,
    "uint16": DATATYPES.UINT16,
    "sint32": DATATYPES.INT32,
    "uint32": DATATYPES.UINT32,
    "float32": DATATYPES.FLOAT32,
}


@pytest.mark.parametrize("listen", [False, True])
@pytest.mark.parametrize("word_order", ["high first", "low first"])
@pytest.mark.parametrize("kind", VALUES)
@given(data=st.data())
def test_an_independent_framer_and_we_read_the_same(kind: str, word_order: str, listen: bool, data) -> None:
    value = data.draw(VALUES[kind])
    made = framing(UNIT_1, type=kind, word_order=word_order, register=data.draw(st.integers(0, 0xFFFE)), listen=listen)
    sent = made.encode({"number": str(value) if kind != "float32" else f"{value:.17g}"})
    answer = sent.removeprefix(made.question) if listen else sent
    _, pdu = FramerRTU(DecodePDU(False)).handleFrame(answer, 1, 0)
    theirs = ModbusClientMixin.convert_from_registers(
        pdu.registers, THEIRS[kind], word_order="little" if word_order == "low first" else "big"
    )
    cuts = sorted(data.draw(st.lists(st.integers(0, len(sent)), max_size=5)))
    pieces = [sent[start:end] for start, end in pairwise([0, *cuts, len(sent)])]
    (mine,) = numbers(run(made, *pieces))
    assert theirs == value
    assert (struct.unpack("f", struct.pack("f", float(mine)))[0] if kind == "float32" else mine) == value


@pytest.mark.parametrize("count", [1, 3, 125])
@pytest.mark.parametrize("unit", [1, 17, 247])
def test_an_independent_framer_asks_as_we_do(unit: int, count: int) -> None:
    status = None if count == 1 else count - 1
    made = framing(UNIT_1, unit=unit, **({} if status is None else {"status": status}))
    _, pdu = FramerRTU(DecodePDU(True)).handleFrame(made.question, unit, 0)
    assert (pdu.function_code, pdu.address, pdu.count) == (3, 0, count)


@given(st.binary(max_size=300))
def test_bytes_never_raise_and_all_of_them_are_accounted_for(noise: bytes) -> None:
    for item in run(framing(), noise):
        assert isinstance(item, Frame | Reject)


@pytest.mark.parametrize(
    ("options", "keys"),
    [
        ({}, {"unit", "function", "register", "type"}),
        ({**OPTIONS, "unit": 0, "function": 6}, {"unit", "function"}),
        ({**OPTIONS, "register": 0xFFFF, "type": "float32"}, {"register"}),
        ({**OPTIONS, "status": 107}, {"status"}),
        ({**OPTIONS, "status": 300}, {"status"}),
        ({**OPTIONS, "word_order": "middle first"}, {"word_order"}),
    ],
)
def test_all_faults_of_the_options_are_named(options: dict[str, object], keys: set[str]) -> None:
    section = Section(options, "framing")
    ModbusFraming(section)
    assert {fault.key for fault in section.faults} == {f"framing.{key}" for key in keys}


Tap = Callable[[bytes], None]


async def pump(source: PtyFarEnd, drain: PtyFarEnd, tap: Tap) -> None:
    while True:
        data = (await source.receive()).data
        if data:
            tap(data)
            await drain.send(data)


@asynccontextmanager
async def wired_line(units: list[SimDevice], tap: Tap) -> AsyncIterator[str]:
    """A line with slaves on it; yields the port of the master. What goes over it either way is tapped."""
    if sys.platform == "win32":
        pytest.skip("there are no ptys on this system")
    ours, theirs = PtyFarEnd(), PtyFarEnd()
    await ours.open()
    await theirs.open()
    server = ModbusSerialServer(units, framer=FramerType.RTU, port=theirs.path, baudrate=19200)
    await server.serve_forever(background=True)
    pumps = [asyncio.create_task(pump(ours, theirs, tap)), asyncio.create_task(pump(theirs, ours, tap))]
    try:
        yield ours.path
    finally:
        for each in pumps:
            each.cancel()
        await asyncio.gather(*pumps, return_exceptions=True)
        with suppress(asyncio.CancelledError):
            await server.shutdown()
        await ours.close()
        await theirs.close()


def slave(unit: int, *registers: int) -> SimDevice:
    return SimDevice(unit, simdata=[SimData(0, values=list(registers), datatype=DataType.REGISTERS)])


SHEET = """
name = "bench-modbus"
title = "a slave of another make (invented)"
quantity = "length"
sends = "when asked"
resolution = 0.001
range = [-1000, 1000]
[framing]
kind = "modbus"
{options}
[value]
unit = "mm"
{scale}
[poll]
period_s = 0.02
"""


@pytest.mark.parametrize(
    ("options", "scale", "text"),
    [
        ('unit = 5\nfunction = 3\nregister = 0\ntype = "sint16"', "scale = 0.01", "-0.35"),
        ('unit = 5\nfunction = 4\nregister = 1\ntype = "float32"', "", "2.85"),
        ('unit = 5\nfunction = 3\nregister = 3\ntype = "float32"\nword_order = "low first"', "", "2.85"),
        ('unit = 9\nfunction = 3\nregister = 1\ntype = "sint32"', "scale = 0.001", "-0.002"),
    ],
)
async def test_a_slave_of_another_make_is_asked_and_read(options: str, scale: str, text: str, tmp_path: Path) -> None:
    (tmp_path / "bench-modbus.toml").write_text(SHEET.format(options=options, scale=scale))
    high, low = struct.unpack(">HH", struct.pack(">f", 2.85))
    units = [slave(5, 0xFFDD, high, low, low, high), slave(9, 1, 0xFFFF, 0xFFFE)]
    async with wired_line(units, lambda data: None) as port:
        got = await some_items(f"bench-modbus@serial:{port}?baud=19200", tmp_path, 5)
    assert [each.text for each in got if isinstance(each, Reading)] == [text] * 5


async def test_a_slave_of_another_make_says_that_a_register_is_missing(tmp_path: Path) -> None:
    options = 'unit = 5\nfunction = 3\nregister = 400\ntype = "sint16"'
    (tmp_path / "bench-modbus.toml").write_text(SHEET.format(options=options, scale=""))
    async with wired_line([slave(5, 1, 2)], lambda data: None) as port:
        got = await some_items(f"bench-modbus@serial:{port}?baud=19200", tmp_path, 2)
    assert {(each.reason, each.detail) for each in got if isinstance(each, Reject)} == {
        (RejectReason.ERROR_ANSWER, "no such register")
    }


async def some_items(gauge: str, folder: Path, count: int) -> list[Reading | Reject]:
    got: list[Reading | Reject] = []
    async with asyncio.timeout(10), aclosing(open_gauge(gauge, [folder]).events()) as events:
        async for event in events:
            got += event.items if isinstance(event, Heard) else ()
            if len(got) >= count:
                break
    return got[:count]


async def test_a_master_of_another_make_is_listened_to_on_a_line_with_several_units() -> None:
    heard: list[bytes] = []
    async with wired_line([slave(5, 7, 285, 8), slave(9, 1, 2, 3)], heard.append) as port:
        client = AsyncModbusSerialClient(port, framer=FramerType.RTU, baudrate=19200)
        await ask(client)
    for unit, wanted in ((5, [285, 285]), (9, [2])):
        for pieces in (heard, [b"".join(heard)], [bytes((byte,)) for byte in b"".join(heard)]):
            found = run(framing(UNIT_1, unit=unit, register=1, listen=True), *pieces)
            assert numbers(found) == wanted
            assert len(found) == len(wanted)


async def ask(client: AsyncModbusSerialClient) -> None:
    """Ask two units in turn, some of it not for register 1."""
    assert await client.connect()
    for unit, register, count in ((5, 0, 3), (9, 1, 1), (5, 0, 1), (9, 2, 1), (5, 1, 2)):
        answer = await client.read_holding_registers(register, count=count, device_id=unit)
        assert not answer.isError()
    client.close()
