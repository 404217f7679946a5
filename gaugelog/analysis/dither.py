"""What digits hide of a level, read from how the readings flicker between them.

Here: mean and variance of rounded normal noise, and from those of many short stretches the noise before rounding and
what it leaves unseen. Not here: the fit of the session (`wander`).
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.noise import quantiser_u

# noise before rounding, in digits: below the least it shows nothing, above the most rounding hides nothing
SIGMAS = np.geomspace(0.04, 1.2, 60)
PHASES = np.linspace(-0.5, 0.5, 65)
TERMS = 30
SOFT = 0.01
# a stretch in which the level moved counts no more than one that is three standard deviations off
MOST = 9.0


def rounded_moments(
    phase: NDArray[np.float64], sigma: float | NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return mean and variance of a normal variable rounded to whole digits.

    Formula: the rounding error is the sawtooth e = Σ_k (-1)^k/(πk) sin(2πkx); over normal noise each term shrinks by
    exp(-2π²k²σ²), which gives E e and E e², and by E (x - μ)e = σ² dE e/dμ the variance.
    Source: Fourier series of the sawtooth (textbook).

    Args:
        phase: level in digits, any shape.
        sigma: standard deviation before rounding, in digits, above 0.02 for the series to have ended.
    """
    k = np.arange(1, TERMS + 1).reshape((-1,) + (1,) * np.ndim(phase))
    sign = np.where(k % 2, -1.0, 1.0)
    shrink = np.exp(-2 * (math.pi * k * sigma) ** 2)
    sine, cosine = np.sin(2 * math.pi * k * phase), np.cos(2 * math.pi * k * phase)
    error = (sign / (math.pi * k) * sine * shrink).sum(axis=0)
    square = 1 / 12 + (sign / (math.pi * k) ** 2 * cosine * shrink).sum(axis=0)
    along = 2 * np.square(sigma) * (sign * cosine * shrink).sum(axis=0)
    return phase + error, np.maximum(np.square(sigma) + 2 * along + square - error**2, 0.0)


def noise_chances(
    mean: NDArray[np.float64], variance: NDArray[np.float64], count: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return how likely each of `SIGMAS` is as the noise before rounding, summing to one.

    Formula: at each σ the mean of a stretch gives its level and that the variance it should show; the squares of
    (s² - v)/(v + 0.01), worth count/2 each, are its χ²,
    never above 9.

    When this is wrong: levels that moved within a stretch, noise that isn't normal.

    Args:
        mean: shape (n,), of short stretches, in digits, a digit being whole.
        variance: shape (n,), in digits squared.
        count: readings in each.
    """
    near = mean - np.round(mean)
    # about their own mean, not with n - 1: readings of two digits only then show exactly f (1 - f)
    about_mean = variance * (count - 1) / count
    chi2 = np.empty(SIGMAS.size)
    for i, (told, shown) in enumerate(zip(*_tables(), strict=True)):
        wanted = np.interp(near, told, shown)
        apart = count / 2 * ((about_mean - wanted) / (wanted + SOFT)) ** 2
        chi2[i] = float(np.minimum(apart, MOST).sum())
    chance = np.exp(-(chi2 - chi2.min()) / 2)
    whole: NDArray[np.float64] = chance / chance.sum()
    return whole


@cache
def _tables() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return means and variances at all phases for all sigmas, each of shape (sigmas, phases)."""
    phase, sigma = np.broadcast_arrays(PHASES[None, :], SIGMAS[:, None])
    return rounded_moments(phase, sigma)


@cache
def _unseen() -> NDArray[np.float64]:
    """Return the mean square that each of `SIGMAS` leaves unseen of a difference, in digits squared."""
    return np.array([quantiser_u(float(sigma), 1.0) for sigma in SIGMAS]) ** 2


def left_unseen(chance: NDArray[np.float64], step: float) -> float:
    """Return the root mean square of `quantiser_u` over what the noise before rounding may be.

    Args:
        chance: as `noise_chances` returns.
        step: size of a digit.
    """
    return step * math.sqrt(float(chance @ _unseen()))
