"""Attending to several sources at once until the work is done.

Here: the one loop that every live command runs: gauges and keys in, handlers called, a clean end on Ctrl-C.
"""

from __future__ import annotations

import asyncio
import signal
from collections.abc import AsyncGenerator, AsyncIterator, Callable, Coroutine, Iterator
from contextlib import aclosing, contextmanager
from typing import Any, TypeVar, cast

from gaugelog.links.clock import now_ns

T = TypeVar("T")
_ENDING_SIGNALS = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]


async def ticks(period_s: float, clock: Callable[[], int] = now_ns) -> AsyncIterator[int]:
    """Yield the monotonic time in nanoseconds every `period_s` seconds, for work that no gauge keeps awake."""
    while True:
        await asyncio.sleep(period_s)
        yield clock()


async def _cancelled(tasks: set[asyncio.Task[Any]]) -> None:
    """Cancel tasks and wait until each has cleaned up."""
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)


class Attendance:
    """Runs sources side by side until `stop` is called, Ctrl-C is pressed, or they have ended."""

    def __init__(self) -> None:
        self._stirred = asyncio.Event()
        self._joined: list[Coroutine[Any, Any, None]] = []
        self.stopped = False
        self.interrupted = False

    def stop(self) -> None:
        """End the attendance after the handler that calls this: no handler is called any more."""
        self.stopped = True
        self._stirred.set()

    def join(self, source: Coroutine[Any, Any, None]) -> None:
        """Run one more source beside the others, from a handler."""
        self._joined.append(source)
        self._stirred.set()

    async def each(self, source: AsyncIterator[T], handle: Callable[[T], None]) -> None:
        """Call `handle` with what `source` yields, in order, until either ends; close the source after it."""
        async with aclosing(cast(AsyncGenerator[T, None], source)) as items:
            async for item in items:
                if self.stopped:
                    return
                handle(item)

    def _interrupt(self) -> None:
        self.interrupted = True
        self.stop()

    @contextmanager
    def _ends_on_interrupt(self) -> Iterator[None]:
        """Stop on Ctrl-C, a polite request to end or a closed terminal, where the system allows it; undo it after."""
        loop = asyncio.get_running_loop()
        caught = []
        for number in _ENDING_SIGNALS:
            try:
                loop.add_signal_handler(number, self._interrupt)
                caught.append(number)
            except (NotImplementedError, RuntimeError, ValueError):  # Windows, or not in the main thread
                continue
        try:
            yield
        finally:
            for number in caught:
                loop.remove_signal_handler(number)

    async def run(
        self, *sources: Coroutine[Any, Any, None], beside: tuple[Coroutine[Any, Any, None], ...] = ()
    ) -> None:
        """Run the sources; the first failure of one ends all and is raised.

        Args:
            sources: coroutines, usually of `each`; when all of them have ended, so has the attendance.
            beside: further sources whose own end changes nothing, such as keys from a pipe that ran dry.
        """
        with self._ends_on_interrupt():
            wanted = {asyncio.create_task(source) for source in sources}
            others: set[asyncio.Task[Any]] = {asyncio.create_task(source) for source in beside}
            try:
                while wanted and not self.stopped:
                    stirred = asyncio.create_task(self._stirred.wait())
                    others.add(stirred)
                    finished, _ = await asyncio.wait(wanted | others, return_when=asyncio.FIRST_COMPLETED)
                    stirred.cancel()
                    for task in finished:
                        task.result()
                    wanted -= finished
                    others -= finished | {stirred}
                    others |= self._welcome()
            finally:
                await _cancelled(wanted | others | self._welcome())

    def _welcome(self) -> set[asyncio.Task[Any]]:
        """Start the sources that joined meanwhile."""
        self._stirred.clear()
        joined = {asyncio.create_task(source) for source in self._joined}
        self._joined.clear()
        return joined
