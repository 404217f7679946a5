"""A finished session run again: silences, marks, pace. All values invented."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator

import numpy as np

from gaugelog.analysis.results import Gap
from gaugelog.analysis.series import Series
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.model.datasheet import Sends
from gaugelog.model.placement import Mark, MarkKind
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Heard
from gaugelog.recorder.rehearsing import paced, sittings_of
from gaugelog.review.session import NOT_RUNNING, Session
from gaugelog.store.records import RecordedGauge

START_US = 1_760_000_000_000_000
INSTRUMENT = read_instrument(new_instrument("invented", gauges="two"), "here")


def gauge(name: str) -> RecordedGauge:
    return RecordedGauge(
        name=name, datasheet="invented", datasheet_text="", address="", identity="", quantity=Quantity.ANGLE,
        resolution=0.05, accuracy=None, sends=Sends.STEADILY, rate_hz=10.0, awake_s=None,
    )  # fmt: skip


def series(name: str, *stretches_s: tuple[float, float], gaps: tuple[Gap, ...] = ()) -> Series:
    times = np.concatenate([np.arange(low, high, 0.1) for low, high in stretches_s])
    utc_us = START_US + np.round(times * 1e6).astype(np.int64)
    return Series(name, Quantity.ANGLE, utc_us, np.full(times.size, 2.8), (0.05,), period_s=0.1, gaps=gaps)


def session(*every: Series, marks: tuple[Mark, ...] = ()) -> Session:
    end_us = max(int(each.utc_us[-1]) for each in every)
    return Session(every, (), marks, START_US, end_us + 1, {}, INSTRUMENT)


def told_in(run: Session) -> list[tuple[str, str, float]]:
    """Return kind, gauge and seconds of every alarm."""
    found = []
    for sat in sittings_of(run, {each.name: gauge(each.name) for each in run.series}):
        live = sat.session(INSTRUMENT)
        for each in sat.happenings():
            if isinstance(each, Mark):
                live.set_mark(each, each.utc_us * 1000)
                continue
            found += [
                (told.alarm.kind.value, told.alarm.series, told.alarm.time_ns / 1e9 - START_US / 1e6)
                for told in live.hear(each)
            ]
    return found


def test_a_gauge_that_dies_while_the_other_speaks_is_told_once_at_once() -> None:
    told = told_in(session(series("neck", (0, 60)), series("body", (0, 20), (40, 60))))
    assert [(kind, name) for kind, name, _ in told] == [("lost", "body")]
    assert 21.9 < told[0][2] < 23


def test_what_happened_comes_in_order_of_time() -> None:
    marks = (Mark(START_US + 15_200_000, MarkKind.CLAMPS_ON),)
    run = session(series("neck", (0, 10), (30, 40)), series("body", (0, 10), (200, 210)), marks=marks)
    (sat,) = sittings_of(run, {"neck": gauge("neck"), "body": gauge("body")})
    times = [each.utc_us * 1000 if isinstance(each, Mark) else each.chunk.time_ns for each in sat.happenings()]
    assert times == sorted(times)
    assert sum(isinstance(each, Heard) and bool(each.items) for each in sat.happenings()) == 400


def test_marks_set_while_nothing_was_heard_or_before_it_are_not_lost() -> None:
    pause = (Gap(START_US + 10_000_000, START_US + 600_000_000, NOT_RUNNING, False),)
    marks = (Mark(START_US - 120_000_000, MarkKind.GLUE_ON), Mark(START_US + 300_000_000, MarkKind.CLAMPS_ON))
    run = session(series("neck", (0, 10), (600, 610), gaps=pause), marks=marks)
    first, second = sittings_of(run, {"neck": gauge("neck")})
    assert [mark.kind for mark in (*first.marks, *second.marks)] == [MarkKind.GLUE_ON, MarkKind.CLAMPS_ON]


async def test_at_any_speed_others_get_their_turn() -> None:
    def endless() -> Iterator[Heard]:
        while True:
            yield Heard("neck", Chunk(0, b""))

    async def listen() -> None:
        async for _ in paced(endless(), 1e9):
            pass

    listening = asyncio.create_task(listen())
    await asyncio.sleep(0)
    listening.cancel()
    assert isinstance((await asyncio.gather(listening, return_exceptions=True))[0], asyncio.CancelledError)
