"""The probability that a measured quantity lies within its limits.

Here: conformance probabilities of JCGM 106:2012, for one limit and for two. Not here: what to call the outcome
(`rules`).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.student import Floats, t_probability


def _checked_u(u: Floats) -> NDArray[np.float64]:
    array = np.asarray(u, dtype=np.float64)
    if not (array > 0).all():
        raise ValueError("a standard uncertainty is above 0")
    return array


def probability_at_most(value: Floats, u: Floats, high: Floats, dof: Floats = math.inf) -> NDArray[np.float64]:
    """Return the probability that the true value is at most `high`.

    Formula: p = F_ν((high - y)/u), F the distribution of Student's t: the true value is taken to follow a t scaled
    by u and shifted to y; normal where ν is infinite.
    Source: JCGM 106:2012, clause 7 (one-sided tolerance intervals); the scaled and shifted t: JCGM 101:2008, 6.4.9.

    When this is wrong: where more is known beforehand than the measurement tells (a quantity that can't be
    negative), and where u is mostly one digit of a gauge, which is flat and not bell-shaped.

    Args:
        value: measured value, any shape and unit.
        u: its standard uncertainty, same unit, above 0.
        high: the limit, same unit.
        dof: degrees of freedom of u, infinite allowed.

    Raises:
        ValueError: `u` or `dof` is not above 0.
    """
    return t_probability((np.asarray(high, dtype=np.float64) - value) / _checked_u(u), dof)


def probability_at_least(value: Floats, u: Floats, low: Floats, dof: Floats = math.inf) -> NDArray[np.float64]:
    """Return the probability that the true value is at least `low`: p = F_ν((y - low)/u); see `probability_at_most`."""
    return t_probability((np.asarray(value, dtype=np.float64) - low) / _checked_u(u), dof)


def probability_between(
    value: Floats, u: Floats, low: Floats, high: Floats, dof: Floats = math.inf
) -> NDArray[np.float64]:
    """Return the probability that the true value lies from `low` to `high`.

    Formula: p = F_ν((high - y)/u) - F_ν((low - y)/u). Source: JCGM 106:2012, clause 7 (two-sided tolerance
    intervals). When this is wrong: as for `probability_at_most`.

    Args:
        value: measured value, any shape and unit.
        u: its standard uncertainty, same unit, above 0.
        low: lower limit, same unit.
        high: upper limit, same unit.
        dof: degrees of freedom of u, infinite allowed.

    Raises:
        ValueError: `u` or `dof` is not above 0.
    """
    return probability_at_most(value, u, high, dof) - probability_at_most(value, u, low, dof)
