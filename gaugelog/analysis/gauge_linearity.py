"""A gauge against known blocks, wedges or a sine set-up: its zero error, its scale error, and whether it is straight.

Here: the check from readings at references. Not here: the line's arithmetic (`gauge_line`), what comes of the approach
(`gauge_hysteresis`), the whole budget (`gauge_budget`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gaugelog.analysis.gauge_figures import Figure, checked_resolution, figure_of, finite_array
from gaugelog.analysis.gauge_line import Line, Parts, line_through, line_with_residual_scatter
from gaugelog.analysis.noise import noise_before_rounding, quantiser_u
from gaugelog.analysis.uncertainty import Scatter, Study, Term, combine, pool

STRAIGHT_P = 0.05
LEAST_POINTS = 3

FROM_READINGS, FROM_STUDY, FROM_RESIDUALS = "repeated readings", "the gauge's study", "what the line leaves"

FEW_POINTS = "fewer than three references: nothing tells whether the gauge is straight between them"
NO_REPEATS = "each reference was read once: the scatter is what the line leaves, so a bent scale passes for scatter"
BENT = (
    "the errors don't lie on a straight line: the uncertainties are widened, and corrections off the line aren't told"
)
ZERO_OUTSIDE = "the zero lies outside the checked range: its error is carried on along the line"
SHARED = "references that rest on one standard err together, which isn't counted"


@dataclass(frozen=True, slots=True)
class Departure:
    """One reference: mean error of the readings there, how far that lies off the line, and u of that distance.

    `u` is the standard deviation that the distance would have if the gauge were straight; None where it can't be told.
    """

    reference: float
    n: int
    error: float
    departure: float
    u: float | None


@dataclass(frozen=True, slots=True)
class Linearity:
    """The line error = zero + scale · reference over the checked range `low` … `high`, in the base unit.

    Error is reading less reference; `scale` is relative (0.001: a thousandth too much), `covariance` that of zero and
    scale. `centre` is the reference at which the line's error `at_centre` is independent of `scale`. `scatter` is the
    standard deviation of one reading about its level with `scatter_dof`, and `scatter_from` where it comes from.
    `scatter_covariance` (with `covariance_dof`) and `known_covariance` (without limit) make up the covariance: of zero,
    zero with scale, scale. `p` is the probability that a straight gauge departs from the line as much; None where
    nothing tells, as is `straight` (p >= 0.05). `worst` is the uncertainty of a correction where it is largest in the
    range, `largest` the largest departure.
    """

    points: int
    n: int
    low: float
    high: float
    zero: Figure
    scale: Figure
    covariance: float
    centre: float
    at_centre: Figure
    scatter: float | None
    scatter_dof: float | None
    scatter_from: str
    scatter_covariance: tuple[float, float, float]
    known_covariance: tuple[float, float, float]
    covariance_dof: float | None
    chi2: float | None
    chi2_dof: int
    p: float | None
    straight: bool | None
    worst: Figure
    largest: Departure
    departures: tuple[Departure, ...]
    resolution: float
    warnings: tuple[str, ...] = ()


def correction_at(check: Linearity, value: float) -> Figure:
    """Return what to add to a reading of `value` to correct it, with its uncertainty.

    Formula: -(z + k x), u² = u_z² + 2 x u_zk + x² u_k², split into what scatters (with its degrees of freedom) and what
    is known. The reading stands for the reference: the difference is of second order in k.
    Source: GUM (JCGM 100:2008) 5.2.2 and H.3 (calibration line; the example from memory).

    When this is wrong: outside the checked range; between references of a gauge that isn't straight.

    Args:
        check: the check.
        value: a reading, base unit.
    """
    a, b = ((c[0] + 2 * value * c[1] + value**2 * c[2]) for c in (check.scatter_covariance, check.known_covariance))
    error = -(check.zero.value + check.scale.value * value)
    if check.zero.u is None:
        return Figure(error, None, None, None)
    return figure_of(error, combine([Term(max(a, 0.0), check.covariance_dof or math.inf), Term(max(b, 0.0))]))


def linearity(
    reference: ArrayLike,
    u_reference: ArrayLike,
    reading: ArrayLike,
    resolution: float,
    *,
    approached: ArrayLike | None = None,
    study: Study | None = None,
) -> Linearity:
    """Return a gauge's zero error and scale error from readings at references.

    Formula: readings at one reference (of one value and u) are one point: the mean of the means of its approaches, so
    that unequal numbers from above and below don't tilt the line. A straight line through the points' errors by
    weighted least squares, with the variance of a point s²/n + q² + u_ref²: s the scatter of one reading about its
    point and approach, pooled over all (with the gauge's study by the rule of `pool`), q² what rounding leaves in a
    mean of any length: r²/12 for a quiet gauge (GUM F.2.2.1), less for one whose noise smooths it (`quantiser_u`).
    Covariance (AᵀV⁻¹A)⁻¹, split into what scatters and what is known, the first widened for weights that are estimated
    (`widening`); degrees of freedom by Welch-Satterthwaite. Where no reference was read twice and there is no study, s
    is what the line leaves (points - 2 degrees of freedom). Where the errors depart from the line more than that
    explains (p < 0.05), the covariance is widened by χ²/dof and has points - 2 degrees of freedom.
    Source: weighted least squares (Aitken, 1935); NIST/SEMATECH e-Handbook 2.3.6 (instrument calibration; the section
    from memory); NIST StRD Norris for the arithmetic; widening by χ²/dof is the Birge ratio (from memory).

    When this is wrong: references that rest on one standard (the same block under all wedges, one sine bar) err
    together: their common error is in zero and scale in full and isn't counted here; enter it beside. A gauge that is
    bent has no scale error but at one place. The error of a reference stands along the line too, by the share of the
    scale error, which isn't counted. Outside the checked range the line is a guess.

    Args:
        reference: shape (n,), what the gauge should show, base unit.
        u_reference: shape (n,) or one number, standard uncertainty of each.
        reading: shape (n,), what it showed.
        resolution: the digit r.
        approached: shape (n,), any labels of the approach ("up", "down"); None where it wasn't noted.
        study: the gauge's repeatability.

    Raises:
        ValueError: unequal lengths, something not finite, an uncertainty or digit below 0, or one reference only.
    """
    x, y = finite_array(reference, "references"), finite_array(reading, "readings")
    u = finite_array(np.broadcast_to(np.asarray(u_reference, dtype=np.float64), x.shape), "reference uncertainties")
    sides = np.zeros(x.shape, dtype=np.str_) if approached is None else np.asarray(approached).astype(np.str_)
    digit = checked_resolution(resolution)
    if x.shape != y.shape or sides.shape != x.shape:
        raise ValueError("each reading has a reference, and an approach where these are given")
    if (u < 0).any():
        raise ValueError("a standard uncertainty is a number from 0")
    points = _points(x, u, y, sides)
    if np.unique(points.reference).size < 2:
        raise ValueError("a line takes readings at two references or more")
    within = (math.sqrt(points.squares / points.dof),) if points.dof else (0.0,)
    if points.dof or study is not None:
        scatter = pool(within, (float(points.dof),), study)
        hidden = quantiser_u(noise_before_rounding(scatter.sd**2, (digit,)), digit) ** 2 / 2
        parts = Parts(scatter.sd**2 * points.share, scatter.dof, points.u**2 + hidden)
        line = line_through(points.reference, points.error, parts, bent_p=STRAIGHT_P)
        return _told(points, line, digit, scatter, FROM_READINGS if points.dof else FROM_STUDY)
    line = line_with_residual_scatter(points.reference, points.error, points.u**2, digit**2 / 12)
    left = None if line.scatter is None else Scatter(line.scatter, float(line.chi2_dof))
    return _told(points, line, digit, left, FROM_RESIDUALS)


@dataclass(frozen=True, slots=True, eq=False)
class _Points:
    """References with their mean errors, shape (m,); `share` is the variance of a mean over that of one reading."""

    reference: NDArray[np.float64]
    u: NDArray[np.float64]
    error: NDArray[np.float64]
    share: NDArray[np.float64]
    count: NDArray[np.int_]
    squares: float
    dof: int


def _points(x: NDArray[np.float64], u: NDArray[np.float64], y: NDArray[np.float64], sides: NDArray[np.str_]) -> _Points:
    """Return the points, and the squares of the readings about the mean of their point and approach."""
    keys, of_point = np.unique(np.column_stack((x, u)), axis=0, return_inverse=True)
    of_point = of_point.ravel()
    error, share, count = (np.empty(len(keys)) for _ in range(3))
    squares, dof = 0.0, 0
    for i, (value, _) in enumerate(keys):
        here = of_point == i
        groups = [y[here & (sides == side)] - value for side in np.unique(sides[here])]
        error[i] = np.mean([group.mean() for group in groups])
        share[i] = sum(1 / group.size for group in groups) / len(groups) ** 2
        count[i] = here.sum()
        squares += sum(float(((group - group.mean()) ** 2).sum()) for group in groups)
        dof += int(count[i]) - len(groups)
    return _Points(keys[:, 0], keys[:, 1], error, share, count.astype(np.int_), squares, dof)


def _told(points: _Points, line: Line, digit: float, scatter: Scatter | None, scatter_from: str) -> Linearity:
    """Return the result of a fitted line."""
    low, high = float(points.reference.min()), float(points.reference.max())
    departures = tuple(
        Departure(float(at), int(n), float(error), float(left), None if math.isnan(u) else float(u))
        for at, n, error, left, u in zip(
            points.reference, points.count, points.error, line.left, line.left_u, strict=True
        )
    )
    worst = max((low, high), key=lambda value: float(line.evaluation_at(value).u))
    warnings = [FEW_POINTS] if len(departures) < LEAST_POINTS else []
    warnings += [NO_REPEATS] if scatter_from == FROM_RESIDUALS else []
    warnings += [BENT] if line.bent else []
    warnings += [ZERO_OUTSIDE] if low > 0 or high < 0 else []
    warnings += [SHARED] if (points.u > 0).any() else []
    return Linearity(
        points=len(departures),
        n=int(points.count.sum()),
        low=low,
        high=high,
        zero=line.figure_at(0.0),
        scale=line.slope,
        covariance=line.covariance,
        centre=line.centre,
        at_centre=line.figure_at(line.centre),
        scatter=None if scatter is None else scatter.sd,
        scatter_dof=None if scatter is None else scatter.dof,
        scatter_from=scatter_from,
        scatter_covariance=line.scattered,
        known_covariance=line.known,
        covariance_dof=line.dof,
        chi2=line.chi2,
        chi2_dof=line.chi2_dof,
        p=line.p,
        straight=None if line.p is None else not line.bent,
        worst=line.figure_at(worst),
        largest=max(departures, key=lambda each: abs(each.departure)),
        departures=departures,
        resolution=digit,
        warnings=tuple(warnings),
    )
