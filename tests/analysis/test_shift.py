"""One checkpoint: the shift, its verdict, its way out and the sentence that goes with it."""

from __future__ import annotations

import importlib.util
import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.analysis import rules
from gaugelog.analysis.results import Verdict
from gaugelog.analysis.rules import Outcome
from gaugelog.analysis.shift import Side, budget_of, compare_checkpoint, noisier_stage
from gaugelog.analysis.uncertainty import Budget, SharedZero, Study, pool
from gaugelog.model.instrument import Checkpoint
from gaugelog.model.kinds import KIND_BY_SLUG
from gaugelog.model.quantities import Quantity

R = 0.05


def checkpoint(limit: float | None = 0.2, kind: str = "neck-angle", **more) -> Checkpoint:
    angle = KIND_BY_SLUG[kind].quantity is Quantity.ANGLE
    quantity, unit = (Quantity.ANGLE, "deg") if angle else (Quantity.LENGTH, "mm")
    more = {"quantity": quantity, "unit": unit, **more}
    return Checkpoint("spot", KIND_BY_SLUG[kind], todo="", limit=limit, **more)


CLEARANCE = checkpoint(0.3, "fret-to-bridge-clearance")


def side(*values: float, resolution: float = R, **more) -> Side:
    return Side(values, resolution, **more)


def test_held_by_hand_calculation():
    """s, u and degrees of freedom worked out by hand from the formulas of GUM 5.1.2, F.2.2.1 and G.4.1."""
    row = compare_checkpoint(checkpoint(0.2), side(2.80, 2.85, 2.80), side(2.85, 2.80, 2.80))
    s2 = (0.05**2 * 2 / 3 / 2 * 2 + 0.05**2 * 2 / 3 / 2 * 2) / 4  # each stage: squares 0.05² 2/3, two degrees
    a, digits = s2 * 2 / 3, 2 * 2 * 0.05**2 / 12  # an angle is body then neck: k = 2
    assert row.readings_per_placement == 2
    assert row.shift == pytest.approx(0, abs=1e-12)
    assert row.u == pytest.approx(math.sqrt(a + digits))
    assert row.dof == pytest.approx((a + digits) ** 2 / (a**2 / 4))
    assert row.verdict is Verdict.HELD
    assert row.p_within > 0.999
    assert row.more_placements is None
    assert "0.2°" in row.reason


def test_moved():
    row = compare_checkpoint(
        CLEARANCE, side(1.00, 1.02, 1.01, resolution=0.01), side(1.62, 1.60, 1.61, resolution=0.01)
    )
    assert row.verdict is Verdict.MOVED
    assert row.shift == pytest.approx(0.6)
    assert row.p_within < 1e-4
    assert "0.6 mm" in row.reason


def test_expanded_covers_95_percent_two_sided():
    row = compare_checkpoint(CLEARANCE, side(1.0, 1.1, 1.2), side(1.0, 1.1, 1.3))
    assert row.expanded_95 > 1.96 * row.u
    quiet = compare_checkpoint(CLEARANCE, side(1.0, 1.0, 1.0), side(1.0, 1.0, 1.0))
    assert math.isinf(quiet.dof)
    assert quiet.expanded_95 == pytest.approx(1.959964 * quiet.u, rel=1e-6)


def test_the_smallest_number_of_more_placements():
    """The number offered settles it at the same shift and scatter, one less does not."""
    before, after = side(2.8, 2.9, 2.7, 2.8, 2.85), side(2.8, 2.9, 2.9)
    row = compare_checkpoint(checkpoint(0.14), before, after)
    assert row.verdict is Verdict.NOT_PROVEN
    assert row.more_placements > 1
    budget = budget_of(before, after, 2)

    def settled(k: int) -> bool:
        found = replace(budget, n_after=3 + k, scatter=replace(budget.scatter, dof=budget.scatter.dof + k)).evaluate()
        return bool(rules.judge(row.shift, found.u, found.dof, 0.14, R) != Outcome.NOT_PROVEN)

    assert settled(row.more_placements)
    assert not settled(row.more_placements - 1)
    assert str(row.more_placements) in row.reason
    assert "after" in row.reason


def test_one_more_is_said_in_the_singular():
    row = compare_checkpoint(checkpoint(0.2), side(2.8, 2.9, 2.7), side(2.8, 2.9, 2.9))
    assert row.more_placements == 1
    assert row.reason.endswith(
        "1 more placement after is needed to prove it: `gaugelog capture after --more 1 --at spot`"
    )


