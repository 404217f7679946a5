"""A tap: the raw bytes of any link, written into a raw log as they come.

Here: which file, and that a full disk ends the log and never the reading. Not here: what a raw log looks like
(`links.rawlog`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import TextIO

from gaugelog.errors import AddressError
from gaugelog.links import Link
from gaugelog.links.around import LinkAround
from gaugelog.links.rawlog import RawLogWriter, bytes_to_text
from gaugelog.model.readings import Chunk

FLUSH_S = 1.0
"""At most this much of what came may be missing from the file when the power goes."""

_MOST_FILES = 10_000


def free_path(wanted: Path) -> Path:
    """Return `wanted`, or where that is taken `NAME-2.log`, `NAME-3.log`, …: no log is ever written over."""
    for number in range(1, _MOST_FILES):
        path = wanted if number == 1 else wanted.with_name(f"{wanted.stem}-{number}{wanted.suffix}")
        if not path.exists():
            return path
    return wanted


class TapLink(LinkAround):
    """A link whose bytes are written down on their way, and pass on unchanged.

    The file begins with the first opening and goes on, with the times counted on, however often the link is opened
    again. Ticks are not written: a replay makes its own from the times. What is sent to the gauge stands in it as a
    remark. `path` is the file; `trouble` says in words why nothing is written any more, empty while all is well.

    Args:
        inner: the link to tap.
        wanted: the file; a free name beside it is taken where it exists.
        remarks: written at the top of the file.

    Raises:
        AddressError: no file is named.
    """

    def __init__(self, inner: Link, wanted: str, remarks: Mapping[str, str] | None = None) -> None:
        super().__init__(inner)
        if not wanted:
            raise AddressError(inner.address.text, "tap= names the file that the bytes are written to")
        self.path = Path(wanted)
        self.trouble = ""
        self._remarks = {"gauge": inner.address.text, **(remarks or {})}
        self._file: TextIO | None = None
        self._writer: RawLogWriter | None = None
        self._flushed_ns = 0

    async def open(self) -> None:
        """Open the link inside, and the file: the first time a new one, then the same again.

        Raises:
            LinkFailedError: as the link inside does.
        """
        await self.inner.open()
        if not self.trouble:
            self._try(self._open_file)

    async def receive(self) -> Chunk:
        """Return the next bytes, which have been written down, or a tick.

        Raises:
            LinkEnded, LinkFailedError: as the link inside does.
        """
        chunk = await self.inner.receive()
        if self._file is not None:
            self._try(self._write, chunk)
        return chunk

    async def send(self, data: bytes) -> None:
        """Send bytes to the gauge, and remark them in the log.

        Raises:
            LinkFailedError: as the link inside does.
        """
        if self._file is not None and self._writer is not None:
            self._try(self._writer.remark, f"asked: {bytes_to_text(data)}")
        await self.inner.send(data)

    async def close(self) -> None:
        """Close the link inside and the file; closing twice is fine."""
        await self.inner.close()
        file, self._file = self._file, None
        if file is not None:
            self._try(file.close)

    def _open_file(self) -> None:
        if self._file is not None:
            return
        if self._writer is not None:
            self._file = self.path.open("a", encoding="utf-8", newline="\n")
            self._writer.go_on_in(self._file)
            return
        self.path = free_path(self.path)
        self._file = self.path.open("x", encoding="utf-8", newline="\n")
        self._writer = RawLogWriter(self._file, self._remarks)

    def _write(self, chunk: Chunk) -> None:
        if self._file is None or self._writer is None:
            return
        if chunk.data:
            self._writer.write(chunk)
        if chunk.time_ns - self._flushed_ns > FLUSH_S * 1e9:
            self._file.flush()
            self._flushed_ns = chunk.time_ns

    def _try(self, action: Callable[..., None], *arguments: object) -> None:
        """Do something to the file; where that fails, write no more: the reading goes on without the log."""
        try:
            action(*arguments)
        except OSError as reason:
            self.trouble = f"{self.path} is not written any more: {reason.strerror or reason}"
            file, self._file = self._file, None
            if file is not None:
                with suppress(OSError):
                    file.close()
