"""The zero of a level-type gauge, by turning it end for end.

Here: zero error and true tilt from pairs of readings. Not here: the scale (`gauge_linearity`), what the zero does to a
shift (`uncertainty.SharedZero`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from gaugelog.analysis.describe import describe
from gaugelog.analysis.gauge_figures import Figure, checked_resolution, figure, figure_of, finite_array
from gaugelog.analysis.noise import noise_before_rounding, quantiser_u
from gaugelog.analysis.uncertainty import Study, Term, combine, pool

SOUND_PAIRS = 3
STEEP_DEG = 5.0

ONE_PAIR = "one pair says nothing of how it repeats: take three"
FEW_PAIRS = "fewer than three pairs: the uncertainty rests on little"
STEEP = "the place is tilted by more than five degrees: the zero then has the scale's error in it"
WITHIN = "the zero error lies within its own uncertainty: nothing to set"


@dataclass(frozen=True, slots=True)
class Reversal:
    """The zero error (what the gauge shows where there is no tilt) and the true tilt of the place, in degrees.

    `scatter` is the standard deviation of one reading, from the pairs and the study if there was one, with
    `scatter_dof`; None where one pair alone can't tell. `proven` says that the zero error is beyond its 95 %
    uncertainty.
    """

    pairs: int
    zero: Figure
    tilt: Figure
    scatter: float | None
    scatter_dof: float | None
    resolution: float
    proven: bool
    warnings: tuple[str, ...] = ()


def reversal(
    first: ArrayLike, turned: ArrayLike, resolution: float, *, study: Study | None = None, same_place: bool = True
) -> Reversal:
    """Return zero error and true tilt from readings before and after turning the gauge end for end.

    Formula: a = tilt + zero, b = -tilt + zero, so zero = (a + b)/2 and tilt = (a - b)/2 of each pair; the mean of the
    n pairs. u² = s²/(2n) + q²/2: s is the scatter of one reading about those that stood alike, with 2(n - 1) degrees of
    freedom, pooled with the gauge's study (`pool`); q² is what each reading's rounding leaves in a mean of any length:
    r²/12 for a quiet gauge (GUM F.2.2.1), less for one whose noise smooths it (`quantiser_u`). Pairs from several
    places tell s by the scatter of their half sums alone, n - 1. Degrees of freedom by Welch-Satterthwaite.
    Source: reversal (a textbook method of levelling, no clause to cite); GUM (JCGM 100:2008) 5.1.2, F.2.2.1, G.4.1.

    When this is wrong: the gauge didn't stand on the same spot both times (a mark round its foot is the cure), or not
    along the same line; the place moved between; a bubble-like gauge that hadn't settled; a scale error, which a tilt
    carries into the zero as half the difference of the two sides. Tilts of more than five degrees are told. Where the
    scatter is far below the digit the true error of a zero is a whole part of a digit and not normal; u is then right
    on the average over where the place stands.

    Args:
        first: shape (n,), readings as first set down, degrees, signed alike whichever way the gauge stands.
        turned: shape (n,), each turned end for end on the same spot.
        resolution: the digit r, degrees.
        study: the gauge's repeatability.
        same_place: whether all pairs stood on one spot; the tilt is then one number, and not the mean of several.

    Raises:
        ValueError: no pair, unequal lengths, something not finite, or a digit below 0.
    """
    a, b = finite_array(first, "first readings"), finite_array(turned, "turned readings")
    digit = checked_resolution(resolution)
    if a.size != b.size or a.size == 0:
        raise ValueError("each reading has the one that was turned, and there is at least one pair")
    zeros, tilts = (a + b) / 2, (a - b) / 2
    n = int(a.size)
    # a half sum scatters by √2 less than one reading
    own = (a, b) if same_place else (zeros * math.sqrt(2.0),)
    scatter = pool(tuple(describe(each).sd or 0.0 for each in own), (float(n - 1),) * len(own), study)
    zero, tilt = (figure(float(each.mean()), None) for each in (zeros, tilts))
    if scatter.dof > 0:
        hidden = quantiser_u(noise_before_rounding(scatter.sd**2, (digit,)), digit) ** 2 / 2
        known = combine([Term(scatter.sd**2 / (2 * n), scatter.dof), Term(hidden / 2)])
        zero, tilt = (figure_of(float(each.mean()), known) for each in (zeros, tilts))
    proven = zero.half_95 is not None and abs(zero.value) > zero.half_95
    return Reversal(
        pairs=n,
        zero=zero,
        tilt=tilt,
        scatter=scatter.sd if scatter.dof > 0 else None,
        scatter_dof=scatter.dof if scatter.dof > 0 else None,
        resolution=digit,
        proven=proven,
        warnings=_warnings(n, study, float(np.abs(tilts).max()), zero, proven),
    )


def _warnings(n: int, study: Study | None, steepest: float, zero: Figure, proven: bool) -> tuple[str, ...]:
    found = []
    if n == 1 and study is None:
        found.append(ONE_PAIR)
    elif n < SOUND_PAIRS:
        found.append(FEW_PAIRS)
    if steepest > STEEP_DEG:
        found.append(STEEP)
    if zero.u is not None and not proven:
        found.append(WITHIN)
    return tuple(found)
