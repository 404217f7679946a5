"""Zero and scale against references: NIST's certified line, statsmodels, GTC."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest
import statsmodels.api as sm
from gauge_oracles import WANTED, assert_plain

from gaugelog.analysis.gauge_line import Parts, line_through
from gaugelog.analysis.gauge_linearity import (
    BENT,
    FEW_POINTS,
    FROM_READINGS,
    FROM_RESIDUALS,
    FROM_STUDY,
    NO_REPEATS,
    SHARED,
    ZERO_OUTSIDE,
    correction_at,
    linearity,
)
from gaugelog.analysis.uncertainty import Study

ENDLESS = math.inf


def test_norris(nist):
    """NIST StRD Norris, certified: the readings y against the references x, so that the errors' slope is B1 - 1."""
    rows, case = nist("norris"), WANTED["norris"]
    x, y = (np.array([float(row[name]) for row in rows]) for name in "xy")
    assert x.size == case["n"]
    # the certified fit takes every observation alike: so that no two references count as one, each has its own name
    told = linearity(x + np.arange(x.size) * 1e-13, 0.0, y, 0.0)
    assert told.scatter_from == FROM_RESIDUALS
    assert told.zero.value == pytest.approx(case["b0"], rel=1e-8)
    assert told.scale.value + 1 == pytest.approx(case["b1"], rel=1e-11)
    assert told.zero.u == pytest.approx(case["b0_sd"], rel=1e-9)
    assert told.scale.u == pytest.approx(case["b1_sd"], rel=1e-9)
    assert told.scatter == pytest.approx(case["residual_sd"], rel=1e-9)
    assert told.zero.dof == pytest.approx(case["n"] - 2)
    assert NO_REPEATS in told.warnings
    assert told.straight is None
    assert_plain(told)


def made(seed, points=6, each=4, sigma=0.03, zero=0.08, scale=0.004, bend=0.0):
    random = np.random.default_rng(seed)
    reference = np.repeat(np.linspace(0.0, 20.0, points), each)
    error = zero + scale * reference + bend * np.sin(reference / 20 * math.pi)
    return reference, reference + error + random.normal(0, sigma, reference.size)


def test_line_with_known_variances_against_statsmodels():
    random = np.random.default_rng(8)
    x = np.array([0.0, 2.0, 5.0, 9.0, 14.0, 20.0])
    variance = random.uniform(0.01, 0.2, x.size)
    y = 0.1 - 0.02 * x + random.normal(0, np.sqrt(variance))
    told = line_through(x, y, Parts(np.zeros_like(x), ENDLESS, variance), bent_p=0.0)
    fitted = sm.WLS(y, sm.add_constant(x), weights=1 / variance).fit(cov_type="fixed scale")
    assert [told.zero, told.scale] == pytest.approx(list(fitted.params), rel=1e-10)
    covariance = np.linalg.inv(sm.add_constant(x).T @ np.diag(1 / variance) @ sm.add_constant(x))
    assert told.known == pytest.approx((covariance[0, 0], covariance[0, 1], covariance[1, 1]), rel=1e-10)
    assert told.chi2 == pytest.approx(float((fitted.resid**2 / variance).sum()), rel=1e-10)


def test_line_and_correction_against_gtc():
    """References with their own uncertainties only: GTC's weighted line through uncertain numbers."""
    reference, reading = made(3, each=1, sigma=0.02)
    u = np.linspace(0.05, 0.2, reference.size)
    study = Study(1e-9, 1000)
    told = linearity(reference, u, reading, 0.0, study=study)
    assert told.scatter_from == FROM_STUDY
    errors = [GTC.ureal(float(e), float(each)) for e, each in zip(reading - reference, u, strict=True)]
    zero, scale = GTC.type_b.line_fit_wls(list(reference), errors).a_b
    assert told.zero.value == pytest.approx(GTC.value(zero), rel=1e-9)
    assert told.scale.value == pytest.approx(GTC.value(scale), rel=1e-9)
    assert told.zero.u == pytest.approx(GTC.uncertainty(zero), rel=1e-6)
    assert told.scale.u == pytest.approx(GTC.uncertainty(scale), rel=1e-6)
    assert told.covariance == pytest.approx(GTC.get_covariance(zero, scale), rel=1e-6)
    for value in (0.0, 7.0, 20.0):
        wanted = -(zero + scale * value)
        found = correction_at(told, value)
        assert found.value == pytest.approx(GTC.value(wanted), rel=1e-9)
        assert found.u == pytest.approx(GTC.uncertainty(wanted), rel=1e-6)
    assert SHARED in told.warnings


