"""A straight line through errors at references, with what scatters kept apart from what is known.

Here: weighted least squares of two unknowns. Not here: making points of readings (`gauge_linearity`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

from gaugelog.analysis.gauge_figures import Figure, figure, figure_of
from gaugelog.analysis.least_squares import widening
from gaugelog.analysis.uncertainty import Evaluation, Term, combine

Vector = NDArray[np.float64]
_ENDLESS_DOF = 1e9
_HALVINGS = 60


@dataclass(frozen=True, slots=True, eq=False)
class Parts:
    """The variance of each point, shape (n,): what scatters, with its degrees of freedom, and what is known."""

    scattered: Vector
    dof: float
    known: Vector


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """error = zero + slope · reference; covariances as (zero, zero with slope, slope).

    `left` (n,) is each point's error less the line, `left_u` (n,) its standard deviation (nan where it isn't known).
    `dof` belongs to `scattered`; None where nothing limits or nothing tells it. `told` is False where the scatter isn't
    known, and with it no uncertainty.
    """

    zero: float
    scale: float
    left: Vector
    left_u: Vector
    scattered: tuple[float, float, float] = (0.0, 0.0, 0.0)
    known: tuple[float, float, float] = (0.0, 0.0, 0.0)
    dof: float | None = None
    scatter: float | None = None
    chi2: float | None = None
    chi2_dof: int = 0
    p: float | None = None
    bent: bool = False
    told: bool = True

    @property
    def covariance(self) -> float:
        """Of zero and slope."""
        return self.scattered[1] + self.known[1]

    @property
    def slope(self) -> Figure:
        """The slope with its uncertainty."""
        if not self.told:
            return figure(self.scale, None)
        return figure_of(self.scale, combine([Term(self.scattered[2], self.dof or math.inf), Term(self.known[2])]))

    @property
    def centre(self) -> float:
        """The reference at which the line's error is independent of the slope."""
        variance = self.scattered[2] + self.known[2]
        return -self.covariance / variance if variance > 0 else 0.0

    def evaluation_at(self, reference: float) -> Evaluation:
        """Return u and degrees of freedom of the line's error at a reference."""
        scattered, known = (
            max(c[0] + 2 * reference * c[1] + reference**2 * c[2], 0.0) for c in (self.scattered, self.known)
        )
        return combine([Term(scattered, self.dof or math.inf), Term(known)])

    def figure_at(self, reference: float) -> Figure:
        """Return the line's error at a reference."""
        value = self.zero + self.scale * reference
        return figure_of(value, self.evaluation_at(reference)) if self.told else figure(value, None)


def _three(matrix: NDArray[np.float64]) -> tuple[float, float, float]:
    return float(matrix[0, 0]), float(matrix[0, 1]), float(matrix[1, 1])


def _gain(x: Vector, variance: Vector) -> NDArray[np.float64]:
    """Return how each error enters zero and slope, shape (2, n): about the weighted middle first, for accuracy."""
    weight = variance.min() / variance if variance.min() > 0 else np.ones_like(variance)
    weight = weight / weight.sum()
    middle = float(weight @ x)
    slope = weight * (x - middle)
    slope = slope / float(slope @ (x - middle))
    return np.vstack((weight - middle * slope, slope))


def _solved(x: Vector, y: Vector, variance: Vector) -> tuple[Vector, NDArray[np.float64], Vector]:
    """Return zero and slope, their gain (2, n), and what is left (n,)."""
    gain = _gain(x, variance)
    unknowns = gain @ y
    left = y - unknowns[0] - unknowns[1] * x
    # once more on what is left: sums over large references lose digits
    more = gain @ left
    return unknowns + more, gain, left - more[0] - more[1] * x


