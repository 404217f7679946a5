"""Recordings with invented values."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.model.clock import Anchor
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.instrument import NamedGauge
from gaugelog.model.placement import Part, Placement, Role, Settled
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Heard, Reading
from gaugelog.store.writer import RecordingWriter

sys.path.insert(0, str(Path(__file__).parent / "old"))

UTC_US = 1_700_000_000_000_000


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "baritone.gaugelog"


@pytest.fixture
def begin(path: Path):
    """Open the recording's writer with one gauge, `neck`."""

    def begin(monotonic_ns: int = 0, utc_us: int = UTC_US) -> RecordingWriter:
        writer = RecordingWriter.open(path, anchor=Anchor(monotonic_ns, utc_us), command="clamp")
        writer.put_gauge(NamedGauge("neck", parse_gauge("angle-line@typed:", "neck")), find_datasheet("angle-line"))
        return writer

    return begin


@pytest.fixture
def heard():
    """Make what the gauge says: `text` degrees at a time in milliseconds."""

    def heard(text: str, time_ms: int) -> Heard:
        time_ns = time_ms * 1_000_000
        reading = Reading(time_ns, "neck", Quantity.ANGLE, float(text), text, "deg", 0.05)
        return Heard("neck", Chunk(time_ns, text.encode()), (reading,))

    return heard


@pytest.fixture
def placement():
    """Make a placement read by the gauge, with its bytes."""

    def placement(text: str = "2.85", time_ms: int = 1000) -> Placement:
        time_ns, value = time_ms * 1_000_000, float(text)
        part = Part(
            *(Role.WHOLE, "neck", value, text, "deg", 0.05, 0.05, 15, time_ns - 10, time_ns),
            (Chunk(time_ns - 10, text.encode()), Chunk(time_ns, b"")),
        )
        return Placement(
            *("neck-angle", Quantity.ANGLE, value, text, "deg", 0.05, Settled.STEADY, time_ns, "neck"),
            spread=0.05,
            parts=(part,),
        )

    return placement
