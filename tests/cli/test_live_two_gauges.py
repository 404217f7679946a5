"""A gauge in the air and one on a cable at once, each lost in the middle and found again. All values invented."""

from __future__ import annotations

import pytest

PLAN = """
name = "baritone"
flat_spot = "tape mark behind the bridge"

[gauges]
angle = "{angle}"
depth = "{depth}"

[[checkpoint]]
id = "block"
kind = "free"
quantity = "angle"
todo = "gauge on the block"
stages = ["before", "after"]
gauge = "angle"
limit = 0.2

[[checkpoint]]
id = "end-rise"
kind = "fretboard-end-rise"
todo = "depth gauge at the fretboard's end"
stages = ["before", "after"]
placements = 2
gauge = "depth"
limit = 0.2
"""


@pytest.fixture
def bench(workshop, monkeypatch: pytest.MonkeyPatch):
    """The workshop with both gauges switched on and a plan that reads them."""
    angle, depth = workshop.switch_on(), workshop.plug_in("depth")
    for name, value in angle.environment.items():
        monkeypatch.setenv(name, value)
    workshop.path.write_text(PLAN.format(angle=angle.name, depth=depth.name), encoding="utf-8")
    angle.do("rest 1.0")
    depth.do("rest 9.0")
    return workshop, angle, depth


def test_both_in_one_capture_each_lost_and_found_again(bench) -> None:
    workshop, angle, depth = bench
    screen = workshop.run("capture", "before")
    screen.expect("█")
    angle.rest(90.0)
    screen.expect(r"block 1 of 3: \+?90\.00")
    angle.do("unplug")
    screen.expect("angle: (lost|asleep)")
    angle.do("plug")
    angle.rest(90.05)
    screen.expect(r"block 2 of 3: \+?90\.05", wait_s=40)
    angle.rest(90.1)
    screen.expect(r"block 3 of 3: \+?90\.10")
    depth.rest(4.5)
    screen.expect(r"end-rise 1 of 2: \+?4\.50")
    depth.do("unplug")
    screen.expect("depth: lost")
    depth.do("plug")
    depth.rest(4.52)
    screen.expect(r"end-rise 2 of 2: \+?4\.52", wait_s=40)
    assert screen.end() == 0
    assert "Traceback" not in screen.text
    assert workshop.texts("before") == {"block": ["90.00", "90.05", "90.10"], "end-rise": ["4.50", "4.52"]}


def test_both_in_one_clamp_session_with_the_gaps_marked(bench) -> None:
    workshop, angle, depth = bench
    screen = workshop.run("clamp")
    screen.expect(r"angle.*\+?1\.0")
    screen.expect(r"depth.*\+?9\.0")
    for gauge, name in ((angle, "angle"), (depth, "depth")):
        gauge.do("unplug")
        screen.expect(f"{name}: lost")
        gauge.do("plug")
        screen.expect(f"{name}: connected", wait_s=40)
        screen.expect(rf"{name} .*1 gap", wait_s=40)
    screen.type("e")
    assert screen.end() == 0
    with workshop.recording as recording:
        gaps = [(gap.gauge, gap.fault) for gap in recording.gaps()]
        events = [event.kind for event in recording.events() if event.kind.startswith("link")]
    assert gaps == [("angle", True), ("depth", True)]
    assert events.count("link lost") == 2
    assert events.count("link connected") == 4
