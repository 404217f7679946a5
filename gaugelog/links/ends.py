"""Both ends of a port, opened: one for a simulated gauge, one for whoever listens to it.

Here: choosing between a real pty and a pair inside the program. Not here: either of the two.
"""

from __future__ import annotations

from dataclasses import dataclass

from gaugelog.links import Link
from gaugelog.links.clock import now_ns
from gaugelog.links.inbox import Clock
from gaugelog.links.pair import MemoryEnd, memory_pair
from gaugelog.links.pty_pair import PtyFarEnd, has_pty
from gaugelog.links.serial_port import SerialLink


@dataclass(frozen=True, slots=True)
class Ends:
    """The gauge's end and the listener's end, both open."""

    far: PtyFarEnd | MemoryEnd
    near: Link

    async def close(self) -> None:
        """Close both, the listener's first; closing twice is fine."""
        await self.near.close()
        await self.far.close()


async def open_ends(clock: Clock = now_ns, *, pty: bool | None = None) -> Ends:
    """Return two open ends: of a pty where the system has one, else inside the program.

    Args:
        clock: gives monotonic nanoseconds.
        pty: true to insist on a pty, false to do without.

    Raises:
        LinkFailedError: the system gives no pty.
    """
    if not (has_pty() if pty is None else pty):
        near, far = memory_pair(clock)
        await near.open()
        await far.open()
        return Ends(far, near)
    far_end = PtyFarEnd(clock)
    await far_end.open()
    port = SerialLink(far_end.near_address, clock, at_once=True)
    try:
        await port.open()
    except BaseException:
        await far_end.close()
        raise
    return Ends(far_end, port)