def test_a_stage_of_the_builders_own_is_called_one():
    stages = ("dry-fit", "sanded")
    row = compare_checkpoint(checkpoint(0.2), side(2.8, 2.9, 2.7), side(2.8, 2.9, 2.9), stages=stages)
    assert "1 more placement at stage sanded is needed" in row.reason
    assert "`gaugelog capture sanded --more 1 --at spot`" in row.reason
    few = compare_checkpoint(checkpoint(), side(2.8), side(2.9), stages=stages)
    assert "1 placement at stage dry-fit and 1 at stage sanded don't tell" in few.reason
    barred = compare_checkpoint(replace(CLEARANCE, limit=0.28), side(1.0, 1.8), side(*[1.4] * 5), stages=stages)
    assert "no number of placements at stage sanded can prove it" in barred.reason


def test_a_limit_below_one_digit_points_to_the_bridge():
    row = compare_checkpoint(checkpoint(0.04), side(2.8, 2.8, 2.8), side(2.8, 2.8, 2.8))
    assert row.verdict is Verdict.NOT_PROVEN
    assert row.more_placements is None
    assert "one digit of this gauge (0.05°) is larger than the limit (0.04°)" in row.reason
    assert "clearance read at the bridge" in row.reason


def test_too_near_the_limit_for_the_digit():
    row = compare_checkpoint(checkpoint(0.2), side(2.8, 2.8, 2.8), side(3.0, 3.0, 3.0))
    assert (row.verdict, row.more_placements) == (Verdict.NOT_PROVEN, None)
    assert "too near the limit for a gauge that reads to 0.05°" in row.reason


def test_placements_before_that_bar():
    before, after = side(1.0, 1.8), side(1.4, 1.4, 1.4, 1.4, 1.4)
    row = compare_checkpoint(replace(CLEARANCE, limit=0.28), before, after)
    assert (row.verdict, row.more_placements) == (Verdict.NOT_PROVEN, None)
    assert (
        "2 placements before are too few for placements that scatter by 0.25 mm (more before than after)" in row.reason
    )


def test_a_noisy_stage_after_is_not_blamed_on_before():
    after = (1.0, 1.8, 1.4, 1.0, 1.8, 1.4, 1.0, 1.8)
    row = compare_checkpoint(replace(CLEARANCE, limit=0.35), side(1.4, 1.4), side(*after))
    assert (row.verdict, row.more_placements) == (Verdict.NOT_PROVEN, None)
    sd = np.std([*(value - np.mean(after) for value in after), 0, 0]) * math.sqrt(10 / 8)  # pooled, 8 degrees
    assert f"2 placements before are too few for placements that scatter by {sd:.2f} mm" in row.reason
    assert "scatter too much" not in row.reason


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        ((1.0, 1.8, 1.4, 1.1), (1.4, 1.4, 1.45, 1.4), "before"),
        ((1.4, 1.4, 1.45, 1.4), (1.0, 1.8, 1.4, 1.1), "after"),
        ((1.4, 1.4, 1.4), (1.4, 1.45, 1.4), None),
        ((1.0, 1.8, 1.4), (1.2, 1.7, 1.4), None),
        ((1.0,), (1.2, 1.7, 1.4), None),
    ],
)
def test_the_noisier_stage_is_named_only_where_it_clearly_is(before, after, told):
    """F_0.95(3, 3) is 9.277, F_0.95(2, 2) is 19.0 (NIST/SEMATECH e-Handbook, table 1.3.6.7.3)."""
    assert noisier_stage(side(*before), side(*after), ("before", "after")) == told


def test_fewer_than_four_degrees_of_freedom():
    row = compare_checkpoint(checkpoint(), side(2.8, 2.8), side(2.8, 2.8, 2.8))
    assert row.verdict is Verdict.NO_VERDICT
    assert row.shift == pytest.approx(0, abs=1e-12)
    assert row.u is not None
    assert row.p_within is None
    assert "take 1 more placement after" in row.reason
    assert compare_checkpoint(checkpoint(), side(2.8, 2.8), side(2.8, 2.8, 2.8, 2.8)).verdict is Verdict.HELD


def test_one_and_one_have_a_shift_and_nothing_else():
    row = compare_checkpoint(checkpoint(), side(2.8), side(2.9))
    assert (row.verdict, row.u, row.dof, row.expanded_95) == (Verdict.NO_VERDICT, None, None, None)
    assert row.shift == pytest.approx(0.1)
    assert "take 4 more placements after with `gaugelog capture after --more 4 --at spot`" in row.reason


def test_a_study_gives_single_placements_a_verdict():
    row = compare_checkpoint(checkpoint(), side(2.8), side(2.8), study=Study(0.03, 9))
    assert row.verdict is Verdict.HELD
    assert row.u == pytest.approx(math.sqrt(2 * 0.03**2 + 4 * R**2 / 12))


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        (side(), side(2.8, 2.8, 2.8), "not read before, so there is nothing to compare with"),
        (side(2.8, 2.8, 2.8), side(), "`gaugelog capture after` takes it"),
        (side(), side(), "read neither before nor after"),
        (side(2.8, 2.8, 2.8), side(skipped="clamp in the way"), "left out: clamp in the way"),
    ],
)
def test_unread(before, after, said):
    row = compare_checkpoint(checkpoint(), before, after)
    assert (row.verdict, row.shift, row.u) == (Verdict.NO_VERDICT, None, None)
    assert row.counts
    assert said in row.reason


