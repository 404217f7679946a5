"""What is told of a neck with this or that left open, what-if values, what a digit is worth, and facts of the trade."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from drawn_neck import (
    FLOATS,
    PLAN,
    READ_U,
    READINGS,
    SIDES,
    STEPS,
    X_EDGE_MM,
    X_PICKUP_MM,
    Drawn,
    lengths_of,
    mean,
    setting_of,
    with_lengths,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelog.analysis.neck_figures import FIGURES, NEEDS
from gaugelog.analysis.neck_setting import NO_ROLL, NO_ROLL_DEG, NeckSetting, Origin, neck_setting
from gaugelog.model.instrument import Action, Instrument, Place


def family(name: str) -> str:
    return name.partition(".")[0]


def test_nothing_at_all_is_no_error() -> None:
    found = neck_setting(Instrument("nothing known yet", ()), {}, {})
    assert set(found.figures) == {"roll"}
    assert found.figures["roll"].u == pytest.approx(NO_ROLL_DEG)
    assert set(found.untold) == {"slope", "height", "underside", "offset", "heading", "posts"}
    assert found.p is None
    assert found.residuals[0].unchecked
    assert set(found.missing) == set(NEEDS)
    assert found.stage == ""


def test_without_clearances_angle_and_height_say_it_all() -> None:
    found = setting_of(PLAN, {name: value for name, value in READINGS.items() if "clearance" not in name})
    assert set(found.figures) == set(FIGURES)
    assert found.missing == {}


def test_without_any_height_the_plane_is_not_told_but_its_angle_is() -> None:
    low = with_lengths(PLAN, {"neck.plane_height": None})
    found = setting_of(low, {"angle": 2.8, "roll-read": 0.1})
    assert "height" in found.untold
    assert set(found.figures) == {"neck_angle", "roll", "mm_per_degree", "travel.low", "travel.high"}
    again = setting_of(low, {name: READINGS[name] for name in ("angle", "clearance-bass", "clearance-treble")})
    assert again.figures["plane_height"].value == pytest.approx(6.0, abs=1e-6)


def test_a_roll_that_nobody_read_is_taken_as_none_and_costs_what_it_may_be() -> None:
    """26 mm times tan 0.5° is 0.227 mm a side, by hand; one clearance alone doesn't tell roll from height."""
    assert PLAN.bridge.string_spread is not None
    half_mm = PLAN.bridge.string_spread / 2 * math.tan(math.radians(NO_ROLL_DEG))
    found = setting_of(PLAN, {"angle": 2.8})
    read = setting_of(PLAN, {"angle": 2.8, "roll-read": 0.0})
    assert found.figures["roll"].value == 0.0
    assert found.figures["roll"].u == pytest.approx(NO_ROLL_DEG)
    assert [each.name for each in found.inputs if each.origin is Origin.TAKEN] == [NO_ROLL]
    for side in SIDES:
        name = f"plane_at_saddle.{side}"
        assert abs(found.budget[name][NO_ROLL]) == pytest.approx(half_mm, rel=1e-3)
        assert found.figures[name].u ** 2 - half_mm**2 == pytest.approx(
            read.figures[name].u ** 2 - read.budget[name]["roll-read"] ** 2, rel=1e-2
        )
    assert found.budget["plane_at_saddle.bass"][NO_ROLL] < 0 < found.budget["plane_at_saddle.treble"][NO_ROLL]


def test_one_line_at_the_bridge_tells_where_the_neck_points_there_and_no_more() -> None:
    found = setting_of(PLAN, {"angle": 2.8, "roll-read": 0.0, "centre-bridge": 0.4})
    assert found.figures["centreline_offset"].value == pytest.approx(0.4)
    assert found.figures["centreline_offset"].u == pytest.approx(READ_U["centre-bridge"], rel=1e-3)
    assert {"string_margin.bass", "string_margin.treble"} < set(found.figures)
    assert {"offset", "heading"} < set(found.untold)


def test_clearances_alone_tell_the_plane_over_the_saddles_and_its_roll_but_not_its_angle() -> None:
    bare = with_lengths(PLAN, {"neck.plane_height": None})
    found = setting_of(bare, {name: READINGS[name] for name in ("clearance-bass", "clearance-treble")})
    assert {"plane_at_saddle.bass", "plane_at_saddle.treble", "roll"} < set(found.figures)
    assert not {"neck_angle", "plane_height", "required_bearing.bass"} & set(found.figures)
    assert {"slope", "height"} < set(found.untold)


