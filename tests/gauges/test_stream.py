"""One gauge, from the bytes on a real port to readings; lost and found again."""

from __future__ import annotations

import asyncio
import subprocess
import sys
from collections.abc import Awaitable, Callable
from contextlib import aclosing
from itertools import pairwise
from pathlib import Path

import pytest

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.datasheets.meaning import Encoding
from gaugelog.errors import LinkFailedError, LinkReason
from gaugelog.gauges import polling, stream
from gaugelog.gauges.connect import open_gauge
from gaugelog.gauges.stream import GaugeStream, growing_pauses
from gaugelog.links.pair import memory_pair
from gaugelog.links.rawlog import HEADER, bytes_to_text
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.readings import Heard, LinkChange, LinkState, Reading, Reject, RejectReason

SHEET = find_datasheet("angle-line")
LINE = Encoding(SHEET)
Events = list[Heard | LinkChange]


def readings_of(events: Events) -> list[float]:
    heard = [event for event in events if isinstance(event, Heard)]
    return [item.value for event in heard for item in event.items if isinstance(item, Reading)]


def rejects_of(events: Events) -> list[Reject]:
    heard = [event for event in events if isinstance(event, Heard)]
    return [item for event in heard for item in event.items if isinstance(item, Reject)]


def states_of(events: Events) -> list[LinkState]:
    return [event.state for event in events if isinstance(event, LinkChange)]


async def until_it_ends(
    gauge: GaugeStream, then: Callable[[Events], Awaitable[None]] | None = None
) -> tuple[Events, LinkFailedError | None]:
    """Return all events and the failure, if any; `then` acts on what was heard, each time."""
    events: Events = []
    try:
        async for event in gauge.events():
            events.append(event)
            if then is not None:
                await then(events)
    except LinkFailedError as failure:
        return events, failure
    return events, None


async def test_every_reading_of_another_process_arrives_once_in_order_then_it_is_lost(paced_gauge) -> None:
    values = [round(0.05 * (count * 7 % 113) - 2, 2) for count in range(80)]
    path, go_on = paced_gauge(b"".join(map(LINE.encode, values)))
    gauge = open_gauge(f"angle-line@serial:{path}?baud=9600", name="neck")

    unplugged = False

    async def then(events: Events) -> None:
        nonlocal unplugged
        if len(events) == 1:
            go_on()
        elif len(readings_of(events)) == len(values) and not unplugged:
            unplugged = True
            go_on()

    events, failure = await until_it_ends(gauge, then)
    assert readings_of(events) == values
    assert rejects_of(events) == []
    assert states_of(events) == [LinkState.OPEN, LinkState.LOST]
    assert failure is not None
    assert failure.reason is LinkReason.LOST
    times = [event.time_ns if isinstance(event, LinkChange) else event.chunk.time_ns for event in events]
    assert times == sorted(times)
    assert {event.gauge for event in events} == {"neck"}


async def test_unplugged_in_the_middle_of_a_line(socket) -> None:
    far = await socket.plug()
    gauge = open_gauge(f"angle-line@serial:{socket.path}")

    async def then(events: Events) -> None:
        if len(events) == 1:
            await far.send(LINE.encode(2.85) + LINE.encode(2.80)[:4])
        elif readings_of(events):
            await socket.unplug()

    events, failure = await until_it_ends(gauge, then)
    assert failure is not None
    assert readings_of(events) == [2.85]
    assert [(reject.raw, reject.reason) for reject in rejects_of(events)] == [
        (LINE.encode(2.80)[:4], RejectReason.CUT_OFF)
    ]
    assert states_of(events) == [LinkState.OPEN, LinkState.LOST]
    assert events[-1].detail


async def test_plugged_in_again_it_goes_on_with_a_fresh_decoder(socket, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stream, "FIRST_PAUSE_S", 0.02)
    far = await socket.plug()
    gauge = open_gauge(f"angle-line@serial:{socket.path}", reconnect=True)
    events = []
    async with asyncio.timeout(10), aclosing(gauge.events()) as coming:
        async for event in coming:
            events.append(event)
            states = states_of(events)
            if isinstance(event, LinkChange) and states == [LinkState.OPEN]:
                await far.send(LINE.encode(2.85) + LINE.encode(2.80)[:-3])
            elif isinstance(event, LinkChange) and event.state is LinkState.LOST:
                asyncio.get_running_loop().call_later(0.1, lambda: asyncio.ensure_future(socket.plug()))
            elif isinstance(event, LinkChange):
                await socket.far.send(LINE.encode(3.10))
            elif readings_of(events) == [2.85] and states[-1] is LinkState.OPEN and len(states) == 1:
                await socket.unplug()
            elif 3.10 in readings_of(events):
                break
    assert readings_of(events) == [2.85, 3.10]
    assert states_of(events) == [LinkState.OPEN, LinkState.LOST, LinkState.OPEN]
    assert [reject.reason for reject in rejects_of(events)] == [RejectReason.CUT_OFF]


