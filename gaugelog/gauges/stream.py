"""One gauge as a stream of what was heard.

Here: opening, decoding, losing and reconnecting one gauge. Not here: several at once (`gauges.listen`), when silence is
one (`gauges.liveliness`), nor what the readings are used for (`recorder`).
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Iterator

from gaugelog.datasheets.meaning import Decoding
from gaugelog.errors import LinkFailedError, LinkReason
from gaugelog.gauges.liveliness import Liveliness
from gaugelog.gauges.polling import Poller
from gaugelog.links import GoesDeaf, HasTrouble, Link, LinkEnded, TellsDevice
from gaugelog.links.clock import now_ns
from gaugelog.links.inbox import Clock
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.device import Device
from gaugelog.model.gauges import GaugeName
from gaugelog.model.instrument import NamedGauge
from gaugelog.model.readings import Flag, Heard, LinkChange, LinkState, Reading

FIRST_PAUSE_S = 0.25
LONGEST_PAUSE_S = 5.0
DEAF_S = 10.0
"""After how long a silence of what should send all the time a link that goes deaf is opened anew."""

LOW_BATTERY_PERCENT = 10

A_LOT = 500
"""After how many readings or rejects in a row others are let have their turn: screen, keys, other gauges."""

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
        clock: Clock = now_ns,
    ) -> None:
        self.gauge = gauge.gauge if isinstance(gauge, NamedGauge) else gauge
        self.name = gauge.name
        self.datasheet = datasheet
        self.link = link
        self.reconnect = reconnect
        self._clock = clock
        self._last_ns = 0
        self._pauses, self._lost = growing_pauses(), False
        self._liveliness = Liveliness(datasheet)
        self._teller = link if isinstance(link, TellsDevice) else None
        self._troubled = link if isinstance(link, HasTrouble) else None
        self._told_trouble = ""
        self._revives = reconnect and isinstance(link, GoesDeaf) and link.goes_deaf

    async def events(self) -> AsyncIterator[GaugeEvent]:
        """Yield all that is heard, one `Heard` a chunk (ticks too), and each change of the link.

        Raises:
            LinkFailedError: it can't be opened at first; or it was lost and is not to be reconnected (after the change
                LOST or ASLEEP was given).
        """
        in_a_row = 0
        try:
            await self.link.open()
            while True:
                yield self._opened()
                decoding = Decoding(self.datasheet, self.name)
                poller = None if self.datasheet.poll is None else Poller(self.link, self.datasheet.poll)
                ending: LinkEnded | LinkFailedError
                try:
                    while True:
                        heard = await self._next(decoding, poller)
                        state = self._liveliness.hear(heard)
                        if state is not None:
                            yield self._change(heard.chunk.time_ns, state, self._silence_words(state))
                        yield heard
                        in_a_row += len(heard.items)
                        if in_a_row > A_LOT:
                            in_a_row = 0
                            await asyncio.sleep(0)
                        if self._troubled is not None and self._troubled.trouble != self._told_trouble:
                            self._told_trouble = self._troubled.trouble
                            if self._told_trouble:
                                yield self._change(heard.chunk.time_ns, LinkState.OPEN, self._told_trouble)
                        self._revive_if_deaf(heard.chunk.time_ns)
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
                state = self._liveliness.lost()
                yield self._change(self._clock(), state, ending.detail or ending.reason.value)
                if not self.reconnect:
                    raise ending
                async for change in self._open_again():
                    yield change
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
        return self._with_battery(heard) if self._teller is not None and heard.items else heard

    def _with_battery(self, heard: Heard) -> Heard:
        """Return what was heard, each reading marked where the device says that its battery is low."""
        device = self._device()
        if device is None or device.battery_percent is None or device.battery_percent > LOW_BATTERY_PERCENT:
            return heard
        items = (
            item._replace(flags=item.flags | Flag.LOW_BATTERY) if isinstance(item, Reading) else item
            for item in heard.items
        )
        return heard._replace(items=tuple(items))

    def _device(self) -> Device | None:
        return None if self._teller is None else self._teller.device

    def _silence_words(self, state: LinkState) -> str:
        if state is LinkState.OPEN:
            return "it sends again"
        silent_s = self._liveliness.silent_s(self._last_ns)
        if self._liveliness.babbles:
            return (
                f"bytes come, but for {silent_s:.0f} s nothing in them could be read as {self.datasheet.name}: is it"
                " the right datasheet, and the right speed"
            )
        return f"nothing of use for {silent_s:.0f} s" + (", as it does when left alone" * (state is LinkState.ASLEEP))

    def _revive_if_deaf(self, time_ns: int) -> None:
        """Give up a connection through which nothing comes that should, where that can mean that it is none.

        Raises:
            LinkFailedError: it is to be opened anew.
        """
        if not self._revives or self.datasheet.longest_silence_s is None:
            return
        limit_s = max(DEAF_S, 2 * self.datasheet.longest_silence_s)
        if self._liveliness.no_bytes_s(time_ns) > limit_s:
            words = f"nothing came for {limit_s:.0f} s"
            raise LinkFailedError(self.link.address.text, LinkReason.LOST, words)

    async def _open_again(self) -> AsyncIterator[LinkChange]:
        """Open the link after a loss, however often it fails; the pauses begin anew once something was heard.

        Yields a change whenever it can't be opened for another reason than before, such as Bluetooth being off; that a
        gauge which was just lost or fell asleep isn't found is no news.
        """
        self._lost = True
        told = LinkReason.NOT_FOUND
        while True:
            await self.link.close()
            await asyncio.sleep(next(self._pauses))
            try:
                await self.link.open()
            except LinkFailedError as failed:
                if failed.reason is not told:
                    told = failed.reason
                    words = f"{failed.detail}. {failed.hint}" if told is LinkReason.MOVED else told.value
                    yield self._change(self._clock(), LinkState.LOST, words)
                continue
            return

    def _opened(self) -> LinkChange:
        change = self._change(self._clock(), LinkState.OPEN, device=self._device())
        self._liveliness.opened(change.time_ns)
        return change

    def _change(self, time_ns: int, state: LinkState, detail: str = "", device: Device | None = None) -> LinkChange:
        """Return a change of the link, never earlier than what was heard before it."""
        self._last_ns = max(self._last_ns, time_ns)
        return LinkChange(self._last_ns, self.name, state, detail, device)
