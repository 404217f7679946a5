"""The short form of the long run (`soak.py`): nothing lost, nothing doubled, memory flat, the file as predicted.

Eight gauges at fifty readings a second for some seconds on the wall clock; 48 simulated hours with few readings; a
fifth of an hour at the full rate, in which blocks are merged. `python tests/faults/soak.py` is the long form.
"""

from __future__ import annotations

import sys
import tracemalloc
from pathlib import Path

import pytest
import soak

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.model.clock import Anchor
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.instrument import NamedGauge
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Heard, Reading
from gaugelog.store.writer import RecordingWriter

pytestmark = pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="memory is read from /proc, and gauges are pseudo-terminals"
)
MOST_GROWN_MB = 10.0


def must_be_whole(done: soak.Soaked) -> None:
    assert (done.lost, done.doubled, done.wrong) == (0, 0, 0)
    assert done.kept == done.sent
    assert done.grown_mb < MOST_GROWN_MB


def test_on_the_wall_clock_no_reading_is_lost(tmp_path: Path) -> None:
    seconds = 8.0
    done = soak.on_the_wall_clock(tmp_path, seconds)
    must_be_whole(done)
    assert done.sent > 0.5 * seconds * soak.RATE_HZ * soak.GAUGES, "the source itself was held up"


def test_through_48_simulated_hours_no_reading_is_lost(tmp_path: Path) -> None:
    done = soak.through_simulated_time(tmp_path, 48.0, 0.01)
    must_be_whole(done)
    assert done.marks == 4
    assert done.gaps == 24


def test_at_the_full_rate_blocks_are_merged_and_the_size_is_as_predicted(tmp_path: Path) -> None:
    done = soak.through_simulated_time(tmp_path, 0.2, soak.RATE_HZ)
    must_be_whole(done)
    assert done.sent == 0.2 * 3600 * soak.RATE_HZ * soak.GAUGES
    assert 0.8 * done.predicted < done.size < 1.15 * done.predicted


def test_a_gauge_that_never_shows_the_same_twice_fills_no_memory(tmp_path: Path) -> None:
    """Found by the long run: every number ever shown was kept ready, 330 bytes each, up to 160 MB with eight gauges."""
    named = NamedGauge("depth", parse_gauge("depth-line@typed:", "depth"))
    tracemalloc.start()
    try:
        with RecordingWriter.open(tmp_path / "soak.gaugelog", anchor=Anchor(0, soak.UTC_US), command="clamp") as writer:
            writer.put_gauge(named, find_datasheet("depth-line"))
            used = []
            for place in range(1, 40_001):
                text, time_ns = f"{place / 100:.2f}", place * 20_000_000
                reading = Reading(time_ns, "depth", Quantity.LENGTH, place / 100, text, "mm", 0.01)
                writer.hear(Heard("depth", Chunk(time_ns, b""), (reading,)))
                writer.keep_up(time_ns)
                if place % 10_000 == 0:
                    used.append(tracemalloc.get_traced_memory()[0])
    finally:
        tracemalloc.stop()
    assert max(used) - used[0] < 3e6


def test_the_comparison_finds_a_reading_that_is_missing_doubled_or_changed(tmp_path: Path) -> None:
    """Not a formality: a recorder that keeps every reading but one in a thousand, or one twice, must not pass."""
    from gaugelog.store.stream import GaugeStream

    whole, count = GaugeStream.take, 0

    def take(self: GaugeStream, items: tuple) -> None:
        nonlocal count
        count += 1
        if count == 500:
            items = ()
        elif count == 600:
            items = (*items, *(item._replace(time_ns=item.time_ns + 5000) for item in items))
        elif count == 700:
            items = tuple(item._replace(value=item.value + 0.05, text=f"{item.value + 0.05:.2f}") for item in items)
        whole(self, items)

    GaugeStream.take = take  # type: ignore[method-assign]
    try:
        done = soak.through_simulated_time(tmp_path, 0.25, 1.0)
    finally:
        GaugeStream.take = whole  # type: ignore[method-assign]
    assert done.lost == 1
    assert done.wrong >= 1
