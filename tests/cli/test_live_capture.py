"""`gaugelog capture` as it is used: in a terminal, with a gauge on a serial port, and piped. All values invented."""

from __future__ import annotations

import pytest


def test_a_snapshot_in_two_sittings(workshop) -> None:
    gauge = workshop.plug_in()
    gauge.do("rest 0.3")
    screen = workshop.run("capture", "before")
    screen.expect("█")
    gauge.rest(-1.4)
    screen.expect(r"body .?1\.40")
    gauge.rest(1.4)
    screen.expect(r"neck-angle 1 of 1: \+?2\.80")
    gauge.rest(90.0)
    screen.expect(r"block 1 of 2: \+?90\.00")
    screen.type("d")
    screen.expect("Dropped the last placement at block")
    gauge.rest(90.05)
    screen.expect(r"block 1 of 2: \+?90\.05")
    screen.type("q")
    assert screen.end() == 0
    assert "capture before" in screen.text
    assert workshop.texts("before") == {"neck-angle": ["2.80"], "block": ["90.05"]}

    screen = workshop.run("capture", "before")
    screen.expect("block")
    screen.type("90.10\n")
    screen.expect(r"block 2 of 2")
    screen.type("0.50..0.55\n")
    screen.expect("clearance-bass 1 of 2")
    screen.type("half\n")
    screen.type("0.5x\n")
    screen.expect("0.5x")
    screen.type("0.55..0.60\n")
    screen.expect("clearance-bass 2 of 2")
    screen.type("s")
    screen.expect("Why is it skipped")
    screen.type("no feeler at hand\n")
    assert screen.end() == 0
    assert "complete" in screen.text
    assert "Traceback" not in screen.text
    snapshot = workshop.recording.snapshot("before")
    assert snapshot.complete_utc_us is not None
    assert [(skip.checkpoint, skip.reason) for skip in snapshot.skips] == [("relief", "no feeler at hand")]
    assert workshop.texts("before") == {
        "neck-angle": ["2.80"],
        "block": ["90.05", "90.10"],
        "clearance-bass": ["0.50..0.55", "0.55..0.60"],
    }
    assert [kept.dropped for kept in snapshot.placements].count("dropped by hand") == 1
    assert "\a" in screen.raw


def test_a_placement_dropped_after_the_gauge_was_finished_is_read_again_by_the_gauge(workshop) -> None:
    gauge = workshop.plug_in()
    workshop.piped("capture", "before", lines="2.80\n90.0\n90.0\nq\n")
    screen = workshop.run("capture", "before", "--quiet")
    screen.expect("clearance-bass")
    screen.type("d")
    screen.expect("Dropped the last placement at block")
    gauge.rest(90.05)
    screen.expect(r"block 2 of 2: \+?90\.05")
    screen.type("q")
    assert screen.end() == 0
    assert "\a" not in screen.raw


def test_a_gauge_unplugged_on_the_way_is_told_at_once_and_goes_on(workshop) -> None:
    gauge = workshop.plug_in()
    screen = workshop.run("capture", "before", "--at", "block")
    screen.expect("█")
    gauge.do("unplug")
    screen.expect("angle: lost")
    screen.type("90.0\n")
    screen.expect("block 1 of 2")
    gauge.do("plug")
    gauge.do("lift")
    screen.expect("█")
    gauge.rest(90.05)
    screen.expect(r"block 2 of 2: \+?90\.05")
    assert screen.end() == 0


def test_a_gauge_whose_readings_are_typed_leaves_the_keys_to_the_desk(workshop) -> None:
    workshop.plan('angle = "angle-line@typed:"')
    screen = workshop.run("capture", "before")
    screen.expect("neck-angle")
    screen.type("2.80\n")
    screen.expect("neck-angle 1 of 1: 2.80")
    screen.type("90.0\nq")
    assert screen.end() == 0
    assert workshop.texts("before") == {"neck-angle": ["2.80"], "block": ["90.0"]}


def test_ctrl_c_ends_it_and_keeps_what_was_taken(workshop) -> None:
    workshop.plug_in()
    screen = workshop.run("capture", "before")
    screen.expect("neck-angle")
    screen.type("2.80\n")
    screen.expect("neck-angle 1 of 1")
    screen.type("\x03")
    assert screen.end() == 0
    assert "Traceback" not in screen.text
    assert workshop.texts("before") == {"neck-angle": ["2.80"]}


def test_piped_values_and_commands_are_lines(workshop) -> None:
    workshop.plug_in()
    lines = "2.80\n90.0\n90.1\n0.50..0.55\nd feeler bent\n0.55..0.60\n0.50..0.55\ns too dark\n9.9\n"
    ran = workshop.piped("capture", "before", lines=lines)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "clearance-bass 1 of 2: 0.50..0.55" in ran.stdout
    assert "\x1b" not in ran.stdout
    assert "complete" in ran.stdout
    assert workshop.texts("before")["clearance-bass"] == ["0.55..0.60", "0.50..0.55"]
    rows = {row["id"]: row for row in workshop.document("checkpoints")["checkpoints"]}
    assert rows["block"]["stages"] == ["before"]
    assert workshop.piped("capture", "before", lines="1\n").returncode == 2


def test_piped_q_leaves_what_follows_untouched(workshop) -> None:
    workshop.plan('angle = "angle-line@typed:"')
    ran = workshop.piped("capture", "before", "--at", "clearance-bass", lines="0.50\nq\n0.55\n")
    assert ran.returncode == 0
    assert workshop.texts("before") == {"clearance-bass": ["0.50"]}


def test_a_placement_that_was_announced_survives_a_kill(workshop) -> None:
    workshop.plug_in()
    with workshop.started("capture", "before") as program:
        program.stdin.write("2.80\n")
        line = ""
        while not line.startswith("neck-angle 1 of 1"):
            line = program.stdout.readline()
        program.kill()
    assert workshop.texts("before") == {"neck-angle": ["2.80"]}
    workshop.recording.check()


def test_wet_is_compared_at_once(workshop) -> None:
    workshop.plan('angle = "angle-line@typed:"')
    workshop.piped("capture", "before", "--at", "clearance-bass", lines="0.50..0.55\n0.50..0.55\n")
    ran = workshop.piped("capture", "wet", lines="0.50..0.55\n")
    assert ran.returncode == 0
    assert "clearance-bass" in ran.stdout
    assert "held" not in ran.stdout


@pytest.mark.parametrize("arguments", [("capture", "before"), ("clamp",), ("stream", "angle")])
def test_a_port_that_is_not_there(workshop, arguments) -> None:
    ran = workshop.piped(*arguments)
    assert ran.returncode == 2
    assert str(workshop.port) in ran.stderr
    assert "Traceback" not in ran.stderr
