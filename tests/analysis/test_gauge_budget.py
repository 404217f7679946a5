"""The budget of one gauge: GUM H.1 through the same sums, GTC for degrees of freedom, and the limit of error."""

from __future__ import annotations

import math
from types import SimpleNamespace

import GTC
import metrolopy
import numpy as np
import pytest
from gauge_oracles import WANTED, assert_plain

from gaugelog.analysis import gauge_budget as budgets
from gaugelog.analysis.gauge_budget import NORMAL, RECTANGULAR, combined, gauge_budget, limit_of_error, row
from gaugelog.analysis.gauge_hysteresis import hysteresis
from gaugelog.analysis.gauge_linearity import linearity
from gaugelog.analysis.gauge_repeat import repeatability
from gaugelog.analysis.gauge_rest import rest
from gaugelog.analysis.gauge_reversal import reversal
from gaugelog.analysis.gauge_study import gauge_study, sittings_of
from gaugelog.analysis.student import t_quantile


def h1_rows() -> list[budgets.BudgetRow]:
    case = WANTED["gum_h1"]
    expansion, temperature = case["length_nm"] * case["theta"], case["length_nm"] * case["alpha"]
    return [
        row("standard", case["ls_u_nm"], NORMAL, case["ls_dof"], "A"),
        *(row("comparison", u, NORMAL, dof, "A") for u, dof in zip(case["d_nm"], case["d_dof"], strict=True)),
        row("expansions", case["dalpha_half_width"], RECTANGULAR, case["dalpha_dof"], "B", sensitivity=-expansion),
        row("temperatures", case["dtheta_half_width"], RECTANGULAR, case["dtheta_dof"], "B", sensitivity=-temperature),
    ]


def test_end_gauge_of_the_gum():
    """GUM (JCGM 100:2008) H.1: u_c 32 nm, 16 degrees of freedom, U99 93 nm by its rounding rule."""
    case, rows = WANTED["gum_h1"], h1_rows()
    told = combined(rows)
    assert told.u == pytest.approx(case["u_nm"], abs=5e-6)
    assert told.dof == pytest.approx(case["nu"], abs=5e-6)
    shares = [abs(each.sensitivity) * each.u for each in rows]
    joined = [shares[0], math.hypot(*shares[1:4]), *shares[4:]]
    assert joined == pytest.approx(case["contributions_nm"], abs=5e-7)
    cut = combined(rows, whole_dof=True)
    assert cut.dof == case["nu_printed"]
    assert round(cut.u) == case["u_printed_nm"]
    k99 = float(t_quantile(0.995, cut.dof))
    assert round(k99, 2) == case["k99_printed"]
    # the printed 93 needs u rounded up to 32 first; unrounded it is 92
    assert round(case["u_printed_nm"] * round(k99, 2)) == case["half_99_printed_nm"]
    assert round(k99 * cut.u) == 92


def test_end_gauge_by_gtc_and_metrolopy():
    """The same model, not its linear sum, in two independent calculators."""
    case = WANTED["gum_h1"]
    ls = GTC.ureal(case["length_nm"], case["ls_u_nm"], case["ls_dof"])
    d = sum(GTC.ureal(0.0, u, dof) for u, dof in zip(case["d_nm"], case["d_dof"], strict=True))
    dalpha = GTC.ureal(0.0, GTC.type_b.uniform(case["dalpha_half_width"]), case["dalpha_dof"])
    dtheta = GTC.ureal(0.0, GTC.type_b.uniform(case["dtheta_half_width"]), case["dtheta_dof"])
    length = ls + d - ls * (dalpha * case["theta"] + case["alpha"] * dtheta)
    told = combined(h1_rows())
    assert told.u == pytest.approx(GTC.uncertainty(length), rel=1e-7)
    assert told.dof == pytest.approx(GTC.dof(length), rel=1e-6)
    again = metrolopy.gummy(0.0, told.u / 2, dof=told.dof) + metrolopy.gummy(0.0, told.u * math.sqrt(0.75))
    halves = combined(
        [row("a", told.u / 2, NORMAL, told.dof, "A"), row("b", told.u * math.sqrt(0.75), NORMAL, None, "B")]
    )
    assert halves.dof == pytest.approx(float(again.dof), rel=1e-9)


def run(seed=3, warm=0.3, hours=2.0):
    random = np.random.default_rng(seed)
    t = np.arange(0.0, hours * 3600, 1.0)
    walk = np.cumsum(random.normal(0, 0.01 / 60, t.size))
    value = 1.2 - warm * np.exp(-t / 400) + walk + random.normal(0, 0.02, t.size)
    return (t * 1e6).astype(np.int64) + 10**15, np.round(value / 0.05) * 0.05


