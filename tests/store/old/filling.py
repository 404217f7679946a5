"""A recording with a row in every table, and all that a recording tells, as JSON can hold it. All values are invented.

Here: what is put in, by the real writer, and `told`, which asks a recording everything. Not here: the files (`make`).
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import asdict, is_dataclass, replace
from enum import Enum
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.model.clock import Anchor
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.instrument import Instrument, NamedGauge
from gaugelog.model.placement import Mark, MarkKind, Part, Placement, Role, Settled
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Flag, Heard, Reading, Reject, RejectReason
from gaugelog.store.reader import Recording
from gaugelog.store.writer import RecordingWriter

UTC_US = 1_764_064_800_000_000
SECOND_NS = 10**9
SECONDS = 40
INSTRUMENT = '# Invented: a 686 mm scale baritone with a two-post bridge.\nname = "baritone"\n'


def angle_text(place: int) -> str:
    """What the angle gauge shows as its reading of this number."""
    return f"{2.8 + 0.05 * (place % 7):.2f}"


def depth_text(place: int) -> str:
    """What the depth gauge shows as its reading of this number."""
    return f"{0.40 + 0.01 * (place % 5):.2f}"


def _named(name: str, datasheet: str, identity: str = "") -> NamedGauge:
    return NamedGauge(name, parse_gauge(f"{datasheet}@typed:", name), identity)


def _heard(gauge: str, place: int, time_ns: int) -> Heard:
    text, quantity, unit, digit = (
        (angle_text(place), Quantity.ANGLE, "deg", 0.05)
        if gauge == "neck"
        else (depth_text(place), Quantity.LENGTH, "mm", 0.01)
    )
    flags = Flag.LOW_BATTERY if place % 50 == 49 else Flag.NONE
    reading = Reading(time_ns, gauge, quantity, float(text), text, unit, digit, flags)
    return Heard(gauge, Chunk(time_ns, text.encode()), (reading,))


def _reject(gauge: str, time_ns: int, raw: bytes, reason: RejectReason) -> Heard:
    return Heard(gauge, Chunk(time_ns, raw), (Reject(time_ns, raw, reason, "invented"),))


def _part(role: Role, text: str, time_ns: int) -> Part:
    raw = (Chunk(time_ns - 400_000_000, f"A {text} deg\r\n".encode()), Chunk(time_ns - 200_000_000, b""))
    return Part(role, "neck", float(text), text, "deg", 0.05, 0.05, 15, time_ns - 10**9, time_ns, raw)


def angle(text: str, time_ns: int) -> Placement:
    """A placement that the angle gauge read on neck and body."""
    parts = (_part(Role.NECK, text, time_ns), _part(Role.BODY, "0.10", time_ns - 5 * SECOND_NS))
    return Placement(
        *("neck-angle", Quantity.ANGLE, round(float(text) - 0.1, 2), text, "deg", 0.05, Settled.STEADY, time_ns),
        *("neck",),
        spread=0.05,
        parts=parts,
    )


def typed(checkpoint: str, text: str, time_ns: int, **more: float | None) -> Placement:
    """A typed placement in millimetres."""
    value = more.pop("value", None)
    return Placement(checkpoint, Quantity.LENGTH, value, text, "mm", 0.05, Settled.TYPED, time_ns, **more)


def _snapshots(writer: RecordingWriter, stage: str, from_ns: int, shift: float) -> None:
    snapshot = writer.snapshot(stage)
    kept = [
        writer.place(snapshot.id, angle(f"{2.85 + shift + 0.05 * (place % 2):.2f}", from_ns + place * SECOND_NS))
        for place in range(6)
    ]
    for place in range(3):
        time_ns = from_ns + (10 + place) * SECOND_NS
        writer.place(snapshot.id, typed("joint-gap", "0.25..0.30", time_ns, value=0.275, low=0.25, high=0.3))
        writer.place(snapshot.id, typed("clearance-bass", "<0.05", time_ns, high=0.05))
    writer.drop(kept[1].id, "the gauge slipped")
    again = angle(f"{2.80 + shift:.2f}", from_ns)
    writer.reinterpret(kept[0].id, replace(again, parts=tuple(replace(part, raw=()) for part in again.parts)), {})
    writer.skip(snapshot.id, "neck-roll", "a clamp is in the way")
    writer.skip(snapshot.id, "control", "no room for the gauge")
    writer.unskip(snapshot.id, "control")
    writer.complete(snapshot.id)


def _sitting(writer: RecordingWriter, number: int) -> None:
    """Two gauges for a while, with all that can happen beside their readings."""
    for place in range(SECONDS * 10):
        time_ns = place * 100_000_000
        writer.hear(_heard("neck", place, time_ns))
        if place % 2 == 0 and not SECONDS * 4 < place < SECONDS * 6:
            writer.hear(_heard("depth", place, time_ns + 3_000_000))
        writer.keep_up(time_ns)
    writer.gap("depth", SECONDS * 400_000_000, SECONDS * 600_000_000, "unplugged")
    writer.gap("neck", 2 * SECOND_NS, 3 * SECOND_NS, "asleep", fault=False)
    writer.event("link lost", "depth", "the cable was pulled", SECONDS * 400_000_000)
    writer.event("pass", "", f"pass {number}", 4 * SECOND_NS)
    for place in range(4):
        reason = RejectReason.NUMBER if place % 2 else RejectReason.NO_MATCH
        writer.hear(_reject("neck", SECONDS * SECOND_NS + place, b"\xffA 2.8o deg%d" % place, reason))
    base = UTC_US + number * 3_600_000_000
    writer.mark(Mark(base + 10_000_000, MarkKind.CLAMPS_ON))
    writer.mark(Mark(base + 5_000_000, MarkKind.GLUE_ON, "label says 8 min"))
    writer.mark(Mark(base + 20_000_000, MarkKind.NOTE, "warm bench"))


def fill(path: Path, *, finished: bool = True) -> RecordingWriter:
    """Write a recording of three sittings; the last is left unfinished, and its writer open, unless wanted finished."""
    with patch("platform.node", return_value="bench"), patch("os.getpid", return_value=686):
        commands = ("capture before", "clamp", "capture after")
        for number, command in enumerate(commands):
            anchor = Anchor(0, UTC_US + number * 3_600_000_000)
            writer = RecordingWriter.open(path, anchor=anchor, command=command)
            writer.put_instrument(Instrument("baritone", (), text=f"{INSTRUMENT}# version {number}\n"))
            writer.put_gauge(_named("neck", "angle-line", "no. 7"), find_datasheet("angle-line"))
            writer.put_gauge(_named("depth", "depth-line"), find_datasheet("depth-line"))
            writer.put_check("neck", "check", anchor.utc_us, '{"offset_deg": 0.02}')
            if command == "clamp":
                _sitting(writer, number)
                writer.note_clock(Anchor(SECONDS * SECOND_NS, anchor.utc_us + 7_200_000_000))
            else:
                _snapshots(writer, command.split()[1], 50 * SECOND_NS, 0.0 if number == 0 else 0.05)
            if number < 2 or finished:
                writer.finish()
        if not finished:
            _sitting(writer, 2)
            writer.keep_up(SECONDS * SECOND_NS * 2)
    return writer


def plain(value: object) -> Any:
    """Return what JSON can hold; a float stays the float it is."""
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, np.ndarray):
        return value.tolist()
    if is_dataclass(value) and not isinstance(value, type):
        return plain(asdict(value))
    if isinstance(value, dict):
        return {str(key): plain(each) for key, each in value.items()}
    if isinstance(value, tuple | list):
        return [plain(each) for each in value]
    return value


QUESTIONS: dict[str, Callable[[Recording], object]] = {
    "instrument": lambda recording: recording.instrument_text,
    "gauges": lambda recording: recording.every_gauge(),
    "checks": lambda recording: recording.checks(),
    "snapshots": lambda recording: recording.snapshots(),
    "reinterpretations": lambda recording: recording.reinterpretations(),
    "series": lambda recording: {name: recording.series(name) for name in recording.gauges},
    "marks": lambda recording: recording.marks(),
    "events": lambda recording: recording.events(),
    "gaps": lambda recording: recording.gaps(),
    "rejects": lambda recording: recording.rejects(),
    "clock_sets": lambda recording: recording.clock_sets(),
    "sittings": lambda recording: recording.sittings(),
}
"""Everything that a recording can be asked, but for tables and overviews, which are made of these."""


def told(recording: Recording) -> dict[str, Any]:
    """Return everything that a recording tells, as JSON can hold it."""
    return {name: plain(ask(recording)) for name, ask in QUESTIONS.items()}


if __name__ == "__main__":
    sys.exit("run make.py")
