"""gaugelog stopped and continued as a suspend would, and a computer that slept: order kept, gaps marked, times told.

All values invented. Stopping is real (SIGSTOP, SIGCONT). Sleep can't be had in a test: the clocks that count it are
moved on for the program, as the kernel moves them on (`stepped_clock`).
"""

from __future__ import annotations

import time
from collections.abc import Iterator

import numpy as np
import pytest
from link_bench import Bench, look

from gaugelog.links.clock import now_ns


@pytest.fixture
def bench(tmp_path) -> Iterator[Bench]:
    with Bench(tmp_path) as bench:
        yield bench


@pytest.mark.parametrize(("way", "stopped_s"), [("pty", 4.0), ("tcp", 6.0)])
def test_stopped_for_seconds_what_waited_is_read_in_order_and_the_stop_is_a_gap(
    bench: Bench, way: str, stopped_s: float
) -> None:
    source = bench.plugged("neck") if way == "pty" else bench.served("neck")
    bench.plan()
    bench.start("clamp")
    time.sleep(1.0)
    bench.stand_still(stopped_s)
    time.sleep(2.0)
    end_ns = now_ns()
    ledger = source.end()
    recording = bench.end()
    found = look(recording, "neck", ledger, end_ns, bench.stops)
    assert (found.wrong, found.missing, found.outages) == ([], 0, 1)
    assert found.healthy > 50 * stopped_s, "what was sent meanwhile counts too: it waited in the system's buffer"
    gap = recording.gaps()[0]
    assert gap.reason.startswith("gaugelog stood still")
    assert gap.fault
    assert (gap.end_utc_us - gap.start_utc_us) / 1e6 == pytest.approx(stopped_s, abs=1.0)
    (event,) = (event for event in recording.events() if event.kind == "stood still")
    assert "stopped" in event.words
    assert "Nothing was watched for" in bench.output
    assert "stood still" in bench.said("drift", "--no-chart")
    late = recording.series("neck").utc_us
    stamped = int(np.count_nonzero(late == gap.end_utc_us))
    assert stamped > 10, "those that waited are stamped when they were read, which the gap's reason explains"


def test_a_stop_below_the_longest_silence_is_none(bench: Bench) -> None:
    source = bench.plugged("neck")
    bench.plan()
    bench.start("clamp")
    time.sleep(1.0)
    bench.stand_still(1.0)
    time.sleep(1.0)
    end_ns = now_ns()
    ledger = source.end()
    recording = bench.end()
    found = look(recording, "neck", ledger, end_ns, bench.stops)
    assert (found.wrong, found.missing, found.outages) == ([], 0, 0)


def test_after_two_hours_of_sleep_times_are_those_of_the_wall_clock_again(bench: Bench) -> None:
    """The clock that stands still in sleep is not what readings are stamped with: they would be two hours early."""
    source = bench.plugged("neck")
    bench.plan()
    bench.start("clamp")
    time.sleep(1.0)
    bench.set_clock(slept_s=7200.0)
    time.sleep(2.0)
    woke_us = time.time_ns() // 1000 + 7_200_000_000
    source.end()
    recording = bench.end()
    utc_us = recording.series("neck").utc_us
    assert np.all(np.diff(utc_us) >= 0)
    assert abs(int(utc_us[-1]) - woke_us) < 1_500_000
    gap = recording.gaps()[0]
    assert gap.reason.startswith("gaugelog stood still: the computer slept")
    assert (gap.end_utc_us - gap.start_utc_us) / 1e6 == pytest.approx(7200, abs=1)
    assert recording.clock_sets() == (), "the wall clock agrees: nobody set it"
