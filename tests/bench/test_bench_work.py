"""What the bench does when it is asked, over its port, with a simulated gauge; and what the recording then holds."""

from __future__ import annotations

import json
import subprocess
import sys
import time

import pytest

from gaugelog.bench.client import COOKIE
from gaugelog.store.reader import open_recording


def kept(bench):
    return open_recording(bench.folder / "baritone.gaugelog")


def run_beside(bench, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run a command in the bench's folder."""
    return subprocess.run(
        [sys.executable, "-m", "gaugelog", *arguments], cwd=bench.folder, capture_output=True, text=True
    )


def test_it_is_the_recording_s_one_writer(serve) -> None:
    bench = serve()
    assert bench.url
    ran = run_beside(bench, "capture", "before", "--json")
    assert ran.returncode == 2
    assert "gaugelog bench" in ran.stderr


@pytest.mark.parametrize("options", [(), ("--share",)])
def test_a_mark_from_the_command_line_goes_through_the_bench(serve, options: tuple[str, ...]) -> None:
    bench = serve(*options)
    assert bench.url
    note = bench.folder / "baritone.gaugelog.bench"
    assert note.stat().st_mode & 0o077 == 0
    refused = run_beside(bench, "clamp", "--mark", "glue on")
    assert refused.returncode == 2
    assert "no clamp session is being recorded" in refused.stderr
    key = json.loads(note.read_text())["key"]
    assert bool(key) == bool(options)
    assert bench.ask("POST", "/do", b'{"do": "clamp"}', Cookie=f"{COOKIE}={key}")[0] == 200
    for words in (("glue on", "--ago", "2m"), ("cauls warm",)):
        marked = run_beside(bench, "clamp", "--mark", *words)
        assert marked.returncode == 0, marked.stderr
        assert f"At the bench: Marked: {words[0]}" in marked.stdout
    assert run_beside(bench, "clamp", "--mark", "glue onn").returncode == 2
    assert run_beside(bench, "clamp", "--mark", "glue on", "--ago", "soon").returncode == 2
    now_us = time.time_ns() // 1000
    bench.end()
    assert not note.exists()
    with kept(bench) as recording:
        glue, said = recording.marks()
    assert (glue.kind.value, said.words) == ("glue on", "cauls warm")
    assert abs(now_us - 120e6 - glue.utc_us) < 15e6


def test_a_note_that_leads_nowhere_harms_nothing(serve) -> None:
    bench = serve()
    assert bench.url
    bench.end()
    note = bench.folder / "baritone.gaugelog.bench"
    for left in ('{"port": 1, "key": ""}', "[]", "{"):
        note.write_text(left)
        assert run_beside(bench, "clamp", "--mark", "glue on").returncode == 0
    with kept(bench) as recording:
        assert [mark.kind.value for mark in recording.marks()] == ["glue on"] * 3


def test_sanding_tells_how_far_off_keeps_passes_and_readings(serve) -> None:
    bench = serve()
    assert "Sanding by neck" in bench.do(do="sand", gauge="neck", target="3.0", within="0.1")["said"]
    told = bench.events("reading")
    sanding = told[-1][1]["sanding"]
    assert sanding["figures"] == "2.80"
    assert sanding["way"] == "0.20° too small"
    assert sanding["inside"] is False
    assert "Pass 1" in bench.do(do="pass")["said"]
    assert "zero" in bench.do(do="zero")["said"]
    assert "error" in bench.do(do="sand", gauge="neck", target="half")
    assert "error" in bench.do(do="sand", gauge="nobody")
    assert "Ended: sanding" in bench.do(do="end")["said"]
    assert "error" in bench.do(do="pass")
    with kept(bench) as recording:
        assert [event.kind for event in recording.events() if event.kind in ("pass", "zero")] == ["pass", "zero"]
        assert [each.command for each in recording.sittings()] == ["bench", "stream", "bench"]
        assert recording.series("neck", command="stream").value.size > 0


def test_a_snapshot_is_taken_by_typing_and_by_itself(serve) -> None:
    bench = serve(gauges='neck = "angle-line@sim:?value=2.80&rest=hand&rate=20"')
    assert "Taking the snapshot before" in bench.do(do="snapshot", stage="before")["said"]
    until = time.monotonic() + 40
    values: list[str] = []
    while len(values) < 1 and time.monotonic() < until:
        state = bench.events("state")[-1][1]
        task = next(each for each in state["snapshot"]["tasks"] if each["id"] == "neck-angle")
        values = task["values"]
        if task["current"] is False and not values:
            bench.do(do="turn", checkpoint="neck-angle")
        time.sleep(0.5)
    assert values, "the simulated hand sets the gauge down every few seconds"
    bench.do(do="turn", checkpoint="clearance-bass")
    assert "0.25..0.30" in bench.do(do="type", value="0.25..0.30")["said"]
    assert "error" in bench.do(do="type", value="a hair")
    assert "error" in bench.do(do="skip", reason="")
    assert "Dropped" in bench.do(do="drop")["said"]
    assert "error" in bench.do(do="turn", checkpoint="clearance-bas")
    assert "error" in bench.do(do="snapshot", stage="befor")
    bench.do(do="end")
    with kept(bench) as recording:
        snapshot = recording.snapshot("before")
        dropped = [each for each in snapshot.placements if each.dropped]
        assert [each.placement.text for each in dropped] == ["0.25..0.30"]
        assert len(snapshot.of("neck-angle")) >= 1


def test_a_clamp_session_is_marked_noted_and_spot_read_at_the_bench(serve) -> None:
    bench = serve()
    assert "error" in bench.do(do="mark", name="glue on")
    assert "Recording" in bench.do(do="clamp")["said"]
    assert "Marked: glue on" in bench.do(do="mark", name="glue on")["said"]
    assert "error" in bench.do(do="mark", name="glue off")
    assert "Marked: cauls warm" in bench.do(do="note", words="cauls warm")["said"]
    assert "Spot reading kept" in bench.do(do="spot", checkpoint="clearance-bass", value="0.30")["said"]
    assert "Nothing called" in bench.do(do="acknowledge")["said"]
    state = bench.events("state")[-1][1]
    assert state["clamps"]["phase"] == "glue open"
    assert "by your label" in " ".join(state["clamps"]["times"])
    time.sleep(1.5)
    bench.do(do="end")
    with kept(bench) as recording:
        assert [mark.kind.value for mark in recording.marks()] == ["glue on", "note"]
        assert recording.series("neck", command="clamp").value.size > 5
        assert [each.command for each in recording.sittings()] == ["bench", "clamp", "bench"]
        recording.check()
