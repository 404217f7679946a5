"""More bytes than any gauge sends: valid readings in one go, and bytes that are none, without end.

Bytes come from another process through real ptys and sockets and go the whole way into a recording. All values are
invented.
"""

from __future__ import annotations

import asyncio
import resource
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import aclosing, suppress
from pathlib import Path

import numpy as np
import pytest
from link_bench import Bench, environment, look

from gaugelog.gauges.listen import listen
from gaugelog.instruments.find import read_instrument_file
from gaugelog.links.clock import now_ns
from gaugelog.model.readings import Heard, LinkChange, LinkState
from gaugelog.recorder.clamping import ClampWork
from gaugelog.recorder.work import datasheet_folders, open_work
from gaugelog.store.reader import open_recording

MEGABYTE = 1_000_000
BURST = 113_000
FLOOD = 50 * MEGABYTE
BABBLE = {"without an end": b"x" * 50_000, "lines that are none": b"garbage line\r\n" * 4096}
BABBLER = """
import socket, sys
piece, total = bytes.fromhex(sys.argv[1]), int(sys.argv[2])
listener = socket.create_server(("127.0.0.1", 0))
print(listener.getsockname()[1], flush=True)
connection, _ = listener.accept()
sent = 0
while sent < total:
    connection.sendall(piece)
    sent += len(piece)
print(sent, flush=True)
sys.stdin.readline()
"""


@pytest.fixture
def bench(tmp_path) -> Iterator[Bench]:
    with Bench(tmp_path) as bench:
        yield bench


async def drained(bench: Bench, name: str, quiet_s: float) -> tuple[ClampWork, float, list[LinkChange], float]:
    """Record in this process until nothing came for a while; return the session, CPU seconds, changes, longest wait."""
    longest_s = 0.0

    async def look_at_the_clock() -> None:
        nonlocal longest_s
        while True:
            began_s = time.monotonic()
            await asyncio.sleep(0.01)
            longest_s = max(longest_s, time.monotonic() - began_s - 0.01)

    changes: list[LinkChange] = []
    folders = datasheet_folders(bench.folder)
    with open_work(read_instrument_file(bench.folder / "baritone.toml"), bench.path, "clamp", folders) as work:
        session = ClampWork(work, (name,))
        looking = asyncio.create_task(look_at_the_clock())
        began_s, last_s = time.process_time(), time.monotonic()
        async with aclosing(listen(work.streams((name,), reconnect=True))) as events:
            async for event in events:
                session.hear(event)
                if isinstance(event, LinkChange):
                    changes.append(event)
                elif event.chunk.data:
                    last_s = time.monotonic()
                elif time.monotonic() - last_s > quiet_s:
                    break
        used_s = time.process_time() - began_s
        looking.cancel()
        session.close()
    return session, used_s, changes, longest_s


@pytest.mark.parametrize("way", ["pty", "tcp"])
async def test_a_megabyte_at_once_is_kept_whole_and_in_order(bench: Bench, way: str) -> None:
    source = bench.plugged("neck") if way == "pty" else bench.served("neck")
    bench.plan()

    async def burst() -> None:
        await asyncio.sleep(1.0)
        for command in (f"burst {BURST}", "hush"):
            await asyncio.to_thread(source.do, command)

    bursting = asyncio.create_task(burst())
    session, used_s, _, longest_s = await drained(bench, "neck", 1.5)
    await bursting
    end_ns = now_ns()
    ledger = source.end()
    print(f"{way}: {session.readings} readings, {used_s:.1f} s of CPU, longest wait {longest_s:.2f} s")
    with open_recording(bench.path) as recording:
        recording.check()
        found = look(recording, "neck", ledger, end_ns)
        assert not recording.rejects()
        number = np.rint(recording.series("neck").value * 100).astype(np.int64)
    assert np.all(np.diff(number) == 1)
    assert number[-1] == ledger.number[-1]
    assert number.size > BURST
    assert (found.wrong, found.missing, found.outages) == ([], 0, 0)
    sizes = [len(b"#%d.%02d\r\n" % divmod(int(number), 100)) for number in ledger.number[-BURST:]]
    assert sum(sizes) > MEGABYTE
    assert longest_s < 2.0, "the loop goes on"


