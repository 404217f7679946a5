"""One gauge as a stream of what was heard.

Here: opening, decoding, losing and reconnecting one gauge. Not here: several at once (`gauges.listen`), nor what the
readings are used for (`recorder`).
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Iterator

from gaugelog.datasheets.meaning import Decoding
from gaugelog.errors import LinkFailedError
from gaugelog.gauges.polling import Poller
from gaugelog.links import Link, LinkEnded
from gaugelog.links.inbox import Clock
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.gauges import GaugeName
from gaugelog.model.instrument import NamedGauge
from gaugelog.model.readings import Heard, LinkChange, LinkState

FIRST_PAUSE_S = 0.25
LONGEST_PAUSE_S = 5.0

GaugeEvent = Heard | LinkChange


def growing_pauses() -> Iterator[float]:
    """Yield the seconds to wait before each new attempt: 0.25, doubling up to 5."""
    pause_s = FIRST_PAUSE_S
    while True:
        yield pause_s
        pause_s = min(2 * pause_s, LONGEST_PAUSE_S)


class GaugeStream:
    """A gauge: its datasheet, its link, and a fresh decoder for each connection.

    Args:
        gauge: how it is named.
        datasheet: what it sends.
        link: where it is; not opened yet.
        reconnect: go on after a loss, again and again, instead of ending with it.
        clock: gives monotonic nanoseconds; the link's own.
    """

    def __init__(
        self,
        gauge: GaugeName | NamedGauge,
        datasheet: Datasheet,
        link: Link,
        *,
        reconnect: bool = False,
        clock: Clock = time.monotonic_ns,
    ) -> None:
        self.gauge = gauge.gauge if isinstance(gauge, NamedGauge) else gauge
        self.name = gauge.name
        self.datasheet = datasheet
        self.link = link
        self.reconnect = reconnect
        self._clock = clock
        self._last_ns = 0
        self._pauses, self._lost = growing_pauses(), False

    async def events(self) -> AsyncIterator[GaugeEvent]:
        """Yield all that is heard, one `Heard` a chunk (ticks too), and each change of the link.

        Raises:
            LinkFailedError: it can't be opened at first; or it was lost and is not to be reconnected (after the change
                LOST was given).
        """
        try:
            await self.link.open()
            while True:
                yield self._change(self._clock(), LinkState.OPEN)
                decoding = Decoding(self.datasheet, self.name)
                poller = None if self.datasheet.poll is None else Poller(self.link, self.datasheet.poll)
                ending: LinkEnded | LinkFailedError
                try:
                    while True:
                        yield await self._next(decoding, poller)
                except (LinkEnded, LinkFailedError) as reason:
                    ending = reason
                finally:
                    if poller is not None:
                        await poller.stop()
                leftover = decoding.finish(self._last_ns or self._clock())
                if leftover.items:
                    yield leftover
                if isinstance(ending, LinkEnded):
                    yield self._change(self._last_ns, LinkState.ENDED, str(ending))
                    return
                yield self._change(self._clock(), LinkState.LOST, ending.detail or ending.reason.value)
                if not self.reconnect:
                    raise ending
                await self._open_again()
        finally:
            await self.link.close()

    async def _next(self, decoding: Decoding, poller: Poller | None) -> Heard:
        """Return what the next chunk turned out to be."""
        chunk = await self.link.receive()
        self._last_ns = chunk.time_ns
        heard = decoding.feed(chunk)
        if chunk.data and self._lost:
            self._pauses, self._lost = growing_pauses(), False
        if poller is not None:
            if heard.items:
                poller.answered()
            poller.check()
        return heard

    async def _open_again(self) -> None:
        """Open the link after a loss, however often it fails; the pauses begin anew once something was heard."""
        self._lost = True
        while True:
            await self.link.close()
            await asyncio.sleep(next(self._pauses))
            try:
                await self.link.open()
            except LinkFailedError:
                continue
            return

    def _change(self, time_ns: int, state: LinkState, detail: str = "") -> LinkChange:
        """Return a change of the link, never earlier than what was heard before it."""
        self._last_ns = max(self._last_ns, time_ns)
        return LinkChange(self._last_ns, self.name, state, detail)
