"""Commands beside a running bench: they follow it and ask it, and the recording keeps one writer."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from io import StringIO

from rich.console import Console

from gaugelog.cli.entry import Entry
from gaugelog.show.bench_view import bench_view
from gaugelog.store.reader import open_recording


def beside(bench, *arguments: str, lines: str) -> subprocess.CompletedProcess[str]:
    """Run a command in the bench's folder and type lines into it."""
    return subprocess.run(
        [sys.executable, "-m", "gaugelog", *arguments],
        cwd=bench.folder, input=lines, capture_output=True, text=True, timeout=60,
    )  # fmt: skip


def drawn(state, silent_s: float = 0.0) -> str:
    """Return the terminal's view of what a bench tells."""
    screen = Console(width=100, height=40, record=True, file=StringIO(), force_terminal=True)
    screen.print(bench_view(state, Entry(""), "", silent_s, 100))
    return screen.export_text()


def test_a_snapshot_is_taken_by_a_command_through_the_bench_and_once(serve) -> None:
    bench = serve()
    assert bench.url
    lines = "90.1\n90.2\nd\n90,05\nt clearance-bass\n0.25\ns\nt nowhere\nabc\nq\n"
    ran = beside(bench, "capture", "before", lines=lines)
    assert ran.returncode == 0, ran.stderr
    assert "follows it and asks it" in ran.stdout
    assert "Kept: pocket-wall-squareness 90.1" in ran.stdout
    assert "Dropped: pocket-wall-squareness 90.2" in ran.stdout
    assert "nowhere" in ran.stdout
    state = bench.events("state")[-1][1]
    assert state["doing"] == "snapshot"
    taken = {task["id"]: task["values"] for task in state["snapshot"]["tasks"]}
    assert taken["clearance-bass"] == ["0.25\u00a0mm"]
    assert "clearance-bass" in drawn(state)
    again = beside(bench, "capture", "before", lines="q\n")
    assert "The snapshot before is being taken." in again.stdout
    bench.end()
    with open_recording(bench.folder / "baritone.gaugelog") as recording:
        kept = recording.snapshot("before")
        recording.check()
    assert [each.text for each in kept.of("pocket-wall-squareness")] == ["90.1", "90,05"]
    assert len(recording_snapshots(bench, "before")) == 1


def test_more_placements_at_one_checkpoint_are_taken_through_the_bench(serve) -> None:
    bench = serve()
    assert bench.url
    first = beside(bench, "capture", "before", "--at", "clearance-bass", lines="0.25\n0.25\n0.30\nq\n")
    assert first.returncode == 0, first.stderr
    more = beside(bench, "capture", "before", "--at", "clearance-bass", "--more", "2", lines="0.35\n0.40\nq\n")
    assert more.returncode == 0, more.stderr
    unknown = beside(bench, "capture", "before", "--at", "nowhere", lines="q\n")
    assert unknown.returncode == 2
    assert "nowhere" in unknown.stderr
    for wrong in ({"more": -1}, {"more": "x"}, {"more": True}, {"only": "clearance-bass"}, {"only": [1]}):
        assert "error" in bench.do(do="snapshot", stage="before", **wrong)
    bench.end()
    with open_recording(bench.folder / "baritone.gaugelog") as recording:
        kept = recording.snapshot("before")
    assert [each.text for each in kept.of("clearance-bass")] == ["0.25", "0.25", "0.30", "0.35", "0.40"]
    assert len(recording_snapshots(bench, "before")) == 1


def recording_snapshots(bench, stage: str):
    """Return the snapshots of a stage."""
    with open_recording(bench.folder / "baritone.gaugelog") as recording:
        return recording.snapshots(stage)


def test_a_clamp_session_is_followed_marked_and_left_to_the_bench(serve) -> None:
    bench = serve()
    assert bench.url
    ran = beside(bench, "clamp", lines="g 2m\nn cauls warm\nr clearance-bass 0.30\na\nq\n")
    assert ran.returncode == 0, ran.stderr
    for words in ("Marked: glue on, 2m ago", "Marked: cauls warm", "Spot reading kept", "Nothing called"):
        assert words in ran.stdout
    state = bench.events("state")[-1][1]
    assert state["doing"] == "clamps"
    seen = drawn(state)
    assert "marks: glue on, cauls warm" in seen
    assert "glue open" in seen
    assert "NOT LIVE" not in seen
    assert "NOT LIVE" in drawn(state, silent_s=7.0)
    refused = beside(bench, "capture", "before", lines="q\n")
    assert refused.returncode == 2
    assert "clamp session is being recorded" in refused.stderr
    assert beside(bench, "clamp", lines="e\nq\n").returncode == 0
    assert bench.events("state")[-1][1]["doing"] == ""


def test_what_calls_is_drawn_until_it_is_acknowledged(serve) -> None:
    state = {
        "doing": "clamps", "instrument": "baritone", "simulated": "", "snapshot": None, "sanding": None, "gauges": [],
        "clamps": {
            "phase": "glue open", "times": ["for 1 min 00 s"],
            "gauges": [], "marks": [],
            "alarms": [{"head": "SLIP", "words": "neck up 0.15 at 12:04:31", "calls": True}],
        },
    }  # fmt: skip
    assert "SLIP  neck up 0.15 at 12:04:31" in drawn(state)
    assert "I have seen it" in drawn(state)
    assert "for 1 min 00 s" in drawn(state)
    state["clamps"]["alarms"][0]["calls"] = False
    assert "last told: slip" in drawn(state)
    assert "I have seen it" not in drawn(state)


def test_sanding_at_the_bench_is_drawn_and_old_figures_are_not_shown_as_live(serve) -> None:
    bench = serve()
    bench.do(do="sand", gauge="neck", target="3.0", within="0.1")
    sanding = bench.events("reading")[-1][1]["sanding"]
    state = bench.events("state")[-1][1] | {"sanding": sanding}
    assert "0.20° too small" in drawn(state)
    assert "target 3.00° ± 0.1°" in drawn(state)


def test_the_bench_s_end_is_told_to_who_follows_it(serve) -> None:
    bench = serve()
    assert bench.url
    following = subprocess.Popen(
        [sys.executable, "-u", "-m", "gaugelog", "clamp"],
        cwd=bench.folder, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert following.stdout is not None
    assert "follows it" in following.stdout.readline()
    time.sleep(0.5)
    bench.end()
    _, said = following.communicate(timeout=30)
    assert following.returncode == 2
    assert "the bench has ended" in said
    assert "goes on from there" in said


def test_who_follows_can_leave_a_bench_that_hangs(serve) -> None:
    bench = serve()
    assert bench.url
    following = subprocess.Popen(
        [sys.executable, "-u", "-m", "gaugelog", "clamp"],
        cwd=bench.folder, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert following.stdout is not None
    said = [following.stdout.readline() for _ in range(2)]
    assert "Recording the clamp session." in said[1]
    time.sleep(0.5)
    bench.process.send_signal(signal.SIGSTOP)
    try:
        following.communicate("q\n", timeout=6)  # an answer is waited for ten seconds: leaving must not wait for one
    finally:
        bench.process.send_signal(signal.SIGCONT)
    assert following.returncode == 0
