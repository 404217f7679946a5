"""A gauge that is a file: bytes played back in their own time, faster, or at once.

Here: playing. Not here: the format of a raw log (`links.rawlog`).
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from gaugelog.errors import AddressError, LinkFailedError, LinkReason
from gaugelog.links import TICK_S, LinkEnded
from gaugelog.links.clock import now_ns
from gaugelog.links.inbox import Clock
from gaugelog.links.options import Options
from gaugelog.links.rawlog import is_raw_log, parse_raw_log
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.gauges import Address
from gaugelog.model.readings import Chunk

DEFAULT_RATE_HZ = 10.0
_NS = 1_000_000_000
_TICK_NS = int(TICK_S * _NS)
_PIECE = 64


def _cut_into_lines(data: bytes) -> list[bytes]:
    """Return the lines with their ends; bytes without any line end in pieces of 64."""
    end = b"\n" if b"\n" in data else b"\r"
    if end not in data:
        return [data[place : place + _PIECE] for place in range(0, len(data), _PIECE)]
    lines = [line + end for line in data.split(end)]
    lines[-1] = lines[-1][:-1]
    return [line for line in lines if line]


def chunks_of(data: bytes, origin: str | Path, rate_hz: float = DEFAULT_RATE_HZ) -> Sequence[Chunk]:
    """Return the chunks of a raw log, or of a plain file of bytes at `rate_hz` lines a second.

    Args:
        data: the file's content.
        origin: what to call it in an error.
        rate_hz: lines a second of plain bytes, which have no times of their own.

    Raises:
        FaultyLogError: a raw log with damaged lines.
    """
    if is_raw_log(data):
        return parse_raw_log(data.decode(errors="surrogateescape").split("\n"), origin)
    return [Chunk(round(place * _NS / rate_hz), line) for place, line in enumerate(_cut_into_lines(data))]


def _chunks_of(path: Path, rate_hz: float) -> Sequence[Chunk]:
    return chunks_of(path.read_bytes(), path, rate_hz)


def _with_ticks(chunks: Sequence[Chunk]) -> Iterator[Chunk]:
    """Return the chunks with an empty one for each `TICK_S` of silence between them."""
    quiet_since_ns = 0
    for chunk in chunks:
        while chunk.time_ns - quiet_since_ns > _TICK_NS:
            quiet_since_ns += _TICK_NS
            yield Chunk(quiet_since_ns, b"")
        quiet_since_ns = chunk.time_ns
        yield chunk


class ReplayLink:
    """Plays a raw log or a plain file of bytes.

    Times are those of the log, counted on from the moment in which the first chunk is asked for.

    Args:
        address: `replay:FILE?speed=1&rate=10`; speed 0 or `max` waits nowhere; `rate` is lines a second of a plain
            file, which has no times of its own.
        clock: gives monotonic nanoseconds.

    Raises:
        AddressError: no file is named, or an option can't be understood.
    """

    def __init__(self, address: Address, clock: Clock = now_ns) -> None:
        if not address.target:
            raise AddressError(address.text, "the file's path stands behind replay:")
        options = Options(address, ("speed", "rate"))
        self.address = address
        self._speed = 0.0 if options.text("speed") == "max" else options.number("speed", 1.0, 0.0)
        self._rate_hz = options.number("rate", DEFAULT_RATE_HZ, 0.001, 1e6)
        self._clock = clock
        self._origin_ns: int | None = None
        self._started_s = 0.0
        self._chunks: Iterator[Chunk] | None = None
        self._pending: Chunk | None = None

    @classmethod
    def suit(cls, address: Address, datasheet: Datasheet) -> Address:
        """Return the address with the datasheet's rate, for a plain file: its bytes have no times of their own."""
        if datasheet.rate_hz is None or "rate" in address.options:
            return address
        return replace(address, options={**address.options, "rate": f"{datasheet.rate_hz:g}"})

    async def open(self) -> None:
        """Read the file and start at its beginning.

        Raises:
            LinkFailedError: the file isn't there or can't be read.
            FaultyLogError: a raw log with damaged lines.
        """
        try:
            chunks = await asyncio.to_thread(_chunks_of, Path(self.address.target), self._rate_hz)
        except OSError as reason:
            missing, barred = isinstance(reason, FileNotFoundError), isinstance(reason, PermissionError)
            kind = LinkReason.NOT_FOUND if missing else LinkReason.NOT_PERMITTED if barred else LinkReason.FAILED
            raise LinkFailedError(self.address.text, kind, reason.strerror or str(reason)) from reason
        self._chunks = _with_ticks(chunks)
        self._pending = None
        self._origin_ns = None

    async def receive(self) -> Chunk:
        """Return the next bytes or tick when their time has come; safe to cancel.

        Raises:
            LinkEnded: the file came to its end.
        """
        if self._chunks is None:
            raise ValueError(f"{self.address} is not open")
        if self._origin_ns is None:
            self._origin_ns = self._clock()
            self._started_s = asyncio.get_running_loop().time()
        if self._pending is None:
            self._pending = next(self._chunks, None)
        if self._pending is None:
            raise LinkEnded("end of the file")
        await self._until(self._pending.time_ns)
        chunk, self._pending = self._pending, None
        return Chunk(self._origin_ns + chunk.time_ns, chunk.data)

    async def send(self, data: bytes) -> None:
        """Send nothing: a file can't be asked, it answers as it once did."""

    async def close(self) -> None:
        """Let go of the file's bytes; closing twice is fine."""
        self._chunks = None
        self._pending = None

    async def _until(self, time_ns: int) -> None:
        """Wait until the log's `time_ns`, at its speed; at full speed only let others have their turn."""
        wait_s = 0.0
        if self._speed:
            wait_s = self._started_s + time_ns / _NS / self._speed - asyncio.get_running_loop().time()
        await asyncio.sleep(max(wait_s, 0.0))