def test_repeats_against_statsmodels():
    """No digit, exact references: the line through all readings, with the scatter within references for its u."""
    reference, reading = made(5)
    told = linearity(reference, 0.0, reading, 0.0)
    fitted = sm.OLS(reading - reference, sm.add_constant(reference)).fit()
    groups = [reading[reference == each] for each in np.unique(reference)]
    pure = math.sqrt(sum(float(((g - g.mean()) ** 2).sum()) for g in groups) / (reading.size - len(groups)))
    assert told.scatter_from == FROM_READINGS
    assert told.scatter == pytest.approx(pure, rel=1e-10)
    assert told.scatter_dof == reading.size - len(groups)
    assert [told.zero.value, told.scale.value] == pytest.approx(list(fitted.params), rel=1e-9)
    shrunk = fitted.cov_params() / fitted.mse_resid * pure**2
    assert told.zero.u == pytest.approx(math.sqrt(shrunk[0, 0]), rel=1e-9)
    assert told.scale.u == pytest.approx(math.sqrt(shrunk[1, 1]), rel=1e-9)
    assert told.covariance == pytest.approx(shrunk[0, 1], rel=1e-9)
    # lack of fit by the analysis of variance: NIST/SEMATECH e-Handbook 4.4.4.6 (the section from memory)
    lack = (float((fitted.resid**2).sum()) - pure**2 * told.scatter_dof) / (len(groups) - 2)
    assert told.chi2 / told.chi2_dof == pytest.approx(lack / pure**2, rel=1e-9)
    assert_plain(told)


def test_the_centre_is_where_zero_and_scale_are_independent():
    told = linearity(*(made(5)[0], 0.01, made(5)[1], 0.05))
    u = told.at_centre.u
    for value in (0.0, 4.0, 20.0):
        expected = math.hypot(u, told.scale.u * (value - told.centre))
        assert correction_at(told, value).u == pytest.approx(expected, rel=1e-9)
    assert told.worst.u == pytest.approx(max(correction_at(told, value).u for value in (0.0, 20.0)))


def test_unequal_numbers_from_both_sides_do_not_tilt_the_line():
    reference = [0.0, 0.0, 0.0, 0.0, 10.0, 10.0, 10.0, 10.0]
    sides = ["up", "up", "up", "down", "up", "down", "down", "down"]
    reading = [value + (0.1 if side == "down" else 0.0) for value, side in zip(reference, sides, strict=True)]
    told = linearity(reference, 0.0, reading, 0.01, approached=sides)
    assert told.zero.value == pytest.approx(0.05)
    assert told.scale.value == pytest.approx(0.0, abs=1e-12)
    blind = linearity(reference, 0.0, reading, 0.01)
    assert blind.scale.value == pytest.approx(0.005)


def test_a_bent_gauge_is_told_and_widens():
    straight, bent = (linearity(made(9)[0], 0.0, made(9, bend=b)[1], 0.0) for b in (0.0, 0.3))
    assert straight.straight
    assert not bent.straight
    assert BENT in bent.warnings
    assert bent.zero.u > 3 * straight.zero.u
    assert bent.zero.dof == pytest.approx(4)
    assert bent.covariance_dof == 4
    assert bent.scatter_dof == 18
    assert abs(bent.largest.departure) > 3 * bent.largest.u


def _exact(seed):
    reference, reading = made(seed)
    return reference, 0.0, reading, 0.0


def test_sound_gauges_are_called_bent_at_the_level_of_the_test():
    """Five percent of 600: 95 % of such counts lie between 20 and 41 (binomial)."""
    found = [linearity(*_exact(seed)).straight for seed in range(600)]
    assert 20 <= found.count(False) <= 41


def test_two_references_say_nothing_of_what_is_between():
    told = linearity([1.0, 2.0], 0.0, [1.1, 2.1], 0.05)
    assert told.zero.u is None
    assert told.straight is None
    assert set(told.warnings) == {FEW_POINTS, NO_REPEATS, ZERO_OUTSIDE}
    assert correction_at(told, 1.0).u is None
    assert correction_at(told, 1.0).value == pytest.approx(-0.1)
    assert_plain(told)


def test_a_gauge_without_any_scatter_or_digit():
    told = linearity([0.0, 0.0, 1.0, 1.0, 2.0, 2.0], 0.0, [0.1, 0.1, 1.1, 1.1, 2.1, 2.1], 0.0)
    assert told.zero.value == pytest.approx(0.1)
    assert told.zero.u == pytest.approx(0.0, abs=1e-12)
    assert_plain(told)
    exact = linearity([0.0, 1.0, 2.0], 0.0, [0.5, 1.5, 2.5], 0.0)
    assert exact.zero.value == pytest.approx(0.5)
    assert_plain(exact)


@pytest.mark.parametrize(
    ("reference", "u", "reading"),
    [([1.0, 1.0], 0.0, [1.0, 1.0]), ([1.0, 2.0], -0.1, [1.0, 2.0]), ([1.0, 2.0], 0.0, [1.0]), ([], 0.0, [])],
)
def test_what_is_no_line_is_refused(reference, u, reading):
    with pytest.raises(ValueError):
        linearity(reference, u, reading, 0.05)
