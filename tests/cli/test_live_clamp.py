"""`gaugelog clamp` as it is used: in a terminal, and beside other programs. All values invented."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import time

import pytest

from gaugelog.model.placement import MarkKind

GAUGELOG = [sys.executable, "-m", "gaugelog"]


def test_a_session_by_keys_in_two_sittings(workshop) -> None:
    workshop.piped("capture", "before", "--at", "clearance-bass", lines="0.50..0.55\n0.50..0.55\n")
    gauge = workshop.plug_in()
    gauge.do("rest 2.8")
    screen = workshop.run("clamp")
    screen.expect("2.80")
    for key, told in (("g", "Marked: glue on"), ("c", "Marked: clamps on"), ("f", "Marked: clamps off")):
        screen.type(key)
        screen.expect(told)
    screen.type("b")
    screen.expect("how long ago")
    screen.type("clamps on 2m\n")
    screen.expect("Marked: clamps on, 2m ago")
    screen.type("b")
    screen.type("clamps on soon\n")
    screen.expect("clamps on soon")
    screen.type("n")
    screen.expect("Note")
    screen.type("\n")
    screen.expect("a note has words")
    screen.type("n")
    screen.type("cauls warmed\n")
    screen.expect("Marked: cauls warmed")
    screen.type("r")
    screen.type("clearance-bass 0.55\n")
    screen.expect("Spot reading kept: clearance-bass 0.55")
    screen.type("r")
    screen.type("clearance-bas 0.55\n")
    screen.expect("clearance-bas")
    screen.type("w")
    screen.expect("Wet check, clearance-bass")
    screen.type("0.50..0.55\n")
    screen.expect("Wet check. clearance-bass")
    screen.type("\x03")
    assert screen.end() == 0
    assert "Traceback" not in screen.text

    screen = workshop.run("clamp")
    screen.expect("2.80")
    screen.type("e")
    assert screen.end() == 0

    recording = workshop.recording
    marks = recording.marks()
    assert sorted(mark.kind.value for mark in marks) == [
        *("clamps off", "clamps on", "clamps on", "glue on", "note"),
    ]
    on = sorted(mark.utc_us for mark in marks if mark.kind is MarkKind.CLAMPS_ON)
    assert 118e6 < on[1] - on[0] < 130e6
    assert [sitting.command for sitting in recording.sittings()] == ["capture before", "clamp", "clamp"]
    assert all(sitting.finished for sitting in recording.sittings())
    assert workshop.texts("spot") == {"clearance-bass": ["0.55"]}
    assert workshop.texts("wet") == {"clearance-bass": ["0.50..0.55"]}
    assert set(recording.readings("angle")["angle_deg"].round(2)) == {2.8}
    recording.check()


def test_others_read_while_it_runs_and_a_second_writer_is_refused(workshop) -> None:
    gauge = workshop.plug_in()
    lines = "2.80\n0.50\n0.50\n0.10\n0.10\n"
    points = ("--at", "neck-angle", "--at", "clearance-bass", "--at", "relief")
    assert workshop.piped("capture", "before", *points, lines=lines).returncode == 0
    workshop.piped("capture", "after", lines=lines)
    gauge.do("rest 2.8")
    screen = workshop.run("clamp")
    screen.expect("2.80")
    screen.type("c")
    screen.expect("Marked: clamps on")
    time.sleep(1.2)
    for command in (("clamp",), ("capture", "before", "--again"), ("clamp", "--mark", "clamps off")):
        refused = workshop.piped(*command, lines="2.8\n")
        assert refused.returncode == 2
        assert "gaugelog clamp" in refused.stderr
        assert str(screen.process.pid) in refused.stderr
    compared = workshop.document("compare")
    assert {row["id"] for row in compared["checkpoints"]} >= {"neck-angle", "clearance-bass"}
    (series,) = workshop.document("drift")["series"]
    assert series["name"] == "angle"
    assert sum(phase["n"] for phase in series["phases"]) > 3
    screen.type("e")
    assert screen.end() == 0


def test_a_gauge_that_goes_away_is_told_and_its_gap_is_marked(workshop) -> None:
    gauge = workshop.plug_in()
    gauge.do("rest 2.8")
    screen = workshop.run("clamp")
    screen.expect("2.80")
    gauge.do("unplug")
    screen.expect("angle: lost")
    gauge.do("rest 2.9")
    gauge.do("plug")
    screen.expect("angle: connected")
    screen.expect("2.90")
    screen.type("e")
    assert screen.end() == 0
    assert "\a" in screen.raw
    (gap,) = workshop.recording.gaps()
    assert (gap.gauge, gap.fault) == ("angle", True)
    assert gap.end_utc_us > gap.start_utc_us
    assert "2.9" in {f"{value:.1f}" for value in workshop.recording.readings("angle")["angle_deg"]}


def test_a_gauge_whose_program_is_killed_is_told(workshop) -> None:
    gauge = workshop.plug_in()
    gauge.do("rest 2.8")
    screen = workshop.run("clamp")
    screen.expect("2.80")
    gauge.close()
    screen.expect("angle: lost")
    screen.type("e")
    assert screen.end() == 0
    assert len(workshop.recording.gaps()) == 1


def test_a_closed_terminal_ends_the_sitting_properly(workshop) -> None:
    gauge = workshop.plug_in()
    gauge.do("rest 2.8")
    screen = workshop.run("clamp")
    screen.expect("2.80")
    screen.hang_up()
    screen.process.wait(10)
    assert [sitting.finished for sitting in workshop.recording.sittings()] == [True]


def test_a_mark_alone_may_lie_back(workshop) -> None:
    ran = workshop.piped("clamp", "--mark", "clamps off", "--ago", "2m")
    assert (ran.returncode, ran.stderr) == (0, "")
    (mark,) = workshop.recording.marks()
    assert mark.kind is MarkKind.CLAMPS_OFF
    assert 119 < time.time() - mark.utc_us / 1e6 < 180
    for wrong in (("--mark", "clamps off", "--ago", "soon"), ("--mark", " "), ("--ago", "2m")):
        assert workshop.piped("clamp", *wrong, lines="e\n").returncode == 2
    assert len(workshop.recording.marks()) == 1


def test_piped_lines_are_marks_and_readings(workshop) -> None:
    workshop.plan('angle = "angle-line@typed:"')
    lines = "g\nc 2m\nn cauls warmed\nb clamps off 1 min\nr clearance-bass 0.50..0.55\nr nothing\nx\ne\ng\n"
    ran = workshop.piped("clamp", lines=lines)
    assert (ran.returncode, ran.stderr) == (0, "")
    kinds = [mark.kind.value for mark in workshop.recording.marks()]
    assert sorted(kinds) == ["clamps off", "clamps on", "glue on", "note"]
    assert workshop.texts("spot") == {"clearance-bass": ["0.50..0.55"]}
    assert "\x1b" not in ran.stdout


@pytest.mark.parametrize("arguments", [("capture", "before"), ("clamp",), ("stream", "angle", "--record")])
def test_a_faulty_datasheet_is_told(workshop, arguments) -> None:
    (workshop.folder / "datasheets").mkdir()
    (workshop.folder / "datasheets" / "mine.toml").write_text('name = "mine"\nquantity = "weight"\n', encoding="utf-8")
    workshop.plan('angle = "mine@typed:"')
    ran = workshop.piped(*arguments, lines="2.8\n")
    assert ran.returncode == 2
    assert "quantity" in ran.stderr
    assert "weight" in ran.stderr
    assert "Traceback" not in ran.stderr
    assert not workshop.recording_path.exists()


@pytest.mark.parametrize("arguments", [("capture", "before"), ("clamp",), ("stream", "angle", "--record")])
def test_a_recording_of_a_newer_version_is_left_as_it_is(workshop, arguments) -> None:
    workshop.plan('angle = "angle-line@typed:"')
    workshop.piped("capture", "before", lines="2.8\nq\n")
    with sqlite3.connect(workshop.recording_path) as database:
        database.execute("PRAGMA user_version = 999")
    database.close()
    before = workshop.recording_path.read_bytes()
    ran = workshop.piped(*arguments, lines="2.8\n")
    assert ran.returncode == 2
    assert "newer" in ran.stderr
    assert "Traceback" not in ran.stderr
    assert workshop.recording_path.read_bytes() == before


def test_what_is_not_in_the_plan_is_told_before_anything_is_written(workshop) -> None:
    workshop.plan('angle = "angle-line@typed:"')
    ran = workshop.piped("capture", "before", "--at", "clearance-bas", lines="0.5\n")
    assert ran.returncode == 2
    assert "clearance-bass" in ran.stderr
    ran = workshop.piped("clamp", "--gauge", "angel")
    assert ran.returncode == 2
    assert "angle" in ran.stderr


def test_a_program_without_input_records_until_it_is_told_to_end(workshop) -> None:
    gauge = workshop.plug_in()
    gauge.do("rest 2.8")
    command = [*GAUGELOG, "clamp"]
    closed = subprocess.Popen(
        ["sh", "-c", 'exec "$@" <&-', "sh", *command],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=workshop.folder,
    )
    assert closed.stdout is not None
    while "connected" not in closed.stdout.readline():
        assert closed.poll() is None
    closed.terminate()
    _, errors = closed.communicate(timeout=10)
    assert (closed.returncode, errors) == (0, "")
    assert [sitting.finished for sitting in workshop.recording.sittings()] == [True]


def test_a_slip_rings_is_kept_runs_the_builder_s_command_and_is_acknowledged(workshop) -> None:
    gauge = workshop.plug_in()
    gauge.do("rest 2.8")
    told = workshop.folder / "told.txt"
    screen = workshop.run("clamp", "--on-alarm", f'printf "%s\\n" "$GAUGELOG_KIND $GAUGELOG_WORDS" >> {told}')
    screen.expect("2.80")
    screen.type("g")
    screen.expect("Marked: glue on")
    screen.type("c")
    screen.expect("Marked: clamps on")
    screen.expect(r"in clamps 1[2-9]\s")  # settling and learning are over
    gauge.do("rest 3.1")
    screen.expect("SLIP")
    screen.expect("I have seen it")
    screen.type("a")
    screen.expect("Seen: it is kept")
    screen.type("e")
    assert screen.end() == 0
    assert "slip SLIP: neck or gauge (angle; no body gauge takes the bench out) up 0.3" in told.read_text().replace(
        "\u00a0", " "
    )
    kinds = [event.kind for event in workshop.recording.events()]
    assert "alarm slip" in kinds
    assert "acknowledged" in kinds
