"""From snapshots to the movement of the neck: known movements recovered, what can't be told said with its remedy."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from gaugelog.analysis.comparison import compare
from gaugelog.analysis.consequences import neck_set_of
from gaugelog.analysis.movement import DIRECTIONS
from gaugelog.analysis.neck_movement import neck_movement
from gaugelog.analysis.results import NeckMovement
from gaugelog.analysis.sensing import rotation
from gaugelog.analysis.sensors import sensor_of, stand_of
from gaugelog.analysis.student import t_quantile
from gaugelog.model.instrument import Action, Bridge, Checkpoint, Instrument, MovementLimits, Neck, Place
from gaugelog.model.kinds import AFTER, BEFORE, KIND_BY_SLUG
from gaugelog.model.placement import KeptPlacement, Placement, Settled, Snapshot
from gaugelog.model.quantities import Quantity

ANGLE_DEG = 2.8
DIGIT = {Quantity.ANGLE: 0.01, Quantity.LENGTH: 0.01}
UNIT = {Quantity.ANGLE: "deg", Quantity.LENGTH: "mm"}


def spot(name: str, kind: str, side: str = "", point: tuple[float, float, float] | None = None, **more) -> Checkpoint:
    quantity = KIND_BY_SLUG[kind].quantity or Quantity.ANGLE
    return Checkpoint(name, KIND_BY_SLUG[kind], quantity, UNIT[quantity], "", side=side, place=Place(point), **more)


CHECKPOINTS = (
    spot("angle", "neck-angle"),
    spot("roll", "neck-roll"),
    *(spot(f"clearance-{side}", "fret-to-bridge-clearance", side) for side in ("bass", "treble")),
    *(
        spot(f"edge-{x:.0f}-{side}", "fretboard-edge-height", side, (x, y, 6.0))
        for x in (8.0, 55.0)
        for side, y in (("bass", -28.0), ("treble", 28.0))
    ),
    spot("end", "fretboard-end-rise"),
    spot("centre-bridge", "centreline-offset"),
    spot("centre-end", "centreline-offset", point=(62.0, 0.0, 9.0)),
    spot("nut", "nut-to-saddle"),
    spot("gap", "joint-gap"),
    spot("relief", "neck-relief"),
    spot("block", "control"),
)
PLAN = Instrument(
    "baritone",
    CHECKPOINTS,
    neck=Neck(scale_length=686.0, joint_fret=16, plane_height=6.5, overhang=62.0),
    bridge=Bridge(position=266.0, bearing_low=18.0, saddle_slot_depth=1.0, spacer=1.6, string_spread=52.0),
    movement_limits=MovementLimits(0.2, 0.2, 0.2, 0.3, 0.3, 0.5),
)


def snapshots(
    movement: np.ndarray,
    rng: np.random.Generator,
    plan: Instrument = PLAN,
    sd: float = 0.03,
    errors: Mapping[str, float] | None = None,
) -> tuple[Snapshot, Snapshot]:
    """Two snapshots of three placements each, between which the neck made a movement (mm, radians), to a digit."""
    stand = stand_of(plan, ANGLE_DEG)
    taken: dict[str, list[KeptPlacement]] = {BEFORE: [], AFTER: []}
    for checkpoint in plan.checkpoints:
        sensor = sensor_of(checkpoint, stand)
        start = ANGLE_DEG if checkpoint.kind.slug == "neck-angle" else 5.0
        change = 0.0 if sensor is None else sensor.change(movement)
        if checkpoint.quantity is Quantity.ANGLE:
            change = math.degrees(change)
        change += (errors or {}).get(checkpoint.id, 0.0)
        digit = DIGIT[checkpoint.quantity]
        for stage, at in ((BEFORE, start), (AFTER, start + change)):
            for _ in range(3):
                value = round((at + rng.normal(0, sd)) / digit) * digit
                placement = Placement(
                    checkpoint.id, checkpoint.quantity, value, f"{value:.2f}", UNIT[checkpoint.quantity], digit,
                    Settled.STEADY, 0, "level" if checkpoint.quantity is Quantity.ANGLE else "caliper",
                )  # fmt: skip
                taken[stage].append(KeptPlacement(len(taken[stage]), 1, stage, 0, placement, None))
    return tuple(Snapshot(1, stage, 1, 0, None, tuple(taken[stage]), ()) for stage in (BEFORE, AFTER))  # type: ignore[return-value]


def moved(movement: np.ndarray, rng: np.random.Generator, plan: Instrument = PLAN, **more) -> NeckMovement:
    before, after = snapshots(movement, rng, plan, **more)
    found = neck_movement(plan, before, after, compare(plan, before, after))
    assert found is not None
    return found


def without(*names: str) -> Instrument:
    kept = tuple(each for each in PLAN.checkpoints if not each.id.startswith(names))
    return replace(PLAN, checkpoints=kept)


def test_known_movements_are_recovered_with_the_coverage_that_is_stated() -> None:
    """Monte Carlo: whole snapshots of a full plan, rounded to the gauge's digit."""
    rng = np.random.default_rng(11)
    inside = told = rejected = 0
    for _ in range(300):
        movement = np.concatenate([rng.normal(0, 0.2, 3), np.radians(rng.normal(0, 0.15, 3))])
        found = moved(movement, rng)
        assert found.p is not None
        rejected += found.p < 0.05
        for name, (direction, _) in DIRECTIONS.items():
            component = found.components[name]
            assert component is not None, name
            off = abs(component.value - float(np.dot(direction, movement)))
            inside += off <= float(t_quantile(0.975, component.dof)) * component.u
            told += 1
    assert inside / told == pytest.approx(0.95, abs=0.02)
    assert rejected / 300 == pytest.approx(0.05, abs=0.03)