def test_without_a_wanted_action_the_plane_is_still_told() -> None:
    found = setting_of(replace(PLAN, action=Action()), READINGS)
    whole = setting_of(PLAN, READINGS)
    assert found.missing["required_bearing"] == ("action.bass", "action.treble")
    assert not any(family(name) in ("required_bearing", "travel", "break_angle") for name in found.figures)
    for side in SIDES:
        name = f"plane_at_saddle.{side}"
        assert found.figures[name].value == pytest.approx(whole.figures[name].value)
        assert found.figures[name].u == pytest.approx(whole.figures[name].u)


def test_an_undrilled_bridge_stands_where_the_scale_puts_it() -> None:
    """From the scale, without roll: x = D cos θ - a sin θ, z = h + D sin θ + a cos θ."""
    place, tail = PLAN.bridge.position, {"bridge.position": None}
    assert place is not None
    plan = with_lengths(PLAN, tail)
    pointed = tuple(
        replace(each, place=Place((place, 0.0, 19.0))) if each.id == "centre-bridge" else each
        for each in plan.checkpoints
    )
    readings = {"angle": 2.8, "roll-read": 0.0, "centre-bridge": 0.3, "centre-pickup": 0.3, "clearance-bass": 0.5}
    found = setting_of(replace(plan, checkpoints=pointed), readings)
    drawn = Drawn(lengths_of(PLAN), FLOATS)
    turn = math.radians(2.8)
    for side in SIDES:
        along = 686.0 * 2 ** (-16 / 12) + lengths_of(PLAN)[f"neck.compensation_{side}"]
        expected = 6.0 + along * math.sin(turn) + drawn.over_plane(side) * math.cos(turn)
        assert found.figures[f"required_bearing.{side}"].value == pytest.approx(expected)
    assert found.figures["centreline_offset"].value == pytest.approx(0.3)
    assert not {"plane_at_saddle", "centreline_offset", "required_bearing"} & set(found.missing)
    assert "clearance-bass" not in {each.name for each in found.inputs}
    assert all(each.worth_mm is None for each in found.inputs)
    bare = setting_of(replace(plan, action=Action(bass=2.2)), readings)
    assert bare.missing["plane_at_saddle"] == bare.missing["centreline_offset"] == ("bridge.position",)


def test_without_a_tail_the_break_angle_waits_and_nothing_else() -> None:
    found = setting_of(with_lengths(PLAN, {"bridge.tail_anchor_z": None}), READINGS)
    assert set(FIGURES) - set(found.figures) == {"break_angle"}
    assert found.missing == {"break_angle": ("bridge.tail_anchor_z",)}


def test_a_flat_fretboard_has_no_sag() -> None:
    """Without the radius the same clearances mean a plane lower by the sag of a circle of 305 mm at 26 mm: 1.110 mm."""
    readings = {name: READINGS[name] for name in ("angle", "clearance-bass", "clearance-treble")}
    flat, round_ = (
        setting_of(with_lengths(PLAN, {"neck.plane_height": None, "neck.fretboard_radius": radius}), readings)
        for radius in (None, 305.0)
    )
    for side in SIDES:
        name = f"plane_at_saddle.{side}"
        assert round_.figures[name].value - flat.figures[name].value == pytest.approx(1.1102, abs=1e-4)
    assert "neck.fretboard_radius" not in {each.name for each in flat.inputs}


def test_saddles_that_were_read_stand_in_for_a_lowest_bearing_that_is_left_open() -> None:
    plan = with_lengths(PLAN, {"bridge.bearing_low": None, "neck.plane_height": None})
    saddles = {f"saddle-{side}": 17.8 for side in SIDES}
    readings = {name: READINGS[name] for name in ("angle", "clearance-bass", "clearance-treble")} | saddles
    means = {name: mean(plan, name, value, READ_U.get(name, 0.03)) for name, value in readings.items()}
    found = neck_setting(plan, means, STEPS)
    assert found.figures["plane_height"].value == pytest.approx(6.0, abs=1e-6)
    assert found.budget["plane_at_saddle.bass"]["saddle-bass"] == pytest.approx(0.03, rel=1e-3)
    assert found.missing["travel"] == ("bridge.bearing_low",)
    clearance = next(each for each in found.inputs if each.name == "clearance-bass")
    assert clearance.worth_mm == pytest.approx(0.05)


def test_relief_that_was_read_counts_before_the_file() -> None:
    means = {name: mean(PLAN, name, value, 0.02) for name, value in {"angle": 2.8, "relief-read": 0.35}.items()}
    found, file = neck_setting(PLAN, means, STEPS), setting_of(PLAN, {"angle": 2.8})
    moved = [found.figures[name].value - file.figures[name].value for name in ("required_bearing.bass",)]
    assert moved == pytest.approx([-0.36], abs=0.02), "0.2 mm of relief: common practice, no source"
    assert "neck.relief" not in {each.name for each in found.inputs}


