"""Faults put on a link on purpose: for tests, and for seeing what gaugelog does about a bad cable.

Here: cutting, gluing, spoiling, delaying, losing chunks, and losing the link, all settled by a seed. Not here: anything
that a real gauge does. An address with faults says so, and so does every recording made from it.
"""

from __future__ import annotations

import asyncio
import random
from collections import deque
from dataclasses import dataclass
from typing import NamedTuple

from gaugelog.errors import AddressError, LinkFailedError, LinkReason
from gaugelog.links import TICK_S, Link, LinkEnded
from gaugelog.links.around import LinkAround
from gaugelog.links.clock import now_ns
from gaugelog.links.inbox import Clock
from gaugelog.model.readings import Chunk

_SHARES = ("cut", "glue", "garble", "lose")
_SECONDS = ("delay", "drop")
_NAMES = (*_SHARES, *_SECONDS, "seed")
_NS = 1_000_000_000
_MOST_HELD = 4096


@dataclass(frozen=True, slots=True)
class Faults:
    """Which faults, and how often.

    Shares of chunks, 0 to 1: `cut` in two pieces that come one after the other, `glue` held back and joined to the
    next (let go in a silence, and beyond 4096 bytes), `garble` with one bit changed, `lose` that never come. `delay`:
    up to that many seconds late, in order. `drop`: the link is lost after that many seconds on the average, 0 for
    never. The same `seed` gives the same faults.
    """

    cut: float = 0.0
    glue: float = 0.0
    garble: float = 0.0
    lose: float = 0.0
    delay: float = 0.0
    drop: float = 0.0
    seed: int = 1


def parse_faults(text: str, address_text: str) -> Faults:
    """Return the faults that `cut:0.3,glue:0.2,drop:20,seed:7` names.

    Raises:
        AddressError: a name that isn't one, twice the same, or a value out of its range.
    """
    values: dict[str, float] = {}
    for part in filter(None, (each.strip() for each in text.split(","))):
        name, _, written = part.partition(":")
        if name not in _NAMES or name in values:
            raise AddressError(address_text, f"faults are {', '.join(_NAMES)}, each once, such as cut:0.3,drop:20")
        try:
            value = float(written)
        except ValueError:
            value = -1.0
        most = 1.0 if name in _SHARES else 86_400.0 if name in _SECONDS else 1e9
        if not 0 <= value <= most or (name == "seed" and value != int(value)):
            raise AddressError(address_text, f"faults: {name} is a number from 0 to {most:g}")
        values[name] = value
    if not values:
        raise AddressError(address_text, f"faults= names some of {', '.join(_NAMES)}, such as cut:0.3,drop:20")
    seed = int(values.pop("seed", 1))
    return Faults(**values, seed=seed)


class _Coming(NamedTuple):
    """A chunk on its way: `due_ns` is the moment on the clock in which it comes out."""

    chunk: Chunk
    due_ns: int


class FaultLink(LinkAround):
    """A link with faults.

    What is cut, glued and delayed arrives whole and in order, only otherwise; what is garbled or lost doesn't. Each
    kind of fault has its own chance, drawn once a chunk: the faults depend on the chunks alone, not on how they are
    asked for. What is played faster than time is delayed in its stamps only.

    Args:
        inner: the link inside.
        faults: which, and how often.
        clock: gives monotonic nanoseconds; the link's own.
    """

    def __init__(self, inner: Link, faults: Faults, clock: Clock = now_ns) -> None:
        super().__init__(inner)
        self._faults = faults
        self._clock = clock
        self._chances = {name: random.Random(f"{faults.seed}/{name}") for name in _NAMES}
        self._coming: deque[_Coming] = deque()
        self._held = b""
        self._ending: LinkEnded | LinkFailedError | None = None
        self._lost_after_s = 0.0
        self._opened_s = 0.0
        self._given_ns = self._newest_ns = 0

    async def open(self) -> None:
        """Open the link inside.

        Raises:
            LinkFailedError: as it does.
        """
        await self.inner.open()
        self._coming.clear()
        self._held, self._ending = b"", None
        self._given_ns = self._clock()
        self._opened_s = asyncio.get_running_loop().time()
        drop_s = self._faults.drop
        self._lost_after_s = self._chances["drop"].expovariate(1 / drop_s) if drop_s else 0.0

    async def receive(self) -> Chunk:
        """Return the next bytes, as the faults let them come, or a tick; safe to cancel.

        Raises:
            LinkEnded: as the link inside does, after all that was held back.
            LinkFailedError: as the link inside does, or dropped on purpose.
        """
        while not self._coming:
            if self._ending is not None:
                raise self._ending
            await self._take_next()
        chunk, due_ns = self._coming[0]
        wait_s = (due_ns - self._clock()) / _NS
        tick_ns = self._given_ns + round(TICK_S * _NS)
        if wait_s > 0 and chunk.time_ns > tick_ns:
            await asyncio.sleep(max(0.0, wait_s - (chunk.time_ns - tick_ns) / _NS))
            self._given_ns = tick_ns
            return Chunk(tick_ns, b"")
        if wait_s > 0:
            await asyncio.sleep(wait_s)
        self._coming.popleft()
        self._given_ns = chunk.time_ns
        return chunk

    async def _take_next(self) -> None:
        """Take the next chunk of the link inside, or its ending, which comes after what is held back."""
        if self._lost_after_s and asyncio.get_running_loop().time() - self._opened_s > self._lost_after_s:
            self._ending = LinkFailedError(self.address.text, LinkReason.LOST, "dropped on purpose")
        else:
            try:
                self._take(await self.inner.receive())
            except (LinkEnded, LinkFailedError) as ending:
                self._ending = ending
        if self._ending is not None and self._held:
            self._let_come(self._newest_ns, b"")

    def _take(self, chunk: Chunk) -> None:
        """Turn one chunk of the link inside into what comes of it: nothing, itself, or two."""
        if not chunk.data:
            self._let_come(chunk.time_ns, b"")
            return
        lost, garbled, glued = (self._happens(name) for name in ("lose", "garble", "glue"))
        data = self._garbled(chunk.data) if garbled else chunk.data
        if lost:
            return
        if glued and len(self._held) + len(data) <= _MOST_HELD:
            self._held += data
        else:
            self._let_come(chunk.time_ns, data)

    def _let_come(self, time_ns: int, data: bytes) -> None:
        """Let bytes come behind those that were held back, perhaps in two pieces."""
        data, self._held = self._held + data, b""
        if len(data) > 1 and self._happens("cut"):
            place = self._chances["cut"].randrange(1, len(data))
            self._come_late(time_ns, data[:place])
            data = data[place:]
        self._come_late(time_ns, data)

    def _come_late(self, time_ns: int, data: bytes) -> None:
        late_s = self._chances["delay"].uniform(0.0, self._faults.delay) if data else 0.0
        self._newest_ns = max(self._newest_ns, time_ns + round(late_s * _NS))
        now_ns = self._clock()
        due_ns = now_ns if time_ns > now_ns else self._newest_ns
        self._coming.append(_Coming(Chunk(self._newest_ns, data), due_ns))

    def _happens(self, name: str) -> bool:
        share: float = getattr(self._faults, name)
        return self._chances[name].random() < share

    def _garbled(self, data: bytes) -> bytes:
        chance = self._chances["garble"]
        place = chance.randrange(len(data))
        return data[:place] + bytes([data[place] ^ (1 << chance.randrange(8))]) + data[place + 1 :]
