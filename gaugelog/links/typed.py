"""Readings typed on standard input.

Here: lines of a terminal, a pipe or a file as chunks, one a line. Not here: what a line means, nor asking for one.
"""

from __future__ import annotations

import os
import stat
import sys

from gaugelog.errors import AddressError, LinkFailedError, LinkReason
from gaugelog.links import LinkEnded
from gaugelog.links.clock import now_ns
from gaugelog.links.descriptor import DescriptorReader
from gaugelog.links.inbox import Clock, Inbox
from gaugelog.links.options import Options
from gaugelog.links.reading_thread import ReadingThread
from gaugelog.model.gauges import Address
from gaugelog.model.readings import Chunk

_PIECE = 65536


def _watchable(descriptor: int) -> bool:
    """Return whether an event loop can watch it: a terminal, pipe or socket on POSIX, never a plain file."""
    if os.name != "posix":
        return False
    mode = os.fstat(descriptor).st_mode
    return stat.S_ISFIFO(mode) or stat.S_ISSOCK(mode) or os.isatty(descriptor)


class TypedLink:
    """Lines of standard input, one chunk a line; the end of input is the end of the link.

    It reads the descriptor itself, never `sys.stdin`, so that nothing is locked when the program ends while somebody
    still could type. A last line without an end is given one, as if Enter had been pressed.

    Args:
        address: `typed:`, without options.
        clock: gives monotonic nanoseconds.
        descriptor: what to read instead of standard input.

    Raises:
        AddressError: the address says more than `typed:`.
    """

    def __init__(self, address: Address, clock: Clock = now_ns, descriptor: int | None = None) -> None:
        if address.target:
            raise AddressError(address.text, "typed: has nothing behind it")
        Options(address, ())
        self.address = address
        self._clock = clock
        self._descriptor = descriptor
        self._inbox: Inbox | None = None
        self._reader: DescriptorReader | ReadingThread | None = None
        self._rest = b""

    async def open(self) -> None:
        """Begin to read lines.

        Raises:
            LinkFailedError: there is no standard input.
        """
        try:
            descriptor = sys.stdin.fileno() if self._descriptor is None else self._descriptor
            watchable = _watchable(descriptor)
        except (AttributeError, OSError, ValueError) as reason:
            raise LinkFailedError(self.address.text, LinkReason.NOT_FOUND, "no standard input") from reason
        self._rest = b""
        inbox = self._inbox = Inbox(self._clock)
        if watchable:
            self._reader = DescriptorReader(descriptor, inbox, lambda _words: self._ended(), self._deliver)
        else:
            self._reader = ReadingThread(
                lambda: _read_or_end(descriptor), inbox, lambda _reason: self._ended(), self._clock, self._deliver
            )

    async def receive(self) -> Chunk:
        """Return the next line, or a tick.

        Raises:
            LinkEnded: the input came to its end.
        """
        if self._inbox is None:
            raise ValueError(f"{self.address} is not open")
        return await self._inbox.get()

    async def send(self, data: bytes) -> None:
        """Send nothing: nobody can be asked this way."""

    async def close(self) -> None:
        """Read no more; standard input itself stays open. Closing twice is fine."""
        reader, self._reader = self._reader, None
        if isinstance(reader, ReadingThread):
            await reader.stop(0.0)
        elif reader is not None:
            reader.stop()
        if self._inbox is not None:
            self._inbox.close()

    def _deliver(self, data: bytes, time_ns: int | None = None) -> None:
        assert self._inbox is not None
        *lines, self._rest = (self._rest + data).split(b"\n")
        for line in lines:
            self._inbox.put(line + b"\n", time_ns)

    def _ended(self) -> LinkEnded:
        if self._rest:
            self._deliver(b"\n")
        return LinkEnded("end of input")


def _read_or_end(descriptor: int) -> bytes:
    """Return the next bytes; raise `EOFError` at the end, as a thread's source does."""
    data = os.read(descriptor, _PIECE)
    if not data:
        raise EOFError
    return data
