"""Whole snapshots: which checkpoints belong, the control rule, and the check while the glue is open."""

from __future__ import annotations

import pytest

from gaugelog.analysis.comparison import GaugeFacts, compare, side_of
from gaugelog.analysis.results import Verdict
from gaugelog.analysis.uncertainty import Study
from gaugelog.analysis.wet import compare_wet
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.kinds import AFTER, BEFORE, KIND_BY_SLUG, WET
from gaugelog.model.placement import KeptPlacement, Part, Placement, Role, Settled, Skip, Snapshot
from gaugelog.model.quantities import Quantity

ANGLE, LENGTH = Quantity.ANGLE, Quantity.LENGTH
UNIT = {ANGLE: "deg", LENGTH: "mm", Quantity.TEMPERATURE: "degC", Quantity.HUMIDITY: "%"}


def spot(name: str, kind: str, limit: float | None = None, quantity: Quantity | None = None, **more) -> Checkpoint:
    what = quantity or KIND_BY_SLUG[kind].quantity
    return Checkpoint(name, KIND_BY_SLUG[kind], what, UNIT[what], "", limit=limit, **more)


PLAN = Instrument(
    "baritone",
    (
        spot("wall", "pocket-wall-squareness", stages=(BEFORE,)),
        spot("angle", "neck-angle", 0.2, stages=(BEFORE, WET, AFTER)),
        spot("bass", "fret-to-bridge-clearance", 0.3, stages=(BEFORE, WET, AFTER)),
        spot("gap", "joint-gap", 0.1),
        spot("block", "control", 0.15, ANGLE),
        spot("air", "temperature"),
    ),
)


def placed(name: str, value: float | None, gauge: str | None = None, resolution: float = 0.05, **more) -> Placement:
    quantity = PLAN.checkpoint(name).quantity
    settled = Settled.STEADY if gauge else Settled.TYPED
    more = {"low": None, "high": None, **more}
    return Placement(name, quantity, value, str(value), UNIT[quantity], resolution, settled, 0, gauge, **more)


def snapshot(stage: str, placements: list[Placement], skips: tuple[Skip, ...] = (), dropped: int = -1) -> Snapshot:
    kept = tuple(
        KeptPlacement(i, 1, stage, i, placement, "slipped" if i == dropped else None)
        for i, placement in enumerate(placements)
    )
    return Snapshot(1, stage, 1, 0, None, kept, skips)


def thrice(name: str, value: float, gauge: str | None = None) -> list[Placement]:
    return [placed(name, value, gauge) for _ in range(3)]


def full(shift: float = 0.0, control: float = 0.0, gauge: str | None = "level") -> list[Placement]:
    return [
        *thrice("angle", 2.8 + shift, gauge),
        *thrice("bass", 1.0, "caliper"),
        *thrice("gap", 0.1),
        *thrice("block", 90.0 + control, gauge),
    ]


def test_the_rows_are_those_of_the_plan_that_glue_can_move():
    told = compare(PLAN, snapshot(BEFORE, [*thrice("wall", 90.0), *full()]), snapshot(AFTER, full()))
    assert (told.from_stage, told.to_stage) == (BEFORE, AFTER)
    assert [row.id for row in told.checkpoints] == ["angle", "bass", "gap", "block"]
    assert len(told.having(Verdict.HELD)) == 4
    by_id = {row.id: row for row in told.checkpoints}
    assert by_id["gap"].resolution == 0.05


def test_weather_read_twice_is_told_and_bars_nothing():
    air = [placed("air", 20.0, resolution=1.0)]
    told = compare(
        PLAN, snapshot(BEFORE, full() + air), snapshot(AFTER, [*full(), placed("air", 23.0, resolution=1.0)])
    )
    row = told.checkpoints[-1]
    assert (row.id, row.counts, row.verdict) == ("air", False, Verdict.NO_VERDICT)
    assert row.shift == pytest.approx(3.0)
    assert all(each.id != "air" for verdict in Verdict for each in told.having(verdict))


def test_unread_and_skipped_say_so():
    after = [p for p in full() if p.checkpoint not in ("angle", "gap")]
    told = compare(PLAN, snapshot(BEFORE, full()), snapshot(AFTER, after, (Skip("gap", "glue squeezed out"),)))
    reasons = {row.id: row.reason for row in told.having(Verdict.NO_VERDICT)}
    assert "not read after" in reasons["angle"]
    assert "glue squeezed out" in reasons["gap"]


def test_dropped_placements_do_not_count():
    before = [placed("angle", 7.0, "level"), *full()]
    told = compare(PLAN, snapshot(BEFORE, before, dropped=0), snapshot(AFTER, full()))
    assert told.checkpoints[0].before.n == 3
    assert told.checkpoints[0].verdict is Verdict.HELD


def test_a_control_that_moved_withdraws_its_gauges_verdicts():
    told = compare(PLAN, snapshot(BEFORE, full()), snapshot(AFTER, full(control=0.5)))
    rows = {row.id: row for row in told.checkpoints}
    assert rows["block"].verdict is Verdict.MOVED
    assert "glue can't move this" in rows["block"].reason
    assert rows["angle"].verdict is Verdict.NO_VERDICT
    assert 'the control "block" moved' in rows["angle"].reason
    assert rows["angle"].p_within is None
    assert rows["bass"].verdict is Verdict.HELD


