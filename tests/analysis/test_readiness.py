"""The gate before the glue: each ground that bars or is to be known, against probabilities worked out apart.

The instrument and its readings are invented.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from gaugelog.analysis.neck_setting import neck_setting
from gaugelog.analysis.readiness import Ground, Readiness, p_conform, readiness
from gaugelog.analysis.stage_means import stage_means
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.instruments.written_steps import written_steps
from gaugelog.model.estimate import Estimate
from gaugelog.model.instrument import Instrument, MovementLimits
from gaugelog.model.kinds import AFTER, BEFORE
from gaugelog.model.placement import KeptPlacement, Placement, Settled, Skip, Snapshot

PLAN = read_instrument(new_instrument("synthetic", gauges="two"), "new")
"""Seven checkpoints: control, pocket wall, neck angle, roll, both clearances, one centreline."""

READINGS = {
    "control": (0.10, 0.10, 0.15),
    "pocket-wall-squareness": (90.00, 90.05, 90.00),
    "neck-angle": (2.80, 2.85, 2.80),
    "neck-roll": (0.00, 0.05, 0.00),
    "clearance-bass": (0.525, 0.525, 0.575),
    "clearance-treble": (0.525, 0.575, 0.525),
    "centreline-bridge": (0.0, 0.1, 0.0),
}
STEPS = {"angle": 0.05, "length": 0.05}


def test_the_plan_has_the_checkpoints_that_are_read_here() -> None:
    assert {each.id for each in PLAN.at_stage(BEFORE)} == set(READINGS)


def gate(
    plan: Instrument = PLAN,
    readings: dict[str, tuple[float, ...]] | None = None,
    skips: tuple[Skip, ...] = (),
    bounds: dict[str, tuple[float | None, float | None]] | None = None,
    without: tuple[str, ...] = (),
) -> Readiness:
    """The gate for the readings above, with others in their place, bounds beside them, or some left out."""
    taken = {name: values for name, values in (READINGS | (readings or {})).items() if name not in without}
    placements = []
    for name, values in taken.items():
        point = plan.checkpoint(name)
        step = STEPS[point.quantity.value]
        placements += [
            Placement(name, point.quantity, value, f"{value:g}", point.unit, step, Settled.STEADY, 0, point.gauge)
            for value in values
        ]
    for name, (low, high) in (bounds or {}).items():
        point = plan.checkpoint(name)
        placements.append(
            Placement(name, point.quantity, None, "", point.unit, 0.05, Settled.TYPED, 0, None, low, high)
        )
    kept = tuple(KeptPlacement(number, 1, BEFORE, 0, each) for number, each in enumerate(placements))
    snapshot = Snapshot(1, BEFORE, 1, 0, None, kept, skips)
    means = stage_means(plan, snapshot)
    setting = neck_setting(plan, means, written_steps(plan.text), stage=BEFORE)
    return readiness(plan, snapshot, means, setting)


def changed(name: str, **what) -> Instrument:
    """The plan with one checkpoint changed."""
    points = tuple(replace(each, **what) if each.id == name else each for each in PLAN.checkpoints)
    return replace(PLAN, checkpoints=points)


def bridge(**what) -> Instrument:
    return replace(PLAN, bridge=replace(PLAN.bridge, **what))


def grounds(found: Readiness, about: str) -> set[Ground]:
    return {each.ground for each in found.reasons if each.about == about}


def bars(found: Readiness) -> list[tuple[Ground, str]]:
    return [(each.ground, each.about) for each in found.reasons if each.bars]


def test_the_probabilities_of_jcgm_106(expected: dict) -> None:
    """JCGM 106:2012, worked examples of clause 7 as tests/oracles/analysis.toml has them: one end open, and two."""
    for case, ends in (("upper", (None, "high")), ("lower", ("low", None)), ("both", ("low", "high"))):
        told = expected["jcgm106"][case]
        low, high = (None if end is None else told[end] for end in ends)
        assert p_conform(Estimate(told["value"], told["u"], ""), low, high) == pytest.approx(told["p"], abs=1e-6)


@pytest.mark.parametrize("dof", [2.3, 4.0, 17.5])
def test_few_placements_make_it_a_scaled_and_shifted_t(dof: float) -> None:
    """scipy.stats.t."""
    law = stats.t(dof, loc=0.12, scale=0.07)
    estimate = Estimate(0.12, 0.07, "mm", dof)
    assert p_conform(estimate, -0.1, 0.3) == pytest.approx(law.cdf(0.3) - law.cdf(-0.1), rel=1e-9)
    assert p_conform(estimate, None, 0.3) == pytest.approx(law.cdf(0.3), rel=1e-9)
    assert p_conform(estimate, 0.0, None) == pytest.approx(law.sf(0.0), rel=1e-9)
    assert p_conform(estimate, None, None) == 1.0
    with pytest.raises(ValueError, match="uncertainty"):
        p_conform(Estimate(0.12, 0.0, "mm"), 0.0, 0.3)


def test_a_neck_that_sits_well_is_ready() -> None:
    found = gate()
    assert found.ready
    assert bars(found) == []
    assert all(row.p_conform is None or row.p_conform >= 0.95 for row in found.checkpoints)
    assert min(found.p_bearing.values()) > 0.95


def test_each_probability_is_that_of_its_mean_worked_out_by_hand() -> None:
    """u² = s²/n + k r²/12 with s pooled over one gauge's angles, ν by Welch-Satterthwaite; then scipy.stats.t."""
    found = gate(readings={"neck-angle": (3.00, 3.05, 3.00)})
    row = next(each for each in found.checkpoints if each.checkpoint.id == "neck-angle")
    angles = [READINGS["control"], READINGS["pocket-wall-squareness"], READINGS["neck-roll"], (3.00, 3.05, 3.00)]
    square = sum(np.var(values, ddof=1) for values in angles) / 4
    own, digits = square / 3, 2 * 0.05**2 / 12
    u = math.sqrt(own + digits)
    dof = u**4 / (own**2 / 8)
    law = stats.t(dof, loc=np.mean((3.00, 3.05, 3.00)), scale=u)
    assert row.p_conform == pytest.approx(law.cdf(3.1) - law.cdf(2.5), rel=1e-6)


