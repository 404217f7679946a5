"""What the results of gauge checks have in common: a figure with its uncertainty, and the digit that readings show.

Here: the form of a figure that can be kept as JSON (None for what isn't known or has no end), and steps seen.
Not here: the checks themselves (`gauge_repeat`, `gauge_reversal`, `gauge_linearity` and their like).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gaugelog.analysis.student import t_quantile
from gaugelog.analysis.uncertainty import Evaluation

# readings closer than this share of their size are the same but for the binary fraction
SAME = 1e-9
# a common step finer than this share of the smallest difference is rounding of the readings, not their digit
FINEST, REMAINDER = 0.09, 0.02


@dataclass(frozen=True, slots=True)
class Figure:
    """A value with its standard uncertainty, in the gauge's base unit where nothing else is said.

    `u` is None where the readings can't tell it. `dof` are its effective degrees of freedom, None where nothing limits
    them. `half_95` is the half-width that covers 95 % two-sided, t_0.975 u; None without `u`.
    """

    value: float
    u: float | None
    dof: float | None
    half_95: float | None

    @property
    def low_95(self) -> float | None:
        """Lower end of the 95 % interval."""
        return None if self.half_95 is None else self.value - self.half_95

    @property
    def high_95(self) -> float | None:
        """Upper end of the 95 % interval."""
        return None if self.half_95 is None else self.value + self.half_95


def figure(value: float, u: float | None, dof: float | None = None) -> Figure:
    """Return a figure with its 95 % half-width, by Student's t.

    Formula: t_(0.975, ν) u, the normal quantile where `dof` is None or infinite.
    Source: GUM (JCGM 100:2008) G.3.2, G.6.4.
    """
    endless = dof is None or math.isinf(dof)
    if u is None:
        return Figure(float(value), None, None, None)
    half = float(t_quantile(0.975, math.inf if dof is None else dof)) * u
    return Figure(float(value), float(u), None if endless or dof is None else float(dof), half)


def figure_of(value: float, evaluation: Evaluation) -> Figure:
    """Return a figure from what `combine` says of its uncertainty."""
    return figure(value, float(evaluation.u), float(evaluation.dof))


def finite_array(values: ArrayLike, name: str) -> NDArray[np.float64]:
    """Return values as a one-dimensional array of finite numbers.

    Raises:
        ValueError: there is another shape, or something isn't finite.
    """
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 1:
        raise ValueError(f"{name} are one-dimensional")
    if not np.isfinite(array).all():
        raise ValueError(f"{name} hold something that isn't a finite number")
    return array


def checked_resolution(resolution: float) -> float:
    """Return the digit's size.

    Raises:
        ValueError: it isn't a finite number from 0.
    """
    if not (math.isfinite(resolution) and resolution >= 0):
        raise ValueError("the digit of a gauge is a finite number from 0")
    return float(resolution)


@dataclass(frozen=True, slots=True)
class StepsSeen:
    """The digit as readings show it: the smallest difference between two, and the step that all differences share.

    Both are None where all readings are the same. `distinct` counts the different values.
    """

    smallest: float | None
    common: float | None
    distinct: int


def steps_seen(values: ArrayLike) -> StepsSeen:
    """Return the digit that readings show.

    Formula: the smallest non-zero difference of sorted readings, and the greatest common divisor of all such
    differences (Euclid, with a remainder below 2 % taken for none). Where that comes out below a tenth of the smallest
    difference, readings have no digit that one could see, and the smallest difference stands for both.

    When this is wrong: few readings may share a larger step than the gauge's digit: it shows 0.05 and the readings
    happened to lie 0.10 apart. It is never smaller, but for values converted and rounded elsewhere.

    Args:
        values: shape (n,), finite, n from 0.

    Raises:
        ValueError: another shape, or something that isn't finite.
    """
    array = np.unique(finite_array(values, "readings"))
    if array.size < 2:
        return StepsSeen(None, None, int(array.size))
    apart = np.diff(array)
    apart = apart[apart > SAME * max(float(np.abs(array).max()), 1e-300)]
    if apart.size == 0:
        return StepsSeen(None, None, 1)
    smallest = common = float(apart.min())
    for difference in np.unique(np.round(apart / smallest, 6)) * smallest:
        larger, lesser = float(difference), common
        while lesser > REMAINDER * smallest:
            left = larger % lesser
            left = 0.0 if lesser - left < REMAINDER * smallest else left
            larger, lesser = lesser, left
        common = larger
        if common < FINEST * smallest:
            common = smallest
            break
    return StepsSeen(smallest, common, int(apart.size) + 1)