@pytest.mark.parametrize("kind", BABBLE)
async def test_endless_bytes_that_are_no_reading_take_no_memory_and_are_told(tmp_path: Path, kind: str) -> None:
    piece = BABBLE[kind]
    babbler = subprocess.Popen(
        [sys.executable, "-c", BABBLER, piece.hex(), str(FLOOD)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=environment(),
    )
    bench = Bench(tmp_path)
    try:
        assert babbler.stdout is not None
        port = babbler.stdout.readline().strip()
        (tmp_path / "baritone.toml").write_text(
            f'name = "baritone"\n[gauges]\nneck = "counter@tcp:127.0.0.1:{port}"\n[[checkpoint]]\nid = "a"\n'
            'kind = "free"\nquantity = "length"\ntodo = "look"\nstages = ["before"]\ngauge = "neck"\n',
            encoding="utf-8",
        )
        before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        session, used_s, _, longest_s = await drained(bench, "neck", 3.0)
        grown_mb = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kb) / 1000
    finally:
        babbler.kill()
        babbler.communicate()
    print(
        f"{kind}: {FLOOD / 1e6:.0f} MB, {used_s:.1f} s of CPU, {grown_mb:.1f} MB more, longest wait {longest_s:.2f} s"
    )
    assert grown_mb < 32
    assert longest_s < 2.0, "the loop goes on"
    assert [each.alarm.kind.value for each in session.alarms] == ["lost"]
    with open_recording(bench.path) as recording:
        recording.check()
        counted = sum(each.count for each in recording.rejects())
        kept = [len(each.kept) for each in recording.rejects()]
        assert len(recording.readings("neck")) == 0
    if kind == "lines that are none":
        assert counted == -(-FLOOD // len(piece)) * 4096, "every line was counted"
        assert kept == [1000], "the first thousand are kept as they came"
    else:
        assert counted == 1, "a line that never ends is one line"


def babble_and_speech() -> list[tuple[float, bytes]]:
    """Return what a gauge says when: readings, then what is none for four seconds, then readings again."""
    said = [(tick / 10, b"#1.%02d\r\n" % tick) for tick in range(20)]
    said += [(2.0 + tick / 10, b"\xfe?\x80 garbage\r\n") for tick in range(40)]
    return said + [(6.0 + tick / 10, b"#2.%02d\r\n" % tick) for tick in range(10)]


async def test_a_gauge_that_turns_illegible_is_told_as_that_and_not_as_deaf(tmp_path: Path) -> None:
    """As after somebody switched the gauge to another speed or protocol: bytes go on, and nothing in them reads."""
    listener = socket.create_server(("127.0.0.1", 0))
    port = listener.getsockname()[1]
    connections = 0

    async def gauge(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal connections
        connections += 1
        began_s = time.monotonic()
        with suppress(ConnectionError):
            for when_s, line in babble_and_speech():
                await asyncio.sleep(max(0.0, began_s + when_s - time.monotonic()))
                writer.write(line)
                await writer.drain()
        writer.close()
        with suppress(ConnectionError):
            await writer.wait_closed()
        over.set()

    over = asyncio.Event()
    server = await asyncio.start_server(gauge, sock=listener)
    bench = Bench(tmp_path)
    (tmp_path / "baritone.toml").write_text(
        f'name = "baritone"\n[gauges]\nneck = "counter@tcp:127.0.0.1:{port}"\n[[checkpoint]]\nid = "a"\n'
        'kind = "free"\nquantity = "length"\ntodo = "look"\nstages = ["before"]\ngauge = "neck"\n',
        encoding="utf-8",
    )
    folders = datasheet_folders(tmp_path)
    changes, values = [], []
    with open_work(read_instrument_file(tmp_path / "baritone.toml"), bench.path, "clamp", folders) as work:
        session = ClampWork(work, ("neck",))
        async with asyncio.timeout(20), aclosing(listen(work.streams(("neck",), reconnect=True))) as events:
            async for event in events:
                session.hear(event)
                changes += [event] if isinstance(event, LinkChange) else []
                values += [item.value for item in getattr(event, "items", ()) if hasattr(item, "value")]
                if isinstance(event, Heard) and 2.09 in values:
                    break
    await over.wait()
    server.close()
    await server.wait_closed()
    assert connections == 1
    assert [each.state for each in changes] == [LinkState.OPEN, LinkState.SILENT, LinkState.OPEN]
    assert "bytes come, but for 2 s nothing in them could be read as counter" in changes[1].detail
    with open_recording(bench.path) as recording:
        (gap,) = recording.gaps()
        times = recording.series("neck").utc_us
    assert (gap.fault, gap.start_utc_us, gap.end_utc_us) == (True, times[19], times[20])
    assert np.all(np.diff(times) >= 0)