def test_out_of_tolerance_bars_and_says_by_how_much() -> None:
    found = gate(readings={"neck-angle": (3.20, 3.25, 3.20)})
    assert (Ground.OUT, "neck-angle") in bars(found)
    row = next(each for each in found.checkpoints if each.checkpoint.id == "neck-angle")
    assert row.out_by == pytest.approx(np.mean((3.20, 3.25, 3.20)) - 3.1)
    below = gate(readings={"centreline-bridge": (-0.7, -0.7, -0.7)})
    assert (Ground.OUT, "centreline-bridge") in bars(below)


def test_in_tolerance_but_near_its_end_is_unsure_and_bars() -> None:
    found = gate(readings={"neck-angle": (3.10, 3.05, 3.10)})
    assert grounds(found, "neck-angle") >= {Ground.UNSURE}
    assert not found.ready


def test_unread_and_skipped_bar_and_the_newest_reason_is_told() -> None:
    assert (Ground.UNREAD, "neck-roll") in bars(gate(without=("neck-roll",)))
    skips = (Skip("neck-roll", "no square at hand"), Skip("neck-roll", "gauge battery flat"))
    found = gate(without=("neck-roll",), skips=skips)
    (reason,) = [each for each in found.reasons if each.ground is Ground.SKIPPED]
    assert (reason.about, reason.bars, reason.words) == ("neck-roll", True, ("gauge battery flat",))


def test_a_skip_that_was_read_after_all_is_none() -> None:
    assert gate(skips=(Skip("neck-roll", "later"),)).ready


def test_a_bound_bars_where_it_leaves_the_tolerance_open_and_only_there() -> None:
    """More than 0.1 mm may be 0.2 to 1.5 or not; more than 1.6 is not; less than 0.1 at most 0.15 is."""
    clearance = ("clearance-bass",)
    left_open = gate(without=clearance, bounds={"clearance-bass": (0.1, None)})
    assert grounds(left_open, "clearance-bass") >= {Ground.BOUND}
    beyond = gate(without=clearance, bounds={"clearance-bass": (1.6, None)})
    assert grounds(beyond, "clearance-bass") >= {Ground.OUT}
    assert not left_open.ready
    assert not beyond.ready
    within = gate(without=clearance, bounds={"clearance-bass": (0.3, 0.6)})
    row = next(each for each in within.checkpoints if each.checkpoint.id == "clearance-bass")
    assert row.p_conform == 1.0
    assert grounds(within, "clearance-bass") == {Ground.CANNOT_PROVE}


def test_a_limit_that_can_t_be_proven_warns_and_bars_where_it_must_be() -> None:
    """A digit of 0.05 proves no limit of 0.02, whatever is read."""
    told = gate(changed("neck-angle", limit=0.02))
    assert grounds(told, "neck-angle") == {Ground.CANNOT_PROVE}
    assert told.ready
    barred = gate(changed("neck-angle", limit=0.02, must_prove=True))
    assert bars(barred) == [(Ground.MUST_PROVE, "neck-angle")]
    assert not barred.ready
    assert gate(changed("neck-angle", must_prove=True)).ready


def test_a_limit_that_must_be_proven_isn_t_where_nobody_will_read_it_after() -> None:
    found = gate(changed("neck-roll", stages=(BEFORE,), must_prove=True))
    assert bars(found) == [(Ground.MUST_PROVE, "neck-roll")]


def test_a_limit_equal_to_what_is_provable_is_proven() -> None:
    row = next(each for each in gate().checkpoints if each.checkpoint.id == "neck-angle")
    assert row.smallest_provable is not None
    edge = gate(changed("neck-angle", limit=row.smallest_provable, must_prove=True))
    assert edge.ready


