"""A real serial port without a gauge (POSIX): the far end of a pty, at whose path anyone may open the near end.

Here: making it, writing into it, unplugging it. Not here: the near end, which is an ordinary serial port.
"""

from __future__ import annotations

import os

from gaugelog.errors import LinkFailedError, LinkReason
from gaugelog.links.clock import now_ns
from gaugelog.links.descriptor import DescriptorReader, send_all
from gaugelog.links.inbox import Clock, Inbox
from gaugelog.model.gauges import Address, parse_address
from gaugelog.model.readings import Chunk


def has_pty() -> bool:
    """Return whether this system has ptys."""
    return os.name == "posix" and hasattr(os, "openpty")


class PtyFarEnd:
    """The gauge's end of a pty, raw and without echo; `path` is the port that a `SerialLink` opens.

    Closing it is what unplugging is to the other side. The path is there from `open` until `close`.

    Args:
        clock: gives monotonic nanoseconds.
    """

    def __init__(self, clock: Clock = now_ns) -> None:
        self.address = Address("pty", text="pty:")
        self.path = ""
        self._clock = clock
        self._far = self._near = -1
        self._inbox: Inbox | None = None
        self._reader: DescriptorReader | None = None

    @property
    def near_address(self) -> Address:
        """The address of the near end."""
        return parse_address(f"serial:{self.path}")

    async def open(self) -> None:
        """Make the pty.

        The near end is kept open here too: a pty whose near end nobody holds reports an error instead of waiting.

        Raises:
            LinkFailedError: the system has no pty to give.
        """
        import tty

        try:
            self._far, self._near = os.openpty()
        except OSError as reason:
            raise LinkFailedError(self.address.text, LinkReason.FAILED, str(reason)) from reason
        tty.setraw(self._near)
        os.set_blocking(self._far, False)
        self.path = os.ttyname(self._near)
        self.address = Address("pty", self.path, text=f"pty:{self.path}")
        self._inbox = Inbox(self._clock)
        self._reader = DescriptorReader(self._far, self._inbox, self._lost)

    async def receive(self) -> Chunk:
        """Return what was sent to the gauge, or a tick."""
        if self._inbox is None:
            raise ValueError(f"{self.address} is not open")
        return await self._inbox.get()

    async def send(self, data: bytes) -> None:
        """Send bytes as the gauge would.

        Raises:
            LinkFailedError: nobody has read them for two seconds, or the pty is closed.
        """
        try:
            await send_all(self._far, data)
        except OSError as reason:
            raise self._lost(str(reason)) from reason

    async def close(self) -> None:
        """Unplug; closing twice is fine."""
        if self._reader is not None:
            self._reader.stop()
            self._reader = None
        if self._inbox is not None:
            self._inbox.close()
        far, near = self._far, self._near
        self._far = self._near = -1
        for descriptor in (far, near):
            if descriptor >= 0:
                os.close(descriptor)

    def _lost(self, words: str) -> LinkFailedError:
        return LinkFailedError(self.address.text, LinkReason.LOST, words)
