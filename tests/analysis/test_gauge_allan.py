"""The Allan deviation and its band: NIST SP 1065's sets, allantools, and simulation."""

from __future__ import annotations

import math

import allantools
import numpy as np
import pytest
from gauge_oracles import WANTED
from test_noise import sp1065

from gaugelog.analysis.gauge_allan import (
    FLICKER,
    NOISE_NAMES,
    ONE_SIGMA,
    WALK,
    WHITE,
    WHITE_PHASE,
    AllanPoint,
    allan_points,
    edf,
    helps_until,
)
from gaugelog.analysis.noise import allan_deviation


def test_the_published_set_of_a_thousand_points(nist):
    """NIST SP 1065, table 31: overlapping at 1, 10, 100."""
    values = sp1065()
    for row in nist("allan_sp1065"):
        assert allan_deviation(values, int(row["m"])) == pytest.approx(float(row["oadev"]), rel=3e-7)
    points = allan_points(values, 1.0)
    assert [point.factor for point in points] == [1, 2, 4, 8, 16, 32, 64, 128]
    assert points[0].deviation == pytest.approx(2.922319e-01, rel=3e-7)


def test_the_published_set_of_ten_points():
    """NIST SP 1065, 12.4, 10-point phase set."""
    case = WANTED["sp1065_short"]
    points = allan_points(case["frequency"], 1.0)
    assert [point.deviation for point in points] == pytest.approx(case["overlapping"], abs=5e-6)


def test_all_octaves_against_allantools():
    """Deviations and, given the kind of noise, equivalent degrees of freedom and bands."""
    random = np.random.default_rng(6)
    kinds = {
        WHITE: random.normal(size=4096),
        WALK: np.cumsum(random.normal(size=4096)),
        WHITE_PHASE: np.diff(random.normal(size=4097)),
    }
    for alpha, values in kinds.items():
        points = allan_points(values, 0.5)
        taus, told, _, _ = allantools.oadev(values, rate=2.0, data_type="freq", taus=[p.tau_s for p in points])
        assert [p.tau_s for p in points] == pytest.approx(list(taus))
        assert [p.deviation for p in points] == pytest.approx(list(told), rel=1e-9)
        # the middle octaves show which noise it is
        assert [p.alpha for p in points[1:6]] == [alpha] * 5
        for point in points[1:6]:
            degrees = allantools.edf_simple(values.size + 1, point.factor, alpha)
            assert point.edf == pytest.approx(degrees, rel=1e-12)
            assert (point.low, point.high) == pytest.approx(
                allantools.confidence_interval(point.deviation, degrees), rel=1e-9
            )


def test_flicker_of_the_table():
    """NIST SP 1065, table 5. The square at m = 1 is left out in allantools 2024.6, which then says less than one."""
    assert edf(1000, 8, FLICKER) == pytest.approx(allantools.edf_simple(1001, 8, -1), rel=1e-12)
    assert edf(1000, 1, FLICKER) == pytest.approx(2 * 999**2 / (2.3 * 1001 - 4.9))
    assert allantools.edf_simple(1001, 1, -1) < 1 < edf(1000, 1, FLICKER)


@pytest.mark.parametrize("factor", [1, 8, 64])
def test_the_band_holds_the_deviation_as_often_as_it_says(factor):
    """Monte Carlo, 1500 runs of white noise, whose deviation is 1/√m: 68.3 %, give or take what 1500 leave."""
    random, hits = np.random.default_rng(7), 0
    for _ in range(1500):
        values = random.normal(size=512)
        deviation = allan_deviation(values, factor)
        degrees = edf(512, factor, WHITE)
        point = AllanPoint(factor, float(factor), deviation, None, None, degrees, WHITE)
        low, high = allantools.confidence_interval(point.deviation, degrees)
        hits += low <= 1 / math.sqrt(factor) <= high
    assert hits / 1500 == pytest.approx(ONE_SIGMA, abs=0.04)


def test_averaging_helps_until_wander_takes_over():
    """White noise 0.02 a second and a walk of 0.001 a second meet near σ√3/w = 35 s (SP 1065: N²/τ = K²τ/3)."""
    random = np.random.default_rng(9)
    found = []
    for _ in range(20):
        values = random.normal(0, 0.02, 20000) + np.cumsum(random.normal(0, 0.001, 20000))
        found.append(helps_until(allan_points(values, 1.0)).tau_s)
    assert 16 <= np.median(found) <= 64


def test_readings_that_are_all_the_same_have_no_band():
    points = allan_points([1.0] * 16, 1.0)
    assert [p.deviation for p in points] == [0.0, 0.0, 0.0]
    assert all(p.alpha is None and p.low is None and p.edf is None for p in points)
    assert helps_until(points) is points[0]
    assert helps_until(allan_points([1.0, 2.0], 1.0)) is None


def test_every_kind_has_words():
    assert set(NOISE_NAMES) == {WHITE_PHASE, WHITE, FLICKER, WALK}


def test_what_cannot_be_told_is_refused():
    with pytest.raises(ValueError):
        allan_points([1.0, 2.0], 0.0)
    with pytest.raises(ValueError):
        allan_points([1.0, math.nan], 1.0)
    with pytest.raises(ValueError):
        edf(100, 1, 3)
    with pytest.raises(ValueError):
        edf(3, 1, WHITE)
