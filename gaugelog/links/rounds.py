"""Many descriptors read in rounds, so that eight busy gauges don't wake the machine four hundred times a second.

Here: when to look at which descriptor. Not here: reading it (`links.descriptor`).
"""

from __future__ import annotations

import asyncio
import select
from collections.abc import Callable
from weakref import WeakKeyDictionary

ROUND_S = 0.04
"""How long descriptors rest after a round: the most by which a chunk's time can be late."""

CROWD = 4
"""With fewer descriptors than this there is no rest: each is read the moment something comes."""

Readable = Callable[[], None]


class Rounds:
    """All descriptors of one event loop, behind a single descriptor of the system's own (Linux)."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self._loop = loop
        self._members: dict[int, Readable] = {}
        self._poll = select.epoll()
        self._timer: asyncio.TimerHandle | None = None
        loop.add_reader(self._poll.fileno(), self._round)

    def add(self, descriptor: int, readable: Readable) -> None:
        """Call `readable` whenever the descriptor has something."""
        self._members[descriptor] = readable
        self._poll.register(descriptor, select.EPOLLIN)

    def remove(self, descriptor: int) -> bool:
        """Look at a descriptor no longer; return whether any is left. The last one takes all this down."""
        if self._members.pop(descriptor, None) is not None:
            self._poll.unregister(descriptor)
        if not self._members and not self._poll.closed:
            if self._timer is not None:
                self._timer.cancel()
            else:
                self._loop.remove_reader(self._poll.fileno())
            self._poll.close()
        return bool(self._members)

    def _round(self) -> None:
        """Read all that have something; with a crowd, rest before the next look."""
        if self._read_ready() and self._timer is None and len(self._members) >= CROWD:
            self._loop.remove_reader(self._poll.fileno())
            self._timer = self._loop.call_later(ROUND_S, self._after_rest)

    def _after_rest(self) -> None:
        if self._read_ready() and len(self._members) >= CROWD:
            self._timer = self._loop.call_later(ROUND_S, self._after_rest)
        elif not self._poll.closed:
            self._timer = None
            self._loop.add_reader(self._poll.fileno(), self._round)

    def _read_ready(self) -> bool:
        """Call back all that have something; return whether any had and the rounds go on."""
        ready = self._poll.poll(0)
        for descriptor, _ in ready:
            if descriptor in self._members:
                self._members[descriptor]()
        return bool(ready) and not self._poll.closed


_rounds: WeakKeyDictionary[asyncio.AbstractEventLoop, Rounds] = WeakKeyDictionary()


def watch(descriptor: int, readable: Readable) -> None:
    """Call `readable` in the running loop's rounds; where the system has none of these, at once."""
    loop = asyncio.get_running_loop()
    if not hasattr(select, "epoll"):
        loop.add_reader(descriptor, readable)
        return
    if loop not in _rounds:
        _rounds[loop] = Rounds(loop)
    _rounds[loop].add(descriptor, readable)


def unwatch(descriptor: int) -> None:
    """Undo `watch`; undoing it twice is fine."""
    loop = asyncio.get_running_loop()
    if not hasattr(select, "epoll"):
        loop.remove_reader(descriptor)
    elif loop in _rounds and not _rounds[loop].remove(descriptor):
        del _rounds[loop]
