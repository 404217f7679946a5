"""The advice where to take wood off, followed on an invented neck: set down anew in three dimensions, and read again.

The neck, its pocket and its readings are synthetic (`synthetic_neck`), and know nothing of the geometry under test.
"""

from __future__ import annotations

import importlib.util
import math
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gaugelog.analysis.cut import Corners
from gaugelog.analysis.neck_cut import Aim, cut_advice, passes_for, pocket_of
from gaugelog.analysis.readiness import Ground, Readiness, readiness
from gaugelog.model.instrument import Instrument, Tolerance, ToleranceSide
from gaugelog.model.kinds import BEFORE

_SPEC = importlib.util.spec_from_file_location("synthetic_neck", Path(__file__).with_name("synthetic_neck.py"))
assert _SPEC is not None
assert _SPEC.loader is not None
synthetic = importlib.util.module_from_spec(_SPEC)
sys.modules[_SPEC.name] = synthetic
_SPEC.loader.exec_module(synthetic)


def test_the_synthetic_neck_is_the_one_that_the_example_file_plans() -> None:
    neck = synthetic.set_down(synthetic.Work())
    for checkpoint in synthetic.plan().at_stage(BEFORE):
        if checkpoint.nominal is not None and checkpoint.kind.slug != "neck-relief":
            digit = checkpoint.step or synthetic.DIGIT[checkpoint.quantity]
            assert synthetic.true_reading(checkpoint, neck, 0.2) == pytest.approx(checkpoint.nominal, abs=digit), (
                checkpoint.id
            )