LEAVABLE = [
    *(key for key in STEPS),
    *READ_U,
    "action.bass",
    "action.treble",
    "bridge.travel_reserve",
    "neck.frets",
    "neck.joint_fret",
]


@settings(max_examples=20)
@given(gone=st.sets(st.sampled_from(LEAVABLE)))
def test_whatever_is_left_out_the_rest_is_said_and_the_missing_named(gone: set[str]) -> None:
    plan = with_lengths(PLAN, {key: None for key in gone if "." in key})
    found = setting_of(plan, {name: value for name, value in READINGS.items() if name not in gone})
    for name, estimate in found.figures.items():
        assert math.isfinite(estimate.value), name
        assert estimate.dof > 0, name
        assert sum(share**2 for share in found.budget[name].values()) == pytest.approx(estimate.u**2)
    for name in set(FIGURES) - set(found.figures):
        assert {family(name), "required_bearing", "travel"} & set(found.missing) or found.untold, name
    for keys in found.missing.values():
        assert set(keys) <= gone


def test_what_if_values_replace_the_readings_and_carry_no_uncertainty() -> None:
    read = setting_of(PLAN, READINGS)
    steeper = setting_of(PLAN, READINGS, assumed={"slope": math.tan(math.radians(3.2))})
    assert steeper.figures["neck_angle"].value == pytest.approx(3.2)
    assert steeper.figures["neck_angle"].u == 0.0
    assert steeper.budget["neck_angle"] == {}
    for name in ("plane_height", "roll", "centreline_offset"):
        assert steeper.figures[name] == read.figures[name]
        assert steeper.budget[name] == read.budget[name]
    rise = steeper.figures["plane_at_saddle.bass"].value - read.figures["plane_at_saddle.bass"].value
    assert rise == pytest.approx(274.5 * (math.tan(math.radians(3.2)) - math.tan(math.radians(2.8))))
    assert "angle" not in {n for n, share in steeper.budget["required_bearing.bass"].items() if abs(share) > 0.01}
    known = {"slope": 0.05, "tilt": 0.0, "height": 7.0, "offset": 0.4, "heading": 0.0}
    all_known = setting_of(PLAN, READINGS, assumed=known)
    for name in ("neck_angle", "roll", "plane_height", "centreline_offset"):
        assert all_known.figures[name].u == 0.0
    assert set(all_known.budget["required_bearing.bass"]) <= set(STEPS)
    assert all_known.figures["plane_at_saddle.bass"].value == pytest.approx(7.0 + 274.5 * 0.05)
    alone = neck_setting(PLAN, {}, STEPS, assumed=known)
    for name in ("required_bearing.bass", "travel.margin_high", "angle_window.low", "break_angle"):
        assert alone.figures[name].value == pytest.approx(all_known.figures[name].value)
        assert alone.figures[name].u == pytest.approx(all_known.figures[name].u)
    assert alone.untold == ("underside", "posts")


def test_the_budget_is_the_uncertainty_share_by_share_with_its_signs() -> None:
    found = setting_of(PLAN, READINGS)
    for name, shares in found.budget.items():
        assert sum(share**2 for share in shares.values()) == pytest.approx(found.figures[name].u ** 2)
    alone = setting_of(PLAN, {"angle": 2.8, "roll-read": 0.1})
    bass, treble = (alone.budget[f"required_bearing.{side}"] for side in SIDES)
    assert bass["roll-read"] == pytest.approx(-treble["roll-read"], rel=1e-2)
    assert bass["angle"] > 0
    assert treble["roll-read"] > 0
    assert bass["neck.plane_height"] > 0
    assert bass["angle"] == pytest.approx(alone.figures["mm_per_degree"].value * READ_U["angle"], rel=1e-3)
    assert bass["neck.nut_height"] < 0
    assert bass["neck.relief"] < 0
    assert bass["bridge.position"] > 0
    assert alone.budget["travel.margin_low"]["bridge.bearing_low"] == pytest.approx(-0.1 / math.sqrt(12))
    assert alone.budget["travel.margin_high"]["bridge.bearing_high"] == pytest.approx(0.1 / math.sqrt(12))