@pytest.fixture(scope="module")
def checks() -> SimpleNamespace:
    """One of each check of a gauge to 0.05°, as a workshop with a 686 mm baritone neck would do them."""
    return SimpleNamespace(
        repeat=repeatability([2.80, 2.85, 2.80, 2.90, 2.85, 2.85, 2.75, 2.80], 0.05),
        study=gauge_study(
            sittings_of(["neck"] * 8, ["1"] * 8, list("11223344"), [2.80, 2.85, 2.90, 2.85, 2.70, 2.75, 2.85, 2.90])
        ),
        reversal=reversal([0.35, 0.40, 0.35], [-0.25, -0.25, -0.30], 0.05),
        linearity=linearity([0, 0, 1, 1, 3, 3, 5, 5], 0.005, [0.05, 0.05, 1.05, 1.1, 3.1, 3.05, 5.1, 5.15], 0.05),
        hysteresis=hysteresis([0.05, 1.05, 3.05], [0.10, 1.10, 3.15], 0.05),
        rest=rest(*run(), 0.05),
    )


def by_source(budget):
    return {each.source: each for each in budget.rows}


def test_every_row_of_a_whole_budget(checks):
    told = gauge_budget(0.05, **vars(checks) | {"study": None})
    rows = by_source(told)
    assert rows[budgets.AGAIN].u == checks.repeat.sd
    assert rows[budgets.AGAIN].dof == 7
    assert rows[budgets.DIGIT].u == pytest.approx(0.05 / math.sqrt(12))
    assert rows[budgets.ZERO].u == checks.reversal.zero.u
    assert rows[budgets.SCALE].u == checks.linearity.scale.u
    assert rows[budgets.SCALE].sensitivity == 5.0
    assert rows[budgets.OTHER_SIDE].u == pytest.approx(checks.hysteresis.type_b)
    assert rows[budgets.WARM_UP].value == pytest.approx(abs(checks.rest.warm_up_rise))
    assert {source for source, each in rows.items() if each.cancels} == {budgets.ZERO, budgets.SCALE}
    assert told.unknown == (budgets.UNKNOWN_DAYS,)
    assert told.zero_error == checks.reversal.zero
    assert told.scale_error == checks.linearity.scale
    assert_plain(told)


def test_sums_against_gtc(checks):
    """Value and change built of uncertain numbers; what cancels is one number in both stages."""
    told = gauge_budget(0.05, **vars(checks) | {"study": None})
    parts = {s: GTC.ureal(0.0, abs(r.sensitivity) * r.u, r.dof or math.inf) for s, r in by_source(told).items()}
    value = sum(parts.values())
    assert told.single.u == pytest.approx(GTC.uncertainty(value), rel=1e-12)
    assert told.single.dof == pytest.approx(GTC.dof(value), rel=1e-9)
    assert told.single.k == pytest.approx(GTC.reporting.k_factor(GTC.dof(value)), rel=1e-6)
    # before and after: what both have anew enters twice, on one estimate; the wander once
    change = sum(
        part * (1.0 if source == budgets.WANDER else math.sqrt(2.0))
        for source, part in parts.items()
        if source not in (budgets.ZERO, budgets.SCALE)
    )
    assert told.change.u == pytest.approx(GTC.uncertainty(change), rel=1e-12)
    assert told.change.dof == pytest.approx(GTC.dof(change), rel=1e-9)


def test_placements_average_the_scatter_but_not_the_digit(checks):
    one, nine = (gauge_budget(0.05, repeat=checks.repeat, placements=n) for n in (1, 9))
    digit, scatter = 2 * 0.05**2 / 12, 2 * checks.repeat.sd**2
    assert one.change.u == pytest.approx(math.sqrt(digit + scatter))
    assert nine.change.u == pytest.approx(math.sqrt(digit + scatter / 9))
    assert one.single == nine.single


def test_body_then_neck_reads_two_digits_and_no_zero(checks):
    told = gauge_budget(0.05, reversal=checks.reversal, readings=2)
    assert told.single.u == pytest.approx(0.05 / math.sqrt(6))
    assert limit_of_error(told).half_width == pytest.approx(
        limit_of_error(gauge_budget(0.05, reversal=checks.reversal)).half_width
    )


def test_placements_that_are_all_the_same_never_count_as_nothing():
    told = by_source(gauge_budget(0.05, repeat=repeatability([2.85] * 5, 0.05)))[budgets.AGAIN]
    assert told.u == pytest.approx(0.05 / math.sqrt(12))
    assert told.note == budgets.BELOW_DIGIT
    same = gauge_study(sittings_of(["neck"] * 4, ["1"] * 4, list("1122"), [2.85] * 4), 0.05)
    assert same.study.sd == pytest.approx(0.05 / math.sqrt(12))
    again = by_source(gauge_budget(0.05, study=same))[budgets.AGAIN_ANOTHER_DAY]
    assert again.u == pytest.approx(0.05 / math.sqrt(12))


