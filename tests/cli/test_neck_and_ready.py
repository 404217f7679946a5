"""From readings to the wood that comes off and the gate before the glue, as a builder runs it; values are invented."""

from __future__ import annotations

import asyncio
import math
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from gaugelog.cli import demo_story as story
from gaugelog.cli.demo_play import Demo

BRIDGE, SPREAD, RADIUS, SCALE = 274.5, 52.0, 305.0, 686.0
READINGS = {
    "pocket-wall-squareness": ["90.0", "90.1", "90.0"],
    "neck-angle": ["2.8", "2.8", "2.9"],
    "neck-roll": ["0.0", "0.1", "0.0"],
    "clearance-bass": ["0.50..0.55", "0.50..0.55", "0.55..0.60"],
    "clearance-treble": ["0.55..0.60", "0.50..0.55", "0.55..0.60"],
    "centreline-bridge": ["-0.1", "-0.1", "0.0"],
    "end-rise": ["4.2", "4.1", "4.2"],
}
QUANTITIES = (
    "neck_angle",
    "mm_per_degree",
    "centreline_offset",
    "roll",
    "break_angle",
)
PAIRS = {
    "plane_at_saddle": ("bass", "treble"),
    "required_bearing": ("bass", "treble"),
    "travel": ("low", "high", "margin_low", "margin_high"),
    "angle_window": ("low", "high"),
}


@pytest.fixture
def fitted(run, table):
    """A folder with an instrument file for typed values and a dry fit."""
    run("new", "baritone", "--gauges", "none")
    snapshot(run, table, {})
    return run


def snapshot(run, table, values: dict[str, list[str]], *more: str) -> None:
    rows = run("checkpoints", "--json").document["checkpoints"]
    full = {
        row["id"]: values.get(row["id"], READINGS.get(row["id"], ["0.1", "0.1", "0.2"]))
        for row in rows
        if "before" in row["stages"]
    }
    ran = run("capture", "before", "--from", table("before.csv", full), "--json", *more)
    assert ran.status == 0, ran.err


def edit(tmp_path: Path, old: str, new: str) -> None:
    path = tmp_path / "baritone.toml"
    text = path.read_text(encoding="utf-8")
    assert re.search(old, text, re.MULTILINE), old
    path.write_text(re.sub(old, new, text, count=1, flags=re.MULTILINE), encoding="utf-8")


def fall(across: float) -> float:
    return RADIUS - math.sqrt(RADIUS**2 - across**2)


def bearing(angle_deg: float, height: float, side: int) -> float:
    """The height at which a string bears, in points: nut, 12th fret and bearing on one straight line over the plane.

    Drawn on the plane through the fret tops of the centreline, then turned by the neck angle; the bearing is where
    that line stands over the drilled saddle line. Not the project's formula; geometry alone.
    """
    action, compensation = {-1: (2.2, 4.0), 1: (1.8, 1.5)}[side]
    length = SCALE + compensation
    across_12 = 18.0 + 8.0 * (SCALE / 2) / length
    last = SCALE * (1 - 2 ** (-22 / 12))
    hollow = 4 * 0.15 * (SCALE / 2 / last) * (1 - SCALE / 2 / last)
    nut = 0.5 - fall(18.0)
    over_12 = action - fall(across_12) - hollow
    at_bearing = nut + (over_12 - nut) * length / (SCALE / 2)
    angle = math.radians(angle_deg)
    foot = (BRIDGE + at_bearing * math.sin(angle)) / math.cos(angle)  # along the plane, to be over the saddle line
    return height + foot * math.sin(angle) + at_bearing * math.cos(angle)


def test_every_figure_is_told_with_its_uncertainty(fitted) -> None:
    document = fitted("neck", "--json").document
    every = [document[name] for name in QUANTITIES]
    every += [document[name][part] for name, parts in PAIRS.items() for part in parts]
    for each in every:
        assert each["u"] > 0
        assert each["unit"] in ("deg", "mm", "mm/deg")
        assert math.isfinite(each["value"])
    assert document["stage"] == "before"
    assert document["missing"] == []
    assert {each["input"] for each in document["budget"]} >= {"neck-angle", "clearance-bass", "neck.plane_height"}


@pytest.mark.parametrize(("angle", "height"), [("2.8", "6"), ("4.1", "3.2"), ("-0.5", "9"), ("0", "6.25")])
def test_a_what_if_needs_no_recording_and_is_exact_geometry(run, angle: str, height: str) -> None:
    run("new", "baritone", "--gauges", "none")
    document = run("neck", "--angle", angle, "--plane-height", height, "--json").document
    for name, side in (("bass", -1), ("treble", 1)):
        found = document["required_bearing"][name]["value"]
        assert found == pytest.approx(bearing(float(angle), float(height), side), abs=1e-6)
    assert document["neck_angle"] == {"value": pytest.approx(float(angle)), "u": 0.0, "unit": "deg", "dof": None}
    assert document["plane_at_saddle"]["bass"]["value"] == pytest.approx(
        float(height) + BRIDGE * math.tan(math.radians(float(angle)))
    )
    assert document["stage"] is None


