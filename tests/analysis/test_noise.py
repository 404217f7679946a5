"""Noise of a reading, what digits hide, wild readings, Allan deviation."""

from __future__ import annotations

import math

import allantools
import numpy as np
import pytest
from made_sessions import rounded
from scipy.special import ndtri

from gaugelog.analysis.dither import left_unseen, noise_chances, rounded_moments
from gaugelog.analysis.noise import (
    CUT_OFF_SQUARE,
    QUANTILE,
    allan_deviation,
    difference_noise,
    digits_u,
    noise_before_rounding,
    quantiser_u,
    wild,
)

# Source: NIST SP 1065, 12.4, the 1000-point test set (its table 31): overlapping Allan deviation by averaging factor
SP1065_OVERLAPPING = {1: 2.922319e-01, 10: 9.159953e-02, 100: 3.241343e-02}
# Source: the same, for ten phase points; frequencies, overlapping at 1 and 2
SP1065_SHORT = (892, 809, 823, 798, 671, 644, 883, 903, 677)


def sp1065() -> list[float]:
    numbers = [1234567890]
    for _ in range(999):
        numbers.append(16807 * numbers[-1] % 2147483647)
    return [number / 2147483647 for number in numbers]


@pytest.mark.parametrize(("factor", "wanted"), SP1065_OVERLAPPING.items())
def test_allan_deviation_of_the_published_set(factor, wanted):
    assert allan_deviation(sp1065(), factor) == pytest.approx(wanted, rel=3e-7)


def test_allan_deviation_of_the_short_published_set():
    assert allan_deviation(SP1065_SHORT, 1) == pytest.approx(91.22945, abs=5e-6)
    assert allan_deviation(SP1065_SHORT, 2) == pytest.approx(85.95287, abs=5e-6)


def test_allan_deviation_against_an_independent_library(column):
    for values in (column("flicker"), column("zarr13"), np.random.default_rng(2).normal(size=500).cumsum()):
        factors = [1, 2, 5, 20]
        told = allantools.oadev(np.asarray(values), rate=1.0, data_type="freq", taus=factors)[1]
        assert [allan_deviation(values, m) for m in factors] == pytest.approx(list(told), rel=1e-9)


def test_allan_deviation_needs_two_means():
    assert allan_deviation([1.0, 2.0, 3.0], 2) is None
    with pytest.raises(ValueError):
        allan_deviation([1.0, 2.0], 0)


@pytest.mark.parametrize("sigma", [0.0, 0.05, 0.1, 0.2, 0.3, 0.45])
def test_what_digits_leave_of_a_difference(sigma):
    """Against the exact mean of a rounded normal variable, at two levels anywhere between two digits."""
    from scipy.special import ndtr

    chance = np.random.default_rng(3)
    level = chance.uniform(0, 1, 20_000)
    edges = np.arange(-4, 6) + 0.5
    mean = -4 + sum(1 - ndtr((edge - level) / sigma) for edge in edges) if sigma else np.round(level)
    error = (mean - level)[:10_000] - (mean - level)[10_000:]
    assert quantiser_u(sigma, 1.0) == pytest.approx(float(error.std()), rel=0.03, abs=1e-4)


def test_the_first_term_is_the_usual_formula():
    for sigma in (0.25, 0.4, 0.6):
        assert quantiser_u(sigma, 1.0) == pytest.approx(math.exp(-2 * math.pi**2 * sigma**2) / math.pi, rel=0.01)
    assert quantiser_u(0.0, 2.0) == pytest.approx(2 / math.sqrt(6), rel=1e-3)
    assert quantiser_u(0.1, 0.0) == 0.0