def test_what_feels_nothing_or_has_no_place_is_left_out() -> None:
    found = moved(np.zeros(6), np.random.default_rng(1))
    assert {each.id for each in found.residuals} == {
        each.id for each in CHECKPOINTS if each.kind.slug not in ("joint-gap", "neck-relief", "control")
    }


def test_a_misreading_is_named() -> None:
    found = moved(np.zeros(6), np.random.default_rng(2), errors={"edge-55-bass": 0.6})
    misfits = [each for each in found.residuals if each.misfit]
    assert "edge-55-bass" in {each.id for each in misfits} | {name for each in misfits for name in each.alike}
    assert found.p is not None
    assert found.p < 0.01


def test_yaw_and_sideways_hide_behind_one_centreline_and_a_second_tells_them() -> None:
    found = moved(np.zeros(6), np.random.default_rng(3), without("centre-end"))
    assert found.components["yaw"] is None
    assert found.components["sideways"] is None
    (untold,) = [each for each in found.untold if "yaw" in each.movements]
    assert untold.movements == ("yaw", "sideways")
    assert untold.tell == ("the centreline offset at the fretboard's end",)


def test_slide_needs_the_nut_to_saddle_length() -> None:
    found = moved(np.zeros(6), np.random.default_rng(4), without("nut"))
    assert found.components["slide"] is None
    assert [each.tell for each in found.untold if "slide" in each.movements] == [("the nut-to-saddle length",)]


def test_clearances_check_the_roll_though_they_feel_a_little_of_yaw() -> None:
    plan = without("edge", "end", "centre", "nut")
    found = moved(np.zeros(6), np.random.default_rng(5), plan)
    assert found.dof == pytest.approx(1.0, abs=0.05)
    assert found.p is not None
    wrong = moved(np.zeros(6), np.random.default_rng(5), plan, errors={"roll": 0.5})
    assert wrong.p is not None
    assert wrong.p < 0.001


