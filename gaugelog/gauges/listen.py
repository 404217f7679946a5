"""Several gauges as one stream.

Here: merging. Not here: one gauge (`gauges.stream`).
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator, AsyncIterator, Sequence
from contextlib import aclosing
from dataclasses import dataclass
from typing import Protocol, cast

from gaugelog.gauges.stream import A_LOT, GaugeEvent
from gaugelog.model.readings import Heard

WAITING = 1024
"""How many events may wait for whoever listens before the gauges are made to wait."""


class EventSource(Protocol):
    """Whatever gives events: one gauge, or a bench of simulated ones."""

    def events(self) -> AsyncIterator[GaugeEvent]:
        """Yield what is heard and how links change."""
        ...


@dataclass(frozen=True, slots=True)
class _End:
    """A source has ended, by itself or with a failure."""

    failure: BaseException | None


async def _pump(source: EventSource, queue: asyncio.Queue[GaugeEvent | _End]) -> None:
    """Put all events of one source into the queue, and its end behind them."""
    failure: BaseException | None = None
    try:
        async with aclosing(cast(AsyncGenerator[GaugeEvent, None], source.events())) as events:
            async for event in events:
                if queue.full():
                    await queue.put(event)
                else:
                    queue.put_nowait(event)
    except Exception as reason:
        failure = reason
    await queue.put(_End(failure))


async def listen(sources: Sequence[EventSource]) -> AsyncIterator[GaugeEvent]:
    """Yield the events of all sources as they come; each source's own in its order.

    It ends when all have ended. The first failure of one ends all, after everything that was heard before it; a gauge
    that is to be reconnected doesn't fail. Close the iterator (`contextlib.aclosing`) to close all links at once.

    Args:
        sources: gauges, none of them being listened to already.

    Raises:
        LinkFailedError: a gauge could not be opened, or was lost and is not to be reconnected.
    """
    queue: asyncio.Queue[GaugeEvent | _End] = asyncio.Queue(WAITING)
    pumps = [asyncio.create_task(_pump(source, queue)) for source in sources]
    running, in_a_row = len(pumps), 0
    try:
        while running:
            event = await queue.get()
            if not isinstance(event, _End):
                yield event
                in_a_row += len(event.items) if isinstance(event, Heard) else 0
                if in_a_row > A_LOT:
                    in_a_row = 0
                    await asyncio.sleep(0)
                continue
            running -= 1
            if event.failure is not None:
                raise event.failure
    finally:
        for pump in pumps:
            pump.cancel()
        await asyncio.gather(*pumps, return_exceptions=True)
