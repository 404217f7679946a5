"""Bytes through a datasheet, message by message.

Here: what each message is, as sent and as read. Not here: whether a datasheet is sound in itself
(`datasheets.checking`), nor which of several fits best (`gauges.guessing`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gaugelog.datasheets.meaning import Decoding, framing_of
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.readings import Chunk, Frame, Reading, Reject


@dataclass(frozen=True, slots=True)
class Message:
    """One message of a gauge: when it was whole, its bytes as sent, and the reading or why it is none."""

    time_ns: int
    raw: bytes
    item: Reading | Reject


@dataclass(frozen=True, slots=True)
class Tried:
    """What a datasheet makes of bytes: each whole message in order, and what the end cut off."""

    messages: tuple[Message, ...]
    left_over: tuple[Message, ...] = ()

    @property
    def readings(self) -> tuple[Message, ...]:
        """The messages that are readings."""
        return tuple(each for each in self.messages if isinstance(each.item, Reading))

    @property
    def rejects(self) -> tuple[Message, ...]:
        """The messages that are none."""
        return tuple(each for each in self.messages if isinstance(each.item, Reject))


def try_bytes(datasheet: Datasheet, chunks: Iterable[Chunk]) -> Tried:
    """Return what a datasheet makes of bytes, from a fresh decoder.

    Args:
        datasheet: what the gauge is said to send.
        chunks: the bytes with their times, in order.
    """
    decoding, beside = Decoding(datasheet, datasheet.name), framing_of(datasheet).decoder()
    messages: list[Message] = []
    time_ns = 0
    for chunk in chunks:
        time_ns = chunk.time_ns
        heard = decoding.feed(chunk)
        messages += _paired(heard.items, beside.feed(chunk), chunk.data)
    left_over = _paired(decoding.finish(time_ns).items, beside.finish(time_ns), b"")
    return Tried(tuple(messages), tuple(left_over))


def _paired(items: Sequence[Reading | Reject], frames: Sequence[Frame | Reject], whole: bytes) -> list[Message]:
    """Return readings and rejects with their bytes: those of the frame, or of the whole chunk where that is open.

    A datasheet turns each frame into one item, so that the two run side by side.
    """
    if len(items) != len(frames):
        return [Message(item.time_ns, item.raw if isinstance(item, Reject) else whole, item) for item in items]
    return [Message(item.time_ns, frame.raw, item) for item, frame in zip(items, frames, strict=True)]
