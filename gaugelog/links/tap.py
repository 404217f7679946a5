"""A tap: the raw bytes of any link, written into a raw log as they come.

Here: which file, and that a full disk ends the log and never the reading. Not here: what a raw log looks like
(`links.rawlog`).
"""

from __future__ import annotations

import errno
import io
import os
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from gaugelog.errors import AddressError
from gaugelog.links import TICK_S, Link
from gaugelog.links.around import LinkAround
from gaugelog.links.rawlog import RawLogWriter, bytes_to_text
from gaugelog.model.readings import Chunk

FLUSH_S = 1.0
"""At most this much of what came may be missing from the file when the power goes."""


def free_path(wanted: Path) -> Path:
    """Return `wanted`, or where that is taken `NAME-2.log`, `NAME-3.log`, …: no log is ever written over."""
    path, number = wanted, 1
    while os.path.lexists(path):
        number += 1
        path = wanted.with_name(f"{wanted.stem}-{number}{wanted.suffix}")
    return path


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
        self._begun = False
        self._unsaved = io.StringIO()
        self._writer = RawLogWriter(self._unsaved, {"gauge": inner.address.text, **(remarks or {})})
        self._newest_ns = self._saved_ns = 0

    async def open(self) -> None:
        """Open the link inside, and the file: the first time a new one, then the same again.

        Raises:
            LinkFailedError: as the link inside does.
        """
        await self.inner.open()
        if self._begun:
            self._writer.remark("opened again")
        self._save()

    async def receive(self) -> Chunk:
        """Return the next bytes, which have been written down, or a tick.

        Raises:
            LinkEnded, LinkFailedError: as the link inside does.
        """
        chunk = await self.inner.receive()
        if not self.trouble:
            self._write(chunk)
        return chunk

    async def send(self, data: bytes) -> None:
        """Send bytes to the gauge, and remark them in the log.

        Raises:
            LinkFailedError: as the link inside does.
        """
        if not self.trouble:
            self._writer.remark(f"asked: {bytes_to_text(data)}")
        await self.inner.send(data)

    async def close(self) -> None:
        """Close the link inside and bring the file up to date; closing twice is fine."""
        try:
            await self.inner.close()
        finally:
            if self._begun:
                self._save()

    def _write(self, chunk: Chunk) -> None:
        """Write a chunk, never with an earlier time than the one before: such a log could not be played."""
        if chunk.data:
            self._newest_ns = max(self._newest_ns, chunk.time_ns)
            self._writer.write(Chunk(self._newest_ns, chunk.data))
        if chunk.time_ns - self._saved_ns >= (FLUSH_S - TICK_S) * 1e9:
            self._saved_ns = chunk.time_ns
            self._save()

    def _save(self) -> None:
        """Bring the file up to date; where that fails, write no more: the reading goes on without the log."""
        if self.trouble:
            return
        data = self._unsaved.getvalue().encode(errors="replace")
        self._unsaved.seek(0)
        self._unsaved.truncate()
        try:
            if not self._begun:
                self.path = _new_file(self.path)
                self._begun = True
            _append(self.path, data)
        except OSError as reason:
            self.trouble = f"{self.path} is not written any more: {reason.strerror or reason}"


def _new_file(wanted: Path) -> Path:
    """Return the path of a file made just now.

    Raises:
        OSError: it can't be made, or a folder has that name.
    """
    if wanted.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    while True:
        path = free_path(wanted)
        with suppress(FileExistsError), path.open("xb"):
            return path


def _append(path: Path, data: bytes) -> None:
    """Write all of `data` behind what a file has already, or nothing: half a line would spoil the whole log.

    Raises:
        OSError: it can't be written, or is not there any more.
    """
    with path.open("r+b", buffering=0) as file:
        end = file.seek(0, io.SEEK_END)
        left = memoryview(data)
        try:
            while left:
                left = left[file.write(left) :]
        except OSError:
            with suppress(OSError):
                file.truncate(end)
            raise
