"""Simulated gauges in real time: for trying the program without any gauge.

Here: the address `sim:` and its options. Not here: virtual time (`gauges.bench`).

Nothing here pretends: the address says `sim:`, and so does every recording made from it.
"""

from __future__ import annotations

import asyncio
import math

from gaugelog.errors import AddressError
from gaugelog.gauges.motions import Erring, ErringByButton, Hand, Motion, Round, Sand, SetDownMotion, Still
from gaugelog.gauges.simulated_gauge import SimulatedGauge
from gaugelog.links.clock import now_ns
from gaugelog.links.ends import Ends, open_ends
from gaugelog.links.inbox import Clock
from gaugelog.links.options import Options
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.gauges import Address
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk

DEFAULT_RATE_HZ = 10.0
_NAMES = (
    "value", "noise", "scatter", "rest", "to", "body", "visits", "wait", "zero", "scale", "seed", "rate", "port"
)  # fmt: skip
_VALUES = {Quantity.ANGLE: 2.80, Quantity.LENGTH: 12.50, Quantity.TEMPERATURE: 21.0, Quantity.HUMIDITY: 47.0}
_RESTS = {"still": "still", "hand": "hand", "sand": "sand"}
_PORTS: dict[str, bool | None] = {"": None, "pty": True, "pair": False}
_NOISE_DIGITS = 0.3
_SCATTER_DIGITS = 0.7
_SWING_DIGITS = 60.0


def motion_of(address: Address, datasheet: Datasheet) -> Motion:
    """Return the motion that a `sim:` address describes, with the gauge's own errors where it has any.

    Raises:
        AddressError: an option is missing or can't be understood.
    """
    options = Options(address, _NAMES)
    motion = _true_motion(address, options, datasheet)
    zero, scale = options.number("zero", 0.0), options.number("scale", 1.0)
    if not zero and scale == 1.0:
        return motion
    return ErringByButton(motion, zero, scale) if isinstance(motion, SetDownMotion) else Erring(motion, zero, scale)


def _true_motion(address: Address, options: Options, datasheet: Datasheet) -> Motion:
    """Return how the gauge is moved."""
    digit = datasheet.resolution
    value = options.number("value", _VALUES[datasheet.quantity])
    noise = options.number("noise", _NOISE_DIGITS * digit, 0.0)
    scatter = options.number("scatter", _SCATTER_DIGITS * digit, 0.0)
    seed = f"{options.whole('seed', 1, 0, 10**9)}/{datasheet.name}"
    body = options.number("body", 0.0) if options.has("body") else None
    if options.has("visits"):
        if body is not None or options.has("to") or options.has("rest"):
            wanted = "visits says where the gauge goes; rest, to and body have no place beside it"
            raise AddressError(address.text, wanted)
        wait_s = options.number("wait", 0.0, 0.0)
        return Round(_visits(address), wait_s, noise, scatter, _SWING_DIGITS * digit, seed)
    rest = options.choice("rest", _RESTS, "still" if body is None else "hand")
    if rest == "hand":
        return Hand(value, noise, scatter, _SWING_DIGITS * digit, body, seed)
    if body is not None:
        raise AddressError(address.text, "body goes with rest=hand: only a hand carries a gauge from body to neck")
    if rest == "still":
        return Still(value, noise, seed)
    if not options.has("to"):
        raise AddressError(address.text, "rest=sand needs to=, the value that is sanded to")
    return Sand(value, options.number("to", value), noise, _SWING_DIGITS * digit, seed)


def _visits(address: Address) -> tuple[float, ...]:
    """Return the values that the gauge is set down at, one after another."""
    wanted = "visits is numbers with commas between them, such as 0.4,-0.4"
    try:
        found = tuple(float(each) for each in address.options["visits"].split(","))
    except ValueError:
        raise AddressError(address.text, wanted) from None
    if not all(math.isfinite(each) for each in found):
        raise AddressError(address.text, wanted)
    return found


class SimulatedLink:
    """A simulated gauge at the far end of a real port: real bytes, encoded as the datasheet says.

    Args:
        address: `sim:?value=2.80&noise=0.02&rest=hand&seed=1&rate=10`; see docs/gauges.md.
        datasheet: what the gauge sends and when.
        motion: how it is moved, instead of what the address says.
        clock: gives monotonic nanoseconds.

    Raises:
        AddressError: an option can't be understood.
    """

    def __init__(
        self,
        address: Address,
        datasheet: Datasheet,
        motion: Motion | None = None,
        clock: Clock = now_ns,
    ) -> None:
        if address.target:
            raise AddressError(
                address.text, "sim: has nothing behind it but options, such as sim:?value=2.80&noise=0.02"
            )
        self.address = address
        self._datasheet, self._motion, self._clock = datasheet, motion, clock
        options = Options(address, _NAMES)
        self._pty = options.choice("port", _PORTS, "")
        self._rate_hz = options.number("rate", datasheet.rate_hz or DEFAULT_RATE_HZ, 0.01, 1000.0)
        motion_of(address, datasheet)
        self._ends: Ends | None = None
        self._playing: asyncio.Task[None] | None = None

    async def open(self) -> None:
        """Open both ends and let the gauge begin; it begins anew each time.

        Raises:
            LinkFailedError: the system gives no pty.
        """
        self._ends = await open_ends(self._clock, pty=self._pty)
        gauge = SimulatedGauge(self._datasheet, self._motion or motion_of(self.address, self._datasheet))
        play = self._send(gauge, self._ends) if self._datasheet.poll is None else self._answer(gauge, self._ends)
        self._playing = asyncio.create_task(play)

    async def receive(self) -> Chunk:
        """Return what the gauge sent, or a tick.

        Raises:
            LinkFailedError: the port went away.
        """
        if self._ends is None or self._playing is None:
            raise ValueError(f"{self.address} is not open")
        if self._playing.done():
            self._playing.result()
        return await self._ends.near.receive()

    async def send(self, data: bytes) -> None:
        """Send bytes to the gauge; one that is asked by them answers.

        Raises:
            LinkFailedError: the port went away.
        """
        if self._ends is None:
            raise ValueError(f"{self.address} is not open")
        await self._ends.near.send(data)

    async def close(self) -> None:
        """Switch the gauge off and close its port; closing twice is fine."""
        if self._playing is not None:
            self._playing.cancel()
            await asyncio.gather(self._playing, return_exceptions=True)
            self._playing = None
        if self._ends is not None:
            await self._ends.close()
            self._ends = None

    async def _send(self, gauge: SimulatedGauge, ends: Ends) -> None:
        """Send by the gauge's own rule, at even times whatever the machine does."""
        loop = asyncio.get_running_loop()
        started_s, count = loop.time(), 0
        while True:
            line = gauge.sends(count / self._rate_hz)
            if line:
                await ends.far.send(line)
            count += 1
            await asyncio.sleep(max(0.0, started_s + count / self._rate_hz - loop.time()))

    async def _answer(self, gauge: SimulatedGauge, ends: Ends) -> None:
        """Answer each time the poll bytes have come whole."""
        assert self._datasheet.poll is not None
        question = self._datasheet.poll.data
        loop = asyncio.get_running_loop()
        started_s, asked = loop.time(), b""
        while True:
            asked += (await ends.far.receive()).data
            while question in asked:
                asked = asked.partition(question)[2]
                await ends.far.send(gauge.answers(loop.time() - started_s))
            asked = asked[-len(question) :]
