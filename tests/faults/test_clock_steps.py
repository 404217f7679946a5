"""The wall clock set by an hour, forward and back, under running commands. All values invented.

The step is made for the program alone, through the clock it reads (`stepped_clock`): this machine's own is left alone.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterator

import numpy as np
import pytest
from link_bench import Bench, look

from gaugelog.links.clock import now_ns
from gaugelog.store.reader import open_recording


@pytest.fixture
def bench(tmp_path) -> Iterator[Bench]:
    with Bench(tmp_path) as bench:
        bench.plugged("neck")
        bench.plan()
        yield bench


def test_clamp_goes_on_in_order_keeps_the_steps_and_explains_them(bench: Bench) -> None:
    bench.start("clamp")
    time.sleep(1.0)
    for off_s in (3600.0, 0.0, -3600.0):
        bench.set_clock(off_s)
        bench.type("n noted")
        time.sleep(1.2)
    bench.until(lambda: bench.output.count("The computer's clock was set") == 3, "told")
    end_ns = now_ns()
    ledger = bench.sources["neck"].end()
    recording = bench.end()
    found = look(recording, "neck", ledger, end_ns)
    assert (found.wrong, found.missing, found.outages) == ([], 0, 0)
    assert found.healthy > 100
    sets = recording.clock_sets()
    assert [round(each.by_s) for each in sets] == [3600, -3600, -3600]
    assert [round(each.ahead_s) for each in sets] == [3600, 0, -3600]
    marks = [mark.utc_us for mark in recording.marks()]
    assert marks == sorted(marks)
    assert marks[-1] - marks[0] < 5_000_000, "marks keep to the session's time too"
    told = bench.said("drift")
    assert "The computer's clock was set forward by 1\u00a0h 00\u00a0min at" in told
    assert "so that it agreed with this session's time again" in told
    assert "Times of this session go on as each sitting began them" in " ".join(told.split())
    assert "was set forward by 1" in (bench.folder / "baritone-drift.html").read_text(encoding="utf-8")
    document = json.loads(bench.said("drift", "--json"))
    assert [round(each["by_s"]) for each in document["clock_sets"]] == [3600, -3600, -3600]
    bench.said("report", "-o", "report.html")
    assert "clock was set back by 1" in (bench.folder / "report.html").read_text(encoding="utf-8")
    rows = bench.said("export", "readings").splitlines()
    times = [row.split(",")[0] for row in rows[1:]]
    assert times == sorted(times)


def test_a_clock_that_was_set_back_between_two_sittings_is_told(bench: Bench) -> None:
    bench.start("clamp")
    time.sleep(1.5)
    bench.end()
    bench.set_clock(-3600.0)
    bench.start("clamp")
    bench.until(lambda: "holds later times than the computer's clock shows" in bench.output, "told")
    time.sleep(1.0)
    bench.end()
    assert "before the one before it had ended" in " ".join(bench.said("drift", "--no-chart").split())


def test_two_sittings_by_a_clock_that_runs_as_clocks_do_have_nothing_told(bench: Bench) -> None:
    for _ in range(2):
        bench.start("clamp")
        time.sleep(1.5)
        bench.end()
    assert "computer's clock" not in bench.output
    assert "clock" not in bench.said("drift", "--no-chart")


@pytest.mark.parametrize("arguments", [("stream", "neck", "--record"), ("capture", "before")])
def test_other_commands_keep_the_step_too(bench: Bench, arguments: tuple[str, ...]) -> None:
    if arguments[0] == "capture":
        text = (bench.folder / "baritone.toml").read_text(encoding="utf-8")
        (bench.folder / "baritone.toml").write_text(
            text.replace("step = 0.05", 'gauge = "neck"')
            .replace("fret-to-bridge-clearance", "free")
            .replace('side = "bass"', 'quantity = "length"'),
            encoding="utf-8",
        )
    bench.start(*arguments) if arguments[0] == "stream" else _start_without_waiting(bench, *arguments)
    time.sleep(1.0)
    bench.set_clock(-3600.0)
    bench.until(lambda: len(_clock_sets(bench)) == 1, "the step")
    recording = bench.end("q")
    assert [round(each.by_s) for each in recording.clock_sets()] == [-3600]
    times = recording.series("neck").utc_us if arguments[0] == "stream" else np.zeros(1)
    assert np.all(np.diff(times) >= 0)


def _start_without_waiting(bench: Bench, *arguments: str) -> None:
    sources, bench.sources = bench.sources, {}  # a capture says nothing of a link that is well
    bench.start(*arguments)
    bench.sources = sources
    bench.until(bench.path.exists, "the recording")


def _clock_sets(bench: Bench) -> tuple[object, ...]:
    return open_recording(bench.path).clock_sets()
