"""What the bench tells its pages: the whole state when something changes, readings as they come, and that it lives.

Here: handing messages to every client that listens, in order. Not here: what a message says (`state`), HTTP (`app`).
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

WAITING = 256
"""How many messages may wait for a client; one that is slower is given the whole state anew."""


class Hub:
    """The clients that listen, each with a queue of its own."""

    def __init__(self) -> None:
        self._queues: set[asyncio.Queue[bytes]] = set()
        self._behind: set[asyncio.Queue[bytes]] = set()
        self._count = 0

    def __len__(self) -> int:
        """Return how many clients listen."""
        return len(self._queues)

    def tell(self, kind: str, data: Mapping[str, Any]) -> None:
        """Hand a message to every client; it is put into words once, whoever listens."""
        if not self._queues:
            return
        self._count += 1
        message = event_bytes(kind, data, self._count)
        for queue in self._queues:
            if queue.full():
                self._behind.add(queue)
            else:
                queue.put_nowait(message)

    def close(self) -> None:
        """Say to every client that nothing more will come: an empty message."""
        for queue in self._queues:
            if queue.full():
                queue.get_nowait()
            queue.put_nowait(b"")

    @contextmanager
    def listening(self) -> Iterator[asyncio.Queue[bytes]]:
        """Give a queue of messages from now on, until the client goes."""
        queue: asyncio.Queue[bytes] = asyncio.Queue(WAITING)
        self._queues.add(queue)
        try:
            yield queue
        finally:
            self._queues.discard(queue)
            self._behind.discard(queue)

    def fell_behind(self, queue: asyncio.Queue[bytes]) -> bool:
        """Return whether messages for a client were dropped since this was last asked; its queue is then emptied."""
        if queue not in self._behind:
            return False
        self._behind.discard(queue)
        while not queue.empty():
            queue.get_nowait()
        return True


def event_bytes(kind: str, data: Mapping[str, Any], number: int = 0) -> bytes:
    """Return a message as one server-sent event (WHATWG HTML, 9.2)."""
    body = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return f"id: {number}\nevent: {kind}\ndata: {body}\n\n".encode()
