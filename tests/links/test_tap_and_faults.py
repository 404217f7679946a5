"""What stands around a link: bytes written down as they come, and faults put on them on purpose."""

from __future__ import annotations

import asyncio
import shutil
import sys
import time
from collections import Counter
from collections.abc import Sequence
from contextlib import aclosing
from pathlib import Path

import pytest

from gaugelog.errors import AddressError, LinkFailedError, LinkReason
from gaugelog.gauges.connect import open_gauge
from gaugelog.gauges.read_once import read_once
from gaugelog.links import LinkEnded
from gaugelog.links.faults import FaultLink, Faults, parse_faults
from gaugelog.links.rawlog import parse_raw_log
from gaugelog.links.tap import TapLink, free_path
from gaugelog.model.device import Device
from gaugelog.model.gauges import parse_address
from gaugelog.model.readings import Chunk, Heard, LinkChange, LinkState, Reading

CHUNKS = [Chunk(place * 10_000_000, b"%04d\r\n" % place) for place in range(600)]


class Scripted:
    """A link that gives what it was given, then ends."""

    device = Device(name="bench gauge")
    goes_deaf = True

    def __init__(self, chunks: Sequence[Chunk] = CHUNKS) -> None:
        self.address = parse_address("scripted:")
        self._chunks = list(chunks)
        self.sent = b""

    async def open(self) -> None:
        self._left = iter(self._chunks)

    async def receive(self) -> Chunk:
        chunk = next(self._left, None)
        if chunk is None:
            raise LinkEnded("end of the script")
        return chunk

    async def send(self, data: bytes) -> None:
        self.sent += data

    async def close(self) -> None:
        """Nothing is open."""


async def everything(link: FaultLink | TapLink) -> list[Chunk]:
    await link.open()
    got = []
    try:
        while True:
            got.append(await link.receive())
    except LinkEnded:
        await link.close()
    return got


async def until_lost(link: FaultLink) -> None:
    while True:
        await link.receive()
        await asyncio.sleep(0)


def whole(chunks: Sequence[Chunk]) -> bytes:
    return b"".join(chunk.data for chunk in chunks)


async def spoilt(**faults: float) -> list[Chunk]:
    return await everything(FaultLink(Scripted(), Faults(**faults)))


async def test_what_is_cut_and_glued_arrives_whole_and_in_order_only_otherwise() -> None:
    got = await spoilt(cut=0.5, glue=0.4)
    assert whole(got) == whole(CHUNKS)
    assert [chunk.time_ns for chunk in got] == sorted(chunk.time_ns for chunk in got)
    lengths = Counter(len(chunk.data) for chunk in got)
    assert sum(count for length, count in lengths.items() if length < 6) > 100
    assert sum(count for length, count in lengths.items() if length > 6) > 50


async def test_shares_are_kept_over_many_chunks() -> None:
    lost = await spoilt(lose=0.25)
    assert len(lost) / len(CHUNKS) == pytest.approx(0.75, abs=0.06)
    garbled = await spoilt(garble=0.3)
    differ = [
        sum((a ^ b).bit_count() for a, b in zip(one.data, other.data, strict=True))
        for one, other in zip(garbled, CHUNKS, strict=True)
    ]
    assert set(differ) == {0, 1}, "one bit of a garbled chunk"
    assert sum(differ) / len(CHUNKS) == pytest.approx(0.3, abs=0.06)


async def test_the_same_seed_gives_the_same_faults_and_another_others() -> None:
    faults = {"cut": 0.3, "glue": 0.2, "garble": 0.1, "lose": 0.1}
    assert await spoilt(**faults, seed=3) == await spoilt(**faults, seed=3)
    assert await spoilt(**faults, seed=3) != await spoilt(**faults, seed=4)


async def test_a_tick_lets_go_what_was_held_back() -> None:
    link = FaultLink(Scripted([Chunk(0, b"+2.85"), Chunk(1, b""), Chunk(2, b"\r\n")]), Faults(glue=1.0))
    assert [chunk.data for chunk in await everything(link)] == [b"+2.85", b"\r\n"]


