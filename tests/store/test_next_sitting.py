"""One writer, several sittings: what each piece of work leaves is its own. Invented readings."""

from __future__ import annotations

from pathlib import Path

import pytest

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.errors import RecordingBusyError
from gaugelog.model.clock import Anchor
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.instrument import NamedGauge
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Heard, Reading
from gaugelog.store.reader import open_recording
from gaugelog.store.writer import RecordingWriter

START = Anchor(5_000_000_000, 1_760_000_000_000_000)


def heard(seconds: float, value: float) -> Heard:
    time_ns = START.monotonic_ns + round(seconds * 1e9)
    reading = Reading(time_ns, "neck", Quantity.ANGLE, value, f"{value:.2f}", "deg", 0.05)
    return Heard("neck", Chunk(time_ns, b""), (reading,))


def test_a_clock_that_was_set_is_noted_in_each_sitting_that_follows(tmp_path: Path) -> None:
    def clocks(seconds: int) -> Anchor:
        return Anchor(START.monotonic_ns + seconds * 10**9, START.utc_us + (seconds + 3600) * 10**6)

    path = tmp_path / "work.gaugelog"
    with RecordingWriter.open(path, anchor=START, command="bench") as writer:
        assert writer.note_clock(clocks(1))
        assert not writer.note_clock(clocks(2))
        writer.next_sitting("clamp", START.monotonic_ns + 3 * 10**9)
        assert writer.note_clock(clocks(4))
    with open_recording(path) as kept:
        told = [(each.sitting, each.utc_us - START.utc_us, each.by_s, each.ahead_s) for each in kept.clock_sets()]
    assert told == [(1, 1_000_000, 3600.0, 3600.0), (2, 4_000_000, 3600.0, 3600.0)]


def test_readings_belong_to_the_sitting_they_came_in_and_time_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "work.gaugelog"
    with RecordingWriter.open(path, anchor=START, command="bench") as writer:
        writer.put_gauge(NamedGauge("neck", parse_gauge("angle-line@typed:", "neck")), find_datasheet("angle-line"))
        writer.hear(heard(1.0, 2.80))
        writer.next_sitting("clamp", START.monotonic_ns + 2_000_000_000)
        writer.hear(heard(3.0, 2.85))
        writer.event("seen", "neck", "", START.monotonic_ns + 3_500_000_000)
        with pytest.raises(RecordingBusyError):
            RecordingWriter.open(path, anchor=START, command="other")
        writer.next_sitting("bench", START.monotonic_ns + 4_000_000_000)
        writer.hear(heard(5.0, 2.90))
    with open_recording(path) as kept:
        kept.check()
        assert [(each.command, each.finished) for each in kept.sittings()] == [
            ("bench", True), ("clamp", True), ("bench", True)
        ]  # fmt: skip
        assert [each.start_utc_us - START.utc_us for each in kept.sittings()] == [0, 2_000_000, 4_000_000]
        assert kept.series("neck", command="clamp").value.tolist() == [2.85]
        assert kept.series("neck").value.tolist() == [2.80, 2.85, 2.90]
        assert (kept.series("neck").utc_us - START.utc_us).tolist() == [1_000_000, 3_000_000, 5_000_000]
        assert [event.sitting for event in kept.events()] == [2]
