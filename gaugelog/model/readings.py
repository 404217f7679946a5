"""What passes from a link to a reading.

Here: the frozen values of the way of the data, from bytes to a reading. Not here: how one becomes the next
(`frames`, `datasheets`), nor any clock: time is whatever the link stamped on the chunk, in monotonic nanoseconds.

What is made for every message is a named tuple: as unchangeable as a frozen dataclass, and made in half the time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum, IntFlag
from typing import NamedTuple

from gaugelog.model.device import Device
from gaugelog.model.quantities import Quantity


class Chunk(NamedTuple):
    """Bytes as they left the link, at a monotonic time. Empty bytes are a tick: time went on, nothing came."""

    time_ns: int
    data: bytes


class Frame(NamedTuple):
    """One whole message of a gauge: `raw` as sent, `fields` by name as the framing cut them out."""

    time_ns: int
    raw: bytes
    fields: Mapping[str, str | int | float | bytes]


class RejectReason(Enum):
    """Why bytes did not become a reading."""

    NO_MATCH = "does not match the pattern"
    TOO_LONG = "too long without an end"
    CUT_OFF = "cut off when the link ended"
    CHECKSUM = "checksum does not fit"
    ERROR_ANSWER = "the gauge answered with an error"
    ENCODING = "not text"
    NUMBER = "no number"
    UNIT = "unit not known"
    RANGE = "outside the gauge's range"


@dataclass(frozen=True, slots=True)
class Reject:
    """Bytes that are no reading: counted and kept, never an exception."""

    time_ns: int
    raw: bytes
    reason: RejectReason
    detail: str = ""


class Flag(IntFlag):
    """What a gauge says about its own reading."""

    NONE = 0
    LOW_BATTERY = 1
    HOLD = 2
    OVER_RANGE = 4
    FROZEN = 8


SAYS_NOTHING = Flag.HOLD | Flag.OVER_RANGE | Flag.FROZEN
"""What a gauge that shows any of these reads is kept, and never counts."""


class Reading(NamedTuple):
    """One value of a gauge.

    `value` is in the base unit of `quantity`; `text` is the decimal number exactly as shown, in `unit`;
    `resolution` is the gauge's digit in the base unit. A reading with HOLD, OVER_RANGE or FROZEN is kept but
    never counts toward a placement.
    """

    time_ns: int
    gauge: str
    quantity: Quantity
    value: float
    text: str
    unit: str
    resolution: float
    flags: Flag = Flag.NONE


class Heard(NamedTuple):
    """All that came of one chunk of one gauge: the raw bytes and what they turned out to be, in order."""

    gauge: str
    chunk: Chunk
    items: tuple[Reading | Reject, ...] = ()


class LinkState(Enum):
    """How a gauge's link stands."""

    OPEN = "connected"
    SILENT = "silent"
    LOST = "lost"
    ASLEEP = "asleep"
    ENDED = "ended"


@dataclass(frozen=True, slots=True)
class LinkChange:
    """A gauge's link opened, fell silent or asleep, was lost or ended, at a monotonic time.

    `device` is what the gauge told of itself when the link opened.
    """

    time_ns: int
    gauge: str
    state: LinkState
    detail: str = ""
    device: Device | None = None

    @property
    def words(self) -> str:
        """The detail and what the gauge told of itself."""
        return ", ".join(part for part in (self.detail, str(self.device or "")) if part)
