"""A finished clamp session run again, as if it happened now: to train, and to tune limits.

Here: from the readings and marks of a session to what was heard, in order, sitting by sitting. Nothing is kept. Not
here: the watch (`clamping`, `analysis.watch`), the screen.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from gaugelog.analysis.series import Series
from gaugelog.model.clock import Anchor
from gaugelog.model.datasheet import Datasheet, ValueRule
from gaugelog.model.instrument import Instrument
from gaugelog.model.placement import Mark
from gaugelog.model.readings import Chunk, Flag, Heard, Reading
from gaugelog.recorder.clamping import ClampSession
from gaugelog.review.session import NOT_RUNNING, Session
from gaugelog.store.records import RecordedGauge

_TICK_NS = 500_000_000
_TICKS_ON_NS = 60 * 10**9
_LONGEST_WAIT_S = 2.0
_LONGEST_RUN_S = 0.05


class Nowhere:
    """Keeps nothing of a session."""

    def hear(self, heard: Heard) -> None:
        """Keep nothing."""

    def keep_up(self, now_ns: int) -> None:
        """Keep nothing."""

    def event(self, kind: str, gauge: str, words: str, time_ns: int) -> None:
        """Keep nothing."""

    def gap(self, gauge: str, start_ns: int, end_ns: int, reason: str, fault: bool = True) -> None:
        """Keep nothing."""

    def mark(self, mark: Mark) -> None:
        """Keep nothing."""


@dataclass(frozen=True, slots=True)
class Sat:
    """One sitting of a session: its readings by gauge, and its marks."""

    series: Mapping[str, Series]
    marks: tuple[Mark, ...]
    datasheets: Mapping[str, Datasheet]

    @property
    def start_ns(self) -> int:
        """When its first reading came, nanoseconds UTC."""
        return min(int(each.utc_us[0]) for each in self.series.values()) * 1000

    def session(self, instrument: Instrument, marks: Sequence[Mark] = ()) -> ClampSession:
        """Return a session that listens to this sitting from its begin; `marks` are those of earlier ones."""
        return ClampSession(instrument, self.datasheets, Anchor(self.start_ns, self.start_ns // 1000), Nowhere(), marks)

    def happenings(self) -> Iterator[Heard | Mark]:
        """Yield what was heard and marked, in order of time; a tick twice a second into every silence."""
        names = list(self.series)
        times = np.concatenate([self.series[name].utc_us for name in names])
        which = np.concatenate([np.full(self.series[name].utc_us.size, place) for place, name in enumerate(names)])
        values = np.concatenate([self.series[name].value for name in names])
        flags = np.concatenate([_flags(self.series[name]) for name in names])
        order = np.argsort(times, kind="stable")
        marks = sorted(self.marks, key=lambda mark: mark.utc_us)
        silences = _Silences(names, self.start_ns)
        for place in order:
            name, time_ns = names[which[place]], int(times[place]) * 1000
            while marks and marks[0].utc_us * 1000 <= time_ns:
                yield from silences.until(marks[0].utc_us * 1000)
                yield marks.pop(0)
            yield from silences.until(time_ns)
            silences.broken(name, time_ns)
            yield _heard(self.datasheets[name], time_ns, float(values[place]), int(flags[place]))
        yield from marks


class _Silences:
    """Ticks of the gauges that say nothing, twice a second; where all of them are silent, for a minute."""

    def __init__(self, names: Sequence[str], start_ns: int) -> None:
        self._heard_ns = dict.fromkeys(names, start_ns)
        self._latest_ns = start_ns
        self._next_ns = start_ns + _TICK_NS

    def broken(self, name: str, time_ns: int) -> None:
        """Say that a gauge spoke."""
        self._heard_ns[name] = self._latest_ns = time_ns

    def until(self, time_ns: int) -> Iterator[Heard]:
        """Yield the ticks before a moment."""
        while self._next_ns < min(time_ns, self._latest_ns + _TICKS_ON_NS):
            for name, heard_ns in self._heard_ns.items():
                if self._next_ns - heard_ns > _TICK_NS:
                    yield Heard(name, Chunk(self._next_ns, b""))
            self._next_ns += _TICK_NS
        behind = time_ns - self._next_ns
        if behind > 0:
            self._next_ns += -(-behind // _TICK_NS) * _TICK_NS


def _flags(series: Series) -> np.ndarray[tuple[int], np.dtype[np.int_]]:
    return np.zeros(series.utc_us.size, dtype=np.int_) if series.flags is None else series.flags


def _heard(sheet: Datasheet, time_ns: int, value: float, flags: int) -> Heard:
    unit = sheet.quantity.base_unit
    reading = Reading(time_ns, sheet.name, sheet.quantity, value, f"{value:.6g}", unit, sheet.resolution, Flag(flags))
    return Heard(sheet.name, Chunk(time_ns, b""), (reading,))


def sittings_of(session: Session, gauges: Mapping[str, RecordedGauge]) -> tuple[Sat, ...]:
    """Return a session's sittings, parted where nobody listened; a mark set where nothing was heard goes to the next.

    Args:
        session: as it was recorded.
        gauges: of the recording, by short name; series of anything else (spot readings) are left out.
    """
    series = {each.name: each for each in session.series if each.name in gauges and each.utc_us.size}
    sheets = {name: _sheet(gauges[name]) for name in series}
    cuts = sorted({gap.end_utc_us for each in series.values() for gap in each.gaps if gap.reason == NOT_RUNNING})
    first_us = min([session.start_utc_us, *(mark.utc_us for mark in session.marks)])
    edges = [first_us, *cuts, session.end_utc_us + 1]
    found = []
    waiting: tuple[Mark, ...] = ()
    for low, high in pairwise(edges):
        parts = {name: part for name, each in series.items() if (part := _between(each, low, high)).utc_us.size}
        marks = tuple(mark for mark in session.marks if low <= mark.utc_us < high)
        waiting += marks
        if parts:
            found.append(Sat(parts, waiting, {name: sheets[name] for name in parts}))
            waiting = ()
    return tuple(found)


def _between(series: Series, low_us: int, high_us: int) -> Series:
    first, last = (int(place) for place in np.searchsorted(series.utc_us, (low_us, high_us)))
    flags = None if series.flags is None else series.flags[first:last]
    return replace(series, utc_us=series.utc_us[first:last], value=series.value[first:last], flags=flags)


def _sheet(gauge: RecordedGauge) -> Datasheet:
    """Return what the watch and the screen need to know of a recorded gauge; its name is the gauge's short name."""
    return Datasheet(
        name=gauge.name,
        title=gauge.datasheet,
        quantity=gauge.quantity,
        sends=gauge.sends,
        framing="",
        options={},
        value=ValueRule("", gauge.quantity.base_unit),
        resolution=gauge.resolution,
        accuracy=gauge.accuracy,
        rate_hz=gauge.rate_hz,
        awake_s=gauge.awake_s,
    )


async def paced(happenings: Iterator[Heard | Mark], speed: float) -> AsyncIterator[Heard | Mark]:
    """Yield happenings as far apart in time as they were, divided by `speed`; no wait is longer than two seconds.

    Where that can't be kept up with, others (keys, the clock) still get their turn many times a second.
    """
    loop = asyncio.get_running_loop()
    began_s: float | None = None
    rested_s = loop.time()
    first_ns = 0
    for each in happenings:
        time_ns = each.utc_us * 1000 if isinstance(each, Mark) else each.chunk.time_ns
        if began_s is None:
            began_s, first_ns = loop.time(), time_ns
        ahead_s = (time_ns - first_ns) / 1e9 / speed - (loop.time() - began_s)
        if ahead_s > _LONGEST_WAIT_S:
            began_s -= ahead_s - _LONGEST_WAIT_S
            ahead_s = _LONGEST_WAIT_S
        if ahead_s > 0.005 or loop.time() - rested_s > _LONGEST_RUN_S:
            await asyncio.sleep(max(ahead_s, 0.0))
            rested_s = loop.time()
        yield each
