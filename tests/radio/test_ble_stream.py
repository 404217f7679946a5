"""The whole way of a reading that came through the air: stream, reconnecting, and the real command."""

from __future__ import annotations

import asyncio
import json
import os
import sys
from collections.abc import AsyncIterator
from contextlib import aclosing
from dataclasses import replace

import pytest
from radio_bench.gauge import ANGLE, QUESTION, SERIAL_OUT, SERIAL_SERVICE, VirtualGauge, line_of
from radio_bench.radio import Radio

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.gauges.connect import open_gauge
from gaugelog.gauges.stream import GaugeEvent, GaugeStream
from gaugelog.model.datasheet import Poll, Sends
from gaugelog.model.device import Device
from gaugelog.model.readings import Flag, Heard, LinkChange, LinkState, Reading, Reject

LINES = f"service={SERIAL_SERVICE}&notify={SERIAL_OUT}"
WITHIN_S = 15.0


def lines_of(radio: Radio, gauge: VirtualGauge, *, reconnect: bool = False) -> GaugeStream:
    return open_gauge(f"angle-line@{radio.address(gauge.address, LINES)}", name="angle", reconnect=reconnect)


async def readings(events: AsyncIterator[GaugeEvent], count: int) -> list[Reading]:
    """Return the next readings; a reject among them is a fault of the test."""
    got: list[Reading] = []
    async with asyncio.timeout(WITHIN_S):
        while len(got) < count:
            event = await anext(events)
            for item in event.items if isinstance(event, Heard) else ():
                assert not isinstance(item, Reject), item
                got.append(item)
    return got


async def change(events: AsyncIterator[GaugeEvent], state: LinkState) -> LinkChange:
    """Return the next change to `state`; a reading before it is one too many."""
    async with asyncio.timeout(WITHIN_S):
        while True:
            event = await anext(events)
            assert not (isinstance(event, Heard) and event.items), "nothing was sent, yet something came"
            if isinstance(event, LinkChange) and event.state is state:
                return event


async def test_lost_and_opened_again_three_times_each_reading_comes_once(radio: Radio) -> None:
    gauge = await radio.gauge(piece=6)
    async with aclosing(lines_of(radio, gauge, reconnect=True).events()) as events:
        for round_ in range(4):
            opened = await change(events, LinkState.OPEN)
            assert opened.device is not None
            assert opened.device.serial_number == "A-000123"
            for count in range(5):
                await gauge.says(line_of(100 * round_ + count * 5))
            got = await readings(events, 5)
            assert [each.text for each in got] == [f"{round_}.{count * 5:02}" for count in range(5)]
            await asyncio.sleep(radio.settle_s)
            await gauge.says(b"+  9.")
            if round_ < 3:
                await gauge.hang_up()
                await lost_with_half_a_line(events)


async def lost_with_half_a_line(events: AsyncIterator[GaugeEvent]) -> None:
    """See the loss, with the half line before it given back as a reject, never joined to what comes later."""
    rejects: list[object] = []
    async with asyncio.timeout(WITHIN_S):
        while True:
            event = await anext(events)
            if isinstance(event, Heard):
                rejects += event.items
            elif event.state is LinkState.LOST:
                break
    assert len(rejects) == 1
    assert isinstance(rejects[0], Reject)


async def test_a_gauge_that_is_asked_answers_through_the_air(radio: Radio) -> None:
    gauge = await radio.gauge(piece=4)
    datasheet = replace(find_datasheet("angle-line"), sends=Sends.WHEN_ASKED, poll=Poll(QUESTION, 0.05))
    named = lines_of(radio, gauge)
    stream = GaugeStream(named.gauge, datasheet, named.link)
    async with aclosing(stream.events()) as events:
        gauge.hundredths = -1205
        first = await readings(events, 2)
        assert {each.value for each in first} == {-12.05}


