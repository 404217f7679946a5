"""The budget of a shift against GUM examples, the NIST handbook, GTC and metrolopy."""

from __future__ import annotations

import math

import GTC
import metrolopy
import pytest

from gaugelog.analysis.describe import describe
from gaugelog.analysis.student import t_quantile
from gaugelog.analysis.uncertainty import Budget, Scatter, SharedZero, Study, Term, combine, pool


def test_gum_h1_end_gauge(expected):
    case = expected["gum_h1"]
    terms = [Term(u**2, dof) for u, dof in zip(case["contributions_nm"], case["dof"], strict=True)]
    found = combine(terms)
    assert float(found.u) == pytest.approx(case["u_nm"], abs=1e-5)
    assert float(found.dof) == pytest.approx(case["nu"], abs=1e-4)
    assert round(float(found.u)) == case["u_printed_nm"]
    assert math.floor(float(found.dof)) == case["nu_printed"]
    assert round(float(t_quantile(0.995, case["nu_printed"])), 2) == case["k99_printed"]


def test_gum_g41(expected):
    case = expected["gum_g41"]
    found = combine([Term(u**2, dof) for u, dof in zip(case["u_percent"], case["dof"], strict=True)])
    assert float(found.u) == pytest.approx(case["u"], abs=1e-5)
    assert float(found.dof) == pytest.approx(case["nu"], abs=1e-3)
    assert float(t_quantile(0.975, 19)) == pytest.approx(case["t_95"], abs=1e-4)


def test_welch_of_the_handbook(nist, expected):
    """Unequal scatters combine by Welch-Satterthwaite; NIST/SEMATECH e-Handbook 7.3.1."""
    rows, case = nist("assembly_times"), expected["welch"]
    told = [describe([float(row["minutes"]) for row in rows if row["process"] == name]) for name in ("old", "new")]
    assert [round(each.mean, 4) for each in told] == case["means"]
    assert [round(each.sd, 4) for each in told] == case["sds"]
    found = combine([Term(each.sd**2 / each.n, each.n - 1) for each in told])
    assert float(found.dof) == pytest.approx(case["df"], rel=1e-9)
    assert (told[0].mean - told[1].mean) / float(found.u) == pytest.approx(case["t"], rel=1e-7)


def test_pooled_of_the_handbook(nist, expected):
    """With a digit of nothing the shift is a pooled two-sample t; NIST/SEMATECH e-Handbook 1.3.5.3."""
    rows, case = nist("auto83b"), expected["pooled"]
    groups = sorted({row["group"] for row in rows}, key=lambda name: name != "us")
    first, second = (describe([float(row["mpg"]) for row in rows if row["group"] == name]) for name in groups)
    assert [first.n, second.n] == case["n"]
    scatter = pool((first.sd, second.sd), (first.n - 1, second.n - 1))
    found = Budget(scatter, first.n, second.n, step=1e-12).evaluate()
    assert scatter.sd == pytest.approx(case["sp"], abs=5e-6)
    assert float(found.dof) == pytest.approx(case["df"], rel=1e-9)
    difference = first.mean - second.mean
    assert difference / float(found.u) == pytest.approx(case["t"], abs=5e-6)
    half = float(t_quantile(0.975, found.dof)) * float(found.u)
    assert [difference - half, difference + half] == pytest.approx(case["ci95"], abs=5e-6)


BEFORE, AFTER, STEP = (2.80, 2.85, 2.90), (2.95, 2.95, 3.05, 3.00), 0.05


@pytest.mark.parametrize(("readings", "accuracy"), [(1, 0.0), (2, 0.0), (1, 0.1)])
def test_shift_against_gtc(readings, accuracy):
    """The same budget built in GTC: means with pooled scatter, digits and accuracies as rectangular influences."""
    scatter = pool(tuple(describe(side).sd for side in (BEFORE, AFTER)), (2, 3))
    one = GTC.ureal(0.0, scatter.sd, scatter.dof)
    # both means share one estimate of the scatter, so their type A terms are one influence of that size
    spread = one * math.sqrt(1 / 3 + 1 / 4)
    digits = [GTC.ureal(0.0, GTC.type_b.uniform(STEP / 2)) for _ in range(2 * readings)]
    errors = [GTC.ureal(0.0, GTC.type_b.uniform(accuracy)) for _ in range(2)] if accuracy else []
    shift = describe(AFTER).mean - describe(BEFORE).mean + spread + sum(digits) + sum(errors)
    accuracy_variance = 2 * accuracy**2 / 3
    found = Budget(scatter, 3, 4, STEP, readings, accuracy_variance).evaluate()
    assert float(found.u) == pytest.approx(GTC.uncertainty(shift), rel=1e-12)
    assert float(found.dof) == pytest.approx(GTC.dof(shift), rel=1e-9)


def test_shift_with_a_shared_zero_against_metrolopy():
    scatter = pool((0.05, 0.03), (2, 2))
    zero = SharedZero(0.04, 3)
    found = Budget(scatter, 3, 3, STEP, 1, zero=zero).evaluate()
    spread = metrolopy.gummy(0.0, scatter.sd * math.sqrt(2 / 3), dof=4)
    zeros = metrolopy.gummy(0.0, 0.04 * math.sqrt(2 / 3), dof=4)
    digits = [metrolopy.gummy(0.0, STEP / math.sqrt(12)) for _ in range(4)]
    total = spread + zeros + sum(digits[1:], digits[0])
    assert float(found.u) == pytest.approx(total.u, rel=1e-9)
    assert float(found.dof) == pytest.approx(total.dof, rel=1e-6)


def test_digits_are_not_averaged_away():
    """GUM F.2.2.1: two independent readings to 0.05 differ with u = 0.0204124, however many there are."""
    for n in (3, 300):
        found = Budget(Scatter(0.0, 2.0 * (n - 1)), n, n, 0.05).evaluate()
        assert float(found.u) == pytest.approx(0.0204124, abs=5e-8)
        assert math.isinf(float(found.dof))


def test_a_study_is_pooled_only_if_the_day_is_as_quiet():
    study = Study(0.02, 20)
    quiet = pool((0.02, 0.03), (2, 2), study)
    assert quiet.dof == 24
    assert quiet.sd == pytest.approx(math.sqrt((2 * 0.02**2 + 2 * 0.03**2 + 20 * 0.02**2) / 24))
    noisy = pool((0.06, 0.06), (2, 2), study)
    assert (noisy.sd, noisy.dof) == (pytest.approx(0.06), 4)
    # F_0.90(4, 20) is 2.249 in any table of the F distribution
    edge = 0.02 * math.sqrt(2.249)
    assert pool((edge * 0.999, edge * 0.999), (2, 2), study).dof == 24
    assert pool((edge * 1.001, edge * 1.001), (2, 2), study).dof == 4


def test_single_placements_live_on_the_study():
    assert pool((0.0, 0.0), (0, 0), Study(0.02, 9)) == Scatter(pytest.approx(0.02), 9)
    assert pool((0.0, 0.0), (0, 0)) == Scatter(0.0, 0)


def test_wrong_arguments():
    with pytest.raises(ValueError, match="study"):
        Study(0.02, 0)
    with pytest.raises(ValueError, match="zero"):
        SharedZero(0.02, 1)