def test_what_a_gauge_read_whose_control_moved_is_left_out() -> None:
    limited = tuple(replace(each, limit=0.15) if each.id == "block" else each for each in CHECKPOINTS)
    plan = replace(PLAN, checkpoints=limited)
    found = moved(np.zeros(6), np.random.default_rng(6), plan, errors={"block": 0.6})
    assert {"angle", "roll"}.isdisjoint({each.id for each in found.residuals})


def test_a_left_handed_instrument_has_the_same_signs() -> None:
    movement = np.array([0.1, 0.2, -0.1, *np.radians([0.1, -0.15, 0.1])])
    right = moved(movement, np.random.default_rng(7))
    left = moved(movement, np.random.default_rng(7), replace(PLAN, handedness="left"))
    assert left.components == right.components


def test_nothing_that_feels_the_neck_gives_no_movement() -> None:
    plan = replace(PLAN, checkpoints=(spot("relief", "neck-relief"),))
    before, after = snapshots(np.zeros(6), np.random.default_rng(8), plan)
    assert neck_movement(plan, before, after, compare(plan, before, after)) is None


def with_action() -> Instrument:
    neck = Neck(
        scale_length=686.0, joint_fret=16, frets=24, plane_height=6.5, overhang=62.0, fretboard_radius=305.0,
        nut_height=0.4, relief=0.2, string_spread_at_nut=43.0,
    )  # fmt: skip
    return replace(PLAN, neck=neck, action=Action(2.4, 1.9))


def test_what_a_movement_does_is_what_the_moved_neck_needs() -> None:
    """The neck's plane moved point by point here; the required bearing and the action worked out on it anew."""
    plan = with_action()
    movement = np.array([0.1, 0.15, -0.2, *np.radians([0.1, -0.3, 0.1])])
    found = {
        (each.name, each.side): each for each in moved(movement, np.random.default_rng(9), plan, sd=1e-4).consequences
    }
    neck = neck_set_of(plan)
    assert neck is not None
    turn = rotation(movement[3:])
    normal = turn @ np.array([-math.sin(math.radians(ANGLE_DEG)), 0.0, math.cos(math.radians(ANGLE_DEG))])
    origin = turn @ np.array([0.0, 0.0, 6.5]) + movement[:3]
    slope = -normal[0] / normal[2]
    for side, y in (("bass", -26.0), ("treble", 26.0)):
        height = origin[2] - (normal[0] * (0.0 - origin[0]) + normal[1] * (y - origin[1])) / normal[2]
        angle_deg = math.degrees(math.atan(slope))
        bearing = neck.required_bearing(angle_deg, height, side)
        assert found["required_bearing", side].after == pytest.approx(bearing, abs=0.01)
        before = neck.required_bearing(ANGLE_DEG, 6.5, side)
        assert found["action", side].after == pytest.approx(
            neck.action_at_twelfth(angle_deg, height, before, side), abs=0.01
        )
    assert found["centreline_offset", ""].change == pytest.approx(
        (turn @ np.array([266.0, 0.0, 20.6]) + movement[:3])[1], abs=0.02
    )
    assert found["scale_length", ""].change == pytest.approx(-1731.234 / 686 * 0.1, abs=0.1), (
        "a millimetre at the saddle is about 1731.234/L cents; the neck slid 0.1 mm toward it"
    )


def test_the_change_of_the_bearing_has_the_uncertainty_that_is_stated() -> None:
    """Monte Carlo of whole snapshots."""
    plan, rng = with_action(), np.random.default_rng(10)
    movement = np.array([0.0, 0.0, -0.1, *np.radians([0.0, -0.15, 0.0])])
    quiet = {e.name + e.side: e.change for e in moved(movement, np.random.default_rng(1), plan, sd=1e-5).consequences}
    inside = told = 0
    for _ in range(150):
        for each in moved(movement, rng, plan).consequences:
            inside += abs(each.change - quiet[each.name + each.side]) <= float(t_quantile(0.975, each.dof)) * each.u
            told += 1
    assert inside / told == pytest.approx(0.95, abs=0.035)
