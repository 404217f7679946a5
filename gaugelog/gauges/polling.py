"""Asking a gauge that answers only when asked.

Here: when to ask. Not here: understanding the answer.
"""

from __future__ import annotations

import asyncio

from gaugelog.links import Link
from gaugelog.model.datasheet import Poll

ANSWER_S = 1.0
"""How long an answer may take before the gauge is asked again."""


class Poller:
    """Sends the poll bytes each period; never a second time before an answer came or `ANSWER_S` passed.

    Made inside a running event loop; it begins at once.

    Args:
        link: open.
        poll: what to send, and how often.
    """

    def __init__(self, link: Link, poll: Poll) -> None:
        self._link, self._poll = link, poll
        self._answer = asyncio.Event()
        self._task = asyncio.create_task(self._ask())

    def answered(self) -> None:
        """Say that the gauge answered, with a reading or with something damaged."""
        self._answer.set()

    def check(self) -> None:
        """Raise what ended the asking, if anything did."""
        if self._task.done() and not self._task.cancelled():
            self._task.result()

    async def stop(self) -> None:
        """Ask no more; stopping twice is fine."""
        self._task.cancel()
        await asyncio.gather(self._task, return_exceptions=True)

    async def _ask(self) -> None:
        loop = asyncio.get_running_loop()
        while True:
            asked_s = loop.time()
            self._answer.clear()
            await self._link.send(self._poll.data)
            try:
                async with asyncio.timeout(ANSWER_S):
                    await self._answer.wait()
            except TimeoutError:
                continue
            await asyncio.sleep(max(0.0, asked_s + self._poll.period_s - loop.time()))
