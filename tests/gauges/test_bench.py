"""Simulated gauges in virtual time, every byte through a real port."""

from __future__ import annotations

import sys
import time
from contextlib import aclosing
from itertools import pairwise

import pytest

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.gauges.bench import BenchGauge, SimulatedBench, VirtualClock
from gaugelog.gauges.listen import listen
from gaugelog.gauges.motions import Still
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.readings import Heard, LinkChange, LinkState, Reading

S = 1_000_000_000
SHEET = find_datasheet("angle-line")
has_pty = sys.platform != "win32"


def gauge(name: str, motion=None, rate_hz: float = 2.0) -> BenchGauge:
    return BenchGauge(parse_gauge("angle-line@sim:", name), SHEET, motion or Still(2.8, 0.02, name), rate_hz)


async def all_of(bench: SimulatedBench) -> list[Heard | LinkChange]:
    return [event async for event in bench.events()]


def time_of(event: Heard | LinkChange) -> int:
    return event.time_ns if isinstance(event, LinkChange) else event.chunk.time_ns


def readings(events: list[Heard | LinkChange], name: str) -> list[Reading]:
    heard = [event for event in events if isinstance(event, Heard) and event.gauge == name]
    return [item for event in heard for item in event.items if isinstance(item, Reading)]


async def test_readings_stand_at_their_exact_virtual_times_in_order() -> None:
    clock = VirtualClock(start_ns=5 * S)
    clock.advance(1.0)
    events = await all_of(SimulatedBench([gauge("neck"), gauge("body", rate_hz=4.0)], clock, 10.0))
    assert [time_of(event) for event in events] == sorted(time_of(event) for event in events)
    assert [reading.time_ns for reading in readings(events, "neck")] == [6 * S + count * S // 2 for count in range(20)]
    assert [reading.time_ns for reading in readings(events, "body")] == [6 * S + count * S // 4 for count in range(40)]
    changes = [(event.gauge, event.state) for event in events if isinstance(event, LinkChange)]
    assert changes[:2] == [("neck", LinkState.OPEN), ("body", LinkState.OPEN)]
    assert changes[2:] == [("neck", LinkState.ENDED), ("body", LinkState.ENDED)]
    assert clock.now_ns() == 16 * S


@pytest.mark.skipif(not has_pty, reason="there are no ptys on this system")
async def test_a_pty_and_a_pair_inside_the_program_give_the_same() -> None:
    def bench(pty: bool) -> SimulatedBench:
        return SimulatedBench([gauge("neck"), gauge("body")], VirtualClock(), 20.0, pty=pty)

    assert await all_of(bench(True)) == await all_of(bench(False))


async def test_a_silent_gauge_ticks_and_comes_back() -> None:
    def lifted_off(time_s: float) -> float | None:
        return None if 2.0 <= time_s < 5.0 else 2.8

    events = await all_of(SimulatedBench([gauge("neck", lifted_off)], VirtualClock(), 8.0, tick_s=0.25))
    assert [reading.time_ns / S for reading in readings(events, "neck")] == [0, 0.5, 1, 1.5, 5, 5.5, 6, 6.5, 7, 7.5]
    times = [time_of(event) for event in events]
    assert max(after - before for before, after in pairwise(times)) <= 0.25 * S


async def test_a_second_bench_goes_on_where_the_first_was_left() -> None:
    clock = VirtualClock()
    seen: list[float] = []

    def motion(time_s: float) -> float:
        seen.append(time_s)
        return time_s

    async with aclosing(SimulatedBench([gauge("neck", motion)], clock, 100.0).events()) as events:
        async for event in events:
            if time_of(event) >= 3 * S:
                break
    clock.advance(3600.0)
    await all_of(SimulatedBench([gauge("neck", motion)], clock, 1.0))
    assert seen == [0, 0.5, 1, 1.5, 2, 2.5, 3, 3603, 3603.5]


async def test_it_can_stand_among_other_sources() -> None:
    bench = SimulatedBench([gauge("neck")], VirtualClock(), 5.0)
    assert [event async for event in listen([bench])] == await all_of(
        SimulatedBench([gauge("neck")], VirtualClock(), 5.0)
    )


def test_a_clock_never_runs_backward() -> None:
    clock = VirtualClock(10)
    with pytest.raises(ValueError, match="backward"):
        clock.advance_to(9)
    clock.advance(2.5)
    assert (clock.now_ns(), clock.seconds) == (10 + 2_500_000_000, 2.5)


@pytest.mark.skipif(not has_pty, reason="there are no ptys on this system")
async def test_forty_minutes_of_two_gauges_pass_whole_and_quickly(capsys: pytest.CaptureFixture[str]) -> None:
    bench = SimulatedBench([gauge("neck"), gauge("body")], VirtualClock(), 2400.0, pty=True)
    started_s = time.perf_counter()
    events = await all_of(bench)
    took_s = time.perf_counter() - started_s
    count = len(readings(events, "neck")) + len(readings(events, "body"))
    with capsys.disabled():
        print(f"\n{count} readings through a pty in {took_s:.2f} s: {count / took_s:.0f} a second")
    assert count == 2 * 2 * 2400
