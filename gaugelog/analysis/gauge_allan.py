"""How long averaging helps: the overlapping Allan deviation over averaging times, with its confidence.

Here: the deviation at octaves, the kind of noise its slope shows, and the 1-sigma band. Not here: which readings
(`gauge_rest`); the deviation at one factor is `noise.allan_deviation`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri

from gaugelog.analysis.gauge_figures import finite_array
from gaugelog.analysis.noise import allan_deviation

# means at least in a run, so that a deviation rests on more than one difference
LEAST_MEANS = 4
ONE_SIGMA = 0.6826894921370859
WHITE_PHASE, WHITE, FLICKER, WALK = 2, 0, -1, -2
NOISE_NAMES = {
    WHITE_PHASE: "readings that sway about their mean",
    WHITE: "independent readings",
    FLICKER: "a floor that averaging doesn't lower",
    WALK: "wander",
}


@dataclass(frozen=True, slots=True)
class AllanPoint:
    """The overlapping Allan deviation at one averaging time.

    `factor` readings make a mean of `tau_s` seconds; `low` to `high` holds the deviation with 68.3 %, from `edf`
    equivalent degrees of freedom for the kind of noise `alpha` (the power of the frequency: 2, 0, -1 or -2; named in
    `NOISE_NAMES`). All None where every reading is the same.
    """

    factor: int
    tau_s: float
    deviation: float
    low: float | None
    high: float | None
    edf: float | None
    alpha: int | None


def allan_points(values: ArrayLike, period_s: float) -> tuple[AllanPoint, ...]:
    """Return the overlapping Allan deviation at 1, 2, 4 … readings, as long as four means fit.

    Formula: σ(m) as `noise.allan_deviation`. The kind of noise at m is read from the slope of log σ over log τ between
    the octaves beside m: below -3/4 white phase (readings that sway about their mean), to -1/4 white, to 1/4 flicker,
    above random walk. The band: σ √(ν/χ²_p(ν)) at p = 0.841 and 0.159, with ν = `edf`.
    Source: NIST SP 1065, 5.2.4 (overlapping Allan deviation), 5.3.2 eq. 45 (χ² interval), table 5 (simple edf).

    When this is wrong: readings that are not evenly spaced; steps and creep, which it takes for wander; a hum; the
    slope is itself uncertain where few means are left, and with it the edf.

    Args:
        values: shape (M,), evenly spaced in time, M from 0.
        period_s: distance of two readings, above 0.

    Raises:
        ValueError: something not finite, or no period.
    """
    array = finite_array(values, "readings")
    if not (math.isfinite(period_s) and period_s > 0):
        raise ValueError("readings have a distance in time")
    factors, found = [], []
    factor = 1
    while LEAST_MEANS * factor <= array.size:
        told = allan_deviation(array, factor)
        if told is None:
            break
        factors.append(factor)
        found.append(told)
        factor *= 2
    kinds = _kinds(found)
    return tuple(
        _point(m, m * period_s, deviation, kind, array.size)
        for m, deviation, kind in zip(factors, found, kinds, strict=True)
    )


def helps_until(points: Sequence[AllanPoint]) -> AllanPoint | None:
    """Return the point up to which averaging helps: the first that no longer time beats by more than its 1-sigma band.

    Formula: the first point whose deviation isn't above `high` of any later one. The plain smallest one would often be
    the last, by chance: few means are left there.

    When this is wrong: a run that is short against the time that averaging helps.

    Args:
        points: as `allan_points` returns; None comes of none.
    """
    for i, point in enumerate(points):
        if all(later.high is None or later.high >= point.deviation for later in points[i + 1 :]):
            return point
    return None


def edf(readings: int, factor: int, alpha: int) -> float:
    """Return the equivalent degrees of freedom of an overlapping Allan variance, by the simple formulas.

    Formula, with N = readings + 1 phase points and m = `factor`: white phase (N + 1)(N - 2m)/(2(N - m)); white
    (3(N - 1)/(2m) - 2(N - 2)/N) 4m²/(4m² + 5); flicker 2(N - 2)²/(2.3N - 4.9) at m = 1, else 5N²/(4m(N + 3m)); random
    walk (N - 2)/m ((N - 1)² - 3m(N - 1) + 4m²)/(N - 3)². Never below 1.
    Source: NIST SP 1065, table 5.

    When this is wrong: by a tenth or so, and more where only a few means are left.

    Args:
        readings: M, from 4 m.
        factor: m, from 1.
        alpha: the power of the frequency: 2, 0, -1 or -2.

    Raises:
        ValueError: another `alpha`, or too few readings.
    """
    n, m = float(readings + 1), float(factor)
    if factor < 1 or readings < LEAST_MEANS * factor:
        raise ValueError("four means at least")
    if alpha == WHITE_PHASE:
        found = (n + 1) * (n - 2 * m) / (2 * (n - m))
    elif alpha == WHITE:
        found = (3 * (n - 1) / (2 * m) - 2 * (n - 2) / n) * 4 * m**2 / (4 * m**2 + 5)
    elif alpha == FLICKER:
        found = 2 * (n - 2) ** 2 / (2.3 * n - 4.9) if factor == 1 else 5 * n**2 / (4 * m * (n + 3 * m))
    elif alpha == WALK:
        found = (n - 2) / m * ((n - 1) ** 2 - 3 * m * (n - 1) + 4 * m**2) / (n - 3) ** 2
    else:
        raise ValueError("noise is white phase, white, flicker or a random walk")
    return max(found, 1.0)


def _kinds(found: list[float]) -> list[int | None]:
    if len(found) < 2 or min(found) <= 0.0:
        return [WHITE if each > 0.0 else None for each in found]
    slopes = np.gradient(np.log2(found))
    return [WHITE_PHASE if s < -0.75 else WHITE if s < -0.25 else FLICKER if s < 0.25 else WALK for s in slopes]


def _point(factor: int, tau_s: float, deviation: float, kind: int | None, readings: int) -> AllanPoint:
    if kind is None:
        return AllanPoint(factor, tau_s, deviation, None, None, None, None)
    degrees = edf(readings, factor, kind)
    # chdtri takes the probability above
    low, high = (
        deviation * math.sqrt(degrees / float(chdtri(degrees, above)))
        for above in ((1 - ONE_SIGMA) / 2, (1 + ONE_SIGMA) / 2)
    )
    return AllanPoint(factor, tau_s, deviation, low, high, degrees, kind)