def test_pauses_grow_from_a_quarter_of_a_second_to_five() -> None:
    pauses = growing_pauses()
    assert [next(pauses) for _ in range(7)] == [0.25, 0.5, 1.0, 2.0, 4.0, 5.0, 5.0]


async def test_a_port_that_is_not_there_at_first_is_told_at_once_even_when_reconnecting(tmp_path: Path) -> None:
    gauge = open_gauge(f"angle-line@serial:{tmp_path}/none", reconnect=True)
    events, failure = await until_it_ends(gauge)
    assert events == []
    assert failure is not None
    assert failure.reason is LinkReason.NOT_FOUND


async def test_a_replayed_log_ends_by_itself(tmp_path: Path) -> None:
    line = bytes_to_text(LINE.encode(2.85))
    (tmp_path / "a.log").write_text(f"{HEADER}\n0.0 {line}\n9.0 {line}\n9.5 2.\n")
    events, failure = await until_it_ends(open_gauge(f"angle-line@replay:{tmp_path}/a.log?speed=max"))
    assert failure is None
    assert readings_of(events) == [2.85, 2.85]
    assert [reject.reason for reject in rejects_of(events)] == [RejectReason.CUT_OFF]
    assert states_of(events) == [LinkState.OPEN, LinkState.SILENT, LinkState.OPEN, LinkState.ENDED]
    assert events[-1].time_ns - events[0].time_ns >= 9.5e9, "time is the log's, not the wall's"


async def test_a_gauge_is_asked_again_only_after_an_answer_or_a_time_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(polling, "ANSWER_S", 0.4)
    sheet = find_datasheet("caliper-polled")
    assert sheet.poll is not None
    near, far = memory_pair()
    await far.open()
    gauge = GaugeStream(parse_gauge("caliper-polled@pair:near"), sheet, near)
    listening = asyncio.create_task(until_it_ends(gauge))
    loop = asyncio.get_running_loop()
    asked_s = []
    while len(asked_s) < 6:
        chunk = await far.receive()
        if not chunk.data:
            continue
        assert chunk.data == sheet.poll.data
        asked_s.append(loop.time())
        if len(asked_s) > 3:
            await far.send(Encoding(sheet).encode(12.34))
    await far.close()
    events, _ = await listening
    waits_s = [after - before for before, after in pairwise(asked_s)]
    assert min(waits_s[:3]) >= 0.4 * 0.99, "unanswered: a whole time-out passes"
    assert min(waits_s[3:]) >= sheet.poll.period_s * 0.95
    assert set(readings_of(events)) == {12.34}


async def test_a_gauge_that_can_not_be_asked_any_more_is_lost() -> None:
    near, far = memory_pair()
    await far.open()
    listening = asyncio.create_task(
        until_it_ends(GaugeStream(parse_gauge("caliper-polled@pair:near"), find_datasheet("caliper-polled"), near))
    )
    await far.receive()
    await far.close()
    events, failure = await listening
    assert failure is not None
    assert states_of(events) == [LinkState.OPEN, LinkState.LOST]


PROGRAM = """
import asyncio
from gaugelog.gauges.connect import open_gauge
from gaugelog.model.readings import Heard, Reading

async def main():
    async for event in open_gauge("ruler@typed:").events():
        if isinstance(event, Heard):
            for item in event.items:
                print(item.value if isinstance(item, Reading) else item.reason.name)
        else:
            print(event.state.name)

asyncio.run(main())
"""


def test_lines_piped_into_a_program_are_readings() -> None:
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], input=b"12.5\nabout ten\n13.0", capture_output=True, timeout=20, check=True
    )
    assert done.stdout.decode().split() == ["OPEN", "12.5", "NO_MATCH", "13.0", "ENDED"]
