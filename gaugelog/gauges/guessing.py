"""Which datasheets fit bytes that were heard, and how well.

Here: every datasheet tried on the same bytes, with the evidence, best first. Not here: hearing them (`finding`), nor
choosing: several that fit alike are all told, since bytes alone can't say which gauge sent them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gaugelog.datasheets.meaning import Decoding, Encoding
from gaugelog.gauges.trying import Message, Tried, try_bytes
from gaugelog.links.ble_address import whole_uuid
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.readings import Chunk, Reading

_ALIKE = 1.6
"""Rates that differ by less than this factor are taken as one: a few seconds of listening tell no better."""


@dataclass(frozen=True, slots=True)
class Fit:
    """How well a datasheet fits bytes that were heard.

    `readings` of `messages` whole messages could be read; `share` is the part of all bytes that these were;
    `example` is one of them as sent and as read; `rate_hz` is how many came a second, None where too few came to tell;
    `guarded` says that one damaged character would have been noticed, as a checksum does; `radio_named` that the device
    advertises the very service which the datasheet names.
    """

    datasheet: Datasheet
    readings: int
    messages: int
    share: float
    example: Message
    rate_hz: float | None
    guarded: bool
    radio_named: bool = False

    @property
    def rejects(self) -> int:
        """How many whole messages could not be read."""
        return self.messages - self.readings

    @property
    def worth(self) -> tuple[int, ...]:
        """What fits better is larger: nothing rejected, its radio service, bytes explained, guarded, its rate."""
        return (
            self.rejects == 0,
            self.radio_named,
            round(10 * self.share),
            self.guarded,
            self._rate_worth,
        )

    @property
    def _rate_worth(self) -> int:
        """2 where the rate is the datasheet's, 0 where it is another, 1 where one of the two isn't known."""
        if self.rate_hz is None or self.datasheet.rate_hz is None:
            return 1
        times = self.rate_hz / self.datasheet.rate_hz
        return 2 if 1 / _ALIKE < times < _ALIKE else 0


def fits(chunks: Sequence[Chunk], datasheets: Iterable[Datasheet], services: Sequence[str] = ()) -> tuple[Fit, ...]:
    """Return the datasheets that fit, best first; those that fit alike stand together, by name.

    A datasheet fits where something was read and no more was rejected than read. What is left of a message in whose
    middle the listening began is held against none.

    Args:
        chunks: what was heard, in order.
        datasheets: those that are possible there.
        services: what a radio device advertises, whole UUIDs.
    """
    found = [fit for sheet in datasheets if (fit := _fit(sheet, chunks, services)) is not None]
    return tuple(sorted(found, key=lambda fit: ([-each for each in fit.worth], fit.datasheet.name)))


def alike_first(found: Sequence[Fit]) -> tuple[Fit, ...]:
    """Return the best fit with all that fit just as well."""
    return tuple(fit for fit in found if fit.worth == found[0].worth)


def _fit(datasheet: Datasheet, chunks: Sequence[Chunk], services: Sequence[str]) -> Fit | None:
    tried = try_bytes(datasheet, chunks)
    readings = tried.readings
    if not readings:
        return None
    messages = _without_a_cut_head(tried)
    if len(messages) - len(readings) > len(readings):
        return None
    named = datasheet.radio.service
    whole = _a_message(datasheet)
    return Fit(
        datasheet=datasheet,
        readings=len(readings),
        messages=len(messages),
        share=_share(readings, chunks, _frame_bytes(datasheet, whole)),
        example=readings[-1],
        rate_hz=_rate_hz(readings),
        guarded=_is_guarded(datasheet, whole),
        radio_named=bool(named) and whole_uuid(named) in map(whole_uuid, services),
    )


def _without_a_cut_head(tried: Tried) -> tuple[Message, ...]:
    """Return the messages without a first one that is shorter than those that were read, and so may be a rest."""
    first = tried.messages[0]
    may_be_a_rest = not isinstance(first.item, Reading) and len(first.raw) < max(len(m.raw) for m in tried.readings)
    return tried.messages[1:] if may_be_a_rest else tried.messages


def _a_message(datasheet: Datasheet) -> bytes:
    """Return a whole message that this gauge could send; empty where it can say no value."""
    low = datasheet.range_low if datasheet.range_low is not None else 0.0
    high = datasheet.range_high if datasheet.range_high is not None else 1000 * datasheet.resolution
    try:
        return Encoding(datasheet).encode(low + 0.618 * (high - low))
    except ValueError:
        return b""


def _frame_bytes(datasheet: Datasheet, whole: bytes) -> int:
    """Return how many bytes of a whole message are no part of its frame, such as the end of a line."""
    return max((len(whole) - len(each.raw) for each in try_bytes(datasheet, [Chunk(0, whole)]).readings), default=0)


def _share(readings: Sequence[Message], chunks: Sequence[Chunk], ends: int) -> float:
    """Return the part of all bytes that became readings, each with its ends; several of one message count once."""
    explained = sum({id(each.raw): len(each.raw) + ends for each in readings}.values())
    return min(1.0, explained / max(1, sum(len(chunk.data) for chunk in chunks)))


def _rate_hz(readings: Sequence[Message]) -> float | None:
    """Return how many readings came a second; None for fewer than four, or all at once."""
    span_ns = readings[-1].time_ns - readings[0].time_ns
    return (len(readings) - 1) * 1e9 / span_ns if len(readings) >= 4 and span_ns > 0 else None


def _is_guarded(datasheet: Datasheet, whole: bytes) -> bool:
    """Return whether a message of this gauge with one character changed is never taken for a reading.

    It is tried out: each byte of a whole message has its last bit turned over. So a checksum counts that is there and
    looked at, and no other.
    """
    damaged = (whole[:place] + bytes([byte ^ 1]) + whole[place + 1 :] for place, byte in enumerate(whole))
    return bool(whole) and not any(_reads(datasheet, each) for each in damaged)


def _reads(datasheet: Datasheet, data: bytes) -> bool:
    """Return whether bytes become a reading."""
    items = Decoding(datasheet, datasheet.name).feed(Chunk(0, data)).items
    return any(isinstance(item, Reading) for item in items)
