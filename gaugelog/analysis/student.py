"""Student's t and Fisher's F, with any degrees of freedom up to infinity, over whole arrays.

Here: quantiles and probabilities, nothing else. Not here: what they are used for (`conformity`, `rules`, `shift`).
Computed by scipy.special; scipy.stats would cost half a second to import.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtri, ndtr, ndtri, stdtr, stdtrit

Floats = float | NDArray[np.float64] | NDArray[np.int_]


def _checked_dof(dof: Floats) -> NDArray[np.float64]:
    array = np.asarray(dof, dtype=np.float64)
    if not (array > 0).all():
        raise ValueError("degrees of freedom are above 0")
    return array


def t_probability(t: Floats, dof: Floats) -> NDArray[np.float64]:
    """Return P(T <= t) of Student's t; the normal distribution where `dof` is infinite.

    When this is wrong: where the numbers behind are not roughly normal, as with one wild placement among three.

    Args:
        t: any shape.
        dof: degrees of freedom above 0, fractions allowed, of a shape that broadcasts.

    Raises:
        ValueError: `dof` is not above 0.
    """
    degrees = _checked_dof(dof)
    endless = np.isinf(degrees)
    return np.asarray(np.where(endless, ndtr(t), stdtr(np.where(endless, 1.0, degrees), t)), dtype=np.float64)


def t_quantile(probability: float, dof: Floats) -> NDArray[np.float64]:
    """Return the t that is exceeded with 1 - `probability`; the normal quantile where `dof` is infinite.

    Fractions of a degree of freedom are used as they are: GUM (JCGM 100:2008) G.4.1 lets one interpolate, its
    example H.1 cuts down to a whole number, which gives a slightly larger t.

    Args:
        probability: between 0 and 1, such as 0.975.
        dof: degrees of freedom above 0, any shape.

    Raises:
        ValueError: `dof` is not above 0, or `probability` is not inside 0 … 1.
    """
    if not 0 < probability < 1:
        raise ValueError("a probability lies between 0 and 1")
    degrees = _checked_dof(dof)
    endless = np.isinf(degrees)
    finite = stdtrit(np.where(endless, 1.0, degrees), probability)
    return np.asarray(np.where(endless, ndtri(probability), finite), dtype=np.float64)


def f_quantile(probability: float, dof_above: float, dof_below: float) -> float:
    """Return the quantile of Fisher's F, the ratio of two variances.

    Args:
        probability: between 0 and 1.
        dof_above: degrees of freedom of the variance above the line, finite.
        dof_below: of the one below the line, finite.
    """
    return float(fdtri(dof_above, dof_below, probability))
