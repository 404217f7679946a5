"""Bytes in and out of the machine: the only home of ports, radios and sockets.

A link is the smallest honest byte stream: open, receive, send, close. It stamps each chunk with monotonic time, and
gives an empty chunk as a tick whenever `TICK_S` passed in silence. It ends in one of three ways: closed by us
(`receive` is not called again), ended (`LinkEnded`: a replay or standard input came to its end), or lost
(`LinkFailedError` with its reason).
"""

from __future__ import annotations

from typing import Protocol

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