def test_the_window_of_angles_ends_where_the_travel_less_the_reserve_does(run) -> None:
    run("new", "baritone", "--gauges", "none")
    window = run("neck", "--angle", "2.8", "--json").document["angle_window"]
    assert bearing(window["low"]["value"], 6.0, 1) == pytest.approx(16.4, abs=1e-6)
    assert bearing(window["high"]["value"], 6.0, -1) == pytest.approx(24.2, abs=1e-6)


def test_a_what_if_with_a_stage_keeps_the_other_readings(fitted) -> None:
    read = fitted("neck", "--json").document
    lower = fitted("neck", "before", "--plane-height", "5", "--json").document
    assert lower["neck_angle"] == read["neck_angle"]
    assert lower["plane_height"]["value"] == 5.0
    assert lower["stage"] == "before"


def test_left_handed_is_the_same_geometry(fitted, tmp_path: Path) -> None:
    right = fitted("neck", "--json").document
    edit(tmp_path, 'handedness = "right"', 'handedness = "left"')
    left = fitted("neck", "--json").document
    assert {name: left[name] for name in (*QUANTITIES, *PAIRS)} == {name: right[name] for name in (*QUANTITIES, *PAIRS)}


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--plane-height", "-1"), "plane_height"),
        (("--plane-height", "0"), "plane_height"),
        (("--angle", "60"), "45"),
        (("--angle", "steep"), "steep"),
        (("--angle", "2..3"), "one number"),
        (("--plane-height", "6 deg"), "deg"),
        (("--angle", "2.8", "--round", "0"), "--round"),
        (("--angle", "2.8", "--picture", "neck.png"), ".svg"),
        (("nowhere",), "baritone.gaugelog"),
    ],
)
def test_what_cannot_be_is_refused_by_name(run, arguments: tuple[str, ...], told: str) -> None:
    run("new", "baritone", "--gauges", "none")
    ran = run("neck", *arguments)
    assert ran.status == 2
    assert told in ran.err
    assert "Traceback" not in ran.err


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ("^position = .*$", "position = -5", "bridge.position"),
        ("^plane_height = .*$", "plane_height = -1.0", "neck.plane_height"),
        ("^fretboard_radius = .*$", "fretboard_radius = 20", "neck.fretboard_radius"),
    ],
)
def test_impossible_geometry_names_its_key(run, tmp_path: Path, old: str, new: str, key: str) -> None:
    run("new", "baritone", "--gauges", "none")
    edit(tmp_path, old, new)
    for command in (("neck", "--angle", "2.8"), ("ready",)):
        ran = run(*command)
        assert ran.status == 2
        assert key in ran.err or command == ("ready",)


def test_what_is_missing_is_named_and_the_rest_is_said(fitted, tmp_path: Path) -> None:
    edit(tmp_path, "^bass = .*$", "# bass")
    edit(tmp_path, "^tail_anchor_x = .*$", "# no anchor")
    document = fitted("neck", "--json").document
    assert document["required_bearing"] is None
    assert document["break_angle"] is None
    assert document["neck_angle"]["value"] == pytest.approx(2.81, abs=0.05)
    assert document["plane_at_saddle"]["bass"]["u"] > 0
    told = " ".join(document["missing"])
    assert "action.bass" in told
    assert "bridge.tail_anchor_x" in told
    ran = fitted("ready", "--json")
    assert ran.status == 1
    assert any("action.bass" in reason for reason in ran.document["reasons"])


def test_no_pocket_no_cut(fitted, tmp_path: Path) -> None:
    edit(tmp_path, r"^length = 90.*$", "# length")
    assert fitted("neck", "--json").document["cut"] is None
    ran = fitted("neck", "--cut")
    assert ran.status == 2
    assert "pocket.length" in ran.err


def test_inches_in_inches_out(run, table) -> None:
    run("new", "baritone", "--gauges", "none", "--units", "in")
    printed = run("neck", "--angle", "3.4", "--plane-height", "1/4", "--cut").out
    assert " in" in printed
    assert " mm" not in printed
    assert run("neck", "--plane-height", "1/4", "--json").document["plane_height"]["value"] == pytest.approx(6.35)


def test_a_good_dry_fit_is_ready(fitted) -> None:
    ran = fitted("ready", "--json")
    assert ran.status == 0, ran.document["reasons"]
    document = ran.document
    assert document["ready"] is True
    assert document["reasons"] == []
    for row in document["checkpoints"]:
        if row["tolerance"] is not None:
            assert row["p_conform"] >= 0.95
    assert document["movements"]["neck_angle"]["smallest_provable"] > 0
    assert document["movements"]["slide"] == {"smallest_provable": None, "limit": 0.3, "unit": None}
    assert any("Slide" in words for words in document["cannot_tell_apart"])
    printed = fitted("ready").out
    for words in ("ready", "safety sheet", "squeeze-out", "5 min", "24 h", "Clamps"):
        assert words in printed


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"neck-angle": ["3.2", "3.2", "3.3"]}, "neck-angle reads"),
        ({"clearance-bass": [">0.30", ">0.30", ">0.30"]}, "clearance-bass was read as a bound only"),
        ({"clearance-treble": ["1.45..1.55", "1.40..1.50", "1.45..1.50"]}, "clearance-treble is in its tolerance"),
    ],
)
def test_what_is_out_or_unsure_bars(run, table, values: dict[str, list[str]], told: str) -> None:
    run("new", "baritone", "--gauges", "none")
    snapshot(run, table, values)
    ran = run("ready", "--json")
    assert ran.status == 1
    assert any(told in reason for reason in ran.document["reasons"])
    assert "not ready" in run("ready").out


