"""JSON documents of gauges: ports, datasheets, readings; and what every document is built of.

Here: numbers, times and readings as JSON has them. Not here: results (`documents`, which hands these on as well).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from datetime import UTC
from typing import Any, Protocol

from gaugelog.model.datasheet import Datasheet
from gaugelog.model.device import Device
from gaugelog.model.readings import Chunk, Flag, Reading, Reject
from gaugelog.show.numbers import moment

Document = dict[str, Any]


class Port(Protocol):
    """A serial port that is there."""

    @property
    def path(self) -> str:
        """Its path."""

    @property
    def description(self) -> str:
        """What the system says it is."""

    @property
    def hardware(self) -> str:
        """Identity of the hardware behind it."""


class WhatWasHeard(Protocol):
    """What a gauge said in the time given."""

    @property
    def readings(self) -> Sequence[Reading]:
        """Its readings."""

    @property
    def rejects(self) -> Sequence[Reject]:
        """What was no reading."""

    @property
    def chunks(self) -> Sequence[Chunk]:
        """The bytes of both, as they came."""

    @property
    def device(self) -> Device | None:
        """What the gauge told of itself."""


def iso_utc(utc_us: int | None) -> str | None:
    """Return UTC microseconds as ISO 8601: "2026-03-14T13:05:09.250000Z"; None stays None."""
    if utc_us is None:
        return None
    return moment(utc_us, UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def finite(number: float | None) -> float | None:
    """Return a number as JSON can have it: None where it is unknown or infinite."""
    return None if number is None or not math.isfinite(number) else float(number)


def gauges_document(ports: Iterable[Port], datasheets: Iterable[Datasheet]) -> Document:
    """Return the serial ports that are there and the datasheets that are known."""
    return {
        "ports": [{"path": port.path, "description": port.description, "hardware": port.hardware} for port in ports],
        "datasheets": [_datasheet(sheet) for sheet in datasheets],
    }


def _datasheet(sheet: Datasheet) -> Document:
    return {
        "name": sheet.name,
        "title": sheet.title,
        "quantity": sheet.quantity.value,
        "unit": sheet.quantity.base_unit,
        "sends": sheet.sends.value,
        "framing": sheet.framing,
        "resolution": finite(sheet.resolution),
        "accuracy": finite(sheet.accuracy),
        "range": [finite(sheet.range_low), finite(sheet.range_high)],
        "rate_hz": finite(sheet.rate_hz),
        "awake_s": finite(sheet.awake_s),
    }


def heard_document(heard: WhatWasHeard, simulated: bool = False) -> Document:
    """Return what a gauge said: readings, rejects, and the bytes as hexadecimal text; whether it was simulated."""
    timed: list[Reading | Reject | Chunk] = [*heard.readings, *heard.rejects, *heard.chunks]
    start_ns = min((item.time_ns for item in timed), default=0)
    return {
        "simulated": simulated,
        "device": None if heard.device is None else asdict(heard.device),
        "readings": [reading_document(reading, start_ns) for reading in heard.readings],
        "rejects": [
            {
                "seconds": (reject.time_ns - start_ns) / 1e9,
                "reason": reject.reason.value,
                "detail": reject.detail,
                "bytes": reject.raw.hex(),
            }
            for reject in heard.rejects
        ],
        "chunks": [{"seconds": (chunk.time_ns - start_ns) / 1e9, "bytes": chunk.data.hex()} for chunk in heard.chunks],
    }


def reading_document(reading: Reading, start_ns: int = 0) -> Document:
    """Return one reading; `seconds` counts from `start_ns` (monotonic nanoseconds)."""
    return {
        "seconds": (reading.time_ns - start_ns) / 1e9,
        "gauge": reading.gauge,
        "value": finite(reading.value),
        "unit": reading.quantity.base_unit,
        "text": reading.text,
        "text_unit": reading.unit,
        "resolution": finite(reading.resolution),
        "flags": flag_words(reading.flags),
    }


def flag_words(flags: Flag) -> list[str]:
    """Return what a gauge says about its reading, in words: "low battery", "hold", "over range"."""
    return [flag.name.lower().replace("_", " ") for flag in Flag if flag and flag in flags and flag.name]
