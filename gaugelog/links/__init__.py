"""Bytes in and out of the machine: the only home of ports, radios and sockets.

A link is the smallest honest byte stream: open, receive, send, close. It stamps each chunk with monotonic time, and
gives an empty chunk as a tick whenever `TICK_S` passed in silence. It ends in one of three ways: closed by us
(`receive` is not called again), ended (`LinkEnded`: a replay or standard input came to its end), or lost
(`LinkFailedError` with its reason).

What only some links can do they offer beside that: `TellsDevice`, `GoesDeaf`, `HasTrouble`, `Suits`, `Finds`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol, runtime_checkable

from gaugelog.model.datasheet import Datasheet
from gaugelog.model.device import Device, Sighting
from gaugelog.model.gauges import Address
from gaugelog.model.readings import Chunk

TICK_S = 0.25


class LinkEnded(Exception):  # noqa: N818 - an ending, not an error
    """The source came to its natural end."""


class Link(Protocol):
    """A byte stream to one gauge. After `close` it can be opened again: that is how a gauge is reconnected."""

    address: Address

    def __init__(self, address: Address) -> None:
        """Take the address; nothing is opened yet.

        Raises:
            AddressError: the target or an option can't be understood.
        """
        ...

    async def open(self) -> None:
        """Open it.

        Raises:
            LinkFailedError: with the reason.
        """
        ...

    async def receive(self) -> Chunk:
        """Return the next bytes, or an empty chunk after `TICK_S` of silence.

        Raises:
            LinkEnded: the source came to its end.
            LinkFailedError: the link was lost.
        """
        ...

    async def send(self, data: bytes) -> None:
        """Send bytes to the gauge.

        Raises:
            LinkFailedError: the link was lost.
        """
        ...

    async def close(self) -> None:
        """Close it; closing twice is fine."""
        ...


@runtime_checkable
class TellsDevice(Protocol):
    """A link to a device that describes itself; `device` is known from `open` on and its battery is kept up to date."""

    device: Device | None


@runtime_checkable
class GoesDeaf(Protocol):
    """A link that may be lost without a word, as radio and network are.

    Where `goes_deaf` is true, a gauge that should send all the time and doesn't is opened anew.
    """

    goes_deaf: bool


@runtime_checkable
class HasTrouble(Protocol):
    """A link of which something fails that doesn't end it; `trouble` says what, empty while all is well."""

    trouble: str


@runtime_checkable
class Suits(Protocol):
    """A link whose address can leave open what the datasheet knows."""

    @classmethod
    def suit(cls, address: Address, datasheet: Datasheet) -> Address:
        """Return the address with what the datasheet adds; what the address says itself stays."""
        ...


@runtime_checkable
class Finds(Protocol):
    """A kind of link that can look around for what it could be opened to."""

    @classmethod
    async def find(cls, wait_s: float, seen: Callable[[Sighting], None]) -> None:
        """Look around for at most `wait_s` seconds, calling `seen` once for each thing found, and again when more
        became known of it (such as its name).

        Raises:
            LinkFailedError: nothing can be found this way: no adapter, switched off, not permitted.
        """
        ...

    @classmethod
    async def ways(cls, sighting: Sighting) -> Sequence[Address]:
        """Return the addresses at which readings might come from what was seen, likeliest first.

        Raises:
            LinkFailedError: it can't be looked at more closely.
        """
        ...
