"""What has arrived and not yet been taken, with ticks for silence.

Here: the waiting room that every link of our own stands on. Not here: where the bytes come from.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable
from typing import Protocol

from gaugelog.links import TICK_S
from gaugelog.model.readings import Chunk

Clock = Callable[[], int]
FULL = 1024
"""How many chunks may wait before the source is asked to hold back."""


class Source(Protocol):
    """What fills an inbox and can hold back."""

    def pause(self) -> None:
        """Read no more for now."""

    def resume(self) -> None:
        """Go on after a pause."""


class Inbox:
    """Chunks in order of arrival; an empty chunk after `TICK_S` of silence; then, once, forever, the ending.

    One timer runs for all ticks and is moved on only when it fires, so that a chunk costs next to nothing. To be made
    inside a running event loop.

    Args:
        clock: gives monotonic nanoseconds.
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._source: Source | None = None
        self._loop = asyncio.get_running_loop()
        self._chunks: deque[Chunk] = deque()
        self._ending: Exception | None = None
        self._waiter: asyncio.Future[None] | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._quiet_since_s = self._loop.time()
        self._held = False

    def filled_by(self, source: Source) -> None:
        """Let a source be paused when `FULL` chunks wait, and resumed when half of them were taken."""
        self._source = source

    def put(self, data: bytes, time_ns: int | None = None) -> None:
        """Take bytes that have just come, stamped with `time_ns` or with now."""
        self._quiet_since_s = self._loop.time()
        self._arrived(Chunk(self._clock() if time_ns is None else time_ns, data))
        if self._source is not None and not self._held and len(self._chunks) >= FULL:
            self._held = True
            self._source.pause()

    def end(self, ending: Exception) -> None:
        """Say that nothing will come any more; what waits is still given out before `ending` is raised."""
        if self._ending is None:
            self._ending = ending
            self._wake()

    async def get(self) -> Chunk:
        """Return the next chunk, or a tick; raise the ending when all chunks are taken. Safe to cancel."""
        while not self._chunks:
            if self._ending is not None:
                raise self._ending
            await self._wait()
        chunk = self._chunks.popleft()
        if self._source is not None and self._held and len(self._chunks) <= FULL // 2:
            self._held = False
            self._source.resume()
        return chunk

    def close(self) -> None:
        """Stop the timer; closing twice is fine."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    async def _wait(self) -> None:
        if self._timer is None:
            self._timer = self._loop.call_at(self._quiet_since_s + TICK_S, self._tick)
        self._waiter = self._loop.create_future()
        try:
            await self._waiter
        finally:
            self._waiter = None

    def _arrived(self, chunk: Chunk) -> None:
        self._chunks.append(chunk)
        self._wake()

    def _wake(self) -> None:
        if self._waiter is not None and not self._waiter.done():
            self._waiter.set_result(None)

    def _tick(self) -> None:
        self._timer = None
        if self._waiter is None:
            return
        now_s = self._loop.time()
        if now_s - self._quiet_since_s >= TICK_S:
            self._quiet_since_s = now_s
            self._arrived(Chunk(self._clock(), b""))
        self._timer = self._loop.call_at(self._quiet_since_s + TICK_S, self._tick)
