"""What one reading is worth: its noise, what the digits hide of it, and readings that are wild.

Here: numbers about single readings of a stream, and the Allan deviation of a run.
Not here: the uncertainty of a run's mean (`describe`), slow wander under a curve (`wander`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

HARMONICS = 50
SAMPLED = 8_000
WILD_SIGMAS = 6.0
WILD_DIGITS = 3.0
# of normal deviates cut off at the point below which 80 % lie, the mean square is 0.67865 (checked in the tests)
QUANTILE, CUT_OFF_SQUARE = 0.8, 0.6786546


def quantiser_u(sigma: float, step: float) -> float:
    """Return the standard uncertainty that rounding to a digit leaves in the difference of two long means.

    Formula: u² = Σ_k (r/(πk))² exp(-4π²k²σ²/r²), the mean square of the difference of two levels that stand anywhere
    between two digits; its first term alone is u = (r/π) exp(-2π²σ²/r²), and without noise it is r/√6.
    Source: Fourier series of the rounding error, averaged over noise (textbook of dithered quantisers, no clause to
    cite).

    When this is wrong: it is right on the average over where the levels stand; levels a whole number of digits apart
    have no such error. Noise that isn't normal smooths the digits more or less than said.

    Args:
        sigma: standard deviation of the noise before rounding, in the unit of `step`.
        step: size of a digit r.
    """
    if step <= 0.0:
        return 0.0
    k = np.arange(1, HARMONICS + 1)
    terms = (step / (math.pi * k)) ** 2 * np.exp(-((2 * math.pi * k * sigma / step) ** 2))
    tail = (step / math.pi) ** 2 / (HARMONICS + 0.5) if sigma == 0.0 else 0.0
    return math.sqrt(float(terms.sum()) + tail)


def noise_before_rounding(variance: float, steps: Sequence[float]) -> float:
    """Return the standard deviation of the noise before rounding, from the variance of rounded readings about a level.

    Formula: the σ at which σ² + r²/12 - u_q(σ)²/2 is that variance, with u_q as `quantiser_u`; for a difference, where
    the noise of two readings adds up, half the variance counts for each.
    Source: the moments of a rounded normal variable, averaged over where the level stands (Sheppard's correction
    with its periodic part).

    When this is wrong: a level that stood still close to the edge of a digit flickers between two digits and shows
    up to r/2, however small the noise; one in the middle shows none.

    Args:
        variance: of readings about their level, in the square of the unit of `steps`.
        steps: the digits of the readings that enter a value.
    """

    def shown(sigma: float) -> float:
        return sum(
            sigma**2 / len(steps) + step**2 / 12 - quantiser_u(sigma_each(sigma), step) ** 2 / 2 for step in steps
        )

    def sigma_each(sigma: float) -> float:
        return sigma / math.sqrt(len(steps))

    low, high = 0.0, math.sqrt(max(variance, 0.0))
    if variance <= 0.0:
        return 0.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if shown(middle) < variance else (low, middle)
    return (low + high) / 2


def digits_u(variance: float, steps: Sequence[float]) -> float:
    """Return `quantiser_u` of a value made of one or two readings, from the variance of such values about a level."""
    each = noise_before_rounding(variance, steps) / math.sqrt(len(steps))
    return math.sqrt(sum(quantiser_u(each, step) ** 2 for step in steps))


def difference_noise(value: NDArray[np.float64]) -> float:
    """Return the standard deviation of one value from the differences of neighbours, blind to a fifth that are wild.

    Formula: s² = mean of min(d², q²) / (2 · 0.67865) over d = y_(i+1) - y_i, with q the 80 % point of |d| and the
    constant that of normal deviates; long runs are sampled.

    When this is wrong: values that follow one another are noisier than their differences say.

    Args:
        value: shape (n,); 0 is returned for fewer than two.
    """
    if value.size < 2:
        return 0.0
    stride = max(value.size // SAMPLED, 1)
    left = np.abs(value[1::stride] - value[:-1:stride])
    cut_off = np.minimum(left, np.quantile(left, QUANTILE))
    return math.sqrt(float(cut_off @ cut_off) / left.size / (2 * CUT_OFF_SQUARE))


def wild(value: NDArray[np.float64], digit: float) -> NDArray[np.intp]:
    """Return the indices of single wild readings: far from both neighbours, which agree with each other.

    Far is more than 6 σ + one digit, and three digits, with σ from the differences of neighbours.

    When this is wrong: a real movement that came and went within one reading is told as wild; two wild readings in
    a row are left in.

    Args:
        value: shape (n,), in order of time.
        digit: the largest step of a reading.
    """
    if value.size < 5:
        return np.empty(0, dtype=np.intp)
    far = max(WILD_SIGMAS * difference_noise(value) + digit, WILD_DIGITS * digit * (1 - 1e-9))
    moved = np.diff(value)
    leaps = np.flatnonzero((moved > far) | (moved < -far))
    leaps = leaps[(leaps > 0) & (leaps < value.size - 1)]
    up, back = value[leaps] - value[leaps - 1], value[leaps] - value[leaps + 1]
    smaller = np.minimum(np.abs(up), np.abs(back))
    single = (up * back > 0) & (smaller > far) & (np.abs(up - back) <= np.maximum(far, smaller / 2))
    return leaps[single]


def allan_deviation(values: ArrayLike, factor: int) -> float | None:
    """Return the overlapping Allan deviation of evenly spaced readings at `factor` readings.

    Formula: σ²(m) = Σ (ȳ_(j+m) - ȳ_j)² / (2 (M - 2m + 1)), over all j, ȳ_j the mean of the m readings from j.
    Source: NIST SP 1065, 5.2.4.

    When this is wrong: readings that are not evenly spaced; steps and creep, which it takes for wander.

    Args:
        values: shape (M,), evenly spaced in time.
        factor: readings in one mean, from 1.

    Returns:
        None where there are fewer than 2 `factor` readings.

    Raises:
        ValueError: `factor` is below 1.
    """
    if factor < 1:
        raise ValueError("a mean holds at least one reading")
    array = np.asarray(values, dtype=np.float64).ravel()
    if array.size < 2 * factor:
        return None
    sums = np.concatenate(([0.0], np.cumsum(array - array[0])))
    means = (sums[factor:] - sums[:-factor]) / factor
    apart = means[factor:] - means[:-factor]
    return math.sqrt(float(apart @ apart) / (2 * apart.size))