async def test_a_low_battery_marks_the_readings(radio: Radio) -> None:
    gauge = await radio.gauge()
    async with aclosing(lines_of(radio, gauge).events()) as events:
        opened = await change(events, LinkState.OPEN)
        assert opened.device == Device(
            "bench-angle", "Synthetic Workshop", "invented angle gauge", "A-000123", "0.1", 87
        )
        await gauge.says(line_of(285))
        assert not (await readings(events, 1))[0].flags & Flag.LOW_BATTERY
        await gauge.battery_falls_to(7)
        await asyncio.sleep(radio.settle_s)
        await gauge.says(line_of(285))
        assert (await readings(events, 1))[0].flags & Flag.LOW_BATTERY


async def test_a_described_value_decodes_to_the_digits_of_the_gauge(radio: Radio) -> None:
    """Format 0x0E (16 bits signed) with exponent -2, by the Bluetooth Assigned Numbers: -1234 is -12.34."""
    gauge = await radio.gauge()
    address = radio.address(gauge.address, f"notify={ANGLE}&described=yes")
    async with aclosing(open_gauge(f"described-angle@{address}").events()) as events:
        await change(events, LinkState.OPEN)
        for hundredths in (-1234, 285, 0, 1):
            await gauge.shows(hundredths)
        got = await readings(events, 4)
    assert [each.text for each in got] == ["-12.34", "2.85", "0.00", "0.01"]
    assert [each.value for each in got] == [-12.34, 2.85, 0.0, 0.01]


async def run_command(radio: Radio, *arguments: str) -> asyncio.subprocess.Process:
    """Start the real command in a process of its own."""
    return await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "gaugelog",
        *arguments,
        env={**os.environ, **radio.environment},
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
    )


async def ended(process: asyncio.subprocess.Process) -> tuple[int, str, str]:
    async with asyncio.timeout(60):
        out, err = await process.communicate()
    assert process.returncode is not None
    return process.returncode, out.decode(), err.decode()


async def test_the_real_command_reads_the_gauge_from_another_process(radio: Radio) -> None:
    gauge = await radio.gauge(piece=7)
    name = f"angle-line@{radio.address(gauge.address, LINES)}"
    process = await run_command(radio, "gauges", "read", name, "--count", "5", "--wait", "20", "--json")
    await gauge.is_listened_to(gauge.serial_out)
    for count in range(5):
        await gauge.says(line_of(280 + count * 5))
    status, out, err = await ended(process)
    assert (status, err) == (0, "")
    document = json.loads(out)
    assert [each["value"] for each in document["readings"]] == [2.8, 2.85, 2.9, 2.95, 3.0]
    async with asyncio.timeout(5):
        while gauge.device.connections:
            await asyncio.sleep(0.01)


async def test_a_command_that_was_killed_leaves_a_gauge_that_can_be_read_again(radio: Radio) -> None:
    gauge = await radio.gauge()
    name = f"angle-line@{radio.address(gauge.address, LINES)}"
    process = await run_command(radio, "gauges", "read", name, "--count", "5", "--wait", "60")
    await gauge.is_listened_to(gauge.serial_out)
    process.kill()
    await process.communicate()
    await asyncio.sleep(radio.settle_s)
    async with aclosing(lines_of(radio, gauge).events()) as events:
        await change(events, LinkState.OPEN)
        await gauge.says(line_of(285))
        assert [each.text for each in await readings(events, 1)] == ["2.85"]


@pytest.mark.parametrize(("broken", "told"), [("off", "Bluetooth is off"), ("gone", "not found (out of range")])
async def test_the_real_command_says_in_words_what_is_wrong(radio: Radio, broken: str, told: str) -> None:
    gauge = await radio.gauge()
    await (radio.power(False) if broken == "off" else gauge.stop())
    name = f"angle-line@{radio.address(gauge.address, LINES + '&find=0.3')}"
    status, out, err = await ended(await run_command(radio, "gauges", "read", name))
    await radio.power(True)
    assert status != 0
    assert told in err
    assert "Traceback" not in out + err
