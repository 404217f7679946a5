"""What a gauge says right now.

Here: the first readings and the bytes behind them. Not here: showing them.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator
from contextlib import aclosing
from dataclasses import dataclass, field
from typing import cast

from gaugelog.errors import GaugeSilentError, LinkFailedError
from gaugelog.gauges.stream import GaugeEvent, GaugeStream
from gaugelog.model.device import Device
from gaugelog.model.readings import Chunk, Heard, Reading, Reject


@dataclass(slots=True)
class ReadOnce:
    """What was heard in the time given: readings, rejects, and the bytes of both as they came, ticks left out.

    `device` is what the gauge told of itself, None where it tells nothing.
    """

    readings: list[Reading] = field(default_factory=list)
    rejects: list[Reject] = field(default_factory=list)
    chunks: list[Chunk] = field(default_factory=list)
    device: Device | None = None

    def take(self, heard: Heard) -> None:
        """Add what one chunk turned out to be."""
        if heard.chunk.data:
            self.chunks.append(heard.chunk)
        for item in heard.items:
            if isinstance(item, Reading):
                self.readings.append(item)
            else:
                self.rejects.append(item)


async def _collect(stream: GaugeStream, count: int, into: ReadOnce) -> None:
    async with aclosing(cast(AsyncGenerator[GaugeEvent, None], stream.events())) as events:
        async for event in events:
            if isinstance(event, Heard):
                into.take(event)
            else:
                into.device = event.device or into.device
            if len(into.readings) >= count:
                return


async def read_once(stream: GaugeStream, timeout_s: float = 3.0, count: int = 1) -> ReadOnce:
    """Return the first `count` readings of a gauge, fewer when time ran out or the link ended before.

    Args:
        stream: the gauge, not being listened to already.
        timeout_s: how long to wait for all of them.
        count: how many readings are wanted.

    Raises:
        LinkFailedError: it can't be opened, or was lost before the first reading.
        GaugeSilentError: no reading came in time; it tells silence from bytes that don't fit.
    """
    heard = ReadOnce()
    try:
        async with asyncio.timeout(timeout_s):
            await _collect(stream, count, heard)
    except TimeoutError:
        pass
    except LinkFailedError:
        if not heard.readings:
            raise
    if not heard.readings:
        raise GaugeSilentError(str(stream.gauge), timeout_s, len(heard.rejects))
    return heard
