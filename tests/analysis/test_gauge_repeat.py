"""Repeatability, and the digit that readings show, against scipy's distributions and counting."""

from __future__ import annotations

import math

import numpy as np
import pytest
from gauge_oracles import assert_plain
from scipy import stats

from gaugelog.analysis.gauge_figures import figure, steps_seen
from gaugelog.analysis.gauge_repeat import (
    ALL_EQUAL,
    COARSER_SEEN,
    FEW,
    FEW_DIGITS,
    FINER_SEEN,
    repeatability,
    scatter_range,
)


def test_standard_deviation_of_published_data(column, expected):
    """NIST StRD Mavro and Michelso: certified standard deviations."""
    for name in ("mavro", "michelso"):
        told = repeatability(column(f"strd_{name}"), 0.0)
        case = expected["strd"][name]
        assert told.sd == pytest.approx(case["sd"], rel=1e-11)
        assert told.mean == pytest.approx(case["mean"], rel=1e-14)
        assert told.dof == case["n"] - 1
        assert_plain(told)


@pytest.mark.parametrize("n", [2, 5, 30])
def test_interval_without_a_digit_is_the_chi_squared_one(n):
    """Against scipy.stats.chi2."""
    low, high = scatter_range(0.7, n, 0.0)
    dof = n - 1
    assert low == pytest.approx(0.7 * math.sqrt(dof / stats.chi2.ppf(0.975, dof)), rel=1e-9)
    assert high == pytest.approx(0.7 * math.sqrt(dof / stats.chi2.ppf(0.025, dof)), rel=1e-9)


@pytest.mark.parametrize("n", [3, 5, 10, 20])
def test_all_readings_the_same_bound_the_scatter_but_never_make_it_none(n):
    """The bound is where n equal readings happen in 2.5 %: the chance integrated over the place, by scipy.stats."""
    told = repeatability([2.85] * n, 0.05)
    assert told.sd == 0.0
    assert told.low_95 == 0.0
    assert told.floor_sd == told.study.sd == pytest.approx(0.05 / math.sqrt(12))
    assert ALL_EQUAL in told.warnings
    assert told.seen == steps_seen([2.85])
    sigma = told.high_95 / 0.05
    places = (np.arange(4000) + 0.5) / 4000
    digits = np.arange(-60, 61)[:, None]
    inside = stats.norm.cdf((digits + 0.5 - places) / sigma) - stats.norm.cdf((digits - 0.5 - places) / sigma)
    assert float((inside**n).sum(axis=0).mean()) == pytest.approx(0.025, abs=0.006)


def test_interval_has_no_jump_where_the_simulation_takes_over():
    below, above = (scatter_range(1.2 * part, 10, 1.0) for part in (0.9999, 1.0001))
    assert below == pytest.approx(above, rel=0.05)


def test_interval_grows_with_the_scatter_seen():
    ranges = [scatter_range(sd, 8, 1.0) for sd in np.linspace(0.0, 3.0, 40)]
    lows, highs = zip(*ranges, strict=True)
    assert all(np.diff(lows) >= -1e-9)
    assert all(np.diff(highs[1:]) >= -0.01)
    assert all(low < high for low, high in ranges)


def test_warnings_say_what_the_readings_cannot():
    assert repeatability([1.0, 1.1, 1.3], 0.05).warnings == (FEW,)
    assert FEW_DIGITS in repeatability([1.00] * 9 + [1.05], 0.05).warnings
    assert FINER_SEEN in repeatability([1.00, 1.01, 1.02, 1.00, 1.01], 0.05).warnings
    assert COARSER_SEEN in repeatability([1.0, 1.1, 1.2, 1.0, 1.1] * 2, 0.05).warnings
    assert repeatability([1.00, 1.05, 1.10, 1.00, 1.05, 1.15], 0.05).warnings == ()


@pytest.mark.parametrize(
    ("values", "smallest", "common", "distinct"),
    [
        ([2.80, 2.85, 2.80, 2.90], 0.05, 0.05, 3),
        ([2.80, 2.90, 3.05], 0.10, 0.05, 3),
        ([1.27, 2.54, 1.27, 5.08], 1.27, 1.27, 3),
        ([0.0127 * k for k in (0, 3, 5, 11)], 0.0254, 0.0127, 4),
        ([100000.00, 100000.01, 100000.03], 0.01, 0.01, 3),
    ],
)
def test_the_digit_that_readings_show(values, smallest, common, distinct):
    seen = steps_seen(values)
    assert seen.smallest == pytest.approx(smallest, rel=1e-6)
    assert seen.common == pytest.approx(common, rel=1e-6)
    assert seen.distinct == distinct


def test_readings_without_a_digit_have_none_that_is_finer_than_their_smallest_difference():
    values = np.random.default_rng(4).normal(size=50)
    seen = steps_seen(values)
    assert seen.smallest == pytest.approx(float(np.diff(np.sort(values)).min()))
    assert seen.common >= 0.09 * seen.smallest


def test_no_reading_and_one_show_no_digit():
    assert steps_seen([]).common is None
    assert steps_seen([]).distinct == 0
    assert steps_seen([1.0, 1.0]).smallest is None


@pytest.mark.parametrize(
    ("values", "digit"), [([1.0], 0.1), ([1.0, math.nan], 0.1), ([1.0, 2.0], -0.1), ([[1.0]], 0.1)]
)
def test_what_cannot_be_told_is_refused(values, digit):
    with pytest.raises(ValueError):
        repeatability(values, digit)


def test_a_figure_covers_by_student():
    """t_0.975(10) = 2.228, any table of Student's t."""
    told = figure(1.0, 0.5, 10)
    assert told.half_95 == pytest.approx(0.5 * 2.228, abs=2e-4)
    assert told.high_95 - told.low_95 == pytest.approx(2 * told.half_95)
    endless = figure(1.0, 0.5, math.inf)
    assert endless.dof is None
    assert endless.half_95 == pytest.approx(0.5 * 1.959964, abs=1e-6)
    assert figure(1.0, None).low_95 is None
    assert figure(1.0, None).high_95 is None