def line_through(x: Vector, y: Vector, parts: Parts, *, bent_p: float) -> Line:
    """Return the line through points whose variances are given.

    Formula: weighted least squares, b = G y, G = (AᵀV⁻¹A)⁻¹AᵀV⁻¹; covariance G V Gᵀ in two parts; the part that
    scatters is widened for weights that are estimated (`least_squares.widening`). χ² = Σ v²/V on n - 2 degrees of
    freedom against F with those of V by Welch-Satterthwaite; below `bent_p` the covariance is multiplied by χ²/dof.

    When this is wrong: see `gauge_linearity.linearity`.

    Args:
        x: references, shape (n,), two different ones at least.
        y: errors, shape (n,).
        parts: their variances.
        bent_p: below which probability the points count as off a straight line.
    """
    variance = parts.scattered + parts.known
    unknowns, gain, left = _solved(x, y, variance)
    rows = np.column_stack((np.ones_like(x), x))
    scattered, known = ((gain * part) @ gain.T for part in (parts.scattered, parts.known))
    count = x.size - 2
    chi2, p = None, None
    if count > 0 and variance.min() > 0:
        chi2 = float((left**2 / variance).sum())
        mean = combine([Term(float(parts.scattered.mean()), parts.dof), Term(float(parts.known.mean()))])
        p = float(fdtrc(count, min(float(mean.dof), _ENDLESS_DOF), chi2 / count))
    of_left = variance - np.einsum("ij,jk,ik->i", rows, scattered + known, rows)
    bent = p is not None and chi2 is not None and p < bent_p and chi2 > count
    dof: float | None = parts.dof if math.isfinite(parts.dof) else None
    if bent and chi2 is not None:
        scattered, known, dof = (scattered + known) * chi2 / count, np.zeros((2, 2)), float(count)
    elif variance.min() > 0 and dof is not None:
        scattered = scattered + widening(
            rows, np.diag(variance), scattered + known, [(np.diag(parts.scattered), parts.dof)]
        )
    return Line(
        zero=float(unknowns[0]),
        scale=float(unknowns[1]),
        scattered=_three(scattered),
        known=_three(known),
        dof=dof,
        left=left,
        left_u=np.sqrt(np.maximum(of_left, 0.0)),
        chi2=chi2,
        chi2_dof=count,
        p=p,
        bent=bent,
    )


def line_with_residual_scatter(x: Vector, y: Vector, known: Vector, least: float = 0.0) -> Line:
    """Return the line through points read once each, their scatter being what the line leaves.

    Formula: the variance s² beside what is known at which χ² is its n - 2 degrees of freedom (with nothing known this
    is ordinary least squares and its residual standard deviation), at least `least`. The scatter then has n - 2 degrees
    of freedom. With two points nothing is left and no uncertainty is told.
    Source: Paule and Mandel, J. Res. NBS 87, 1982 (from memory), for the common variance; NIST StRD Norris.

    When this is wrong: a bent scale, which passes for scatter; a handful of points.

    Args:
        x: references, shape (n,), two different ones at least.
        y: errors, shape (n,).
        known: known variance of each point, shape (n,).
        least: least variance of the scatter, such as a digit's.
    """
    count = x.size - 2
    if count == 0:
        unknowns, _, left = _solved(x, y, np.ones_like(x))
        return Line(float(unknowns[0]), float(unknowns[1]), left, np.full(x.size, math.nan), told=False)

    def chi2(scatter: float) -> float:
        variance = known + scatter
        return float((_solved(x, y, variance)[2] ** 2 / variance).sum())

    scatter = float((_solved(x, y, np.ones_like(x))[2] ** 2).sum()) / count
    if known.any() and scatter > 0:
        low, high = 0.0, scatter
        while chi2(high) > count:
            high *= 2.0
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            low, high = (middle, high) if middle > 0 and chi2(middle) > count else (low, middle)
        scatter = high
    scatter = max(scatter, least)
    found = line_through(x, y, Parts(np.full(x.size, scatter), float(count), known), bent_p=0.0)
    # nothing is left to judge the line by: the scatter was made of it
    return replace(found, scatter=math.sqrt(scatter), p=None)
