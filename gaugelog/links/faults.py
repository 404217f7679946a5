"""Faults put on a link on purpose: for tests, and for seeing what gaugelog does about a bad cable.

Here: cutting, gluing, spoiling, delaying, losing chunks, and losing the link, all settled by a seed. Not here: anything
that a real gauge does. An address with faults says so, and so does every recording made from it.
"""

from __future__ import annotations

import asyncio
import random
from collections import deque
from dataclasses import dataclass

from gaugelog.errors import AddressError, LinkFailedError, LinkReason
from gaugelog.links import Link, LinkEnded
from gaugelog.links.around import LinkAround
from gaugelog.model.readings import Chunk

_SHARES = ("cut", "glue", "garble", "lose")
_SECONDS = ("delay", "drop")
_NAMES = (*_SHARES, *_SECONDS, "seed")


@dataclass(frozen=True, slots=True)
class Faults:
    """Which faults, and how often.

    Shares of chunks, 0 to 1: `cut` in two pieces that come one after the other, `glue` held back and joined to the
    next, `garble` with one bit changed, `lose` that never come. `delay`: up to that many seconds late, in order.
    `drop`: the link is lost after that many seconds on the average, 0 for never. The same `seed` gives the same faults.
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


class FaultLink(LinkAround):
    """A link with faults.

    What is cut, glued and delayed arrives whole and in order, only otherwise; what is garbled or lost doesn't.

    Args:
        inner: the link inside.
        faults: which, and how often.
    """

    def __init__(self, inner: Link, faults: Faults) -> None:
        super().__init__(inner)
        self._faults = faults
        self._chance = random.Random(f"faults/{faults.seed}")
        self._ready: deque[Chunk] = deque()
        self._held = b""
        self._ending: LinkEnded | LinkFailedError | None = None
        self._lost_after_s = 0.0
        self._opened_s = 0.0
        self._last_ns = 0

    async def open(self) -> None:
        """Open the link inside.

        Raises:
            LinkFailedError: as it does.
        """
        await self.inner.open()
        self._ready.clear()
        self._held, self._ending = b"", None
        self._opened_s = asyncio.get_running_loop().time()
        self._lost_after_s = self._chance.expovariate(1 / self._faults.drop) if self._faults.drop else 0.0

    async def receive(self) -> Chunk:
        """Return the next bytes, as the faults let them come, or a tick.

        Raises:
            LinkEnded: as the link inside does, after all that was held back.
            LinkFailedError: as the link inside does, or dropped on purpose.
        """
        while not self._ready:
            if self._ending is not None:
                raise self._ending
            await self._take_next()
        late_s = self._chance.uniform(0.0, self._faults.delay) if self._ready[0].data else 0.0
        if late_s:
            await asyncio.sleep(late_s)
        chunk = self._ready.popleft()
        self._last_ns = max(self._last_ns, chunk.time_ns + round(late_s * 1e9))
        return Chunk(self._last_ns, chunk.data)

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
            self._take(Chunk(self._last_ns, b""))

    def _take(self, chunk: Chunk) -> None:
        """Turn one chunk of the link inside into what comes of it: nothing, itself, or two."""
        if not chunk.data:
            self._ready.append(Chunk(chunk.time_ns, self._held))
            self._held = b""
            return
        chance, faults = self._chance, self._faults
        lost, glued, garbled, cut = (chance.random() for _ in range(4))
        place = chance.randrange(max(len(chunk.data), 1))
        if lost < faults.lose:
            return
        data = chunk.data
        if garbled < faults.garble:
            data = data[:place] + bytes([data[place] ^ (1 << chance.randrange(8))]) + data[place + 1 :]
        data, self._held = self._held + data, b""
        if glued < faults.glue:
            self._held = data
        elif cut < faults.cut and place:
            self._ready += [Chunk(chunk.time_ns, data[:place]), Chunk(chunk.time_ns, data[place:])]
        else:
            self._ready.append(Chunk(chunk.time_ns, data))
