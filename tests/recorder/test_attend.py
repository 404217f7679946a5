"""Attending to several sources at once."""

from __future__ import annotations

import asyncio
import signal
import subprocess
import sys
from collections.abc import AsyncIterator

import pytest

from gaugelog.recorder.attend import Attendance, ticks

PROGRAM = """
import asyncio
from gaugelog.recorder.attend import Attendance, ticks

told = []

async def attend():
    attendance = Attendance()
    print("ready", flush=True)
    first = lambda now_ns: None if told else told.append(print("handling", flush=True))
    await attendance.run(attendance.each(ticks(0.01), first))
    return attendance.interrupted

print("interrupted" if asyncio.run(attend()) else "ended")
"""


class Source:
    """Yields numbers for ever, or a few, and knows whether it was closed."""

    def __init__(self, count: int | None = None, error: Exception | None = None) -> None:
        self.count, self.error, self.closed = count, error, False

    async def __call__(self) -> AsyncIterator[int]:
        number = 0
        try:
            while self.count is None or number < self.count:
                yield number
                number += 1
                await asyncio.sleep(0)
            if self.error is not None:
                raise self.error
        finally:
            self.closed = True


async def test_it_ends_with_its_sources() -> None:
    attendance, heard = Attendance(), []
    await attendance.run(attendance.each(Source(3)(), heard.append), attendance.each(Source(5)(), heard.append))
    assert sorted(heard) == [0, 0, 1, 1, 2, 2, 3, 4]
    assert not attendance.interrupted


async def test_it_ends_when_told_and_closes_every_source() -> None:
    attendance, one, other = Attendance(), Source(), Source()

    def handle(number: int) -> None:
        if number == 10:
            attendance.stop()

    await attendance.run(attendance.each(one(), handle), beside=(attendance.each(other(), lambda number: None),))
    assert one.closed
    assert other.closed


async def test_nothing_is_handled_after_the_end() -> None:
    async def at_once() -> AsyncIterator[str]:
        for line in ("0.50", "q", "0.55"):
            yield line

    attendance, handled = Attendance(), []

    def handle(line: str) -> None:
        handled.append(line)
        if line == "q":
            attendance.stop()

    await attendance.run(attendance.each(at_once(), handle))
    assert handled == ["0.50", "q"]


async def test_the_first_failure_ends_all_and_is_raised() -> None:
    attendance, lasting = Attendance(), Source()
    with pytest.raises(OSError, match="unplugged"):
        await attendance.run(
            attendance.each(lasting(), lambda number: None),
            attendance.each(Source(2, OSError("unplugged"))(), lambda number: None),
        )
    assert lasting.closed


async def test_a_handlers_failure_is_raised() -> None:
    attendance = Attendance()
    with pytest.raises(ZeroDivisionError):
        await attendance.run(attendance.each(Source()(), lambda number: 1 // (3 - number)))


async def test_what_runs_beside_ends_nothing() -> None:
    attendance, heard = Attendance(), []
    await attendance.run(attendance.each(Source(50)(), heard.append), beside=(attendance.each(Source(1)(), print),))
    assert len(heard) == 50


async def test_a_source_joins_from_a_handler() -> None:
    attendance, late = Attendance(), []

    def join(number: int) -> None:
        if number == 2:
            attendance.join(attendance.each(Source(4)(), late.append))
        if len(late) == 4:
            attendance.stop()

    await attendance.run(attendance.each(Source()(), join))
    assert late == [0, 1, 2, 3]


async def test_a_source_that_joins_at_the_very_end_is_not_left_running() -> None:
    attendance, late = Attendance(), []

    def join(number: int) -> None:
        attendance.join(attendance.each(Source()(), late.append))
        attendance.stop()

    await attendance.run(attendance.each(Source()(), join))
    assert late == []


async def test_ticks_give_the_clocks_time() -> None:
    times = iter((5, 7))
    taken = []
    async for now_ns in ticks(0.001, lambda: next(times)):
        taken.append(now_ns)
        if len(taken) == 2:
            break
    assert taken == [5, 7]


@pytest.mark.skipif(sys.platform == "win32", reason="signals as on POSIX")
@pytest.mark.parametrize("number", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_a_signal_ends_it_cleanly(number: str) -> None:
    with subprocess.Popen([sys.executable, "-c", PROGRAM], stdout=subprocess.PIPE, text=True) as program:
        assert program.stdout is not None
        assert program.stdout.readline() == "ready\n"
        assert program.stdout.readline() == "handling\n"
        program.send_signal(getattr(signal, number))
        out, _ = program.communicate(timeout=10)
    assert (program.returncode, out) == (0, "interrupted\n")
