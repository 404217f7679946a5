"""The advice where to take wood off, followed on an invented neck: set down anew in three dimensions, and read again.

The neck, its pocket and its readings are synthetic. The neck's place is worked out here from the pocket's floor and
cheeks with scipy's Rotation; nothing of the geometry of `gaugelog.analysis` is used for it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from gaugelog.analysis.cut import Cheeks, Corners
from gaugelog.analysis.neck_cut import Aim, CutAdvice, cut_advice, passes_for, pocket_of
from gaugelog.analysis.neck_setting import NeckSetting, neck_setting
from gaugelog.analysis.readiness import p_conform
from gaugelog.analysis.stage_means import StageMean, stage_means
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.instruments.written_steps import written_steps
from gaugelog.model.estimate import Estimate
from gaugelog.model.instrument import Checkpoint, Instrument, Tolerance, ToleranceSide
from gaugelog.model.kinds import BEFORE
from gaugelog.model.placement import KeptPlacement, Placement, Settled, Snapshot
from gaugelog.model.quantities import Quantity

STEP_MM = 0.1
ANGLE_DEG, LENGTH_MM, WIDTH_MM, FLOOR_MM = 2.8, 90.0, 50.0, -16.0
BRIDGE_MM, HALF_SPREAD_MM, RADIUS_MM, TOP_MM = 274.5, 26.0, 305.0, 17.8
DIGIT = {Quantity.ANGLE: 0.05, Quantity.LENGTH: 0.1, Quantity.TEMPERATURE: 0.5, Quantity.HUMIDITY: 1.0}
SCATTER = {Quantity.ANGLE: 0.02, Quantity.LENGTH: 0.03, Quantity.TEMPERATURE: 0.1, Quantity.HUMIDITY: 0.3}


@cache
def plan() -> Instrument:
    """The example instrument of a new file, with every kind of checkpoint."""
    return read_instrument(new_instrument("synthetic", gauges="two", full=True), "new")


@dataclass(frozen=True)
class Work:
    """The true pocket, mm: how much too high its floor is at four corners, how far aside its cheeks let the neck."""

    floor: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    aside: tuple[float, float] = (0.0, 0.0)
    relief: float = 0.2

    def cut(self, floor: Corners, cheeks: Cheeks) -> Work:
        """The pocket with wood taken off."""
        left = np.subtract(self.floor, floor.all())
        edge = self.aside[0] + cheeks.treble_body_edge - cheeks.bass_body_edge
        tail = self.aside[1] + cheeks.treble_tail - cheeks.bass_tail
        return Work((left[0], left[1], left[2], left[3]), (edge, tail), self.relief)


def wrong_by(angle_deg: float = 0.0, roll_deg: float = 0.0, yaw_deg: float = 0.0, height: float = 0.0) -> Work:
    """A pocket whose floor slopes, leans and stands too high, and whose cheeks point aside, by so much."""
    up = LENGTH_MM * (math.tan(math.radians(ANGLE_DEG + angle_deg)) - math.tan(math.radians(ANGLE_DEG)))
    lean = WIDTH_MM / 2 * math.tan(math.radians(roll_deg))
    aside = LENGTH_MM * math.tan(math.radians(yaw_deg))
    return Work((height - lean, height + up - lean, height + lean, height + up + lean), (0.0, aside))


@dataclass(frozen=True)
class Neck:
    """A neck as it lies: the plane of its fret tops z = height + slope x + tilt y, its underside, its centreline."""

    slope: float
    tilt: float
    height: float
    underside: float
    floor_slope: float
    offset: float
    heading: float

    def plane(self, x: float, y: float) -> float:
        return self.height + self.slope * x + self.tilt * y

    def aside(self, x: float) -> float:
        return self.offset + self.heading * x


def set_down(work: Work) -> Neck:
    """Lay the rigid neck on the floor, its shoulder against the body, and turn it as the cheeks let it."""
    bass_edge, bass_tail, treble_edge, treble_tail = work.floor
    along = ((bass_tail + treble_tail) - (bass_edge + treble_edge)) / 2 / LENGTH_MM
    across = (treble_edge - bass_edge) / WIDTH_MM
    as_planned = math.tan(math.radians(ANGLE_DEG))
    planned, made = np.array([-as_planned, 0.0, 1.0]), np.array([-as_planned - along, -across, 1.0])
    planned, made = planned / np.linalg.norm(planned), made / np.linalg.norm(made)
    axis = np.cross(planned, made)
    size = float(np.linalg.norm(axis))
    lean = Rotation.from_rotvec(axis / size * math.asin(size) if size > 0 else np.zeros(3))
    turn = Rotation.from_euler("z", math.atan((work.aside[1] - work.aside[0]) / LENGTH_MM)) * lean
    shoulder = np.array([0.0, 0.0, FLOOR_MM])
    shift = np.array([0.0, work.aside[0], (bass_edge + treble_edge) / 2])

    def placed(point: Sequence[float]) -> np.ndarray:
        return np.asarray(turn.apply(np.array(point) - shoulder) + shoulder + shift)

    normal = turn.apply([-as_planned, 0.0, 1.0])
    top, under = placed([0.0, 0.0, 6.0]), placed([0.0, 0.0, 0.0])
    ends = placed([-400.0, 0.0, 6.0 - 400 * as_planned]), placed([86.0, 0.0, 6.0 + 86 * as_planned])
    heading = (ends[1][1] - ends[0][1]) / (ends[1][0] - ends[0][0])
    slope, tilt = -normal[0] / normal[2], -normal[1] / normal[2]
    return Neck(
        slope,
        tilt,
        top[2] - slope * top[0] - tilt * top[1],
        under[2] - slope * under[0] - tilt * under[1],
        as_planned + along,
        ends[1][1] - heading * ends[1][0],
        heading,
    )


def sag_at(across: float) -> float:
    return RADIUS_MM - math.sqrt(RADIUS_MM**2 - across**2)


def true_reading(checkpoint: Checkpoint, neck: Neck, relief: float) -> float:
    """What a perfect gauge would read."""
    side = -1.0 if checkpoint.side == "bass" else 1.0
    x, y, _ = checkpoint.place.point_mm or (BRIDGE_MM, side * HALF_SPREAD_MM, 0.0)
    by_kind: Mapping[str, Callable[[], float]] = {
        "neck-angle": lambda: math.degrees(math.atan(neck.slope)),
        "neck-roll": lambda: math.degrees(math.atan(neck.tilt)),
        "pocket-floor-tilt": lambda: math.degrees(math.atan(neck.floor_slope)),
        "fret-to-bridge-clearance": lambda: neck.plane(x, y) - sag_at(y) - TOP_MM,
        "saddle-height": lambda: TOP_MM,
        "fretboard-edge-height": lambda: neck.underside + neck.slope * x + neck.tilt * y,
        "fretboard-end-rise": lambda: neck.underside + neck.slope * x,
        "centreline-offset": lambda: neck.aside(x),
        "post-to-edge": lambda: 7.7 - side * neck.aside(x),
        "string-to-edge": lambda: 3.2 + side * neck.aside(BRIDGE_MM) * 686 * (1 - 2 ** (-22 / 12)) / 688.8,
        "neck-relief": lambda: relief,
        "joint-gap": lambda: 0.0,
    }
    found = by_kind.get(checkpoint.kind.slug)
    return found() if found is not None else checkpoint.nominal or 0.0


@dataclass(frozen=True)
class Read:
    """One round of readings: the instrument with its plane's height as measured, the means, what they say."""

    instrument: Instrument
    means: Mapping[str, StageMean]
    setting: NeckSetting


