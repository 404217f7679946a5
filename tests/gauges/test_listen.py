"""Several gauges as one stream, and what one says right now."""

from __future__ import annotations

import asyncio
from contextlib import aclosing
from pathlib import Path

import pytest

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.datasheets.meaning import Encoding
from gaugelog.errors import GaugeSilentError, LinkFailedError, LinkReason
from gaugelog.gauges.connect import open_gauge
from gaugelog.gauges.listen import listen
from gaugelog.gauges.read_once import read_once
from gaugelog.gauges.stream import GaugeStream
from gaugelog.links.pair import MemoryEnd, memory_pair
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.readings import Heard, LinkChange, LinkState, Reading

SHEET = find_datasheet("angle-line")
LINE = Encoding(SHEET)


async def paired(name: str) -> tuple[GaugeStream, MemoryEnd]:
    near, far = memory_pair()
    await far.open()
    return GaugeStream(parse_gauge("angle-line@pair:near", name), SHEET, near), far


def values(events: list, gauge: str) -> list[float]:
    heard = [event for event in events if isinstance(event, Heard) and event.gauge == gauge]
    return [item.value for event in heard for item in event.items if isinstance(item, Reading)]


async def test_all_of_each_arrives_in_its_order_and_all_end_together(tmp_path: Path) -> None:
    names = [f"g{number}" for number in range(4)]
    for number, name in enumerate(names):
        lines = [LINE.encode(round(number + 0.05 * count, 2)) for count in range(40)]
        (tmp_path / name).write_bytes(b"".join(lines))
    streams = [open_gauge(f"angle-line@replay:{tmp_path / name}?speed=max", name=name) for name in names]
    events = [event async for event in listen(streams)]
    for number, name in enumerate(names):
        assert values(events, name) == [round(number + 0.05 * count, 2) for count in range(40)]
    assert sum(isinstance(event, LinkChange) and event.state is LinkState.ENDED for event in events) == 4


async def test_the_loss_of_one_is_raised_after_what_was_heard_and_closes_all() -> None:
    (first, first_far), (second, second_far) = await paired("first"), await paired("second")
    events = []

    async def hear() -> None:
        async for event in listen([first, second]):
            events.append(event)
            if isinstance(event, LinkChange) and event.state is LinkState.OPEN and event.gauge == "second":
                await first_far.send(LINE.encode(2.85))
                await second_far.send(LINE.encode(1.0))
                await first_far.close()

    with pytest.raises(LinkFailedError) as lost:
        await hear()
    assert lost.value.reason is LinkReason.LOST
    assert values(events, "first") == [2.85]
    assert isinstance(events[-1], LinkChange)
    assert events[-1].state is LinkState.LOST
    with pytest.raises(ValueError, match="not open"):
        await second.link.receive()


async def test_leaving_early_closes_every_link_at_once() -> None:
    (first, first_far), (second, _) = await paired("first"), await paired("second")
    async with aclosing(listen([first, second])) as events:
        async for event in events:
            if isinstance(event, LinkChange) and event.gauge == "second":
                break
    for gauge in (first, second):
        with pytest.raises(ValueError, match="not open"):
            await gauge.link.receive()
    await first_far.close()
    others = asyncio.all_tasks() - {asyncio.current_task()}
    assert not others, "no task is left behind"


async def test_whoever_listens_slowly_makes_the_gauges_wait_and_misses_nothing(tmp_path: Path) -> None:
    (tmp_path / "many").write_bytes(LINE.encode(2.85) * 5000)
    count = 0
    async for event in listen([open_gauge(f"angle-line@replay:{tmp_path}/many?speed=max")]):
        count += isinstance(event, Heard) and bool(event.items)
        if count in (1, 2000):
            await asyncio.sleep(0.1)
    assert count == 5000


async def test_nothing_to_listen_to_ends_at_once() -> None:
    assert [event async for event in listen([])] == []


async def test_what_a_gauge_says_right_now() -> None:
    gauge, far = await paired("neck")
    asyncio.get_running_loop().call_later(
        0.05, lambda: asyncio.ensure_future(far.send(b"\xfe?\r\n" + LINE.encode(2.85) + LINE.encode(2.80)))
    )
    heard = await read_once(gauge, 2.0, 2)
    assert [reading.value for reading in heard.readings] == [2.85, 2.80]
    assert len(heard.rejects) == 1
    assert b"".join(chunk.data for chunk in heard.chunks) == b"\xfe?\r\n" + LINE.encode(2.85) + LINE.encode(2.80)
    await far.close()


async def test_silence_and_bytes_that_do_not_fit_are_told_apart() -> None:
    gauge, far = await paired("neck")
    with pytest.raises(GaugeSilentError) as silent:
        await read_once(gauge, 0.1)
    asyncio.get_running_loop().call_later(0.02, lambda: asyncio.ensure_future(far.send(b"@@\r\n##\r\n")))
    with pytest.raises(GaugeSilentError) as unfit:
        await read_once(gauge, 0.2)
    assert (silent.value.rejected, unfit.value.rejected) == (0, 2)
    assert "angle-line@pair:near" in str(unfit.value)
    await far.close()


async def test_fewer_readings_than_wanted_are_given_and_a_loss_without_any_is_raised() -> None:
    gauge, far = await paired("neck")

    async def once() -> None:
        await far.send(LINE.encode(2.85))
        await far.close()

    asyncio.get_running_loop().call_later(0.05, lambda: asyncio.ensure_future(once()))
    assert len((await read_once(gauge, 2.0, 5)).readings) == 1
    with pytest.raises(LinkFailedError):
        await read_once(gauge, 2.0)