async def test_a_dropped_link_is_lost_with_all_that_came_before_and_can_be_opened_again() -> None:
    endless = [Chunk(place, b"x") for place in range(1_000_000)]
    link = FaultLink(Scripted(endless), Faults(drop=0.01))
    for _ in range(3):
        await link.open()
        with pytest.raises(LinkFailedError) as failed:
            await until_lost(link)
        assert (failed.value.reason, failed.value.detail) == (LinkReason.LOST, "dropped on purpose")


async def test_a_delayed_chunk_is_stamped_when_it_came() -> None:
    got = await everything(FaultLink(Scripted(CHUNKS[:30]), Faults(delay=0.01)))
    late = [chunk.time_ns - sent.time_ns for chunk, sent in zip(got, CHUNKS[:30], strict=True)]
    assert min(late) >= 0
    assert max(late) > 1_000_000
    assert [chunk.time_ns for chunk in got] == sorted(chunk.time_ns for chunk in got)


@pytest.mark.parametrize(
    "text", ["", "cut", "cut:2", "cut:-1", "cut:x", "cat:0.1", "cut:0.1,cut:0.2", "drop:-3", "seed:1.5", "cut:nan"]
)
def test_faults_that_are_none_are_told(text: str) -> None:
    with pytest.raises(AddressError):
        parse_faults(text, "the address")


def test_faults_are_read() -> None:
    wanted = Faults(cut=0.3, drop=20, seed=7)
    assert parse_faults("cut:0.3, drop:20,seed:7", "the address") == wanted


async def test_a_tap_writes_what_came_with_its_times_and_hands_everything_on(tmp_path: Path) -> None:
    inner = Scripted([CHUNKS[0], Chunk(5_000_000, b""), *CHUNKS[1:]])
    link = TapLink(inner, str(tmp_path / "tapped.log"), {"datasheet": "angle-line"})
    assert link.device == Scripted.device
    assert link.goes_deaf
    await link.open()
    await link.send(b"?\r")
    assert inner.sent == b"?\r"
    got = [chunk for chunk in await everything(link) if chunk.data]
    assert got == CHUNKS
    text = link.path.read_text(encoding="utf-8")
    assert parse_raw_log(text.splitlines(), link.path) == CHUNKS
    assert "# datasheet: angle-line\n" in text
    assert "# asked: ?\\r\n" in text


async def test_opened_again_the_log_goes_on_and_another_run_takes_another_name(tmp_path: Path) -> None:
    wanted = tmp_path / "tapped.log"
    wanted.write_text("somebody's own\n", encoding="utf-8")
    link = TapLink(Scripted(CHUNKS[:3]), str(wanted))
    for _ in range(2):
        await everything(link)
    assert link.path == tmp_path / "tapped-2.log"
    assert wanted.read_text(encoding="utf-8") == "somebody's own\n"
    lines = link.path.read_text(encoding="utf-8").splitlines()
    assert len([line for line in lines if not line.startswith("#")]) == 6
    assert free_path(wanted) == tmp_path / "tapped-3.log"


async def test_a_folder_that_is_not_there_ends_the_log_without_the_reading(tmp_path: Path) -> None:
    link = TapLink(Scripted(), str(tmp_path / "not" / "there" / "tapped.log"))
    assert whole(await everything(link)) == whole(CHUNKS)
    assert "is not written any more" in link.trouble


@pytest.mark.skipif(
    not Path("/dev/full").exists(), reason="only Linux and some relatives have /dev/full, a disk that is always full"
)
async def test_a_full_disk_ends_the_log_without_the_reading(tmp_path: Path) -> None:
    link = TapLink(Scripted(), str(tmp_path / "tapped.log"))
    await link.open()
    link.path.unlink()
    link.path.symlink_to("/dev/full")
    assert whole([await link.receive() for _ in CHUNKS]) == whole(CHUNKS)
    await link.close()
    assert "No space left" in link.trouble


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no limit on a file's size to set (RLIMIT_FSIZE)")
async def test_what_fits_no_more_leaves_a_log_that_can_be_played(tmp_path: Path) -> None:
    import resource

    link = TapLink(Scripted(), str(tmp_path / "tapped.log"))
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (5003, before[1]))
    try:
        assert whole(await everything(link)) == whole(CHUNKS)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert link.trouble
    kept = parse_raw_log(link.path.read_text(encoding="utf-8").splitlines(), link.path)
    assert 0 < len(kept) < len(CHUNKS)
    assert kept == CHUNKS[: len(kept)]