@dataclass(frozen=True)
class Hand:
    """Who reads: scatter and digits as shares of the usual, and misreadings by checkpoint."""

    rng: np.random.Generator
    fine: float = 1.0
    errors: Mapping[str, float] = field(default_factory=dict)

    def placement(self, checkpoint: Checkpoint, value: float) -> Placement:
        """One placement: scattered, and rounded to a digit; a difference of two readings to the digit of both."""
        quantity = checkpoint.quantity
        digit = (checkpoint.step or DIGIT[quantity]) * self.fine
        shown = value + self.errors.get(checkpoint.id, 0.0) + self.rng.normal(0.0, SCATTER[quantity] * self.fine)
        body = self.rng.uniform(-0.5, 0.5) if checkpoint.readings_per_placement == 2 else 0.0
        read = (round(shown / digit + body) - round(body)) * digit
        return Placement(
            checkpoint.id, quantity, read, f"{read:.2f}", checkpoint.unit, digit, Settled.STEADY, 0, checkpoint.gauge
        )

    def read(self, work: Work, instrument: Instrument | None = None) -> Read:
        """All checkpoints read before the glue, three placements each, and the plane's height to a tenth."""
        asked, neck = instrument or plan(), set_down(work)
        height = round(neck.height / (0.1 * self.fine)) * 0.1 * self.fine
        under = asked.neck.underside_height
        if under is not None:
            under = max(round(neck.underside / (0.1 * self.fine)) * 0.1 * self.fine, 0.0)
        asked = replace(asked, neck=replace(asked.neck, plane_height=height, underside_height=under))
        placements = [
            self.placement(each, true_reading(each, neck, work.relief))
            for each in asked.at_stage(BEFORE)
            for _ in range(each.placements)
        ]
        kept = tuple(KeptPlacement(number, 1, BEFORE, 0, each) for number, each in enumerate(placements))
        means = stage_means(asked, Snapshot(1, BEFORE, 1, 0, None, kept))
        steps = {key: step * self.fine for key, step in written_steps(asked.text).items()}
        return Read(asked, means, neck_setting(asked, means, steps, stage=BEFORE))


