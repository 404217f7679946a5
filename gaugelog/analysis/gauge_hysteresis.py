"""What it matters from which side a gauge is brought to its reading.

Here: the difference of the two approaches. Not here: the straight line through both (`gauge_linearity`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from gaugelog.analysis.describe import describe
from gaugelog.analysis.gauge_figures import Figure, checked_resolution, figure, figure_of, finite_array
from gaugelog.analysis.uncertainty import Term, combine

ONE_POINT = "one point says nothing of how the difference repeats: take three"
UNPROVEN = "the difference lies within its own uncertainty: what is taken for it is mostly scatter and digit"


@dataclass(frozen=True, slots=True)
class Hysteresis:
    """Reading reached from above less reading reached from below, in the base unit.

    `difference` is its mean over the points with its uncertainty; `largest` the largest of them by size, signed, and
    `largest_at` which point it was, counted from 0. `type_b` is the standard uncertainty of a reading whose approach
    isn't known. `proven` says that the mean is beyond its 95 % uncertainty.
    """

    points: int
    difference: Figure
    largest: float
    largest_at: int
    type_b: float
    resolution: float
    proven: bool
    warnings: tuple[str, ...] = ()


def hysteresis(from_below: ArrayLike, from_above: ArrayLike, resolution: float) -> Hysteresis:
    """Return the difference between approaching the same points from above and from below.

    Formula: h_i = above_i - below_i; mean h with u² = s_h²/n + 2 r²/12, degrees of freedom by Welch-Satterthwaite.
    Type B: a rectangular distribution of half-width |h|, u = |h|/√3.
    Source: NIST/SEMATECH e-Handbook 2.4.6 (limits of hysteresis as type B, limit over √3); GUM (JCGM 100:2008) F.2.2.1.

    When this is wrong: a gauge whose zero and scale were found as the mean of both approaches errs by half of h only,
    and `type_b` is then twice too large; a builder who always comes from the same side, before and after, has no error
    of this kind in a change. An h that differs from point to point isn't one number: `largest` tells. Digits of points
    that stand at different places between two digits average out better than said.

    Args:
        from_below: shape (n,), readings (or means) at the points, reached from smaller values.
        from_above: shape (n,), at the same points, reached from larger values.
        resolution: the digit r.

    Raises:
        ValueError: no point, unequal lengths, something not finite, or a digit below 0.
    """
    below, above = finite_array(from_below, "readings from below"), finite_array(from_above, "readings from above")
    digit = checked_resolution(resolution)
    if below.size != above.size or below.size == 0:
        raise ValueError("each point is reached from both sides, and there is at least one")
    apart = above - below
    told = describe(apart)
    mean = float(apart.mean())
    if told.sd is None:
        difference = figure(mean, None)
    else:
        terms = [Term(told.sd**2 / told.n, told.n - 1.0), Term(2 * digit**2 / 12)]
        difference = figure_of(mean, combine(terms))
    proven = difference.half_95 is not None and abs(mean) > difference.half_95
    at = int(np.argmax(np.abs(apart)))
    warnings = (ONE_POINT,) if told.sd is None else () if proven else (UNPROVEN,)
    return Hysteresis(
        int(apart.size), difference, float(apart[at]), at, abs(mean) / math.sqrt(3), digit, proven, warnings
    )
