"""What the side matters: by hand, and against scipy's paired t."""

from __future__ import annotations

import math

import pytest
from gauge_oracles import assert_plain
from scipy import stats

from gaugelog.analysis.gauge_hysteresis import ONE_POINT, UNPROVEN, hysteresis

BELOW, ABOVE = [0.02, 1.01, 2.03, 3.00], [0.09, 1.11, 2.08, 3.12]


def test_difference_against_a_paired_t():
    """scipy.stats.ttest_rel, without a digit."""
    told = hysteresis(BELOW, ABOVE, 0.0)
    paired = stats.ttest_rel(ABOVE, BELOW)
    assert told.difference.value == pytest.approx(0.085)
    assert told.difference.value / told.difference.u == pytest.approx(float(paired.statistic), rel=1e-9)
    interval = paired.confidence_interval(0.95)
    assert (told.difference.low_95, told.difference.high_95) == pytest.approx((interval.low, interval.high), rel=1e-9)
    assert told.proven
    assert told.warnings == ()
    assert_plain(told)


def test_type_b_is_the_limit_over_root_three():
    """NIST/SEMATECH e-Handbook 2.4.6: u = limit/√3."""
    told = hysteresis(BELOW, ABOVE, 0.01)
    assert told.type_b == pytest.approx(0.085 / math.sqrt(3))
    assert (told.largest, told.largest_at) == (pytest.approx(0.12), 3)


def test_digits_do_not_average_out():
    """GUM F.2.2.1: two readings to a digit."""
    told = hysteresis([0.0] * 50, [0.05] * 50, 0.05)
    assert told.difference.u == pytest.approx(0.05 / math.sqrt(6))
    few = hysteresis([0.0] * 4, [0.05, 0.0, 0.0, 0.0], 0.05)
    assert not few.proven
    assert few.warnings == (UNPROVEN,)


def test_one_point_and_no_point():
    told = hysteresis([0.0], [-0.2], 0.05)
    assert told.difference.u is None
    assert told.largest == pytest.approx(-0.2)
    assert told.type_b == pytest.approx(0.2 / math.sqrt(3))
    assert told.warnings == (ONE_POINT,)
    assert_plain(told)
    for below, above in (([], []), ([1.0], [1.0, 2.0])):
        with pytest.raises(ValueError):
            hysteresis(below, above, 0.05)