def test_a_digit_is_worth_what_the_lever_says() -> None:
    """D tan a: 0.05° at 250, 300, 330 mm is 0.218, 0.262, 0.288 mm, and 0.240 mm at 274.5 (computed by hand)."""
    for lever_mm, worth_mm in ((250.0, 0.218), (274.5, 0.240), (300.0, 0.262), (330.0, 0.288)):
        found = setting_of(with_lengths(PLAN, {"bridge.position": lever_mm}), READINGS)
        worth = {each.name: each.worth_mm for each in found.inputs}
        assert worth["angle"] == pytest.approx(worth_mm, abs=5e-4)
        assert worth["roll-read"] == pytest.approx(26.0 * math.tan(math.radians(0.05)))
        assert worth["clearance-bass"] == pytest.approx(0.05)
        assert worth["end"] == pytest.approx(0.05 * lever_mm / 86.0)
        assert worth["edge-treble"] == pytest.approx(0.05 * lever_mm / X_EDGE_MM)
        assert worth["centre-pickup"] == pytest.approx(0.05 * lever_mm / X_PICKUP_MM)
        assert worth["neck.plane_height"] is None


def spaced(spacer_mm: float) -> NeckSetting:
    """The straightedge just touches both outer saddle tops, the bridge on its spacer; the angle isn't read."""
    return setting_of(
        with_lengths(PLAN, {"bridge.spacer": spacer_mm}), {"clearance-bass": 0.0, "clearance-treble": 0.0}
    )


@pytest.mark.parametrize("spacer_mm", [25.4 / 16, 25.4 * 3 / 32])
def test_a_straightedge_that_touches_over_the_spacer_leaves_the_bridge_room_to_come_up(spacer_mm: float) -> None:
    """Common practice, no source: on a spacer of 1/16 in (or 3/32 in up) roll is none, and the bridge comes up."""
    found = spaced(spacer_mm)
    low, high = PLAN.bridge.bearing_low, PLAN.bridge.bearing_high
    assert low is not None
    assert high is not None
    assert found.figures["roll"].value == pytest.approx(0.0, abs=1e-9)
    assert 2.0 < found.figures["neck_angle"].value < 5.0
    for side in SIDES:
        bearing = found.figures[f"required_bearing.{side}"].value
        assert low + spacer_mm < bearing < high - 1.0
    assert found.figures["travel.margin_high"].value > 1.0


def test_strings_bear_lower_than_a_straightedge_on_the_saddles_says() -> None:
    """Common practice, no source: strings lie in slots. The touched top is above the bearing by the slot's depth."""
    found = spaced(1.6)
    without = setting_of(
        with_lengths(PLAN, {"bridge.saddle_slot_depth": None}), {"clearance-bass": 0.0, "clearance-treble": 0.0}
    )
    sag_mm = 305.0 - math.sqrt(305.0**2 - 26.0**2)
    for side in SIDES:
        name = f"plane_at_saddle.{side}"
        top_mm = found.figures[name].value - sag_mm
        assert top_mm == pytest.approx(15.4 + 1.6 + 0.8)
        assert found.figures[name].value - without.figures[name].value == pytest.approx(0.8)


def test_the_fretboards_end_off_the_body_agrees_with_an_angle_gauge() -> None:
    """Common practice, no source: 1/8 in over an overhang of 60 mm is about 3°, usual for a raised bridge."""
    plan = with_lengths(PLAN, {"neck.overhang": 60.0})
    alone = setting_of(plan, {"end": 25.4 / 8, "roll-read": 0.0})
    angle = alone.figures["neck_angle"]
    assert 2.5 < angle.value < 5.0
    assert angle.value == pytest.approx(math.degrees(math.atan(3.175 / 60)))
    gauge = 3.05
    assert abs(gauge - angle.value) < 2 * math.hypot(angle.u, READ_U["angle"])
    both = setting_of(plan, {"end": 25.4 / 8, "roll-read": 0.0, "angle": gauge})
    assert both.p is not None
    assert both.p > 0.05
    assert both.misfits == ()
    assert both.figures["neck_angle"].u < min(angle.u, READ_U["angle"])
    off = setting_of(plan, {"end": 25.4 / 8, "roll-read": 0.0, "angle": gauge + 0.5})
    assert {each.id for each in off.misfits} >= {"angle", "end"}, "the two contradict; a third would say which"


def test_edges_equally_high_mean_no_roll() -> None:
    """Common practice, no source; and 0.5 mm over 54 mm is 0.53° by the tangent."""
    level = setting_of(PLAN, {"angle": 2.8, "edge-bass": 3.9, "edge-treble": 3.9})
    assert level.figures["roll"].value == pytest.approx(0.0, abs=1e-3)
    tilted = setting_of(PLAN, {"angle": 2.8, "edge-bass": 3.9, "edge-treble": 4.4})
    assert tilted.figures["roll"].value == pytest.approx(math.degrees(math.atan(0.5 / 54)), rel=0.02)
    assert NO_ROLL not in {each.name for each in tilted.inputs}
