"""What the bench does when it is asked, over its port, with a simulated gauge; and what the recording then holds."""

from __future__ import annotations

import time

from gaugelog.store.reader import open_recording


def kept(bench):
    return open_recording(bench.folder / "baritone.gaugelog")


def test_it_is_the_recording_s_one_writer(serve, tmp_path) -> None:
    import subprocess
    import sys

    bench = serve()
    assert bench.url
    ran = subprocess.run(
        [sys.executable, "-m", "gaugelog", "clamp", "--mark", "glue on"], cwd=tmp_path, capture_output=True, text=True
    )
    assert ran.returncode == 2
    assert "gaugelog bench" in ran.stderr


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
    assert "by your label" in state["clamps"]["open_left"]
    time.sleep(1.5)
    bench.do(do="end")
    with kept(bench) as recording:
        assert [mark.kind.value for mark in recording.marks()] == ["glue on", "note"]
        assert recording.series("neck", command="clamp").value.size > 5
        assert [each.command for each in recording.sittings()] == ["bench", "clamp", "bench"]
        recording.check()