def test_the_bearing_out_of_travel_bars_and_on_the_edge_warns() -> None:
    """Where the strings have to bear is read off the setting; the travel is moved to it."""
    found = gate()
    bass, treble = (found.setting.figures[f"required_bearing.{side}"] for side in ("bass", "treble"))
    higher, lower = (bass, treble) if bass.value > treble.value else (treble, bass)
    side = "bass" if higher is bass else "treble"
    reserve = PLAN.bridge.travel_reserve or 0.0
    out = gate(bridge(bearing_high=higher.value + reserve - 0.2))
    assert (Ground.BEARING_OUT, side) in bars(out)
    room = higher.u
    edge = gate(bridge(bearing_high=higher.value + reserve + room))
    assert grounds(edge, side) == {Ground.BEARING_UNSURE}
    assert edge.ready
    law = stats.t(higher.dof, loc=higher.value, scale=higher.u)
    low = (PLAN.bridge.bearing_low or 0.0) + reserve
    assert edge.p_bearing[side] == pytest.approx(law.cdf(higher.value + room) - law.cdf(low), abs=2e-3)
    # the lower end takes the spacer's and the slot's place with it, so it is moved by the reserve alone
    wide = gate(bridge(travel_reserve=lower.value - (PLAN.bridge.bearing_low or 0.0) + 0.3, bearing_high=90.0))
    assert Ground.BEARING_OUT in {each.ground for each in wide.reasons if each.bars}


@pytest.mark.parametrize("key", ["bearing_low", "bearing_high"])
def test_an_unknown_travel_bars_and_names_the_key(key: str) -> None:
    found = gate(bridge(**{key: None}))
    (reason,) = [each for each in found.reasons if each.ground is Ground.BEARING_UNKNOWN]
    assert reason.bars
    assert f"bridge.{key}" in reason.words


def test_an_unknown_action_bars_and_names_the_key() -> None:
    found = gate(replace(PLAN, action=replace(PLAN.action, treble=None)))
    (reason,) = [each for each in found.reasons if each.ground is Ground.BEARING_UNKNOWN]
    assert reason.words == ("action.treble",)
    assert not found.ready


def test_a_reading_that_contradicts_the_others_is_told_and_bars_nothing() -> None:
    """An invented misreading of the neck angle by 0.25°, in its tolerance.

    Against two clearances alone a wrong angle can't be told from a wrong plane height, and each names the other.
    """
    found = gate(readings={"neck-angle": (3.0, 3.0, 3.05)})
    misfits = [each for each in found.reasons if each.ground is Ground.MISFIT]
    assert {each.about: each.words for each in misfits} == {
        "neck-angle": ("neck.plane_height",),
        "neck.plane_height": ("neck-angle",),
    }
    assert not any(each.bars for each in misfits)
    assert not [each for each in gate().reasons if each.ground is Ground.MISFIT]


def test_strings_that_bend_too_little_are_told() -> None:
    least = gate().setting.figures["break_angle"].value
    found = gate(bridge(least_break_angle=least + 0.5))
    assert grounds(found, "break_angle") == {Ground.BREAK}
    assert found.ready
    assert not grounds(gate(bridge(least_break_angle=least - 0.5)), "break_angle")


def test_a_movement_s_limit_that_can_t_be_proven_is_told() -> None:
    limits = MovementLimits(neck_angle=0.2, roll=0.2)
    moved = gate(replace(PLAN, movement_limits=limits)).foresight.movements["roll"]
    assert moved is not None
    between = (moved.u + moved.smallest_provable) / 2
    found = gate(replace(PLAN, movement_limits=replace(limits, roll=between)))
    assert grounds(found, "roll") == {Ground.CANNOT_PROVE}
    assert found.ready


def test_what_bars_comes_first_in_the_plan_s_order() -> None:
    points = tuple(
        replace(each, limit=0.02, must_prove=each.id == "neck-roll") if each.id.startswith("neck-") else each
        for each in PLAN.checkpoints
    )
    found = gate(
        replace(PLAN, checkpoints=points),
        readings={"centreline-bridge": (0.7, 0.7, 0.7), "pocket-wall-squareness": (91.0, 91.0, 91.05)},
    )
    assert bars(found) == [
        (Ground.OUT, "pocket-wall-squareness"),
        (Ground.MUST_PROVE, "neck-roll"),
        (Ground.OUT, "centreline-bridge"),
    ]
    order = [each.bars for each in found.reasons]
    assert order == sorted(order, reverse=True)
    assert (Ground.CANNOT_PROVE, "neck-angle") in [(each.ground, each.about) for each in found.reasons if not each.bars]


def test_what_is_read_after_the_glue_only_isn_t_asked_for_before() -> None:
    found = gate(changed("centreline-bridge", stages=(AFTER,)), without=("centreline-bridge",))
    assert "centreline-bridge" not in {each.about for each in found.reasons}


def test_a_typed_single_value_conforms_or_not_but_proves_nothing() -> None:
    single = changed("centreline-bridge", placements=1, gauge=None)
    found = gate(single, readings={"centreline-bridge": (0.1,)})
    row = next(each for each in found.checkpoints if each.checkpoint.id == "centreline-bridge")
    assert row.p_conform is not None
    assert row.p_conform > 0.95
    assert row.smallest_provable is None
    assert grounds(found, "centreline-bridge") == {Ground.CANNOT_PROVE}