def test_a_study_with_days_stands_for_placements_on_another_day(checks):
    told = gauge_budget(0.05, repeat=checks.repeat, study=checks.study, placements=2)
    (again,) = (each for each in told.rows if each.source == budgets.AGAIN_ANOTHER_DAY)
    wanted = checks.study.var_days + checks.study.repeat.sd**2
    assert again.u == pytest.approx(math.sqrt(wanted))
    assert again.in_change == pytest.approx(2 * (checks.study.var_days + checks.study.repeat.sd**2 / 2) / wanted)
    assert budgets.UNKNOWN_DAYS not in told.unknown
    assert again.note


def test_nothing_checked_says_so_and_keeps_the_digit():
    told = gauge_budget(0.05)
    assert told.single.u == pytest.approx(0.05 / math.sqrt(12))
    assert told.single.dof is None
    assert len(told.unknown) == 6
    assert limit_of_error(told) is None
    assert_plain(told)


def test_a_line_alone_tells_zero_and_scale_without_correlation(checks):
    """At the end of the range both rows make up the line's own u, though zero and scale are correlated."""
    told = gauge_budget(0.05, linearity=checks.linearity)
    rows = by_source(told)
    both = math.hypot(rows[budgets.ZERO].u, rows[budgets.SCALE].u * rows[budgets.SCALE].sensitivity)
    assert both == pytest.approx(checks.linearity.worst.u, rel=1e-9)


def test_wander_grows_with_time_and_warm_up_is_waited_for(checks):
    short, long = (by_source(gauge_budget(0.05, rest=checks.rest, hours=h, warmed_up=True)) for h in (0.25, 4.0))
    w, d = checks.rest.wander_per_root_hour, checks.rest.rate_per_hour.value
    assert short[budgets.WANDER].u == pytest.approx(math.hypot(w * 0.5, d * 0.25))
    assert long[budgets.WANDER].u == pytest.approx(math.hypot(w * 2, d * 4))
    assert long[budgets.WARM_UP].u == 0.0
    restless = rest(*run(warm=3.0, hours=0.2), 0.05)
    assert restless.warm_up_s is None
    still = by_source(gauge_budget(0.05, rest=restless, warmed_up=True))
    assert still[budgets.WARM_UP].u > 0.1


def test_limit_of_error_is_the_sum_that_it_says(checks):
    told = limit_of_error(gauge_budget(0.05, **vars(checks)))
    scale = abs(checks.linearity.scale.value)
    assert told.zero == pytest.approx(abs(checks.reversal.zero.value))
    assert told.scale == pytest.approx(scale * 5)
    assert told.approach == pytest.approx(abs(checks.hysteresis.difference.value))
    assert told.half_width == pytest.approx(told.zero + told.scale + told.approach + told.half_95)
    zero, far = checks.reversal.zero, checks.linearity.scale
    whole = GTC.ureal(0.0, zero.u, zero.dof) + 5 * GTC.ureal(0.0, far.u, far.dof)
    wanted = GTC.reporting.k_factor(GTC.dof(whole)) * GTC.uncertainty(whole)
    assert told.half_95 == pytest.approx(wanted, rel=1e-6)
    assert told.complete
    assert limit_of_error(gauge_budget(0.05, **vars(checks)), largest_value=2.0).scale == pytest.approx(scale * 2)
    assert_plain(told)
    zero_only = limit_of_error(gauge_budget(0.05, reversal=checks.reversal))
    assert not zero_only.complete
    assert zero_only.missing == (budgets.UNKNOWN_SCALE, budgets.UNKNOWN_SIDE)


def test_a_zero_of_one_pair_makes_no_limit():
    told = gauge_budget(0.05, reversal=reversal([0.3], [-0.3], 0.05))
    assert budgets.UNKNOWN_ZERO_U in told.unknown
    assert limit_of_error(told) is None


def test_a_bent_gauge_has_its_bend_in_the_limit():
    reference = np.repeat([0.0, 5.0, 10.0, 15.0, 20.0], 3)
    reading = reference + 0.5 * np.sin(reference / 20 * math.pi) + np.tile([-0.01, 0.0, 0.01], 5)
    line = linearity(reference, 0.0, reading, 0.01)
    told = gauge_budget(0.01, linearity=line)
    assert by_source(told)[budgets.BENT].value == pytest.approx(abs(line.largest.departure))
    assert limit_of_error(told).off_line == pytest.approx(abs(line.largest.departure))


@pytest.mark.parametrize("wrong", [{"placements": 0}, {"readings": 0}, {"hours": -1.0}, {"hours": math.inf}])
def test_what_is_no_budget_is_refused(wrong):
    with pytest.raises(ValueError):
        gauge_budget(0.05, **wrong)
    with pytest.raises(ValueError):
        row("a", 1.0, "triangular", None, "B")
    with pytest.raises(ValueError):
        row("a", -1.0, NORMAL, None, "A")
