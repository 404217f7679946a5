"""A new instrument file: complete, handsome, self-consistent, and provable by the gauges that it names."""

import re
from dataclasses import fields
from itertools import product
from math import atan, cos, degrees, radians, sin, sqrt, tan
from pathlib import Path

import pytest

from gaugelog.analysis.plan import smallest_provable_shift
from gaugelog.analysis.rules import smallest_provable
from gaugelog.analysis.uncertainty import Budget, Scatter
from gaugelog.instruments import drafts
from gaugelog.instruments.find import is_instrument_file
from gaugelog.instruments.new import GAUGE_PLANS, new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.model.instrument import (
    Action,
    Bridge,
    Checkpoint,
    Glue,
    Instrument,
    MovementLimits,
    Neck,
    Pocket,
    Wood,
)
from gaugelog.model.kinds import KINDS
from gaugelog.model.quantities import Quantity

ALL = list(product(GAUGE_PLANS, (False, True), ("mm", "in")))
TABLES = {
    "neck": Neck,
    "pocket": Pocket,
    "bridge": Bridge,
    "action": Action,
    "movement_limits": MovementLimits,
    "wood": Wood,
    "glue": Glue,
}


def text_of(gauges="one", full=False, units="mm", name="Baritone"):
    return new_instrument(name, gauges=gauges, full=full, units=units)


def instrument_of(gauges="one", full=False, units="mm"):
    return read_instrument(text_of(gauges, full, units), "new.toml")


@pytest.mark.parametrize(("gauges", "full", "units"), ALL)
def test_it_reads_without_a_fault(gauges, full, units):
    instrument = instrument_of(gauges, full, units)
    assert (instrument.name, instrument.units) == ("Baritone", units)
    assert len(instrument.gauges) == GAUGE_PLANS.index(gauges)
    kinds = {checkpoint.kind for checkpoint in instrument.checkpoints}
    assert kinds == set(KINDS) if full else len(instrument.checkpoints) <= 7


@pytest.mark.parametrize(("gauges", "full", "units"), ALL)
def test_it_carries_every_key(gauges, full, units):
    text = text_of(gauges, full, units)
    for heading, table in TABLES.items():
        part = text.partition(f"\n[{heading}]\n")[2].partition("\n[")[0]
        assert part, heading
        for field in fields(table):
            assert re.search(rf"^(# )?{field.name} = \S", part, re.MULTILINE), f"{heading}.{field.name}"
    for field in fields(Instrument):
        if field.name not in {"text", "checkpoints", *TABLES}:
            assert re.search(rf"^(\[{field.name}\]$|{field.name} = )", text, re.MULTILINE), field.name
    keys = text.partition("The keys of each:")[2].partition("[[checkpoint]]")[0]
    for key in [field.name for field in fields(Checkpoint) if field.name != "place"] + ["point", "direction"]:
        assert re.search(rf"\b{key}\b", keys), key
    assert "identity" in text


@pytest.mark.parametrize(("gauges", "full", "units"), ALL)
def test_every_value_is_explained_and_no_line_is_too_long(gauges, full, units):
    lines = text_of(gauges, full, units).splitlines()
    assert max(map(len, lines)) <= 120
    geometry = lines[lines.index("[neck]") : lines.index("[[checkpoint]]")]
    assert all("#" in line for line in geometry if " = " in line)


@pytest.mark.parametrize("gauges", GAUGE_PLANS)
def test_inches_say_the_same_as_millimetres(gauges):
    for metric, inch in zip(
        instrument_of(gauges, True, "mm").checkpoints, instrument_of(gauges, True, "in").checkpoints, strict=True
    ):
        assert (metric.id, metric.stages, metric.gauge, metric.side) == (inch.id, inch.stages, inch.gauge, inch.side)
        if metric.quantity is Quantity.LENGTH and metric.nominal is not None:
            assert inch.nominal == pytest.approx(metric.nominal, abs=0.0127)  # half of 0.001 in
        if metric.place.point_mm:
            assert inch.place.point_mm == pytest.approx(metric.place.point_mm, abs=0.0127)


# Student's t at 4 degrees of freedom: NIST/SEMATECH e-Handbook, table 1.3.6.7.2 (0.90 and 0.95).
T_90, T_95 = 1.533, 2.132
GAUGE_STEP_DEG = 0.05