async def test_a_folder_that_vanishes_ends_the_log_and_is_told(tmp_path: Path) -> None:
    link = TapLink(Scripted(), str(tmp_path / "logs" / "tapped.log"))
    (tmp_path / "logs").mkdir()
    await link.open()
    shutil.rmtree(tmp_path / "logs")
    assert whole([await link.receive() for _ in CHUNKS]) == whole(CHUNKS)
    assert "is not written any more" in link.trouble
    await link.close()


async def test_times_that_run_backward_end_neither_the_reading_nor_the_log(tmp_path: Path) -> None:
    link = TapLink(Scripted([Chunk(50, b"a"), Chunk(20, b"b"), Chunk(60, b"c")]), str(tmp_path / "tapped.log"))
    assert whole(await everything(link)) == b"abc"
    kept = parse_raw_log(link.path.read_text(encoding="utf-8").splitlines(), link.path)
    assert kept == [Chunk(0, b"a"), Chunk(0, b"b"), Chunk(10, b"c")]


async def test_every_chunk_is_cut_where_all_are_to_be() -> None:
    assert len(await spoilt(cut=1.0)) == 2 * len(CHUNKS)


async def test_a_steady_gauge_is_heard_though_all_is_glued() -> None:
    got = await spoilt(glue=1.0)
    assert whole(got) == whole(CHUNKS)
    assert max(len(chunk.data) for chunk in got) <= 4096 + 6
    assert len(got) > 0


async def test_a_late_chunk_leaves_room_for_ticks_and_comes_though_waiting_was_given_up() -> None:
    link = FaultLink(Scripted([Chunk(time.monotonic_ns(), b"+2.85")]), Faults(delay=1.5, seed=1))
    await link.open()
    with pytest.raises(TimeoutError):
        await asyncio.wait_for(link.receive(), 0.05)
    got = [await link.receive() for _ in range(3)]
    assert [chunk.data for chunk in got[:2]] == [b"", b""]
    assert [chunk.time_ns for chunk in got] == sorted(chunk.time_ns for chunk in got)


async def test_a_gauge_tapped_replays_to_the_same_readings(tmp_path: Path) -> None:
    log = tmp_path / "tapped.log"
    first = await read_once(open_gauge(f"angle-line@sim:?value=2.80&seed=1&rate=50&tap={log}"), count=8)
    again = await read_once(open_gauge(f"angle-line@replay:{log}?speed=max"), count=8)
    assert [reading.text for reading in again.readings] == [reading.text for reading in first.readings]


async def test_a_gauge_on_a_bad_cable_gives_whole_readings_and_says_what_was_none(tmp_path: Path) -> None:
    faults = "cut:0.5,glue:0.3,garble:0.2,seed:2"
    gauge = open_gauge(f"angle-line@sim:?value=2.80&noise=0&rate=200&faults={faults}")
    heard = await read_once(gauge, count=60, timeout_s=10)
    right = [reading for reading in heard.readings if reading.text == "2.80"]
    assert len(right) > 50
    assert heard.rejects


async def test_trouble_with_the_log_is_told_once_beside_the_readings(tmp_path: Path) -> None:
    gauge = open_gauge(f"angle-line@sim:?rate=50&tap={tmp_path}/not/there/a.log")
    told, readings = [], 0
    async with asyncio.timeout(10), aclosing(gauge.events()) as events:
        async for event in events:
            if isinstance(event, LinkChange):
                told.append((event.state, event.detail))
            elif isinstance(event, Heard):
                readings += sum(isinstance(item, Reading) for item in event.items)
            if readings == 5:
                break
    assert [state for state, _ in told] == [LinkState.OPEN, LinkState.OPEN]
    assert "is not written any more" in told[1][1]