def test_an_unread_checkpoint_bars(run, table) -> None:
    run("new", "baritone", "--gauges", "none")
    run("capture", "before", "--from", table("part.csv", {"neck-angle": READINGS["neck-angle"]}))
    ran = run("ready", "--json")
    assert ran.status == 1
    assert any("clearance-bass was not read" in reason for reason in ran.document["reasons"])


def test_what_must_be_proven_bars_and_what_need_not_warns(fitted, tmp_path: Path) -> None:
    edit(tmp_path, r'(id = "centreline-bridge"(?:.|\n)*?)^limit = .*$', r"\1limit = 0.05")
    warned = fitted("ready", "--json")
    assert warned.status == 0
    assert any("centreline-bridge" in words for words in warned.document["warnings"])
    edit(tmp_path, "^limit = 0.05$", "limit = 0.05\nmust_prove = true")
    barred = fitted("ready", "--json")
    assert barred.status == 1
    assert any("must be proven" in words for words in barred.document["reasons"])


def test_the_bridge_s_travel_bars_and_the_cut_mends_it(fitted, tmp_path: Path) -> None:
    edit(tmp_path, "^bearing_low = .*$", "bearing_low = 12.0")
    edit(tmp_path, "^bearing_high = .*$", "bearing_high = 20.0")
    edit(tmp_path, "^spacer = .*$", "spacer = 5.0")
    ran = fitted("ready", "--json")
    assert ran.status == 1
    assert any("bear" in reason for reason in ran.document["reasons"])
    cut = fitted("neck", "--json").document["cut"]
    assert cut["needed"] is True
    after = cut["outcome"]["required_bearing"]
    assert max(after["bass"]["value"], after["treble"]["value"]) <= 19.0


def test_the_picture_is_a_file_of_its_own(fitted, tmp_path: Path) -> None:
    ran = fitted("neck", "--cut", "--picture", "neck.svg")
    assert ran.status == 0
    drawn = ET.parse(tmp_path / "neck.svg").getroot()
    assert drawn.tag.endswith("svg")
    assert "neck.svg" in ran.out


def test_the_report_draws_the_neck_before_and_says_what_comes_off(fitted, tmp_path: Path) -> None:
    edit(tmp_path, "^bearing_high = .*$", "bearing_high = 22.0")
    assert fitted("report").status == 0
    html = (tmp_path / "baritone.html").read_text(encoding="utf-8")
    assert "How the neck stood before" in html
    assert "Wood to take off" in html
    assert html.count('class="neck-set"') == 2


FLOOR_LENGTH = 90.0


def stand(floor_deg: float, sunk_mm: float) -> None:
    """Let the demo's gauges feel a neck whose pocket floor is wrong: it turns about the joint line, and sinks."""
    rise = BRIDGE * math.tan(math.radians(floor_deg)) - sunk_mm
    for name, change in (("neck-angle", floor_deg), ("clearance-bass", rise), ("clearance-treble", rise)):
        story.BEFORE[name] = RIGHT[name] + change


RIGHT = dict(story.BEFORE)


@pytest.mark.parametrize("floor_deg", [0.3, -0.3, 0.5])
def test_a_wrong_pocket_floor_is_found_cut_and_ready(run, tmp_path: Path, monkeypatch, floor_deg: float) -> None:
    """The demo's dry fit with its floor wrong; the advice is followed on the true floor, and everything read again."""
    monkeypatch.setattr(story, "BEFORE", dict(RIGHT))
    monkeypatch.setattr(story, "FEELERS_MM", tuple(round(0.05 * each, 2) for each in range(-60, 80)))
    stand(floor_deg, 0.0)
    demo = Demo(tmp_path, lambda _: None)
    asyncio.run(demo.snapshot("before"))
    assert run("ready").status == 1
    cut = run("neck", "--json").document["cut"]
    assert cut["needed"] is True
    edge, tail = (cut["bass"][end]["value"] for end in ("body_edge", "tail"))
    assert cut["bass"] == cut["treble"]
    assert min(edge, tail) >= 0
    assert edge / 0.1 == pytest.approx(round(edge / 0.1))
    assert cut["floor_left"] == pytest.approx(28.5 - max(edge, tail))
    stand(floor_deg - math.degrees(math.atan((tail - edge) / FLOOR_LENGTH)), edge)
    demo.clock.advance(1800.0)
    asyncio.run(demo.snapshot("before", again=True))
    ran = run("ready", "--json")
    assert ran.status == 0, ran.document["reasons"]