@pytest.mark.parametrize("sigma", [0.1, 0.2, 0.4, 1.0])
def test_noise_before_rounding_from_rounded_readings(sigma):
    chance = np.random.default_rng(4)
    levels = chance.uniform(0, 1, (2000, 1))
    variance = rounded(levels + chance.normal(0, sigma, (2000, 50)), 1.0).var(axis=1, ddof=1).mean()
    assert noise_before_rounding(float(variance), (1.0,)) == pytest.approx(sigma, rel=0.06)
    both = rounded(levels + chance.normal(0, sigma, (2000, 50)), 1.0)
    both -= rounded(chance.uniform(0, 1, (2000, 1)) + chance.normal(0, sigma, (2000, 50)), 1.0)
    variance = both.var(axis=1, ddof=1).mean()
    assert noise_before_rounding(float(variance), (1.0, 1.0)) == pytest.approx(sigma * math.sqrt(2), rel=0.06)
    assert digits_u(float(variance), (1.0, 1.0)) == pytest.approx(
        math.sqrt(2) * quantiser_u(sigma, 1.0), rel=0.2, abs=0.02
    )


def test_noise_of_differences():
    cut = float(ndtri((1 + QUANTILE) / 2))
    density = math.exp(-(cut**2) / 2) / math.sqrt(2 * math.pi)
    assert pytest.approx(QUANTILE - 2 * cut * density + (1 - QUANTILE) * cut**2, rel=1e-6) == CUT_OFF_SQUARE
    values = np.random.default_rng(5).normal(0, 0.3, 40_000)
    values[::53] += 10
    assert difference_noise(values) == pytest.approx(0.3, rel=0.1)
    assert difference_noise(values[:1]) == 0.0


def test_single_wild_readings_and_nothing_else():
    values = rounded(2.8 + np.random.default_rng(6).normal(0, 0.02, 5000))
    assert wild(values, 0.05).size == 0
    values[2500:] += 0.3
    assert wild(values, 0.05).size == 0
    values[[700, 2499, 4000]] += [3.0, -2.0, 0.5]
    assert wild(values, 0.05).tolist() == [700, 2499, 4000]
    values[3000:3002] += 4.0
    assert wild(values, 0.05).tolist() == [700, 2499, 4000]


@pytest.mark.parametrize("sigma", [0.05, 0.2, 0.5, 1.2])
def test_mean_and_variance_of_a_rounded_variable(sigma):
    """Against the exact probabilities of each digit."""
    from scipy.special import ndtr

    level = np.linspace(-0.5, 0.5, 21)
    digits = np.arange(-9, 10)[:, None]
    chance = ndtr((digits + 0.5 - level) / sigma) - ndtr((digits - 0.5 - level) / sigma)
    exact = (digits * chance).sum(axis=0)
    mean, variance = rounded_moments(level, sigma)
    assert mean == pytest.approx(exact, abs=1e-9)
    assert variance == pytest.approx(((digits - exact) ** 2 * chance).sum(axis=0), abs=1e-9)


def stretches(levels: np.ndarray, sigma: float) -> float:
    readings = rounded(levels[:, None] + np.random.default_rng(9).normal(0, sigma, (levels.size, 300)), 1.0)
    count = np.full(levels.size, 300.0)
    return left_unseen(noise_chances(readings.mean(axis=1), readings.var(axis=1, ddof=1), count), 1.0)


@pytest.mark.parametrize("sigma", [0.2, 0.3, 0.4])
def test_what_stays_unseen_from_how_readings_flicker(sigma):
    anywhere = np.repeat(np.random.default_rng(8).uniform(0, 1, 6), 40)
    assert stretches(anywhere, sigma) == pytest.approx(quantiser_u(sigma, 1.0), rel=0.25)


def test_a_quiet_gauge_on_the_edge_of_a_digit_is_not_taken_for_a_noisy_one():
    # it flickers between two digits as one with a noise of 0.4 digits would, of which next to nothing stays unseen
    assert quantiser_u(0.4, 1.0) < 0.02
    assert stretches(np.full(240, 0.499), 0.02) > 0.1
    assert stretches(np.full(240, 0.05), 0.02) > 0.25


def test_one_stretch_in_which_the_level_moved_changes_little():
    readings = rounded(np.random.default_rng(7).normal(0.2, 0.3, (100, 300)), 1.0)
    mean, variance = readings.mean(axis=1), readings.var(axis=1, ddof=1)
    variance[50] = 4.0
    told = left_unseen(noise_chances(mean, variance, np.full(100, 300.0)), 1.0)
    assert told == pytest.approx(quantiser_u(0.3, 1.0), rel=0.3)
