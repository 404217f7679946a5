"""How long, and for how many at once, the bench waits to be asked something.

Here: connections that ask nothing are closed. Not here: what is answered (`app`), who may ask (`guard`).

Whoever opens connections and never finishes asking would use up what the system lets a program have open, and keep out
pages, gauges that come back and the recording's readers.
"""

from __future__ import annotations

import asyncio
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

ASKS_WITHIN_S = 10.0
"""A connection that has not asked anything whole for so long is closed."""

MOST_CONNECTIONS = 96
"""With more than these the one that has waited longest without asking is closed."""

ACCEPTED_AT_ONCE = 16
"""How many are let in before there is a look at how many there are."""

QUEUE = 128
"""How many the system keeps waiting to be let in."""


class PatientHttp(H11Protocol):
    """One connection of a browser: uvicorn's own, given up where it asks nothing."""

    def __init__(self, *arguments: Any, **named: Any) -> None:
        super().__init__(*arguments, **named)
        self._given_up_in: asyncio.TimerHandle | None = None
        self._waits_since_s = self.loop.time()

    @property
    def asks_nothing(self) -> bool:
        """Whether no question has come whole that isn't answered yet."""
        return self.cycle is None or self.cycle.response_complete

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait; make room where there are too many already."""
        super().connection_made(transport)
        self._wait()
        there = [each for each in self.connections if not each.transport.is_closing()]
        if len(there) > MOST_CONNECTIONS:
            waiting = [each for each in there if isinstance(each, PatientHttp) and each.asks_nothing]
            min(waiting, key=lambda each: each._waits_since_s).transport.abort()

    def data_received(self, data: bytes) -> None:
        """Take bytes; they are no reason to wait longer unless they make a question."""
        super().data_received(data)
        self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no more."""
        self._wait_no_more()
        super().connection_lost(exc)

    def _wait(self) -> None:
        if not self.asks_nothing:
            self._wait_no_more()
        elif self._given_up_in is None:
            self._waits_since_s = self.loop.time()
            self._given_up_in = self.loop.call_later(ASKS_WITHIN_S, self._give_up)

    def _wait_no_more(self) -> None:
        if self._given_up_in is not None:
            self._given_up_in.cancel()
            self._given_up_in = None

    def _give_up(self) -> None:
        self._given_up_in = None
        if self.asks_nothing and self.transport is not None:
            self.transport.close()