def test_a_bound_has_no_mean_and_no_verdict():
    gap = checkpoint(0.1, "joint-gap")
    row = compare_checkpoint(gap, side(0.1, 0.1, 0.1, bounds=1), side(0.1, 0.1, 0.1))
    assert (row.verdict, row.before.mean, row.before.n, row.shift) == (Verdict.NO_VERDICT, None, 4, None)
    assert "bound" in row.reason


def test_without_a_limit_the_shift_is_told_and_bars_nothing():
    row = compare_checkpoint(checkpoint(None), side(2.8, 2.8, 2.8), side(2.9, 2.9, 2.9))
    assert (row.verdict, row.counts) == (Verdict.NO_VERDICT, False)
    assert row.shift == pytest.approx(0.1)
    assert row.u is not None
    assert "no movement limit" in row.reason


def test_another_gauge_without_accuracy_gets_no_verdict():
    row = compare_checkpoint(checkpoint(), side(2.8, 2.8, 2.8, gauge="first"), side(2.8, 2.8, 2.8, gauge="second"))
    assert (row.verdict, row.u, row.p_within) == (Verdict.NO_VERDICT, None, None)
    assert "read before by first and after by second" in row.reason


def test_accuracies_enter_where_another_gauge_read_after():
    """A limit of error of 0.1 is rectangular, u = 0.1/√3 (GUM 4.3.7), here for two gauges with k = 1."""
    plain = compare_checkpoint(CLEARANCE, side(1.0, 1.0, 1.0, gauge="a"), side(1.0, 1.0, 1.0, gauge="a", accuracy=0.1))
    other = compare_checkpoint(
        CLEARANCE, side(1.0, 1.0, 1.0, gauge="a", accuracy=0.1), side(1.0, 1.0, 1.0, gauge="b", accuracy=0.1)
    )
    assert other.u**2 - plain.u**2 == pytest.approx(2 * 0.1**2 / 3)
    assert other.verdict is Verdict.HELD
    assert "read before by a and after by b: their accuracies are counted" in other.reason
    assert other.rests_on == ("read before by a and after by b: their accuracies are counted",)
    tight = compare_checkpoint(
        replace(CLEARANCE, limit=0.1),
        side(1.0, 1.0, 1.0, gauge="a", accuracy=0.1),
        side(1.0, 1.0, 1.0, gauge="b", accuracy=0.1),
    )
    assert (tight.verdict, tight.more_placements) == (Verdict.NOT_PROVEN, None)
    assert "accuracies" in tight.reason


def test_several_gauges_within_a_stage_are_another_gauge():
    mixed = side(2.8, 2.8, 2.8, gauge="a and b", mixed=True)
    row = compare_checkpoint(checkpoint(), mixed, mixed)
    assert row.verdict is Verdict.NO_VERDICT
    assert "read by a and b, not one of them alone" in row.reason


def test_another_temperature_is_told_and_whether_it_counts():
    sides = [side(1.0, 1.0, 1.0, gauge="a", accuracy=0.1)] * 2
    counted = compare_checkpoint(CLEARANCE, *sides, warmer_degc=-8.0)
    plain = compare_checkpoint(CLEARANCE, *sides)
    assert counted.u**2 - plain.u**2 == pytest.approx(2 * 0.1**2 / 3)
    assert counted.reason.endswith("; the workshop was 8 °C colder after, so the accuracy is counted")
    unknown = compare_checkpoint(CLEARANCE, *[side(1.0, 1.0, 1.0, gauge="a")] * 2, warmer_degc=7.5)
    assert unknown.verdict is Verdict.HELD
    assert unknown.reason.endswith(
        "; the workshop was 7.5 °C warmer after, but the accuracy of this gauge isn't known, so that is not counted"
    )
    typed = compare_checkpoint(CLEARANCE, *[side(1.0, 1.0, 1.0)] * 2, warmer_degc=7.5)
    assert "the accuracy of the tool of the typed values isn't known" in typed.reason
    assert "workshop" not in plain.reason


def test_a_feeler_pair_is_rectangular():
    """0.25..0.30 goes in as u = half width / √3 a stage, whatever the step the value was typed to."""
    gap = checkpoint(0.2, "joint-gap")
    pair = Side((0.275, 0.275, 0.275), 0.01, half_widths=(0.025, 0.025, 0.025))
    row = compare_checkpoint(gap, pair, pair)
    assert row.u == pytest.approx(math.sqrt(2 * 0.025**2 / 3))
    assert row.resolution == pytest.approx(0.05)


