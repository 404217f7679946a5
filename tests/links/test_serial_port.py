"""A serial port through real ptys, another process, and pyserial's own URLs."""

from __future__ import annotations

import asyncio
import os
import stat
import sys
from pathlib import Path

import pytest

from gaugelog.errors import AddressError, LinkFailedError, LinkReason
from gaugelog.links import TICK_S
from gaugelog.links.ports import SerialPort, serial_ports
from gaugelog.links.pty_pair import PtyFarEnd
from gaugelog.links.serial_port import SerialLink
from gaugelog.links.serial_settings import SerialSettings, serial_settings
from gaugelog.model.gauges import parse_address
from gaugelog.model.readings import Chunk

posix_only = pytest.mark.skipif(sys.platform == "win32", reason="there are no ptys on this system")


def serial_link(path: str, options: str = "") -> SerialLink:
    return SerialLink(parse_address(f"serial:{path}{options}"))


async def received(link: SerialLink, wanted: int) -> bytes:
    data = b""
    while len(data) < wanted:
        data += (await link.receive()).data
    return data


async def loss_of(link: SerialLink, chunks: list[Chunk]) -> LinkReason:
    """Receive until the link is lost, then return the reason."""
    while True:
        try:
            chunks.append(await link.receive())
        except LinkFailedError as lost:
            return lost.reason


@posix_only
async def test_bytes_of_another_process_at_9600_baud_arrive_once_and_in_order(other_process) -> None:
    sent = b"".join(b"%+07.2f\r\n" % (count * 0.37 - 9) for count in range(90))
    gauge = other_process(sent, baud=9600, seed=3)
    link = serial_link(gauge.path, "?baud=9600")
    await link.open()
    gauge.go_on()
    chunks = []
    while sum(len(chunk.data) for chunk in chunks) < len(sent):
        chunks.append(await link.receive())
    gauge.go_on()
    loss = await loss_of(link, chunks)
    await link.close()
    assert b"".join(chunk.data for chunk in chunks) == sent
    assert [chunk.time_ns for chunk in chunks] == sorted(chunk.time_ns for chunk in chunks)
    assert len(chunks) > 90, "the writer cut lines, so there must be more chunks than lines"
    assert loss is LinkReason.LOST


@posix_only
async def test_unplugged_in_the_middle_of_a_line_gives_what_came_and_then_lost() -> None:
    far = PtyFarEnd()
    await far.open()
    link = serial_link(far.path)
    await link.open()
    await far.send(b"+2.85\r\n+2.")
    assert await received(link, 10) == b"+2.85\r\n+2."
    await far.close()
    for _ in range(2):
        with pytest.raises(LinkFailedError) as lost:
            await link.receive()
        assert lost.value.reason is LinkReason.LOST
    with pytest.raises(LinkFailedError):
        await link.send(b"?")
    await link.close()


@posix_only
async def test_silence_gives_ticks_and_no_byte_is_invented() -> None:
    far = PtyFarEnd()
    await far.open()
    link = serial_link(far.path)
    await link.open()
    first, second = await link.receive(), await link.receive()
    assert first.data == second.data == b""
    assert second.time_ns - first.time_ns >= 0.9 * TICK_S * 1e9
    await link.close()
    await far.close()


@posix_only
async def test_what_is_sent_arrives_and_nothing_is_echoed_or_changed() -> None:
    far = PtyFarEnd()
    await far.open()
    link = serial_link(far.path)
    await link.open()
    every_byte = bytes(range(256))
    await link.send(every_byte)
    got = b""
    while len(got) < 256:
        got += (await far.receive()).data
    assert got == every_byte
    await far.send(every_byte)
    assert await received(link, 256) == every_byte
    assert (await link.receive()).data == b""
    await link.close()
    await far.close()


@posix_only
async def test_a_reader_that_sleeps_makes_the_gauge_wait_and_loses_nothing() -> None:
    far = PtyFarEnd()
    await far.open()
    link = serial_link(far.path)
    await link.open()
    lines = [b"%06d\r\n" % count for count in range(3000)]

    async def send_all() -> None:
        for line in lines:
            await far.send(line)
            await asyncio.sleep(0)

    sending = asyncio.create_task(send_all())
    await asyncio.sleep(0.3)
    got = await received(link, sum(map(len, lines)))
    await sending
    assert got == b"".join(lines)
    await link.close()
    await far.close()


async def opening_fails(link: SerialLink) -> LinkReason:
    with pytest.raises(LinkFailedError) as failed:
        await link.open()
    await link.close()
    assert failed.value.hint
    return failed.value.reason