WRONG = {
    "0.3 too steep": synthetic.wrong_by(0.3),
    "0.3 too flat": synthetic.wrong_by(-0.3),
    "0.6 too steep": synthetic.wrong_by(0.6),
    "0.6 too flat": synthetic.wrong_by(-0.6),
    "treble side high": synthetic.wrong_by(roll_deg=0.5),
    "bass side high": synthetic.wrong_by(roll_deg=-0.5),
    "points to the treble side": synthetic.wrong_by(yaw_deg=0.3),
    "stands 0.6 mm too high": synthetic.wrong_by(height=0.6),
    "all of it": synthetic.wrong_by(0.4, 0.4, -0.25, 0.2),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_cut_that_was_followed_conforms_when_read_again(case: str) -> None:
    """Ten rounds of reading, cutting and reading again, each with its own scatter and digits.

    Every tolerance with p >= 0.95 in at least nine of ten of the rounds that were sure of it. Over 40 rounds each:
    in 96 % of all, in 90 % where the bass side was high, the least of them.
    """
    work, kept, sure = WRONG[case], 0, 0
    for seed in range(10):
        first = synthetic.hand(seed).read(work)
        assert not synthetic.all_conform(first)
        advice = synthetic.advise(first)
        assert advice.needed
        assert advice.aim in (Aim.SURE, Aim.NARROW)
        assert advice.unmet == ()
        again = synthetic.hand(100 + seed).read(work.cut(advice.rounded, advice.cheeks_rounded))
        sure += advice.aim is Aim.SURE
        kept += advice.aim is Aim.SURE and synthetic.all_conform(again)
    assert sure >= 6
    assert kept >= 0.9 * sure


def gate(read: synthetic.Read) -> Readiness:
    return readiness(read.instrument, read.snapshot, read.means, read.setting)


@pytest.mark.parametrize("case", ["0.3 too steep", "0.3 too flat"])
def test_the_gate_opens_once_the_cut_was_followed(case: str) -> None:
    """The whole way: not ready, cut, read again, ready; ten rounds, of which one may fall short."""
    ready = 0
    for seed in range(10):
        first = synthetic.hand(seed).read(WRONG[case])
        assert not gate(first).ready
        advice = synthetic.advise(first)
        after = WRONG[case].cut(advice.rounded, advice.cheeks_rounded)
        ready += gate(synthetic.hand(200 + seed).read(after)).ready
    assert ready >= 9


def test_the_gate_names_a_misreading_alone() -> None:
    """Of a full plan in which one reading is wrong, that one; not those that it pulls along."""
    found = gate(synthetic.hand(4, errors={"clearance-bass": 0.5}).read(synthetic.Work()))
    assert [each.about for each in found.reasons if each.ground is Ground.MISFIT] == ["clearance-bass"]


@pytest.mark.parametrize(
    "work",
    [
        synthetic.Work(),
        synthetic.wrong_by(0.05),
        synthetic.wrong_by(-0.04, roll_deg=0.1),
        synthetic.wrong_by(yaw_deg=0.05),
    ],
)
def test_nothing_is_asked_for_where_the_neck_sits_well(work: synthetic.Work) -> None:
    for seed in range(3):
        read = synthetic.hand(seed).read(work)
        assert synthetic.all_conform(read)
        advice = synthetic.advise(read)
        assert not advice.needed
        assert advice.rounded.nothing
        assert advice.cheeks_rounded.nothing
        assert advice.unmet == ()
        for name, figure in read.setting.figures.items():
            assert advice.figures[name].value == pytest.approx(figure.value, abs=1e-9), name


@pytest.mark.parametrize(
    "work",
    [synthetic.wrong_by(0.4, 0.3, 0.2, 0.1), synthetic.wrong_by(-0.4, -0.3), replace(synthetic.Work(), relief=0.35)],
)
def test_the_outcome_is_that_of_the_neck_set_down_on_the_cut_floor(work: synthetic.Work) -> None:
    """Read with gauges a thousand times as fine, so that only the geometry differs; heights good to 0.02 mm."""
    advice = synthetic.advise(synthetic.hand(1, fine=1e-3).read(work))
    after = synthetic.set_down(work.cut(advice.rounded, advice.cheeks_rounded))
    drawn = {
        "neck_angle": math.degrees(math.atan(after.slope)),
        "roll": math.degrees(math.atan(after.tilt)),
        "plane_height": after.height,
        "plane_at_saddle.bass": after.plane(synthetic.BRIDGE_MM, -synthetic.HALF_SPREAD_MM),
        "plane_at_saddle.treble": after.plane(synthetic.BRIDGE_MM, synthetic.HALF_SPREAD_MM),
        "required_bearing.bass": synthetic.bearing_height(after, -1.0, 4.0, 2.2, work.relief),
        "required_bearing.treble": synthetic.bearing_height(after, 1.0, 1.5, 1.8, work.relief),
    }
    drawn["travel.margin_low"] = min(drawn["required_bearing.bass"], drawn["required_bearing.treble"]) - 15.4
    drawn["travel.margin_high"] = 25.2 - max(drawn["required_bearing.bass"], drawn["required_bearing.treble"])
    for name, value in drawn.items():
        assert advice.figures[name].value == pytest.approx(value, abs=0.02), name
    lean = (after.tilt - synthetic.set_down(work).tilt) * (6.0 - synthetic.FLOOR_MM)
    assert advice.figures["centreline_offset"].value - lean == pytest.approx(
        after.aside(synthetic.BRIDGE_MM), abs=0.02
    ), "what the advice says it leaves out: a neck that leans goes aside, as high as its frets stand over the floor"


def test_where_the_wood_goes() -> None:
    """Too steep: off the tail end. Treble side high: off that side. Points to treble: off the bass cheek's tail."""
    steep, high = (
        synthetic.advise(synthetic.hand(2).read(synthetic.wrong_by(0.5))).rounded,
        synthetic.advise(synthetic.hand(2).read(synthetic.wrong_by(roll_deg=0.5))).rounded,
    )
    assert steep.tail > steep.body_edge == 0.0
    assert high.treble_tail > high.bass_tail
    assert high.treble_body_edge > high.bass_body_edge
    aside = synthetic.advise(synthetic.hand(2).read(synthetic.wrong_by(yaw_deg=0.3)))
    assert aside.rounded.nothing
    assert aside.cheeks_rounded.bass_tail > 0
    assert aside.cheeks_rounded.bass_tail == sum(aside.cheeks_rounded.all())


def test_handedness_changes_no_sign() -> None:
    work = synthetic.wrong_by(0.4, 0.4, 0.25)
    right = synthetic.advise(synthetic.hand(3).read(work))
    left = synthetic.advise(synthetic.hand(3).read(work, replace(synthetic.plan(), handedness="left")))
    assert (left.rounded, left.cheeks_rounded) == (right.rounded, right.cheeks_rounded)


MISREAD = [
    {"clearance-bass": 2.0},
    {"neck-angle": 0.5},
    {"neck-roll": 0.6},
    {"centreline-bridge": 1.0},
    {"end-rise": 1.0, "clearance-treble": -1.0},
    {"edge-height-treble": 0.8, "neck-angle": 0.5},
]


@pytest.mark.parametrize("errors", MISREAD, ids=lambda errors: " and ".join(errors))
def test_no_cut_rests_on_a_reading_that_contradicts_the_others(errors: Mapping[str, float]) -> None:
    """One misreading, and two at once: the same wood as without them, to a step, and the misread ones named."""
    for work in (synthetic.Work(), synthetic.wrong_by(0.5)):
        sound = synthetic.advise(synthetic.hand(4).read(work))
        advice = synthetic.advise(synthetic.hand(4, errors=errors).read(work))
        assert set(errors) <= set(advice.left_out)
        assert len(advice.left_out) <= len(errors) + 1
        assert advice.needed == sound.needed
        assert np.subtract(advice.rounded.all(), sound.rounded.all()) == pytest.approx(
            0.0, abs=synthetic.STEP_MM + 1e-9
        )
        assert advice.cheeks_rounded.nothing
        after = synthetic.set_down(work.cut(advice.rounded, advice.cheeks_rounded))
        for checkpoint in synthetic.plan().checkpoints:
            if checkpoint.id in errors and checkpoint.tolerance is not None:
                value, tolerance = synthetic.true_reading(checkpoint, after, work.relief), checkpoint.tolerance
                assert (tolerance.low or -math.inf) <= value <= (tolerance.high or math.inf)


def test_what_is_left_out_leaves_the_rest_as_sure_as_it_was() -> None:
    """A centreline misread says nothing of the neck's angle, which keeps its u, the file's written steps included."""
    read = synthetic.hand(4, errors={"centreline-bridge": 1.0}).read(synthetic.wrong_by(0.5))
    advice = synthetic.advise(read)
    assert advice.left_out == ("centreline-bridge",)
    for name in ("neck_angle", "plane_height", "required_bearing.bass"):
        assert advice.figures[name].u == pytest.approx(read.setting.figures[name].u, rel=1e-3), name


def with_tolerance(name: str, low: float | None, high: float | None) -> Instrument:
    """The synthetic.plan with another tolerance at one checkpoint."""
    tolerance = Tolerance(ToleranceSide.BOTH, low, high)
    return replace(
        synthetic.plan(),
        checkpoints=tuple(
            replace(each, tolerance=tolerance) if each.id == name else each for each in synthetic.plan().checkpoints
        ),
    )


def test_one_tolerance_that_contradicts_the_rest_is_the_only_one_that_stays_out() -> None:
    """The bare floor 0.6° steeper than the neck that lies on it: the heel isn't as planned, the neck counts."""
    read = synthetic.hand(5, errors={"pocket-floor-tilt": 0.6}).read(synthetic.wrong_by(0.5))
    advice = synthetic.advise(read)
    assert advice.aim is Aim.MOST
    assert advice.unmet == ("pocket-floor-tilt",)
    assert advice.rounded.all() == pytest.approx((0.0, 0.6, 0.0, 0.6), abs=0.11)


def test_two_tolerances_that_no_neck_meets_leave_the_travel() -> None:
    contrary = with_tolerance("clearance-bass", 3.0, 3.1)
    contrary = replace(
        contrary,
        checkpoints=tuple(
            replace(each, tolerance=Tolerance(ToleranceSide.BOTH, -2.1, -2.0))
            if each.id == "clearance-treble"
            else each
            for each in contrary.checkpoints
        ),
    )
    advice = synthetic.advise(synthetic.hand(6).read(synthetic.Work(), contrary))
    assert advice.aim is Aim.TRAVEL
    assert {"clearance-bass", "clearance-treble"} <= set(advice.unmet)
    assert not {"bearing bass", "bearing treble"} & set(advice.unmet)


def test_a_reserve_that_leaves_no_travel_is_met_by_nothing() -> None:
    bridge = replace(synthetic.plan().bridge, travel_reserve=6.0)
    advice = synthetic.advise(synthetic.hand(7).read(synthetic.Work(), replace(synthetic.plan(), bridge=bridge)))
    assert advice.needed
    assert advice.aim is None
    assert advice.rounded.nothing
    assert {"bearing bass", "bearing treble"} <= set(advice.unmet)


def test_an_outer_string_too_near_its_edge_on_both_sides_doesn_t_spoil_the_cut_of_the_floor() -> None:
    wide = with_tolerance("string-to-edge-bass", 3.6, None)
    wide = replace(
        wide,
        checkpoints=tuple(
            replace(each, tolerance=Tolerance(ToleranceSide.AT_LEAST, 3.6, None))
            if each.id == "string-to-edge-treble"
            else each
            for each in wide.checkpoints
        ),
    )
    advice = synthetic.advise(synthetic.hand(8).read(synthetic.wrong_by(0.6), wide))
    assert advice.aim is Aim.MOST
    assert advice.rounded.all() == pytest.approx((0.0, 0.7, 0.0, 0.7), abs=0.11)
    assert advice.cheeks_rounded.nothing
    assert {"string-to-edge-bass", "string-to-edge-treble"} <= set(advice.unmet)


def test_a_roll_isn_t_cut_where_the_file_doesn_t_know_the_pocket_s_width() -> None:
    narrow = replace(synthetic.plan(), pocket=replace(synthetic.plan().pocket, width=None))
    advice = synthetic.advise(synthetic.hand(9).read(synthetic.wrong_by(roll_deg=0.6), narrow))
    assert advice.aim in (Aim.MOST, Aim.TRAVEL)
    assert "neck-roll" in advice.unmet
    assert advice.rounded.bass_tail == advice.rounded.treble_tail
    assert advice.rounded.bass_body_edge == advice.rounded.treble_body_edge


@pytest.mark.parametrize("spare", [0.0, 0.3])
def test_the_least_floor_is_kept(spare: float) -> None:
    """Where the floor may lose no more, a shim at the other end does the rest, or what stays out is named."""
    thin = replace(synthetic.plan(), pocket=replace(synthetic.plan().pocket, body_thickness=16.0 + 12.0 + spare))
    advice = synthetic.advise(synthetic.hand(10).read(synthetic.wrong_by(0.6), thin))
    assert max(advice.rounded.all()) <= spare + 1e-9
    assert advice.rounded.shim > 0 or advice.unmet
    assert advice.floor == pytest.approx(12.0 + spare - max(advice.rounded.all()))


def test_a_step_too_coarse_for_any_aim_gives_the_nearest_that_keeps_the_floor() -> None:
    """A bridge with 0.4 mm of travel, and a synthetic.hand that takes off 3 mm at once where 2.9 may go."""
    thin = replace(synthetic.plan(), pocket=replace(synthetic.plan().pocket, body_thickness=16.0 + 12.0 + 2.9))
    reading = synthetic.hand(10).read(synthetic.wrong_by(0.6), thin)
    needed = reading.setting.figures["required_bearing.bass"].value
    narrow = replace(reading.instrument.bridge, bearing_low=needed - 2.7, bearing_high=needed - 0.7, travel_reserve=0.8)
    bound = replace(
        reading.instrument, bridge=narrow, checkpoints=tuple(replace(each, tolerance=None) for each in thin.checkpoints)
    )
    advice = cut_advice(bound, reading.setting, reading.means, 3.0)
    assert advice is not None
    assert advice.aim is Aim.NEAREST
    assert not advice.exact.nothing
    assert max(advice.rounded.all()) <= 2.9


def test_a_pocket_deeper_than_its_floor_allows_gives_no_more_wood() -> None:
    thin = replace(synthetic.plan(), pocket=replace(synthetic.plan().pocket, body_thickness=20.0))
    pocket = pocket_of(thin)
    assert pocket is not None
    assert pocket.spare == 0.0


def test_what_is_told_beside_the_depths() -> None:
    """Floor left, how far the fret plane sinks at the joint line, and the taper, from the depths by hand."""
    advice = synthetic.advise(synthetic.hand(11).read(synthetic.wrong_by(-0.2, height=0.6)))
    body_edge, tail = advice.rounded.body_edge, advice.rounded.tail
    assert body_edge > 0
    assert advice.floor == pytest.approx(44.5 - 16.0 - max(advice.rounded.all()))
    assert advice.sinks == pytest.approx(body_edge)
    assert advice.taper_deg == pytest.approx(math.degrees(math.atan2(tail - body_edge, 90.0)))


def test_the_fretboard_isn_t_cut_into_the_body_where_its_underside_is_known() -> None:
    """A neck 0.2° too flat is raised by wood off the body-edge end, which lets the fretboard down at the joint line."""
    free = synthetic.advise(synthetic.hand(12).read(synthetic.wrong_by(-0.2)))
    known = replace(synthetic.plan(), neck=replace(synthetic.plan().neck, underside_height=0.0))
    held = synthetic.advise(synthetic.hand(12).read(synthetic.wrong_by(-0.2), known))
    assert free.sinks > 0.1
    assert held.sinks <= 0.01
    assert held.rounded.shim > 0


def test_a_bridge_that_isn_t_drilled_yet_is_kept_in_its_travel() -> None:
    """Without a place of its own the bridge goes where the strings end; the cut still brings them into its travel."""
    points = tuple(
        replace(each, tolerance=None, place=replace(each.place, point_mm=None)) for each in synthetic.plan().checkpoints
    )
    bare = replace(synthetic.plan(), checkpoints=points, bridge=replace(synthetic.plan().bridge, position=None))
    advice = synthetic.advise(synthetic.hand(13).read(synthetic.wrong_by(1.2), bare))
    assert advice.needed
    assert advice.rounded.tail > 0
    assert advice.figures["travel.margin_high"].value >= 1.0 - 0.02
    assert advice.unmet == ()


def test_without_a_pocket_s_length_or_a_neck_angle_there_is_no_advice() -> None:
    read = synthetic.hand(14).read(synthetic.wrong_by(0.5))
    without = replace(read.instrument, pocket=replace(read.instrument.pocket, length=None))
    assert cut_advice(without, read.setting, read.means, synthetic.STEP_MM) is None
    blind = replace(read.setting, figures={})
    assert cut_advice(read.instrument, blind, read.means, synthetic.STEP_MM) is None


def test_a_tolerance_that_no_neck_angle_reaches_bars_nothing() -> None:
    open_above = with_tolerance("neck-angle", 2.5, 60.0)
    advice = synthetic.advise(synthetic.hand(15).read(synthetic.wrong_by(0.6), open_above))
    assert advice.rounded.tail > 0
    assert "neck-angle" not in advice.unmet


def test_passes() -> None:
    advice = synthetic.advise(synthetic.hand(16).read(synthetic.wrong_by(0.6)))
    depth = max(advice.rounded.all())
    assert passes_for(advice, depth / 7, angle=False) == 7
    assert passes_for(advice, depth / 6.5, angle=False) == 7
    assert passes_for(advice, abs(advice.taper_deg) / 3, angle=True) == 3
    assert passes_for(advice, 0.0, angle=False) is None
    assert passes_for(advice, -0.1, angle=False) is None
    nothing = synthetic.advise(synthetic.hand(16).read(synthetic.Work()))
    assert passes_for(nothing, 0.1, angle=False) == 0
    shim = replace(nothing, rounded=Corners(-0.5, -0.5, -0.5, -0.5))
    assert passes_for(shim, 0.1, angle=False) == 0
