"""Silence, an adapter that is gone, and everything at once: told, marked, and nothing lost. All values invented."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from pathlib import Path
from random import Random
from typing import Any

import pytest
from faults_links import FAMILIES
from link_bench import LONGEST_SILENCE_S, TOP, Bench, look
from rounds import run

from gaugelog.links.clock import now_ns

MARGIN_S = 1.5
"""A tick, a second for the commit, and a busy machine."""


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with Bench(tmp_path) as bench:
        yield bench


@pytest.mark.parametrize("way", ["pty", "tcp"])
def test_a_silence_is_told_in_time_and_marked_from_reading_to_reading(bench: Bench, way: str) -> None:
    source = bench.plugged("neck") if way == "pty" else bench.served("neck")
    bench.plan()
    bench.start("clamp")
    time.sleep(1.0)
    source.do("hush")
    hushed_s = time.monotonic()
    bench.until(lambda: "neck: silent" in bench.output, "silent")
    told_s = time.monotonic() - hushed_s
    time.sleep(1.0)
    source.do("speak")
    bench.until(lambda: "neck: connected, it sends again" in bench.output, "sends again")
    time.sleep(1.0)
    end_ns = now_ns()
    ledger = source.end()
    recording = bench.end()
    found = look(recording, "neck", ledger, end_ns)
    assert (found.wrong, found.missing, found.outages) == ([], 0, 1)
    assert told_s + 0.1 > LONGEST_SILENCE_S
    assert told_s < LONGEST_SILENCE_S + MARGIN_S
    gap = recording.gaps()[0]
    assert (gap.reason, gap.fault) == ("silent", True)
    assert "alarm lost" in [event.kind for event in recording.events()]


@pytest.fixture
def air(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """A workshop with a gauge on the virtual radio, and the command in a terminal."""
    if sys.platform == "win32":
        pytest.skip("there are no ptys on this system")
    monkeypatch.syspath_prepend(str(TOP / "tests" / "cli"))
    from live_workshop import Workshop

    place = Workshop(tmp_path)
    gauge = place.switch_on()
    for name, value in gauge.environment.items():
        monkeypatch.setenv(name, value)
    place.plan(f'angle = "{gauge.name}"')
    gauge.do("rest 2.8")
    screen = place.run("clamp")
    screen.expect("2.80")
    yield place, gauge, screen
    place.close()


def test_a_radio_adapter_that_is_gone_is_told_and_the_silence_lasts_to_the_end(air) -> None:
    place, gauge, screen = air
    gauge.close()  # the adapter's process: its end of the socket that the virtual radio stands on is gone
    screen.expect("angle: lost, no Bluetooth adapter", 10)
    time.sleep(0.5)
    screen.type("e")
    assert screen.end() == 0
    place.recording.check()
    (gap,) = place.recording.gaps()
    assert (gap.reason, gap.fault) == ("no Bluetooth adapter", True)


def test_a_radio_that_is_switched_off_and_on_is_told_and_goes_on(air) -> None:
    place, gauge, screen = air
    gauge.do("dark")
    screen.expect("angle: lost, Bluetooth is off", 10)
    gauge.do("rest 3.1")
    gauge.do("light")
    screen.expect("angle: connected", 20)
    screen.expect("3.10", 10)
    time.sleep(1.2)
    screen.type("e")
    assert screen.end() == 0
    place.recording.check()
    times = place.recording.series("angle").utc_us
    gaps = place.recording.gaps()
    assert [gap.reason for gap in gaps] == ["Bluetooth is off"]
    assert {gaps[0].start_utc_us, gaps[0].end_utc_us} <= set(times.tolist())


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.name)
def test_a_round_of_everything_at_random(family, tmp_path: Path) -> None:
    outcome = run(family, family.short, Random().randrange(10**6), tmp_path)
    print(outcome)
    outcome.must_be_clean()
    assert outcome.acknowledged > 1000
