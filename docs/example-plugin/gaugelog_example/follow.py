"""A gauge that is a file which another program goes on writing: `follow:FILE`."""

from __future__ import annotations

import asyncio
import time
from pathlib import Path
from typing import BinaryIO

from gaugelog.errors import AddressError, LinkFailedError, LinkReason
from gaugelog.links import TICK_S
from gaugelog.model.gauges import Address
from gaugelog.model.readings import Chunk

_LOOK_S = 0.02


class FollowLink:
    """The bytes that are added to a file after it was opened."""

    def __init__(self, address: Address) -> None:
        """Take the address; nothing is opened yet."""
        if not address.target:
            raise AddressError(address.text, "the file's path stands behind follow:")
        self.address = address
        self._path = Path(address.target)
        self._file: BinaryIO | None = None

    async def open(self) -> None:
        """Open the file at its end: what stands there already is old."""
        try:
            self._file = self._path.open("rb", buffering=0)
            self._file.seek(0, 2)
        except FileNotFoundError as reason:
            raise LinkFailedError(self.address.text, LinkReason.NOT_FOUND) from reason
        except OSError as reason:
            raise LinkFailedError(self.address.text, LinkReason.FAILED, str(reason)) from reason

    async def receive(self) -> Chunk:
        """Return what was added, or an empty chunk after a quarter of a second without anything."""
        if self._file is None:
            raise ValueError(f"{self.address} is not open")
        until_s = time.monotonic() + TICK_S
        while True:
            data = self._file.read(4096)
            if data or time.monotonic() > until_s:
                return Chunk(time.monotonic_ns(), data)
            if not self._path.exists():
                raise LinkFailedError(self.address.text, LinkReason.LOST, "the file is gone")
            await asyncio.sleep(_LOOK_S)

    async def send(self, data: bytes) -> None:
        """Send nothing: a file can't be asked."""

    async def close(self) -> None:
        """Close the file; closing twice is fine."""
        file, self._file = self._file, None
        if file is not None:
            file.close()