def test_a_typed_control_speaks_for_typed_values_of_its_quantity():
    told = compare(PLAN, snapshot(BEFORE, full(gauge=None)), snapshot(AFTER, full(control=0.5, gauge=None)))
    rows = {row.id: row.verdict for row in told.checkpoints}
    assert rows["angle"] is Verdict.NO_VERDICT
    assert rows["gap"] is not Verdict.NO_VERDICT


def test_a_control_that_held_withdraws_nothing():
    told = compare(PLAN, snapshot(BEFORE, full()), snapshot(AFTER, full(control=0.05)))
    assert told.checkpoints[0].verdict is Verdict.HELD


def test_another_gauge_after_than_before():
    gauges = {"level": GaugeFacts(0.05), "other": GaugeFacts(0.05)}
    plan_after = full(gauge="other")
    unknown = compare(PLAN, snapshot(BEFORE, full()), snapshot(AFTER, plan_after)).checkpoints[0]
    assert unknown.verdict is Verdict.NO_VERDICT
    assert "read before by level and after by other" in unknown.reason
    known = compare(PLAN, snapshot(BEFORE, full()), snapshot(AFTER, plan_after), gauges=gauges).checkpoints[0]
    same = compare(PLAN, snapshot(BEFORE, full()), snapshot(AFTER, full()), gauges=gauges).checkpoints[0]
    # two readings a placement, two gauges, each rectangular: 2 (0.05² + 0.05²)/3
    assert known.u**2 - same.u**2 == pytest.approx(2 * 2 * 0.05**2 / 3)


def test_a_colder_workshop_lets_accuracies_enter():
    gauges = {"caliper": GaugeFacts(0.03)}
    cold = [placed("air", 12.0, resolution=1.0)]
    warm = [placed("air", 20.0, resolution=1.0)]
    same = compare(PLAN, snapshot(BEFORE, full() + warm), snapshot(AFTER, full() + warm), gauges=gauges)
    other = compare(PLAN, snapshot(BEFORE, full() + warm), snapshot(AFTER, full() + cold), gauges=gauges)
    assert other.checkpoints[1].u ** 2 - same.checkpoints[1].u ** 2 == pytest.approx(2 * 0.03**2 / 3)
    assert other.checkpoints[0].u == same.checkpoints[0].u
    assert "8 °C colder after, but" in other.checkpoints[0].reason
    assert "workshop" not in other.checkpoints[-1].reason + same.checkpoints[0].reason


def test_the_gauges_study_is_used():
    gauges = {"level": GaugeFacts(study=Study(0.02, 20))}
    told = compare(PLAN, snapshot(BEFORE, full()[2:]), snapshot(AFTER, full()), gauges=gauges)
    row = told.checkpoints[0]
    assert (row.before.n, row.verdict) == (1, Verdict.HELD)
    assert compare(PLAN, snapshot(BEFORE, full()[2:]), snapshot(AFTER, full())).checkpoints[0].verdict is (
        Verdict.NO_VERDICT
    )


def test_sides_from_placements():
    pair = placed("gap", 0.275, low=0.25, high=0.30, resolution=0.01)
    bound = placed("gap", None, low=0.30)
    told = side_of([pair, bound])
    assert (told.values, told.bounds, told.gauge) == ((0.275,), 1, None)
    assert told.half_widths == (0.025,)
    assert side_of([placed("gap", 0.525, low=0.50, high=0.55, resolution=0.01)]).step == 0.05
    parts = tuple(
        Part(role, name, 1.0, "1", "deg", 0.05, 0, 1, 0, 0) for role, name in ((Role.BODY, "b"), (Role.NECK, "n"))
    )
    two = [placed("angle", 2.8, "n", parts=parts)] * 3
    both = side_of(two, {"b": GaugeFacts(0.1), "n": GaugeFacts(0.2)})
    assert (both.gauge, both.mixed, both.accuracy) == ("b and n", False, 0.2)
    assert side_of([*two, placed("angle", 2.8, "n")]).mixed
    assert side_of([]).n == 0


def wet(*placements: Placement) -> Snapshot:
    return snapshot(WET, list(placements))


def test_wet_in_plain_words():
    told = compare_wet(
        PLAN, snapshot(BEFORE, full()), wet(placed("angle", 2.85, "level"), placed("bass", 1.5, "caliper"))
    )
    assert [row.id for row in told.checkpoints] == ["angle", "bass"]
    assert all(row.verdict is Verdict.NO_VERDICT and row.p_within is None for row in told.checkpoints)
    assert told.checkpoints[0].reason == "within 0.05° of before"
    assert told.checkpoints[1].reason == "0.5 mm more than before: look now"


def test_wet_that_moved_within_its_limit():
    told = compare_wet(
        PLAN, snapshot(BEFORE, full()), wet(placed("angle", 2.65, "level"), placed("bass", 1.0, "caliper"))
    )
    assert told.checkpoints[0].reason == "0.15° lower than before, within the limit of 0.2°"


def test_wet_read_with_another_gauge_says_so():
    told = compare_wet(PLAN, snapshot(BEFORE, full()), wet(placed("angle", 2.85, "other")))
    assert told.checkpoints[0].reason.startswith("0.05° higher than before; read before by level and wet by other")


def test_wet_that_one_placement_cannot_tell():
    before = [placed("angle", value, "level") for value in (2.6, 2.9, 3.2)] + thrice("bass", 1.0, "caliper")
    told = compare_wet(PLAN, snapshot(BEFORE, before), wet(placed("angle", 3.2, "level")))
    assert (
        told.checkpoints[0].reason
        == "0.3° higher than before, which one placement can't tell from nothing: read it again"
    )
    assert "not read wet" in told.checkpoints[1].reason
