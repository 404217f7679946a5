"""Typed lines, through pipes, ptys, files and a whole other program."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from gaugelog.errors import AddressError, LinkFailedError, LinkReason
from gaugelog.links import LinkEnded
from gaugelog.links.typed import TypedLink
from gaugelog.model.gauges import parse_address

TYPED = parse_address("typed:")

PROGRAM = """
import asyncio
from gaugelog.links import LinkEnded
from gaugelog.links.typed import TypedLink
from gaugelog.model.gauges import parse_address

async def main():
    link = TypedLink(parse_address("typed:"))
    await link.open()
    ticks = 0
    try:
        while True:
            chunk = await link.receive()
            if chunk.data:
                print(chunk.data, flush=True)
            else:
                ticks += 1
                print("tick", flush=True)
                if ticks == LEAVE_AFTER:
                    break
    except LinkEnded:
        print("ended", flush=True)
    await link.close()

asyncio.run(main())
"""


def program(leave_after: int = -1) -> list[str]:
    return [sys.executable, "-c", PROGRAM.replace("LEAVE_AFTER", str(leave_after))]


async def lines_until_end(link: TypedLink) -> list[bytes]:
    lines = []
    while True:
        try:
            lines.append((await link.receive()).data)
        except LinkEnded:
            return [line for line in lines if line]


def test_piped_into_a_program_each_line_is_a_chunk_and_the_end_is_told() -> None:
    done = subprocess.run(program(), input=b"2.80\n3/32 in\n\n2.85", capture_output=True, timeout=20, check=True)
    said = [line for line in done.stdout.decode().splitlines() if line != "tick"]
    assert said == [repr(line) for line in (b"2.80\n", b"3/32 in\n", b"\n", b"2.85\n")] + ["ended"]
    assert done.stderr == b""


def test_a_program_ends_while_nobody_has_typed_anything() -> None:
    with subprocess.Popen(program(1), stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as running:
        running.wait(timeout=20)  # standard input is still open, and nothing was ever written into it
        assert running.returncode == 0
        assert running.stdout.read() == b"tick\n"
        assert running.stderr.read() == b""


def test_no_standard_input_at_all() -> None:
    done = subprocess.run(program(), stdin=subprocess.DEVNULL, capture_output=True, timeout=20, check=True)
    assert done.stdout == b"ended\n"


async def test_lines_that_come_in_pieces() -> None:
    read_end, write_end = os.pipe()
    link = TypedLink(TYPED, descriptor=read_end)
    await link.open()
    os.write(write_end, b"2.")
    assert (await link.receive()).data == b"", "half a line is none yet"
    os.write(write_end, b"80\n2.85\n2.9")
    os.close(write_end)
    assert await lines_until_end(link) == [b"2.80\n", b"2.85\n", b"2.9\n"]
    await link.close()
    await link.close()
    os.close(read_end)


async def test_a_plain_file_as_standard_input(tmp_path: Path) -> None:
    (tmp_path / "typed.txt").write_bytes(b"2.80\n2.85\n")
    descriptor = os.open(tmp_path / "typed.txt", os.O_RDONLY)
    link = TypedLink(TYPED, descriptor=descriptor)
    await link.open()
    assert await lines_until_end(link) == [b"2.80\n", b"2.85\n"]
    await link.close()
    os.close(descriptor)


@pytest.mark.skipif(sys.platform == "win32", reason="there are no ptys on this system")
async def test_a_terminal_gives_a_line_at_enter_and_ends_at_its_end_key() -> None:
    keyboard, terminal = os.openpty()
    link = TypedLink(TYPED, descriptor=terminal)
    await link.open()
    os.write(keyboard, b"2.8")
    assert (await link.receive()).data == b""
    os.write(keyboard, b"5\n")
    assert (await link.receive()).data == b"2.85\n"
    os.write(keyboard, b"\x04")
    assert await lines_until_end(link) == []
    await link.close()
    os.close(keyboard)
    os.close(terminal)


async def test_a_closed_standard_input_is_not_there(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", None)
    with pytest.raises(LinkFailedError) as failed:
        await TypedLink(TYPED).open()
    assert failed.value.reason is LinkReason.NOT_FOUND


@pytest.mark.parametrize("address", ["typed:here", "typed:?unit=mm"])
def test_nothing_stands_behind_typed(address: str) -> None:
    with pytest.raises(AddressError):
        TypedLink(parse_address(address))
