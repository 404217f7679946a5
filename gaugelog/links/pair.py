"""Two ends wired together inside the program.

Here: a pair of links without a system below, for simulated gauges where there is no pty. Not here: the pty pair.
"""

from __future__ import annotations

from gaugelog.errors import LinkFailedError, LinkReason
from gaugelog.links.clock import now_ns
from gaugelog.links.inbox import Clock, Inbox
from gaugelog.model.gauges import Address
from gaugelog.model.readings import Chunk


class MemoryEnd:
    """One end of a pair: what one sends the other receives, whole.

    Args:
        address: what to call it in messages.
        clock: gives monotonic nanoseconds.
        is_gauge: closing this end unplugs the other, for good.
    """

    def __init__(self, address: Address, clock: Clock = now_ns, *, is_gauge: bool = False) -> None:
        self.address = address
        self._clock = clock
        self._is_gauge = is_gauge
        self._inbox: Inbox | None = None
        self._other: MemoryEnd | None = None
        self._unplugged = False

    def wire(self, other: MemoryEnd) -> None:
        """Tie the two ends together."""
        self._other, other._other = other, self

    async def open(self) -> None:
        """Open this end.

        Raises:
            LinkFailedError: the other end was closed.
        """
        if self._unplugged:
            raise LinkFailedError(self.address.text, LinkReason.NOT_FOUND)
        self._inbox = Inbox(self._clock)

    async def receive(self) -> Chunk:
        """Return what the other end sent, or a tick.

        Raises:
            LinkFailedError: the other end was closed.
        """
        if self._inbox is None:
            raise ValueError(f"{self.address} is not open")
        return await self._inbox.get()

    async def send(self, data: bytes) -> None:
        """Send bytes to the other end; they are gone if nobody has opened it.

        Raises:
            LinkFailedError: the other end was closed.
        """
        if self._unplugged:
            raise self._lost()
        if self._other is not None and self._other._inbox is not None:
            self._other._inbox.put(data)

    async def close(self) -> None:
        """Close this end, which unplugs the other where this is the gauge's; closing twice is fine."""
        inbox, self._inbox = self._inbox, None
        if inbox is not None:
            inbox.close()
            if self._is_gauge and self._other is not None:
                self._other._unplug()

    def _unplug(self) -> None:
        self._unplugged = True
        if self._inbox is not None:
            self._inbox.end(self._lost())

    def _lost(self) -> LinkFailedError:
        return LinkFailedError(self.address.text, LinkReason.LOST, "the other end was closed")


def memory_pair(clock: Clock = now_ns) -> tuple[MemoryEnd, MemoryEnd]:
    """Return the listener's end and the gauge's, wired together, neither opened yet."""
    near = MemoryEnd(Address("pair", "near", text="pair:near"), clock)
    far = MemoryEnd(Address("pair", "far", text="pair:far"), clock, is_gauge=True)
    near.wire(far)
    return near, far
