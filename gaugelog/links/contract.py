"""The contract of a link as a check, for authors of links; `gaugelog.testing` offers it.

Here: what every link must do whatever it is made of. Not here: what only one kind does.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

from gaugelog.errors import LinkFailedError, LinkReason
from gaugelog.links import TICK_S, Link, LinkEnded
from gaugelog.model.gauges import Address
from gaugelog.model.readings import Chunk

_PATIENCE_S = 2.0
_MOST_TICKS = round(_PATIENCE_S / TICK_S)
_LINES = (b"+  2.85\r\n", b"+  2.", b"80\r\n", b"\x00\xff\n")


def _demand(held: bool, rule: str) -> None:
    if not held:
        raise AssertionError(f"a link must keep this: {rule}")


async def _receive(link: Link, rule: str) -> Chunk:
    """Return the next chunk, which has to come within two seconds."""
    try:
        chunk = await asyncio.wait_for(link.receive(), _PATIENCE_S)
    except TimeoutError:
        raise AssertionError(f"a link must keep this: {rule}") from None
    _demand(isinstance(chunk, Chunk) and isinstance(chunk.data, bytes), "receive gives a Chunk of bytes")
    return chunk


async def _receive_all(link: Link, wanted: bytes) -> None:
    """Receive until all of `wanted` came, then a tick: neither less nor more, in order, with rising times."""
    got, last_ns, ticks = b"", -1, 0
    while len(got) < len(wanted):
        chunk = await _receive(link, "silence gives a tick")
        _demand(chunk.time_ns >= last_ns, "time never runs backward")
        last_ns = chunk.time_ns
        ticks += not chunk.data
        _demand(ticks <= _MOST_TICKS, f"bytes come out within two seconds: only {got!r} came of {wanted!r}")
        got += chunk.data
        _demand(wanted.startswith(got), f"bytes arrive once and in order: {got!r} came of {wanted!r}")
    tick = await _receive(link, "silence gives a tick")
    _demand(tick.data == b"", f"no byte comes twice, none is invented: {tick.data!r} came after all")


async def _stays_ended(link: Link, ends_by: type[LinkEnded] | None) -> None:
    """See that receiving fails as it should, and goes on failing."""
    for _ in range(2):
        try:
            for _ in range(_MOST_TICKS):
                await _receive(link, "an unplugged link says so")
            _demand(False, "an unplugged link says so within two seconds")
        except LinkEnded:
            _demand(ends_by is LinkEnded, "an unplugged link is lost, not ended")
        except LinkFailedError as failed:
            _demand(ends_by is None, "the end of the source is LinkEnded, not a failure")
            _demand(failed.reason is LinkReason.LOST, f"the reason of an unplugged link is LOST, not {failed.reason}")


async def check_link(
    link: Link,
    write: Callable[[bytes], Awaitable[None]],
    unplug: Callable[[], Awaitable[None]],
    *,
    ends_by: type[LinkEnded] | None = None,
) -> None:
    """Raise `AssertionError`, naming the rule, unless a link keeps the contract of `gaugelog.links`.

    Args:
        link: not opened yet.
        write: puts bytes into the source, to arrive at the link as whole lines or in pieces.
        unplug: takes the source away.
        ends_by: `LinkEnded` where taking the source away is a natural end, such as that of standard input.
    """
    _demand(isinstance(link.address, Address), "it has its address")
    await link.close()
    for _ in range(2):
        await link.open()
        await write(b"".join(_LINES))
        await _receive_all(link, b"".join(_LINES))
        waiting = asyncio.ensure_future(link.receive())
        await asyncio.sleep(TICK_S / 10)
        waiting.cancel()
        await asyncio.gather(waiting, return_exceptions=True)
        await write(_LINES[0])
        await _receive_all(link, _LINES[0])
        await link.close()
        await link.close()
    await link.open()
    await write(_LINES[0])
    await _receive_all(link, _LINES[0])
    await unplug()
    await _stays_ended(link, ends_by)
    await link.close()
