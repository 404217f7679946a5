"""Describing one run of numbers: mean, spread, autocorrelation, and how many readings it is really worth.

Here: what is said of a single series. Not here: comparing two (`shift`) or a series against time (`drift`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

LEAST_EFFECTIVE = 2.0


@dataclass(frozen=True, slots=True)
class Description:
    """A run of numbers: its mean, standard deviation (n - 1) and count; None where there are too few for one."""

    mean: float | None
    sd: float | None
    n: int


def _finite(values: ArrayLike) -> NDArray[np.float64]:
    array = np.asarray(values, dtype=np.float64).ravel()
    if not np.isfinite(array).all():
        raise ValueError("values hold something that isn't a finite number")
    return array


def _residuals(array: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
    """Return the mean and what is left of each value: the mean is taken twice, so that the residuals sum to nothing."""
    mean = float(array.mean())
    mean += float((array - mean).mean())
    return mean, array - mean


def describe(values: ArrayLike) -> Description:
    """Return mean, standard deviation and count of `values`.

    Formula: s² = (Σ d² - (Σ d)²/n) / (n - 1) with d = x - x̄; the second term only takes out what rounding left in
    x̄ (the corrected two-pass algorithm; Chan, Golub and LeVeque, The American Statistician 37, 1983, from memory).

    When this is wrong: s/√n is not the uncertainty of the mean of readings in a stream, which follow one another
    (see `effective_size`); s of fewer than four placements is itself uncertain by half and more.

    Args:
        values: shape (n,), any one unit.

    Returns:
        None for the mean of no value, and for the standard deviation of fewer than two.

    Raises:
        ValueError: a value is not finite.
    """
    array = _finite(values)
    n = array.size
    if n == 0:
        return Description(None, None, 0)
    mean, left = _residuals(array)
    if n == 1:
        return Description(mean, None, 1)
    squares = float(left @ left) - float(left.sum()) ** 2 / n
    return Description(mean, math.sqrt(max(squares, 0.0) / (n - 1)), n)


def autocorrelation(values: ArrayLike, lag: int = 1) -> float | None:
    """Return the autocorrelation of `values` at `lag`, None where it has none (too few values, or all the same).

    Formula: r_k = Σ (y_i - ȳ)(y_(i+k) - ȳ) / Σ (y_i - ȳ)², both sums over the mean of the whole series.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.12.

    When this is wrong: readings that are not evenly spaced in time; a series with a trend or a step, where it tells
    of the trend and not of the noise.

    Args:
        values: shape (n,), evenly spaced in time.
        lag: how many readings apart, from 1.

    Raises:
        ValueError: a value is not finite, or `lag` is below 1.
    """
    if lag < 1:
        raise ValueError("lag counts from 1")
    array = _finite(values)
    if array.size <= lag + 1:
        return None
    _, left = _residuals(array)
    squares = float(left @ left)
    if squares == 0.0 or float(np.ptp(array)) == 0.0:
        return None
    return float(left[:-lag] @ left[lag:]) / squares


def effective_size(values: ArrayLike) -> float | None:
    """Return how many independent readings a run of autocorrelated ones is worth for its mean.

    Formula: n_eff = n (1 - r_1)/(1 + r_1), as for a first-order autoregressive series (textbook form, no clause to
    cite), capped at n. Values that are all the same count in full: there is no scatter for them to share.

    When this is wrong: noise that a first-order series doesn't resemble (slow wander, a hum); it is then too large,
    and `batch_means_u` with long batches is the check. Refused below 2: the run is then one observation at best.

    Args:
        values: shape (n,), evenly spaced in time.

    Returns:
        From 2 to n, or None where fewer than three values are given or the run is worth less than two readings.

    Raises:
        ValueError: a value is not finite.
    """
    array = _finite(values)
    if array.size < 3:
        return None
    r1 = autocorrelation(array)
    if r1 is None:
        return float(array.size)
    size = min(array.size * (1 - r1) / (1 + r1), float(array.size)) if r1 > -1 else float(array.size)
    return size if size >= LEAST_EFFECTIVE else None


def batch_means_u(values: ArrayLike, batch: int) -> float | None:
    """Return the standard uncertainty of the mean of a run, from the means of batches of it.

    Formula: s of the batch means / √(number of batches); readings behind the last whole batch are left out
    (textbook batch means, no clause to cite).

    When this is wrong: batches shorter than the noise remembers give too small a value; fewer than about ten batches
    give one that is itself uncertain by a quarter and more.

    Args:
        values: shape (n,), evenly spaced in time.
        batch: readings in one batch, from 1.

    Returns:
        None where there are fewer than two whole batches.

    Raises:
        ValueError: a value is not finite, or `batch` is below 1.
    """
    if batch < 1:
        raise ValueError("a batch holds at least one reading")
    array = _finite(values)
    count = array.size // batch
    if count < 2:
        return None
    sd = describe(array[: count * batch].reshape(count, batch).mean(axis=1)).sd
    return None if sd is None else sd / math.sqrt(count)
