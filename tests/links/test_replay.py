"""Raw logs: written, read, damaged, and played back."""

from __future__ import annotations

import io
import time
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.errors import AddressError, FaultyLogError, LinkFailedError, LinkReason
from gaugelog.links import TICK_S, LinkEnded
from gaugelog.links.rawlog import HEADER, RawLogWriter, bytes_to_text, is_raw_log, parse_raw_log, text_to_bytes
from gaugelog.links.replay import ReplayLink
from gaugelog.model.gauges import Address, parse_address
from gaugelog.model.readings import Chunk

S = 1_000_000_000
LOG = f"""{HEADER}
# synthetic: written by hand for this test
0.000 +  2.85\\r\\n
0.100 +  2.
0.105 80\\r\\n

1.000 \\x02\\xff\\x20
1.500
"""


def test_a_log_written_by_hand_reads_as_meant() -> None:
    assert parse_raw_log(LOG.split("\n")) == [
        Chunk(0, b"+  2.85\r\n"),
        Chunk(100_000_000, b"+  2."),
        Chunk(105_000_000, b"80\r\n"),
        Chunk(1 * S, b"\x02\xff "),
        Chunk(1_500_000_000, b""),
    ]


@given(st.binary())
def test_bytes_survive_as_text(data: bytes) -> None:
    text = bytes_to_text(data)
    assert text.isascii()
    assert text == text.strip()
    assert text_to_bytes(text) == data


@given(st.lists(st.tuples(st.integers(0, 10**13), st.binary(max_size=12))))
def test_a_log_gives_back_what_was_written(pieces: list[tuple[int, bytes]]) -> None:
    chunks = [Chunk(time_ns, data) for (time_ns, data) in sorted(pieces)]
    file = io.StringIO()
    writer = RawLogWriter(file, {"gauge": "angle-line@sim:", "note": "two\nlines"})
    for chunk in chunks:
        writer.write(chunk)
    assert is_raw_log(file.getvalue().encode())
    origin_ns = chunks[0].time_ns if chunks else 0
    assert parse_raw_log(file.getvalue().split("\n")) == [Chunk(c.time_ns - origin_ns, c.data) for c in chunks]


def test_time_never_runs_backward_in_a_log() -> None:
    writer = RawLogWriter(io.StringIO())
    writer.write(Chunk(5, b"a"))
    with pytest.raises(ValueError, match="backward"):
        writer.write(Chunk(4, b"b"))


def test_every_damaged_line_is_named_by_its_number() -> None:
    damaged = [HEADER, "0.1 2.85\\r\\n", "soon 2.85", "0.2 2.85\\q", "0.05 2.85", "0.3 2.8µ", "0.4 2.85\\r\\n"]
    with pytest.raises(FaultyLogError) as faulty:
        parse_raw_log(damaged, "wall.log")
    assert [fault.key for fault in faulty.value.faults] == ["line 3", "line 4", "line 5", "line 6"]
    assert "wall.log" in str(faulty.value)
    assert "0.25" in faulty.value.faults[0].wanted
    assert "'\\\\q'" in faulty.value.faults[1].wanted
    assert "no earlier" in faulty.value.faults[2].wanted


def test_a_log_of_another_version_is_refused() -> None:
    with pytest.raises(FaultyLogError, match="line 1"):
        parse_raw_log(["# gaugelog raw log 2", "0.1 2.85"])


async def played(address: Address) -> tuple[list[Chunk], float]:
    """Return all chunks, their times counted from the first moment, and the seconds it took."""
    link = ReplayLink(address, clock=lambda: 7 * S)
    await link.open()
    chunks, started_s = [], time.perf_counter()
    try:
        while True:
            chunk = await link.receive()
            chunks.append(Chunk(chunk.time_ns - 7 * S, chunk.data))
    except LinkEnded:
        pass
    took_s = time.perf_counter() - started_s
    await link.close()
    await link.close()
    return chunks, took_s


def replay(path: Path, options: str) -> Address:
    return parse_address(f"replay:{path}{options}")


@pytest.mark.parametrize("speed", ["0", "max", "50"])
async def test_played_fast_the_times_are_those_of_the_log(tmp_path: Path, speed: str) -> None:
    (tmp_path / "a.log").write_text(LOG)
    chunks, _ = await played(replay(tmp_path / "a.log", f"?speed={speed}"))
    assert [chunk for chunk in chunks if chunk.data] == list(parse_raw_log(LOG.split("\n")))[:4]
    times = [chunk.time_ns for chunk in chunks]
    assert times == sorted(times)
    gaps = [after - before for before, after in pairwise(times)]
    assert max(gaps) <= TICK_S * S, "a tick stands in every silence"
    assert times[-1] == 1_500_000_000


async def test_true_speed_takes_the_logs_own_time(tmp_path: Path) -> None:
    (tmp_path / "a.log").write_text(LOG)
    _, slow_s = await played(replay(tmp_path / "a.log", "?speed=5"))
    assert slow_s >= 1.5 / 5


async def test_a_plain_file_plays_line_by_line_at_the_rate(tmp_path: Path) -> None:
    (tmp_path / "bytes.bin").write_bytes(b"2.85\r\n2.80\r\n\r\n2.7")
    chunks, _ = await played(replay(tmp_path / "bytes.bin", "?speed=max&rate=5"))
    assert chunks == [
        Chunk(0, b"2.85\r\n"),
        Chunk(S // 5, b"2.80\r\n"),
        Chunk(2 * S // 5, b"\r\n"),
        Chunk(3 * S // 5, b"2.7"),
    ]


@pytest.mark.parametrize("data", [b"1\r2\r3", b"\x00" * 200, b"", b"\n", b"5"])
async def test_no_byte_of_a_plain_file_is_lost(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "bytes.bin").write_bytes(data)
    chunks, _ = await played(replay(tmp_path / "bytes.bin", "?speed=max"))
    assert b"".join(chunk.data for chunk in chunks) == data


async def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(LinkFailedError) as failed:
        await ReplayLink(replay(tmp_path / "none.log", "")).open()
    assert failed.value.reason is LinkReason.NOT_FOUND


async def test_a_damaged_log_is_told_at_opening(tmp_path: Path) -> None:
    (tmp_path / "a.log").write_text(LOG + "oops\n")
    with pytest.raises(FaultyLogError, match="line 9"):
        await ReplayLink(replay(tmp_path / "a.log", "")).open()


@pytest.mark.parametrize("address", ["replay:", "replay:a?speed=fast", "replay:a?speed=-1", "replay:a?loop=1"])
def test_addresses_that_cannot_be_understood(address: str) -> None:
    with pytest.raises(AddressError):
        ReplayLink(parse_address(address))
