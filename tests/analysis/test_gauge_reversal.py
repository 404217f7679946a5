"""Zero by reversal: by hand, and its uncertainty against GTC."""

from __future__ import annotations

import math

import GTC
import pytest
from gauge_oracles import assert_plain

from gaugelog.analysis.describe import describe
from gaugelog.analysis.gauge_reversal import FEW_PAIRS, ONE_PAIR, STEEP, WITHIN, reversal
from gaugelog.analysis.uncertainty import Study


def test_zero_is_half_the_sum_and_tilt_half_the_difference():
    told = reversal([0.35], [-0.25], 0.05, study=Study(0.03, 9))
    assert told.zero.value == pytest.approx(0.05)
    assert told.tilt.value == pytest.approx(0.30)
    # one pair: s²/2 of the study, and at most r²/12 of each reading over 4
    assert 0.03 / math.sqrt(2) <= told.zero.u <= math.sqrt(0.03**2 / 2 + 0.05**2 / 24)
    assert told.warnings == (FEW_PAIRS,)
    assert told.proven
    assert_plain(told)


def test_a_quiet_gauge_keeps_its_digits_however_many_pairs():
    """GUM F.2.2.1: r²/12 of each of the two readings, of which the zero is half the sum."""
    for pairs in (3, 30):
        told = reversal([0.35] * pairs, [-0.25] * pairs, 0.05)
        assert told.zero.u == pytest.approx(0.05 / math.sqrt(24), rel=1e-3)
        assert told.zero.dof is None
        assert told.scatter == pytest.approx(0.0, abs=1e-15)


def test_uncertainty_and_degrees_of_freedom_against_gtc():
    """Without a digit: half the sum of two means that share one pooled scatter."""
    first, turned = [0.31, 0.36, 0.33, 0.39], [-0.22, -0.27, -0.29, -0.21]
    told = reversal(first, turned, 0.0)
    variance = (describe(first).sd ** 2 + describe(turned).sd ** 2) / 2
    one = GTC.ureal(0.0, math.sqrt(variance), 6)
    zero = (sum(first) + sum(turned)) / 8 + one / math.sqrt(8)
    assert told.zero.value == pytest.approx(GTC.value(zero))
    assert told.zero.u == pytest.approx(GTC.uncertainty(zero), rel=1e-12)
    assert told.zero.dof == pytest.approx(GTC.dof(zero), rel=1e-9)
    assert told.tilt.u == told.zero.u


def test_pairs_from_several_places_scatter_by_their_half_sums_alone():
    first, turned = [0.31, 1.36, 2.33], [-0.22, -1.21, -2.27]
    told = reversal(first, turned, 0.0, same_place=False)
    halves = describe([(a + b) / 2 for a, b in zip(first, turned, strict=True)])
    assert told.zero.u == pytest.approx(halves.sd / math.sqrt(3))
    assert told.zero.dof == pytest.approx(2)
    assert reversal(first, turned, 0.0).zero.u > 5 * told.zero.u


def test_one_pair_alone_tells_no_uncertainty():
    told = reversal([0.35], [-0.25], 0.05)
    assert told.zero.u is None
    assert told.zero.half_95 is None
    assert told.scatter is None
    assert not told.proven
    assert told.warnings == (ONE_PAIR,)
    assert_plain(told)


def test_a_zero_beyond_its_uncertainty_is_proven():
    assert reversal([0.75] * 4, [-0.25] * 4, 0.05).proven
    within = reversal([0.30] * 4, [-0.30] * 4, 0.05)
    assert not within.proven
    assert within.warnings == (WITHIN,)
    assert STEEP in reversal([8.0] * 4, [-8.0] * 4, 0.05).warnings


@pytest.mark.parametrize(("first", "turned"), [([], []), ([1.0, 2.0], [1.0]), ([math.inf], [1.0])])
def test_what_is_no_pair_is_refused(first, turned):
    with pytest.raises(ValueError):
        reversal(first, turned, 0.05)
