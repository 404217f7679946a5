"""Attending to several sources at once until the work is done.

Here: the one loop that every live command runs: gauges and keys in, handlers called, a clean end on Ctrl-C.
"""

from __future__ import annotations

import asyncio
import signal
import time
from collections.abc import AsyncGenerator, AsyncIterator, Callable, Coroutine, Iterator
from contextlib import aclosing, contextmanager
from typing import Any, TypeVar, cast

T = TypeVar("T")


async def each(source: AsyncIterator[T], handle: Callable[[T], None]) -> None:
    """Call `handle` with everything that `source` yields, in order; close the source whatever happens."""
    async with aclosing(cast(AsyncGenerator[T, None], source)) as items:
        async for item in items:
            handle(item)


async def ticks(period_s: float, clock: Callable[[], int] = time.monotonic_ns) -> AsyncIterator[int]:
    """Yield the monotonic time in nanoseconds every `period_s` seconds, for work that no gauge keeps awake."""
    while True:
        await asyncio.sleep(period_s)
        yield clock()


class Attendance:
    """Runs sources side by side until `stop` is called, Ctrl-C is pressed, or they have ended."""

    def __init__(self) -> None:
        self._done = asyncio.Event()
        self.interrupted = False

    def stop(self) -> None:
        """End the attendance after the handler that calls this."""
        self._done.set()

    def _interrupt(self) -> None:
        self.interrupted = True
        self.stop()

    @contextmanager
    def _ends_on_interrupt(self) -> Iterator[None]:
        """Stop on Ctrl-C or a polite request to end, where the system allows it; put the old handling back."""
        loop = asyncio.get_running_loop()
        caught = []
        for number in (signal.SIGINT, signal.SIGTERM):
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
            sources: coroutines, usually `each(iterator, handler)`; when all of them have ended, so has the attendance.
            beside: further sources whose own end changes nothing, such as keys from a pipe that ran dry.
        """
        with self._ends_on_interrupt():
            wanted = {asyncio.create_task(source) for source in sources}
            others = {asyncio.create_task(source) for source in beside}
            stop = asyncio.create_task(self._done.wait())
            everyone = wanted | others | {stop}
            try:
                while wanted and not self._done.is_set():
                    finished, _ = await asyncio.wait(wanted | others | {stop}, return_when=asyncio.FIRST_COMPLETED)
                    for task in finished - {stop}:
                        task.result()
                    wanted -= finished
                    others -= finished
            finally:
                for task in everyone:
                    task.cancel()
                await asyncio.gather(*everyone, return_exceptions=True)
