"""Simulated gauges in virtual time: forty minutes in a second or two, every byte through a real port.

Here: a clock that is moved by hand, and gauges that all follow it in lockstep. Not here: simulated gauges in real time
(`gauges.simulated`).
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass, field

from gaugelog.datasheets.meaning import Decoding
from gaugelog.gauges.motions import Motion
from gaugelog.gauges.simulated_gauge import SimulatedGauge
from gaugelog.gauges.stream import GaugeEvent
from gaugelog.links import TICK_S
from gaugelog.links.ends import Ends, open_ends
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.gauges import GaugeName
from gaugelog.model.readings import Chunk, Heard, LinkChange, LinkState

_NS = 1_000_000_000


class VirtualClock:
    """A monotonic clock that stands still until it is moved.

    Args:
        start_ns: what it shows at first.
    """

    def __init__(self, start_ns: int = 0) -> None:
        self._start_ns = self._now_ns = start_ns

    def now_ns(self) -> int:
        """Return the nanoseconds it shows; give this method to whatever wants a clock."""
        return self._now_ns

    @property
    def seconds(self) -> float:
        """Seconds since its start."""
        return (self._now_ns - self._start_ns) / _NS

    def advance(self, by_s: float) -> None:
        """Move it on by `by_s` seconds."""
        self.advance_to(self._now_ns + round(by_s * _NS))

    def advance_to(self, time_ns: int) -> None:
        """Move it on to `time_ns`.

        Raises:
            ValueError: that would be backward.
        """
        if time_ns < self._now_ns:
            raise ValueError("a clock can't run backward")
        self._now_ns = time_ns


@dataclass(frozen=True, slots=True)
class BenchGauge:
    """A gauge on the bench: its name, its datasheet, how it is moved in the clock's seconds, readings a second."""

    gauge: GaugeName
    datasheet: Datasheet
    motion: Motion
    rate_hz: float = 2.0


@dataclass(slots=True)
class _Stand:
    """One gauge of the bench with its port and decoder."""

    of: BenchGauge
    ends: Ends
    clock: VirtualClock
    tick_ns: int
    started_ns: int
    samples: int = 0
    quiet_since_ns: int = 0
    simulated: SimulatedGauge = field(init=False)
    decoding: Decoding = field(init=False)

    def __post_init__(self) -> None:
        self.simulated = SimulatedGauge(self.of.datasheet, self.of.motion)
        self.decoding = Decoding(self.of.datasheet, self.of.gauge.name)
        self.quiet_since_ns = self.started_ns

    @property
    def sample_ns(self) -> int:
        """When it looks at its motion next."""
        return self.started_ns + round(self.samples * _NS / self.of.rate_hz)

    @property
    def due_ns(self) -> int:
        """When it has anything to say next, be it a tick."""
        return min(self.sample_ns, self.quiet_since_ns + self.tick_ns)

    async def step(self) -> list[Heard]:
        """Return what is heard at the clock's present time."""
        now_ns = self.clock.now_ns()
        line = b""
        if now_ns >= self.sample_ns:
            self.samples += 1
            line = await self._line()
        if line:
            self.quiet_since_ns = now_ns
            return await self._through_the_port(line)
        if now_ns - self.quiet_since_ns < self.tick_ns:
            return []
        self.quiet_since_ns = now_ns
        return [self.decoding.feed(Chunk(now_ns, b""))]

    async def _line(self) -> bytes:
        poll = self.of.datasheet.poll
        if poll is None:
            return self.simulated.sends(self.clock.seconds)
        await self.ends.near.send(poll.data)
        asked = b""
        while poll.data not in asked:
            asked += (await self.ends.far.receive()).data
        return self.simulated.answers(self.clock.seconds)

    async def _through_the_port(self, line: bytes) -> list[Heard]:
        """Send a line and wait until all of it has come out of the other end."""
        await self.ends.far.send(line)
        heard, missing = [], len(line)
        while missing:
            chunk = await self.ends.near.receive()
            if chunk.data:
                missing -= len(chunk.data)
                heard.append(self.decoding.feed(chunk))
        return heard


class SimulatedBench:
    """Several simulated gauges on one virtual clock, to be used where `listen(streams)` is.

    Each line is written into a real pty (inside the program where the system has none), read back through the serial
    link and decoded before the clock moves on: the order is exact, and no second is waited for.

    Args:
        gauges: in the order in which they speak when they speak at the same moment.
        clock: moved on while events are taken; a second bench on the same clock goes on from there.
        duration_s: how long the bench runs.
        tick_s: silence of this length gives a tick.
        pty: true to insist on a pty, false to do without.
    """

    def __init__(
        self,
        gauges: Sequence[BenchGauge],
        clock: VirtualClock,
        duration_s: float,
        *,
        tick_s: float = TICK_S,
        pty: bool | None = None,
    ) -> None:
        self.gauges = tuple(gauges)
        self.clock = clock
        self._duration_ns = round(duration_s * _NS)
        self._tick_ns = round(tick_s * _NS)
        self._pty = pty

    async def events(self) -> AsyncIterator[GaugeEvent]:
        """Yield all that is heard in order of time, with each link's opening and end.

        Raises:
            LinkFailedError: the system gives no pty.
        """
        stands: list[_Stand] = []
        started_ns = self.clock.now_ns()
        end_ns = started_ns + self._duration_ns
        try:
            for gauge in self.gauges:
                ends = await open_ends(self.clock.now_ns, pty=self._pty)
                stands.append(_Stand(gauge, ends, self.clock, self._tick_ns, started_ns))
                yield LinkChange(started_ns, gauge.gauge.name, LinkState.OPEN)
            while stands:
                stand = min(stands, key=lambda one: one.due_ns)
                if stand.due_ns >= end_ns:
                    break
                self.clock.advance_to(stand.due_ns)
                for heard in await stand.step():
                    yield heard
            self.clock.advance_to(max(end_ns, self.clock.now_ns()))
            for stand in stands:
                leftover = stand.decoding.finish(self.clock.now_ns())
                if leftover.items:
                    yield leftover
                yield LinkChange(self.clock.now_ns(), stand.of.gauge.name, LinkState.ENDED)
        finally:
            for stand in stands:
                await stand.ends.close()