@pytest.mark.parametrize(("gauges", "full", "units"), ALL)
def test_every_limit_can_be_proven_by_what_reads_it(gauges, full, units):
    """Three placements before and after whose spread is one step: u² = s²(1/3 + 1/3) + k r²/6, 80 % power."""
    limits = 0
    for checkpoint in instrument_of(gauges, full, units).checkpoints:
        if checkpoint.limit is None:
            continue
        step = checkpoint.step or GAUGE_STEP_DEG
        assert checkpoint.gauge is None or checkpoint.quantity is Quantity.ANGLE
        u = sqrt(step**2 * 2 / checkpoint.placements + checkpoint.readings_per_placement * step**2 / 6)
        assert checkpoint.limit >= (T_95 + T_90) * u, checkpoint.id
        limits += 1
    assert limits >= 5


def remarks(text):
    """Return the remarks of a file as one line."""
    return " ".join(line.lstrip("# ") for line in text.splitlines() if line.startswith("#"))


@pytest.mark.parametrize(("gauges", "units"), list(product(GAUGE_PLANS, ("mm", "in"))))
def test_what_the_remarks_call_provable_is_what_the_plan_will_say(gauges, units):
    said, work = remarks(text_of(gauges, True, units)), instrument_of(gauges, True, units)
    angle, clearance = work.checkpoint("neck-angle"), work.checkpoint("clearance-bass")
    lever_mm = clearance.place.point_mm[0]

    step, angle_deg, bridge_mm = re.search(r"a gauge of (\S+) proves about (\S+), (\S+) mm there", said).groups()
    assert float(step) == (angle.step or GAUGE_STEP_DEG)
    found = smallest_provable_shift(angle, float(step), angle.placements)
    assert float(angle_deg) == pytest.approx(found, abs=0.005)
    assert float(bridge_mm) == pytest.approx(lever_mm * tan(radians(found)), abs=0.05)

    assert "feelers at the bridge prove a fiftieth of a degree" in said
    found = smallest_provable_shift(clearance, clearance.step, clearance.placements)
    assert degrees(atan(found / lever_mm)) == pytest.approx(1 / 50, abs=0.0025)

    rule = work.checkpoint("nut-to-saddle")
    told = float(re.search(r"a rule proves about ([\d.]+\d)", said)[1]) * (25.4 if units == "in" else 1)
    assert told == pytest.approx(smallest_provable_shift(rule, rule.step, rule.placements), abs=0.05)


def test_the_pages_factors_are_those_of_the_plan():
    """The page and the head of `drafts` state them in steps r: for a scatter of half a step, and of a whole one."""
    page = (Path(__file__).parents[2] / "docs" / "instrument.md").read_text(encoding="utf-8")
    section = " ".join(page.partition("### A limit that can be proven")[2].partition("\n## ")[0].split())
    work = instrument_of("one", True)
    half, whole = [], []
    for name in ("clearance-bass", "neck-angle"):
        checkpoint = work.checkpoint(name)
        half.append(smallest_provable_shift(checkpoint, 1.0, 3))
        found = Budget(Scatter(1.0, 4.0), 3, 3, 1.0, checkpoint.readings_per_placement).evaluate()
        whole.append(float(smallest_provable(found.u, found.dof, 1.0)))
    assert [float(number) for number in re.findall(r"([\d.]+) \*r\*", section)] == [round(x, 1) for x in half + whole]
    head = " ".join(str(drafts.__doc__).split())
    assert [float(number) for number in re.findall(r"([\d.]+) r\b", head)] == [round(x, 1) for x in half + whole]

    angle_deg, angle_mm, feeler_mm, feeler_deg = re.search(
        r"proves about ([\d.]+)°, which is ([\d.]+) mm at a bridge 275 mm .* prove ([\d.]+) mm, which is ([\d.]+)°",
        section,
    ).groups()
    assert float(angle_deg) == pytest.approx(half[1] * 0.05, abs=0.005)
    assert float(angle_mm) == pytest.approx(275 * tan(radians(half[1] * 0.05)), abs=0.05)
    assert float(feeler_mm) == pytest.approx(half[0] * 0.05, abs=0.005)
    assert float(feeler_deg) == pytest.approx(degrees(atan(half[0] * 0.05 / 275)), abs=0.005)


@pytest.mark.parametrize("gauges", GAUGE_PLANS)
def test_the_wet_check_is_short_and_the_clearances_are_in_it(gauges):
    wet = [checkpoint.id for checkpoint in instrument_of(gauges).at_stage("wet")]
    assert wet == ["neck-angle", "clearance-bass", "clearance-treble"]


def sag(radius_mm, y_mm):
    """How much lower a fret top is at y from the centreline."""
    return radius_mm - sqrt(radius_mm**2 - y_mm**2)


