"""Bytes of a file descriptor, through the event loop (POSIX).

Here: reading and writing a port, a pty or a pipe without a thread. Not here: opening or closing one.
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable

from gaugelog.links.inbox import Inbox
from gaugelog.links.rounds import unwatch, watch

_PIECE = 65536
_SEND_S = 2.0


class DescriptorReader:
    """Puts whatever a descriptor gives into an inbox, from the moment it is made.

    Args:
        descriptor: readable; a tty or pipe (the event loop can't watch a plain file).
        inbox: where the bytes go.
        ending: makes, from a few words, the exception with which the inbox ends.
        deliver: how bytes are put into the inbox; as one chunk unless given.
        in_rounds: share rounds with other busy descriptors (`links.rounds`), to cost less.
    """

    def __init__(
        self,
        descriptor: int,
        inbox: Inbox,
        ending: Callable[[str], Exception],
        deliver: Callable[[bytes], None] | None = None,
        *,
        in_rounds: bool = False,
    ) -> None:
        self._descriptor, self._inbox, self._ending = descriptor, inbox, ending
        self._deliver = deliver or inbox.put
        self._loop = asyncio.get_running_loop()
        self._in_rounds = in_rounds
        self._stopped = self._watched = False
        inbox.filled_by(self)
        self.resume()

    def pause(self) -> None:
        """Leave what comes in the system's buffer."""
        if self._watched:
            self._watched = False
            if self._in_rounds:
                unwatch(self._descriptor)
            else:
                self._loop.remove_reader(self._descriptor)

    def resume(self) -> None:
        """Go on after a pause."""
        if self._stopped or self._watched:
            return
        self._watched = True
        if self._in_rounds:
            watch(self._descriptor, self._readable)
        else:
            self._loop.add_reader(self._descriptor, self._readable)

    def stop(self) -> None:
        """Watch the descriptor no longer; stopping twice is fine."""
        self._stopped = True
        self.pause()

    def _readable(self) -> None:
        try:
            data = os.read(self._descriptor, _PIECE)
        except (BlockingIOError, InterruptedError):
            return
        except OSError as reason:
            self._end(reason.strerror or str(reason))
            return
        if data:
            self._deliver(data)
        else:
            self._end("nothing more comes from it")

    def _end(self, words: str) -> None:
        self.stop()
        self._inbox.end(self._ending(words))


async def send_all(descriptor: int, data: bytes) -> None:
    """Write all of `data` to a non-blocking descriptor.

    Raises:
        OSError: the other end is gone, or took nothing for two seconds.
    """
    left = memoryview(data)
    deadline_s = asyncio.get_running_loop().time() + _SEND_S
    while left:
        try:
            left = left[os.write(descriptor, left) :]
        except (BlockingIOError, InterruptedError):
            if asyncio.get_running_loop().time() > deadline_s:
                raise TimeoutError("nothing was taken for two seconds") from None
            await asyncio.sleep(0.002)
