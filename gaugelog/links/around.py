"""What stands around another link and hands on what it doesn't change.

Here: the plain one. Not here: what taps or spoils the bytes (`links.tap`, `links.faults`).
"""

from __future__ import annotations

from gaugelog.links import GoesDeaf, Link, TellsDevice
from gaugelog.model.device import Device
from gaugelog.model.readings import Chunk


class LinkAround:
    """A link that passes everything on to the one inside it.

    Args:
        inner: the link inside, not opened yet.
    """

    def __init__(self, inner: Link) -> None:
        self.inner = inner
        self.address = inner.address

    @property
    def device(self) -> Device | None:
        """What the gauge tells of itself, None where the link inside is to none that does."""
        return self.inner.device if isinstance(self.inner, TellsDevice) else None

    @property
    def goes_deaf(self) -> bool:
        """Whether the link inside may be lost without a word."""
        return isinstance(self.inner, GoesDeaf) and self.inner.goes_deaf

    async def open(self) -> None:
        """Open the link inside.

        Raises:
            LinkFailedError: as it does.
        """
        await self.inner.open()

    async def receive(self) -> Chunk:
        """Return the next bytes, or a tick.

        Raises:
            LinkEnded, LinkFailedError: as the link inside does.
        """
        return await self.inner.receive()

    async def send(self, data: bytes) -> None:
        """Send bytes to the gauge.

        Raises:
            LinkFailedError: as the link inside does.
        """
        await self.inner.send(data)

    async def close(self) -> None:
        """Close the link inside; closing twice is fine."""
        await self.inner.close()