def test_the_example_is_a_neck_that_works():
    """The geometry of a neck set, written out once more here: exact, no small angles."""
    work = instrument_of("one", True)
    neck, bridge = work.neck, work.bridge
    angle = work.checkpoint("neck-angle")
    positions, widths = [], (neck.string_spread_at_nut, bridge.string_spread)
    for theta_deg in (angle.tolerance.low, angle.nominal, angle.tolerance.high):
        theta = radians(theta_deg)
        for compensation, action in (
            (neck.compensation_bass, work.action.bass),
            (neck.compensation_treble, work.action.treble),
        ):
            length = neck.scale_length + compensation
            twelfth = widths[0] + (widths[1] - widths[0]) * neck.scale_length / 2 / length
            at_nut = neck.nut_height - sag(neck.fretboard_radius, widths[0] / 2)
            at_twelfth = action - sag(neck.fretboard_radius, twelfth / 2)
            at_saddle = at_nut + 2 * (at_twelfth - at_nut) * length / neck.scale_length
            wanted = neck.plane_height + bridge.position * tan(theta) + at_saddle / cos(theta)
            assert bridge.bearing_low + bridge.travel_reserve < wanted < bridge.bearing_high - bridge.travel_reserve
            drop = (wanted - bridge.tail_anchor_z) / (bridge.tail_anchor_x - bridge.position)
            assert drop > tan(radians(bridge.least_break_angle) - theta)
            if theta_deg == angle.nominal:
                along = neck.scale_length * 2 ** (-neck.joint_fret / 12) + compensation
                positions.append(along * cos(theta) - at_saddle * sin(theta))
    assert bridge.position == pytest.approx(sum(positions) / 2, abs=0.2)

    slope = tan(radians(angle.nominal))
    plane_at_saddle = neck.plane_height + bridge.position * slope
    top_on_spacer = bridge.bearing_low + bridge.saddle_slot_depth + bridge.spacer
    clearance = plane_at_saddle - sag(neck.fretboard_radius, bridge.string_spread / 2) - top_on_spacer
    for side in ("bass", "treble"):
        assert work.checkpoint(f"clearance-{side}").nominal == pytest.approx(clearance, abs=0.05)
        assert work.checkpoint(f"saddle-height-{side}").nominal == pytest.approx(top_on_spacer)
        assert abs(work.checkpoint(f"clearance-{side}").place.point_mm[1]) == bridge.string_spread / 2
    assert work.checkpoint("end-rise").nominal == pytest.approx(neck.overhang * slope, abs=0.05)
    assert work.checkpoint("edge-height-bass").nominal == pytest.approx(80 * slope, abs=0.05)
    assert work.checkpoint("centreline-bridge").place.point_mm[2] == pytest.approx(plane_at_saddle, abs=0.05)


def test_the_example_keeps_its_strings_on_the_fretboard():
    work = instrument_of("one", True)
    neck, bridge = work.neck, work.bridge
    mean_length = neck.scale_length + (neck.compensation_bass + neck.compensation_treble) / 2

    def spread_at(fret):
        share = neck.scale_length * (1 - 2 ** (-fret / 12)) / mean_length
        return neck.string_spread_at_nut + (bridge.string_spread - neck.string_spread_at_nut) * share

    margin = (neck.edge_width_at_last_fret - spread_at(neck.frets)) / 2
    assert work.checkpoint("string-to-edge-bass").nominal == pytest.approx(margin, abs=0.05)
    assert neck.edge_width_at_joint - spread_at(neck.joint_fret) == pytest.approx(2 * margin, abs=0.1)
    last_fret = neck.scale_length * (2 ** (-neck.joint_fret / 12) - 2 ** (-neck.frets / 12))
    assert last_fret < neck.overhang
    assert work.checkpoint("nut-to-saddle").nominal == pytest.approx(mean_length, abs=0.1)


@pytest.mark.parametrize("name", ['6" neck', "back\\slash", "line\nfeed", "Stück 7", "\x7f", "🎸"])
def test_any_name_survives(name):
    assert read_instrument(text_of(name=name), "x").name == name


def test_wrong_arguments_are_value_errors():
    for wrong in ({"name": "  "}, {"gauges": "three"}, {"units": "ft"}):
        with pytest.raises(ValueError):
            text_of(**wrong)


def test_it_is_known_as_an_instrument_file(tmp_path):
    path = tmp_path / "new.toml"
    path.write_text(text_of(), encoding="utf-8")
    assert is_instrument_file(path)
