"""Bytes to frames and back: no I/O, no clock, no thread. One framing a file; none imports another.

A framing is a class made from a datasheet's `[framing]` options. It checks them once, gives a fresh decoder per
connection and encodes fields back into bytes. Every framing passes the one contract in `gaugelog.testing`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from gaugelog.model.readings import Chunk, Frame, Reject
from gaugelog.model.section import Section


class Decoder(Protocol):
    """One connection's state between bytes and frames."""

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        """Take a chunk (empty for a tick), return what became complete, in order. Never raises on bytes."""
        ...

    def finish(self, time_ns: int) -> list[Frame | Reject]:
        """Say that the connection has ended; what is left over comes back as a reject."""
        ...


class Framing(Protocol):
    """One kind of message, with its options.

    `fields` names all fields that a frame of it can have; `question` is what to send to be given one frame, empty where
    the framing alone can't know it (the datasheet's `[poll]` then says it, or the gauge needs no asking).
    """

    fields: frozenset[str]
    question: bytes

    def __init__(self, options: Section) -> None:
        """Take the options of a datasheet's `[framing]` table; every fault is noted in it, none is raised."""
        ...

    def decoder(self) -> Decoder:
        """Return a fresh decoder."""
        ...

    def encode(self, fields: Mapping[str, str | int | float | bytes]) -> bytes:
        """Return the bytes of one frame with these fields; `decoder` gives the fields back.

        A number may come as text. A field that is missing is written as nothing, or as zero.
        """
        ...