async def test_a_port_that_is_not_there(tmp_path: Path) -> None:
    assert await opening_fails(serial_link(str(tmp_path / "ttyNONE"))) is LinkReason.NOT_FOUND


@posix_only
async def test_a_port_that_another_program_holds() -> None:
    far = PtyFarEnd()
    await far.open()
    first = serial_link(far.path)
    await first.open()
    assert await opening_fails(serial_link(far.path)) is LinkReason.BUSY
    await first.close()
    again = serial_link(far.path)
    await again.open()
    await again.close()
    await far.close()


@posix_only
@pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() == 0, reason="root may open every port")
async def test_a_port_that_is_not_permitted() -> None:
    far = PtyFarEnd()
    await far.open()
    os.chmod(far.path, 0)
    assert await opening_fails(serial_link(far.path)) is LinkReason.NOT_PERMITTED
    os.chmod(far.path, stat.S_IRUSR | stat.S_IWUSR)
    await far.close()


async def test_a_file_that_is_no_port(tmp_path: Path) -> None:
    plain = tmp_path / "notes.txt"
    plain.write_text("not a port")
    assert await opening_fails(serial_link(str(plain))) is LinkReason.FAILED


@posix_only
@pytest.mark.parametrize(("number", "reason"), [(13, LinkReason.NOT_PERMITTED), (19, LinkReason.NOT_FOUND)])
async def test_the_systems_refusal_is_told_apart(
    monkeypatch: pytest.MonkeyPatch, number: int, reason: LinkReason
) -> None:
    """Root is refused nothing, so the refusal of the system's own call is put in by hand."""

    def refuse(*_arguments: object) -> int:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr("serial.serialposix.os.open", refuse)
    assert await opening_fails(serial_link("/dev/ttyS0")) is reason


async def test_pyserials_own_loop_through_the_thread() -> None:
    link = serial_link("loop://", "?baud=115200")
    await link.open()
    await link.send(b"+2.85\r\n")
    assert await received(link, 7) == b"+2.85\r\n"
    assert (await link.receive()).data == b""
    await link.close()
    await link.close()


async def test_a_gauge_behind_a_socket_and_its_loss() -> None:
    async def gauge(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"12.34\r\n")
        await writer.drain()
        writer.close()

    server = await asyncio.start_server(gauge, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    link = serial_link(f"socket://127.0.0.1:{port}")
    await link.open()
    assert await received(link, 7) == b"12.34\r\n"
    assert await loss_of(link, []) is LinkReason.LOST
    await link.close()
    server.close()
    await server.wait_closed()


def test_settings_of_an_address() -> None:
    read = serial_settings(
        parse_address("serial:/dev/ttyUSB0?baud=4800&bits=7&parity=E&stop=2&flow=rtscts&dtr=on&rts=off")
    )
    assert read == SerialSettings("/dev/ttyUSB0", 4800, 7, "E", 2, "rtscts", True, False)
    assert serial_settings(parse_address("serial:COM3")) == SerialSettings("COM3", 9600, 8, "N", 1)


@pytest.mark.parametrize(
    "address",
    ["serial:", "serial:p?baud=fast", "serial:p?baud=0", "serial:p?bits=9", "serial:p?parity=X", "serial:p?stop=3",
     "serial:p?speed=9600", "serial:p?baud=9600.5"],
)  # fmt: skip
def test_settings_that_cannot_be_understood(address: str) -> None:
    with pytest.raises(AddressError) as wrong:
        SerialLink(parse_address(address))
    assert address in str(wrong.value)


def test_ports_of_this_machine_have_a_path_each() -> None:
    ports = serial_ports()
    assert all(isinstance(port, SerialPort) and port.path for port in ports)
    assert list(ports) == sorted(ports, key=lambda port: port.path)


def test_ports_carry_what_pyserial_says_of_them(monkeypatch: pytest.MonkeyPatch) -> None:
    from serial.tools import list_ports
    from serial.tools.list_ports_common import ListPortInfo

    first, second = ListPortInfo("/dev/ttyB"), ListPortInfo("/dev/ttyA")
    first.description, first.hwid = "angle gauge", "USB VID:PID=0000:0001"
    monkeypatch.setattr(list_ports, "comports", lambda: [first, second])
    assert serial_ports() == (
        SerialPort("/dev/ttyA", "", ""),
        SerialPort("/dev/ttyB", "angle gauge", "USB VID:PID=0000:0001"),
    )
