"""A gauge left alone: made runs whose warm-up, wander and digit are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from gauge_oracles import assert_plain

from gaugelog.analysis.describe import effective_size
from gaugelog.analysis.gauge_allan import allan_points
from gaugelog.analysis.gauge_rest import (
    EVEN,
    FILLED,
    GAPS,
    HELD,
    MEANS,
    NOT_SETTLED,
    ONE_DIGIT,
    SHORT,
    STILL_FALLING,
    TWO_DIGITS,
    rest,
)

ORIGIN_US = 10**15


def microseconds(seconds):
    return (np.asarray(seconds) * 1e6).astype(np.int64) + ORIGIN_US


def made(seed, hours=2.0, period=1.0, sigma=0.03, walk=0.0, warm=0.0, tau=600.0, rate=0.0, digit=0.05):
    """A run: noise, random walk (per root hour), warm-up and a straight rate (per hour), rounded to a digit."""
    random = np.random.default_rng(seed)
    t = np.arange(0.0, hours * 3600, period)
    value = 1.2 + rate * t / 3600 - warm * np.exp(-t / tau) + random.normal(0, sigma, t.size)
    value += np.cumsum(random.normal(0, walk * math.sqrt(period / 3600), t.size))
    return microseconds(t), np.round(value / digit) * digit if digit else value


def test_a_gauge_that_only_scatters():
    utc_us, value = made(1)
    told = rest(utc_us, value, 0.05)
    assert told.warm_up_s == 0.0
    assert told.averaged == EVEN
    assert (told.averaged_n, told.averaged_period_s, told.averaged_from_s) == (7200, pytest.approx(1.0), 0.0)
    assert told.period_s == 1.0
    assert told.seen.common == pytest.approx(0.05)
    assert not told.quantised
    assert told.n_eff == pytest.approx(effective_size(value))
    assert told.allan == allan_points(value, told.averaged_period_s)
    assert told.noise == pytest.approx(math.sqrt(0.03**2 + 0.05**2 / 12), rel=0.1)
    assert told.mean == pytest.approx(1.2, abs=0.01)
    assert abs(told.rate_per_hour.value) <= told.rate_per_hour.half_95
    assert told.warnings == (STILL_FALLING,)
    assert_plain(told)


@pytest.mark.parametrize("walk", [0.0, 0.03])
def test_warm_up_ends_where_the_curve_is_within_its_digit(walk):
    """0.5 exp(-t/600) is down to the digit of 0.05 at 600 ln 10 = 1382 s."""
    found = [rest(*made(seed, warm=0.5, walk=walk, period=5.0), 0.05) for seed in range(20)]
    assert np.median([each.warm_up_s for each in found]) == pytest.approx(600 * math.log(10), rel=0.1)
    assert np.median([each.warm_up_rise for each in found]) == pytest.approx(0.5, abs=0.03)
    assert all(each.settled_s == each.warm_up_s <= each.averaged_from_s for each in found)


def test_wander_is_not_taken_for_warm_up():
    """Walks of up to a digit in a root hour, 60 runs: none warms up, however far its end lies from its start."""
    found = [rest(*made(seed, walk=0.05, period=5.0), 0.05) for seed in range(60)]
    assert [each.warm_up_s for each in found].count(0.0) >= 58


def test_a_run_that_ends_while_it_warms_up_says_so():
    told = rest(*made(2, hours=0.5, warm=2.0, tau=1800), 0.05)
    assert told.warm_up_s is None
    assert NOT_SETTLED in told.warnings
    assert SHORT in told.warnings
    assert_plain(told)


def test_rate_and_wander_come_out_as_they_were_put_in():
    """Monte Carlo, 300 runs of two hours with a walk of 0.05 per root hour and a rate of 0.02 an hour.

    95 % would be between 93 and 97.5 in 300 runs; u of a rate errs on the large side.
    """
    found = [rest(*made(seed, walk=0.05, rate=0.02, period=5.0), 0.05) for seed in range(300)]
    walks = [each.wander_per_root_hour for each in found]
    assert np.median(walks) == pytest.approx(0.05, rel=0.25)
    hits = np.mean([abs(each.rate_per_hour.value - 0.02) <= each.rate_per_hour.half_95 for each in found])
    assert 0.93 <= hits <= 0.99


def test_a_gauge_that_shows_one_digit():
    utc_us, value = made(3, sigma=0.001)
    told = rest(utc_us, value, 0.05)
    assert told.seen.distinct == 1
    assert told.quantised
    assert (told.sd, told.noise, told.best) == (0.0, 0.0, 0.0)
    assert told.n_eff == value.size
    assert ONE_DIGIT in told.warnings
    # what half a digit at either end may hide of a rate: r/√6 over the run
    assert told.rate_per_hour.u == pytest.approx(0.05 / math.sqrt(6) / 2, rel=0.05)
    assert_plain(told)


def test_a_gauge_between_two_digits():
    random = np.random.default_rng(5)
    told = rest(microseconds(np.arange(7200)), np.round((1.224 + random.normal(0, 0.008, 7200)) / 0.05) * 0.05, 0.05)
    assert told.seen.distinct == 2
    assert told.quantised
    assert TWO_DIGITS in told.warnings


def test_a_gap_leaves_the_longest_stretch():
    utc_us, value = made(6)
    keep = np.ones(utc_us.size, dtype=bool)
    keep[2000:2060] = False
    told = rest(utc_us[keep], value[keep], 0.05)
    assert told.gaps == 1
    assert GAPS in told.warnings
    assert told.averaged_n == 7200 - 2060
    assert told.averaged_from_s == pytest.approx(2060.0)
    assert told.allan == allan_points(value[2060:], told.averaged_period_s)


def test_a_few_missing_readings_are_filled_between_neighbours():
    utc_us, value = made(7, digit=0.0)
    missing = [100, 2000, 2001, 5000]
    told = rest(np.delete(utc_us, missing), np.delete(value, missing), 0.0)
    assert told.averaged == FILLED
    assert told.gaps == 0
    whole = value.copy()
    at = np.arange(value.size)
    whole[missing] = np.interp(missing, np.delete(at, missing), np.delete(value, missing))
    for found, wanted in zip(told.allan, allan_points(whole, 1.0), strict=True):
        assert found.deviation == pytest.approx(wanted.deviation, rel=1e-9)


def test_uneven_readings_become_means_over_equal_times():
    random = np.random.default_rng(8)
    t = np.cumsum(random.uniform(0.5, 2.0, 5000))
    value = 1.2 + random.normal(0, 0.05, t.size)
    told = rest(microseconds(t), value, 0.0)
    assert told.averaged == MEANS
    assert told.averaged_period_s == pytest.approx(float(np.diff(t).max()), rel=1e-5)
    # white noise at 1.25 s a reading: σ(τ) = 0.05 √(1.25/τ)
    point = told.allan[4]
    assert point.deviation == pytest.approx(0.05 * math.sqrt(1.25 / point.tau_s), rel=0.15)
    assert_plain(told)


def test_a_gauge_that_sends_on_change_holds_its_value():
    utc_us, value = made(9, sigma=0.02)
    changed = np.concatenate(([True], np.diff(value) != 0))
    changed[-1] = True
    told = rest(utc_us[changed], value[changed], 0.05, holds=True)
    assert told.averaged == HELD
    assert told.mean == pytest.approx(float(value.mean()), abs=0.02)
    every = rest(utc_us, value, 0.05)
    for found, wanted in zip(told.allan[2:7], every.allan[2:7], strict=True):
        assert found.deviation == pytest.approx(wanted.deviation, rel=0.05)


def test_a_single_wild_reading_is_left_out():
    utc_us, value = made(10)
    value[7000] += 30.0
    told = rest(utc_us, value, 0.05)
    assert told.rejected == 1
    assert told.warm_up_s == 0.0
    assert told.averaged == FILLED


def test_a_drifting_gauge_has_its_rate():
    told = rest(*made(11, rate=0.5, digit=0.0, sigma=0.01), 0.5)
    assert told.rate_per_hour.value == pytest.approx(0.5, rel=0.02)


@pytest.mark.parametrize(
    ("utc_us", "value"),
    [
        (np.arange(10), np.zeros(10)),
        (np.zeros(30), np.zeros(30)),
        (np.arange(30)[::-1], np.zeros(30)),
        (np.arange(30), np.zeros(29)),
        (np.arange(30), np.full(30, math.nan)),
    ],
)
def test_what_is_no_run_is_refused(utc_us, value):
    with pytest.raises(ValueError):
        rest(np.asarray(utc_us, dtype=np.int64), value, 0.05)
