"""Bytes of a blocking source, through a thread.

Here: sources that the event loop can't watch: ports on Windows, pyserial's URLs, a plain file as standard input.
Not here: what the event loop can watch (`links.descriptor`).
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable

from gaugelog.links.inbox import Clock, Inbox


class ReadingThread:
    """Puts whatever a blocking `read` gives into an inbox, from the moment it is made.

    Args:
        read: returns bytes, empty when nothing came for a while; raises when the source is gone. It should return at
            least every quarter of a second, else stopping leaves the thread behind until the program ends.
        inbox: where the bytes go.
        ending: makes the inbox's ending of the exception that `read` raised.
        clock: stamps the bytes, in the thread, as soon as they are there.
        deliver: how bytes are put into the inbox; as one chunk unless given.
    """

    def __init__(
        self,
        read: Callable[[], bytes],
        inbox: Inbox,
        ending: Callable[[Exception], Exception],
        clock: Clock,
        deliver: Callable[[bytes, int], None] | None = None,
    ) -> None:
        self._read, self._inbox, self._ending, self._clock = read, inbox, ending, clock
        self._deliver = deliver or inbox.put
        self._loop = asyncio.get_running_loop()
        self._stopping = threading.Event()
        self._may_read = threading.Event()
        self._may_read.set()
        inbox.filled_by(self)
        self._thread = threading.Thread(target=self._run, name="gaugelog-link", daemon=True)
        self._thread.start()

    def pause(self) -> None:
        """Read no more for now; once stopping, the thread is let run to its end."""
        if not self._stopping.is_set():
            self._may_read.clear()

    def resume(self) -> None:
        """Go on after a pause."""
        self._may_read.set()

    async def stop(self, within_s: float = 1.0) -> None:
        """End the thread, waiting at most `within_s` for a read under way; stopping twice is fine."""
        self._stopping.set()
        self._may_read.set()
        await asyncio.to_thread(self._thread.join, within_s)

    def _run(self) -> None:
        while self._may_read.wait() and not self._stopping.is_set():
            try:
                data = self._read()
            except Exception as reason:  # whatever it was, it ends the link and is told there
                self._hand_over(self._end, reason)
                return
            if data:
                self._hand_over(self._deliver, data, self._clock())

    def _end(self, reason: Exception) -> None:
        self._inbox.end(self._ending(reason))

    def _hand_over(self, call: Callable[..., None], *arguments: object) -> None:
        if self._stopping.is_set():
            return
        try:
            self._loop.call_soon_threadsafe(call, *arguments)
        except RuntimeError:
            self._stopping.set()  # the event loop has closed: nobody listens any more
