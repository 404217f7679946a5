"""Student's t and conformance probabilities against tables, JCGM 106 and scipy.stats."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from gaugelog.analysis.conformity import probability_at_least, probability_at_most, probability_between
from gaugelog.analysis.student import f_quantile, t_probability, t_quantile


@pytest.mark.parametrize(
    ("probability", "dof", "printed"),
    [
        (0.95, 16, 1.746),  # NIST/SEMATECH e-Handbook 7.3.1
        (0.975, 326, 1.9673),  # NIST/SEMATECH e-Handbook 1.3.5.3
        (0.995, 16, 2.92),  # GUM (JCGM 100:2008) H.1.6
        (0.975, 19, 2.09),  # GUM (JCGM 100:2008) G.4.1, value from memory
        (0.95, math.inf, 1.645),  # normal distribution, any table
    ],
)
def test_printed_quantiles(probability, dof, printed):
    decimals = len(str(printed).split(".")[1])
    assert round(float(t_quantile(probability, dof)), decimals) == printed


def test_against_scipy_stats():
    dof = np.array([1.0, 2.5, 4.0, 15.53, 120.0, 1e9])
    assert t_quantile(0.975, dof) == pytest.approx(stats.t.ppf(0.975, dof), rel=1e-9)
    assert t_probability(1.3, dof) == pytest.approx(stats.t.cdf(1.3, dof), rel=1e-9)
    assert f_quantile(0.90, 4, 20) == pytest.approx(stats.f.ppf(0.90, 4, 20), rel=1e-9)


def test_infinite_degrees_of_freedom_are_normal():
    assert float(t_probability(1.0, math.inf)) == pytest.approx(stats.norm.cdf(1.0), rel=1e-12)
    mixed = t_probability(1.0, np.array([5.0, math.inf]))
    assert mixed == pytest.approx([stats.t.cdf(1.0, 5), stats.norm.cdf(1.0)], rel=1e-9)


def test_jcgm_106_cases(expected):
    upper, lower, both = (expected["jcgm106"][name] for name in ("upper", "lower", "both"))
    assert float(probability_at_most(upper["value"], upper["u"], upper["high"])) == pytest.approx(upper["p"], abs=1e-6)
    assert float(probability_at_least(lower["value"], lower["u"], lower["low"])) == pytest.approx(lower["p"], abs=1e-6)
    p = probability_between(both["value"], both["u"], both["low"], both["high"])
    assert float(p) == pytest.approx(both["p"], abs=1e-6)


def test_jcgm_106_guard_factors(expected):
    table = expected["jcgm106"]["z"]
    for p, z in zip(table["p"], table["z"], strict=True):
        assert float(probability_at_most(0.0, 1.0, z)) == pytest.approx(p, abs=2e-5)


def test_the_scaled_and_shifted_t_is_that_of_scipy():
    dof, y, u = 4.4, 0.07, 0.05
    law = stats.t(dof, loc=y, scale=u)
    p = probability_between(y, u, -0.15, 0.15, dof)
    assert float(p) == pytest.approx(law.cdf(0.15) - law.cdf(-0.15), rel=1e-9)


def test_wrong_arguments():
    with pytest.raises(ValueError, match="uncertainty"):
        probability_at_most(0.0, 0.0, 1.0)
    with pytest.raises(ValueError, match="freedom"):
        t_quantile(0.95, 0.0)
    with pytest.raises(ValueError, match="probability"):
        t_quantile(1.0, 5.0)