def advise(read: Read, step: float = STEP_MM) -> CutAdvice:
    advice = cut_advice(read.instrument, read.setting, read.means, step)
    assert advice is not None
    return advice


def all_conform(read: Read) -> bool:
    """Whether every tolerance is met with 95 %."""
    for mean in read.means.values():
        tolerance = mean.checkpoint.tolerance
        if tolerance is not None:
            p = p_conform(Estimate(mean.value, mean.u, "", mean.dof), tolerance.low, tolerance.high)
            if p < 0.95:
                return False
    return True


def hand(seed: int, **more) -> Hand:
    return Hand(np.random.default_rng(seed), **more)


def test_the_synthetic_neck_is_the_one_that_the_example_file_plans() -> None:
    neck = set_down(Work())
    for checkpoint in plan().at_stage(BEFORE):
        if checkpoint.nominal is not None and checkpoint.kind.slug != "neck-relief":
            digit = checkpoint.step or DIGIT[checkpoint.quantity]
            assert true_reading(checkpoint, neck, 0.2) == pytest.approx(checkpoint.nominal, abs=digit), checkpoint.id


WRONG = {
    "0.3 too steep": wrong_by(0.3),
    "0.3 too flat": wrong_by(-0.3),
    "0.6 too steep": wrong_by(0.6),
    "0.6 too flat": wrong_by(-0.6),
    "treble side high": wrong_by(roll_deg=0.5),
    "bass side high": wrong_by(roll_deg=-0.5),
    "points to the treble side": wrong_by(yaw_deg=0.3),
    "stands 0.6 mm too high": wrong_by(height=0.6),
    "all of it": wrong_by(0.4, 0.4, -0.25, 0.2),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_cut_that_was_followed_conforms_when_read_again(case: str) -> None:
    """Ten rounds of reading, cutting and reading again, each with its own scatter and digits.

    Every tolerance with p >= 0.95 in at least nine of ten of the rounds that were sure of it. Over 40 rounds each:
    in 97 % of them, in 90 % where the bass side was high.
    """
    work, kept, sure = WRONG[case], 0, 0
    for seed in range(10):
        first = hand(seed).read(work)
        assert not all_conform(first)
        advice = advise(first)
        assert advice.needed
        assert advice.aim in (Aim.SURE, Aim.NARROW)
        assert advice.unmet == ()
        again = hand(100 + seed).read(work.cut(advice.rounded, advice.cheeks_rounded))
        sure += advice.aim is Aim.SURE
        kept += advice.aim is Aim.SURE and all_conform(again)
    assert sure >= 6
    assert kept >= 0.9 * sure


@pytest.mark.parametrize("work", [Work(), wrong_by(0.05), wrong_by(-0.04, roll_deg=0.1), wrong_by(yaw_deg=0.05)])
def test_nothing_is_asked_for_where_the_neck_sits_well(work: Work) -> None:
    for seed in range(5):
        read = hand(seed).read(work)
        assert all_conform(read)
        advice = advise(read)
        assert not advice.needed
        assert advice.rounded.nothing
        assert advice.cheeks_rounded.nothing
        assert advice.unmet == ()
        for name, figure in read.setting.figures.items():
            assert advice.figures[name].value == pytest.approx(figure.value, abs=1e-9), name


def bearing_height(neck: Neck, side: float, compensation: float, action: float, relief: float) -> float:
    """Where the string must bear, by drawing: 12th fret's top and nut in the plane's own frame, carried on.

    Relief is a parabola between nut and last fret (22), the spread grows evenly from nut to saddle.
    """
    normal = np.array([-neck.slope, -neck.tilt, 1.0])
    square = float(np.linalg.norm(normal))
    octave, last = 343.0, 686 * (1 - 2 ** (-22 / 12))
    at_twelfth = 18 + (26 - 18) * octave / (686 + compensation)
    top = -sag_at(at_twelfth) - 4 * relief * (octave / last) * (1 - octave / last)
    nut = 0.5 - sag_at(18.0)
    over = nut + (top + action - nut) / octave * (686 + compensation)
    return neck.plane(BRIDGE_MM, side * HALF_SPREAD_MM) + over * square


@pytest.mark.parametrize("work", [wrong_by(0.4, 0.3, 0.2, 0.1), wrong_by(-0.4, -0.3), replace(Work(), relief=0.35)])
def test_the_outcome_is_that_of_the_neck_set_down_on_the_cut_floor(work: Work) -> None:
    """Read with gauges a thousand times as fine, so that only the geometry differs; heights good to 0.02 mm."""
    advice = advise(hand(1, fine=1e-3).read(work))
    after = set_down(work.cut(advice.rounded, advice.cheeks_rounded))
    drawn = {
        "neck_angle": math.degrees(math.atan(after.slope)),
        "roll": math.degrees(math.atan(after.tilt)),
        "plane_height": after.height,
        "plane_at_saddle.bass": after.plane(BRIDGE_MM, -HALF_SPREAD_MM),
        "plane_at_saddle.treble": after.plane(BRIDGE_MM, HALF_SPREAD_MM),
        "required_bearing.bass": bearing_height(after, -1.0, 4.0, 2.2, work.relief),
        "required_bearing.treble": bearing_height(after, 1.0, 1.5, 1.8, work.relief),
    }
    drawn["travel.margin_low"] = min(drawn["required_bearing.bass"], drawn["required_bearing.treble"]) - 15.4
    drawn["travel.margin_high"] = 25.2 - max(drawn["required_bearing.bass"], drawn["required_bearing.treble"])
    for name, value in drawn.items():
        assert advice.figures[name].value == pytest.approx(value, abs=0.02), name
    lean = (after.tilt - set_down(work).tilt) * (6.0 - FLOOR_MM)
    assert advice.figures["centreline_offset"].value - lean == pytest.approx(after.aside(BRIDGE_MM), abs=0.02), (
        "what the advice says it leaves out: a neck that leans goes aside, as high as its frets stand over the floor"
    )


def test_where_the_wood_goes() -> None:
    """Too steep: off the tail end. Treble side high: off that side. Points to treble: off the bass cheek's tail."""
    steep, high = advise(hand(2).read(wrong_by(0.5))).rounded, advise(hand(2).read(wrong_by(roll_deg=0.5))).rounded
    assert steep.tail > steep.body_edge == 0.0
    assert high.treble_tail > high.bass_tail
    assert high.treble_body_edge > high.bass_body_edge
    aside = advise(hand(2).read(wrong_by(yaw_deg=0.3)))
    assert aside.rounded.nothing
    assert aside.cheeks_rounded.bass_tail > 0
    assert aside.cheeks_rounded.bass_tail == sum(aside.cheeks_rounded.all())


def test_handedness_changes_no_sign() -> None:
    work = wrong_by(0.4, 0.4, 0.25)
    right = advise(hand(3).read(work))
    left = advise(hand(3).read(work, replace(plan(), handedness="left")))
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
    for work in (Work(), wrong_by(0.5)):
        sound = advise(hand(4).read(work))
        advice = advise(hand(4, errors=errors).read(work))
        assert set(errors) <= set(advice.left_out)
        assert len(advice.left_out) <= len(errors) + 1
        assert advice.needed == sound.needed
        assert np.subtract(advice.rounded.all(), sound.rounded.all()) == pytest.approx(0.0, abs=STEP_MM + 1e-9)
        assert advice.cheeks_rounded.nothing
        after = set_down(work.cut(advice.rounded, advice.cheeks_rounded))
        for checkpoint in plan().checkpoints:
            if checkpoint.id in errors and checkpoint.tolerance is not None:
                value, tolerance = true_reading(checkpoint, after, work.relief), checkpoint.tolerance
                assert (tolerance.low or -math.inf) <= value <= (tolerance.high or math.inf)


def with_tolerance(name: str, low: float | None, high: float | None) -> Instrument:
    """The plan with another tolerance at one checkpoint."""
    tolerance = Tolerance(ToleranceSide.BOTH, low, high)
    return replace(
        plan(),
        checkpoints=tuple(
            replace(each, tolerance=tolerance) if each.id == name else each for each in plan().checkpoints
        ),
    )


def test_one_tolerance_that_contradicts_the_rest_is_the_only_one_that_stays_out() -> None:
    """The bare floor 0.6° steeper than the neck that lies on it: the heel isn't as planned, the neck counts."""
    read = hand(5, errors={"pocket-floor-tilt": 0.6}).read(wrong_by(0.5))
    advice = advise(read)
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
    advice = advise(hand(6).read(Work(), contrary))
    assert advice.aim is Aim.TRAVEL
    assert {"clearance-bass", "clearance-treble"} <= set(advice.unmet)
    assert not {"bearing bass", "bearing treble"} & set(advice.unmet)


def test_a_reserve_that_leaves_no_travel_is_met_by_nothing() -> None:
    bridge = replace(plan().bridge, travel_reserve=6.0)
    advice = advise(hand(7).read(Work(), replace(plan(), bridge=bridge)))
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
    advice = advise(hand(8).read(wrong_by(0.6), wide))
    assert advice.aim is Aim.MOST
    assert advice.rounded.all() == pytest.approx((0.0, 0.7, 0.0, 0.7), abs=0.11)
    assert advice.cheeks_rounded.nothing
    assert {"string-to-edge-bass", "string-to-edge-treble"} <= set(advice.unmet)


def test_a_roll_isn_t_cut_where_the_file_doesn_t_know_the_pocket_s_width() -> None:
    narrow = replace(plan(), pocket=replace(plan().pocket, width=None))
    advice = advise(hand(9).read(wrong_by(roll_deg=0.6), narrow))
    assert advice.aim in (Aim.MOST, Aim.TRAVEL)
    assert "neck-roll" in advice.unmet
    assert advice.rounded.bass_tail == advice.rounded.treble_tail
    assert advice.rounded.bass_body_edge == advice.rounded.treble_body_edge


@pytest.mark.parametrize("spare", [0.0, 0.3])
def test_the_least_floor_is_kept(spare: float) -> None:
    """Where the floor may lose no more, a shim at the other end does the rest, or what stays out is named."""
    thin = replace(plan(), pocket=replace(plan().pocket, body_thickness=16.0 + 12.0 + spare))
    advice = advise(hand(10).read(wrong_by(0.6), thin))
    assert max(advice.rounded.all()) <= spare + 1e-9
    assert advice.rounded.shim > 0 or advice.unmet
    assert advice.floor == pytest.approx(12.0 + spare - max(advice.rounded.all()))


def test_a_pocket_deeper_than_its_floor_allows_gives_no_more_wood() -> None:
    thin = replace(plan(), pocket=replace(plan().pocket, body_thickness=20.0))
    pocket = pocket_of(thin)
    assert pocket is not None
    assert pocket.spare == 0.0


def test_what_is_told_beside_the_depths() -> None:
    """Floor left, how far the fret plane sinks at the joint line, and the taper, worked out by hand from the depths."""
    advice = advise(hand(11).read(wrong_by(-0.2, height=0.6)))
    body_edge, tail = advice.rounded.body_edge, advice.rounded.tail
    assert body_edge > 0
    assert advice.floor == pytest.approx(44.5 - 16.0 - max(advice.rounded.all()))
    assert advice.sinks == pytest.approx(body_edge)
    assert advice.taper_deg == pytest.approx(math.degrees(math.atan2(tail - body_edge, 90.0)))


def test_the_fretboard_isn_t_cut_into_the_body_where_its_underside_is_known() -> None:
    """A neck 0.2° too flat is raised by wood off the body-edge end, which lets the fretboard down at the joint line."""
    free = advise(hand(12).read(wrong_by(-0.2)))
    known = replace(plan(), neck=replace(plan().neck, underside_height=0.0))
    held = advise(hand(12).read(wrong_by(-0.2), known))
    assert free.sinks > 0.1
    assert held.sinks <= 0.01
    assert held.rounded.shim > 0


def test_a_bridge_that_isn_t_drilled_yet_is_kept_in_its_travel() -> None:
    """Without a place of its own the bridge goes where the strings end; the cut still brings them into its travel."""
    points = tuple(
        replace(each, tolerance=None, place=replace(each.place, point_mm=None)) for each in plan().checkpoints
    )
    bare = replace(plan(), checkpoints=points, bridge=replace(plan().bridge, position=None))
    advice = advise(hand(13).read(wrong_by(1.2), bare))
    assert advice.needed
    assert advice.rounded.tail > 0
    assert advice.figures["travel.margin_high"].value >= 1.0 - 0.02
    assert advice.unmet == ()


def test_without_a_pocket_s_length_or_a_neck_angle_there_is_no_advice() -> None:
    read = hand(14).read(wrong_by(0.5))
    without = replace(read.instrument, pocket=replace(read.instrument.pocket, length=None))
    assert cut_advice(without, read.setting, read.means, STEP_MM) is None
    blind = replace(read.setting, figures={})
    assert cut_advice(read.instrument, blind, read.means, STEP_MM) is None


def test_a_tolerance_that_no_neck_angle_reaches_bars_nothing() -> None:
    open_above = with_tolerance("neck-angle", 2.5, 60.0)
    advice = advise(hand(15).read(wrong_by(0.6), open_above))
    assert advice.rounded.tail > 0
    assert "neck-angle" not in advice.unmet


def test_passes() -> None:
    advice = advise(hand(16).read(wrong_by(0.6)))
    depth = max(advice.rounded.all())
    assert passes_for(advice, depth / 7, angle=False) == 7
    assert passes_for(advice, depth / 6.5, angle=False) == 7
    assert passes_for(advice, abs(advice.taper_deg) / 3, angle=True) == 3
    assert passes_for(advice, 0.0, angle=False) is None
    assert passes_for(advice, -0.1, angle=False) is None
    nothing = advise(hand(16).read(Work()))
    assert passes_for(nothing, 0.1, angle=False) == 0
    shim = replace(nothing, rounded=Corners(-0.5, -0.5, -0.5, -0.5))
    assert passes_for(shim, 0.1, angle=False) == 0
