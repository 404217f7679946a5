"""`gaugelog stream` as it is used: in a terminal, and piped. All values invented."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

LOG = Path(__file__).parents[2] / "recordings" / "angle-on-the-neck.raw"

READING_KEYS = {
    *("seconds", "gauge", "value", "unit", "text", "text_unit", "resolution", "flags"),
    *("zero", "from_zero", "target", "within", "off", "in_band", "passes"),
}
BAND = ("--target", "90", "--within", "0.2")


def bells(screen) -> int:
    return screen.raw.count("\a")


def test_the_bell_rings_on_entering_the_band_and_keys_are_kept(workshop) -> None:
    gauge = workshop.plug_in()
    gauge.do("rest 92.0")
    screen = workshop.run("stream", "angle", *BAND, "--record")
    screen.expect("█")
    assert bells(screen) == 0
    gauge.do("rest 90.1")
    screen.expect("\a|in the band|within")
    screen.expect(r"0\.10")
    screen.type(" ")
    screen.expect(r"90\.10")
    screen.type("z")
    screen.expect("zero")
    screen.type("q")
    assert screen.end() == 0
    assert bells(screen) == 1
    assert "Traceback" not in screen.text
    kinds = [event.kind for event in workshop.recording.events() if not event.kind.startswith("link")]
    assert kinds == ["pass", "zero"]
    readings = workshop.recording.readings("angle")
    assert {round(value, 2) for value in readings["angle_deg"]} == {92.0, 90.1}


def test_quiet_rings_no_bell(workshop) -> None:
    gauge = workshop.plug_in()
    gauge.do("rest 90.1")
    screen = workshop.run("stream", "angle", *BAND, "--quiet")
    screen.expect(r"0\.10")
    screen.type("q")
    assert screen.end() == 0
    assert bells(screen) == 0
    assert not workshop.recording_path.exists()


def test_ctrl_c_ends_it(workshop) -> None:
    workshop.plug_in()
    screen = workshop.run("stream", "angle")
    screen.expect("█")
    screen.type("\x03")
    assert screen.end() == 0
    assert "Traceback" not in screen.text


def test_a_gauge_that_is_unplugged_comes_back(workshop) -> None:
    gauge = workshop.plug_in()
    gauge.do("rest 91.5")
    screen = workshop.run("stream", "angle", *BAND)
    screen.expect("█")
    gauge.do("unplug")
    screen.expect("lost")
    gauge.do("rest 91.25")
    gauge.do("plug")
    screen.expect(r"1\.25")
    screen.type("q")
    assert screen.end() == 0


def test_piped_every_line_is_an_object(workshop) -> None:
    gauge = workshop.plug_in()
    gauge.do("rest 90.1")
    with workshop.started("stream", "angle", *BAND) as program:
        lines = [json.loads(program.stdout.readline()) for _ in range(5)]
        program.stdin.write("\nz\n")
        while "zero" not in lines[-1] or "value" in lines[-1]:
            lines.append(json.loads(program.stdout.readline()))
        program.stdin.write("q\n")
        rest, errors = program.communicate(timeout=10)
        lines += [json.loads(line) for line in rest.splitlines()]
        assert program.returncode == 0
    assert errors == ""
    assert "\a" not in rest
    readings = [line for line in lines if "text" in line]
    assert all(set(line) >= READING_KEYS for line in readings)
    assert readings[0]["value"] == pytest.approx(90.1)
    assert (readings[0]["in_band"], readings[0]["off"]) == (True, pytest.approx(0.1))
    others = [line for line in lines if "text" not in line]
    assert [next(iter(line)) for line in others] == ["link", "pass", "zero"]


def test_typed_readings_are_all_readings(workshop) -> None:
    ran = workshop.piped("stream", "angle-line@typed:", lines="+ 90.10 deg\n+ 90.20 deg\n+ 90.30 deg\n")
    assert (ran.returncode, ran.stderr) == (0, "")
    lines = [json.loads(line) for line in ran.stdout.splitlines()]
    assert [line["text"] for line in lines if "text" in line] == ["90.10", "90.20", "90.30"]


def test_a_reader_that_goes_away_ends_it(workshop) -> None:
    workshop.plug_in()
    with workshop.started("stream", "angle") as program:
        program.stdout.readline()
        program.stdout.close()
        errors = program.stderr.read()
        assert (program.wait(timeout=10), errors) == (141, "")


def test_a_replayed_log_ends_by_itself(workshop) -> None:
    ran = workshop.piped("stream", f"angle-line@replay:{LOG}?speed=max")
    assert ran.returncode == 0
    values = [line["value"] for line in map(json.loads, ran.stdout.splitlines()) if "text" in line]
    assert values[:4] == [4.60, 3.40, 2.95, 2.80]


def test_the_logs_are_read_with_their_bytes(workshop) -> None:
    ran = workshop.piped("gauges", "read", f"angle-line@replay:{LOG}", "--raw", "--count", "4")
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "4.60" in ran.stdout
    assert "deg" in ran.stdout


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("angel",), "angle"),
        (("angle-lime@typed:",), "angle-line"),
        (("angle", "--target", "ninety"), "ninety"),
        (("angle", "--target", "90 mm"), "mm"),
        (("angle", "--within", "0.2"), "--target"),
        (("angle-line@nowhere:",), "nowhere"),
        (("angle-line@serial:/nowhere?baud=fast",), "baud"),
    ],
)
def test_wrong_use_is_told(workshop, arguments, told) -> None:
    ran = workshop.piped("stream", *arguments)
    assert ran.returncode == 2
    assert told in ran.stderr
    assert "Traceback" not in ran.stderr