def test_one_zero_a_stage_costs():
    zero = SharedZero(0.04, 3)
    plain = compare_checkpoint(CLEARANCE, side(1.0, 1.05, 1.0), side(1.0, 1.0, 1.05))
    zeroed = compare_checkpoint(CLEARANCE, side(1.0, 1.05, 1.0), side(1.0, 1.0, 1.05), zero=zero)
    assert zeroed.u**2 - plain.u**2 == pytest.approx(2 * (0.04**2 / 3 + R**2 / 12))


def test_inches_are_told_in_inches():
    inches = checkpoint(0.254, "fret-to-bridge-clearance", unit="in")
    row = compare_checkpoint(inches, side(1.0, 1.0, 1.0, resolution=0.0254), side(1.0, 1.0, 1.0, resolution=0.0254))
    assert "0.01 in" in row.reason


ticks = st.lists(st.integers(-40, 40), min_size=3, max_size=5)


@given(ticks, ticks, st.integers(-2000, 2000), st.sampled_from([0.1, 0.3, 1.0]))
def test_moving_both_stages_changes_nothing(before, after, offset, limit):
    """Ticks of 1/16 are exact in binary, so the comparison must be the same to the last digit or two."""
    spot = replace(CLEARANCE, limit=limit)
    step = 1 / 16

    def compared(by: int):
        sides = [Side(tuple((tick + by) * step for tick in each), step) for each in (before, after)]
        return compare_checkpoint(spot, *sides)

    plain, moved = compared(0), compared(offset)
    assert moved.shift == pytest.approx(plain.shift, abs=1e-9)
    assert moved.u == pytest.approx(plain.u, rel=1e-9)
    assert moved.p_within == pytest.approx(plain.p_within, abs=1e-9)
    assert moved.verdict is plain.verdict


@given(ticks, ticks, st.sampled_from([0.1, 0.3, 1.0]))
def test_swapping_the_stages_turns_the_shift_round(before, after, limit):
    spot, step = replace(CLEARANCE, limit=limit), 1 / 16
    sides = [Side(tuple(tick * step for tick in each), step) for each in (before, after)]
    there, back = compare_checkpoint(spot, *sides), compare_checkpoint(spot, *reversed(sides))
    assert back.shift == pytest.approx(-there.shift, abs=1e-12)
    assert (back.u, back.dof) == (pytest.approx(there.u), pytest.approx(there.dof))
    assert back.p_within == pytest.approx(there.p_within, abs=1e-12)
    assert back.verdict is there.verdict


@given(ticks, ticks, st.sampled_from([2.0, 8.0, 0.25]))
def test_another_unit_changes_only_the_numbers(before, after, scale):
    def compared(by: float):
        sides = [Side(tuple(tick * by / 16 for tick in each), by / 16) for each in (before, after)]
        return compare_checkpoint(replace(CLEARANCE, limit=0.5 * by), *sides)

    plain, scaled = compared(1.0), compared(scale)
    assert scaled.shift == pytest.approx(plain.shift * scale, abs=1e-12)
    assert scaled.u == pytest.approx(plain.u * scale)
    assert scaled.verdict is plain.verdict
    assert scaled.more_placements == plain.more_placements
    if plain.smallest_provable is not None:
        assert scaled.smallest_provable == pytest.approx(plain.smallest_provable * scale)


def test_the_simulated_comparisons_are_these_comparisons():
    """What the error rates were measured on judges exactly as `compare_checkpoint` does."""
    path = Path(__file__).parents[1] / "benchmarks" / "verdict_rates.py"
    spec = importlib.util.spec_from_file_location("verdict_rates_again", path)
    simulation = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = simulation
    spec.loader.exec_module(simulation)
    rng = np.random.default_rng(16)
    where = simulation.places(1)
    before, after = (simulation.read(where, shift, 0.7, 3, 1, rng)[:, 0] for shift in (0.0, 2.0))
    scatter = pool((before.std(axis=1, ddof=1), after.std(axis=1, ddof=1)), (2.0, 2.0))
    found = Budget(scatter, 3, 3, 1.0).evaluate()
    said = rules.judge(after.mean(axis=1) - before.mean(axis=1), found.u, found.dof, 3.0, 1.0)
    words = {Verdict.HELD: 1, Verdict.MOVED: -1, Verdict.NOT_PROVEN: 0}
    rows = [
        compare_checkpoint(replace(CLEARANCE, limit=3.0), Side(tuple(b), 1.0), Side(tuple(a), 1.0))
        for b, a in zip(before.tolist(), after.tolist(), strict=True)
    ]
    assert [words[row.verdict] for row in rows] == said.tolist()
    assert len(set(said.tolist())) > 1


def test_a_step_of_nothing_is_refused():
    with pytest.raises(ValueError, match="step"):
        Side((1.0,), 0.0)
