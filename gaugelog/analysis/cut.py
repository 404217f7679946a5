"""Wood to take off the pocket's floor, or the shim to put in, so that the strings bear where the bridge can hold them.

Here: how much at which end, the least that does it, and rounding to what a hand does. Not here: the height that is
wanted (`neckset`) or the uncertainty of either.

Taking off `d_e` at the body-edge end and `d_t` at the tail end of a floor of length ℓ that begins at x_e lowers the
neck's plane at x by d_e + (d_t - d_e)(x - x_e)/ℓ (good to 0.02 mm): two numbers, the plane's fall at any two places.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_EPS = 1e-9


@dataclass(frozen=True, slots=True)
class Pocket:
    """The pocket's floor, mm: where it begins along the strings, its length, its width, and the wood that may go."""

    start: float
    length: float
    width: float
    spare: float = math.inf

    def fall_at(self, x: float) -> tuple[float, float]:
        """Return by how much the plane falls at x for a millimetre off at the body-edge end, and at the tail end."""
        share = (x - self.start) / self.length
        return 1 - share, share


@dataclass(frozen=True, slots=True)
class Wanted:
    """By how much the plane must fall at a place along the strings, mm: from `low` to `high`; minus is a rise."""

    x: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Taken:
    """Wood off at the two ends of a line along the floor, mm; a negative end is one that must come up: a shim's."""

    body_edge: float
    tail: float

    @property
    def needs_shim(self) -> bool:
        """Whether wood would have to be added."""
        return min(self.body_edge, self.tail) < -_EPS

    @property
    def total(self) -> float:
        """Wood off on the average of the two ends."""
        return (self.body_edge + self.tail) / 2


def least_wood(pocket: Pocket, wanted: Sequence[Wanted]) -> Taken | None:
    """Return the cut that takes least wood and meets what is wanted, None where no cut without adding wood does.

    A linear programme in two unknowns, solved exactly by its corners: minimise d_e + d_t with 0 <= d <= spare at both
    ends and low <= fall(x) <= high at each place wanted.

    When this is wrong: a floor that is not flat to begin with; the neck's heel may then rock.

    Args:
        pocket: the floor.
        wanted: what the plane must do at which places.
    """
    bounds = [((1.0, 0.0), 0.0, pocket.spare), ((0.0, 1.0), 0.0, pocket.spare)]
    bounds += [(pocket.fall_at(each.x), each.low, each.high) for each in wanted]
    return _least(bounds, lambda corner: float(corner.sum()))


def least_shim(pocket: Pocket, wanted: Sequence[Wanted]) -> Taken | None:
    """Return the wedge that meets what is wanted with the least change of both ends; a negative end is to be added.

    The same programme as `least_wood` without a lower bound, minimising |d_e| + |d_t|; None where no wedge does it.
    """
    bounds = [((1.0, 0.0), -math.inf, pocket.spare), ((0.0, 1.0), -math.inf, pocket.spare)]
    bounds += [(pocket.fall_at(each.x), each.low, each.high) for each in wanted]
    levels = [((1.0, 0.0), 0.0, 0.0), ((0.0, 1.0), 0.0, 0.0)]
    return _least(bounds, lambda corner: float(np.abs(corner).sum()), levels)


Bound = tuple[tuple[float, float], float, float]
Cost = Callable[[NDArray[np.float64]], float]


def _least(bounds: Sequence[Bound], cost: Cost, further: Sequence[Bound] = ()) -> Taken | None:
    """Return the cheapest corner of what the bounds allow; `further` lines make corners without bounding."""
    every = ((np.array(row), level) for row, low, high in (*bounds, *further) for level in (low, high))
    lines = [(row, level) for row, level in every if math.isfinite(level)]
    best: tuple[float, NDArray[np.float64]] | None = None
    for (one, at_one), (other, at_other) in itertools.combinations(lines, 2):
        matrix = np.array([one, other])
        if abs(float(np.linalg.det(matrix))) < 1e-12:
            continue
        corner = np.linalg.solve(matrix, [at_one, at_other])
        if all(low - 1e-7 <= float(np.dot(row, corner)) <= high + 1e-7 for row, low, high in bounds):
            price = cost(corner)
            if best is None or price < best[0] - 1e-12:
                best = (price, corner)
    return None if best is None else Taken(float(best[1][0]), float(best[1][1]))


def rounded(taken: Taken, step: float) -> Taken:
    """Return a cut rounded to what a hand does, each end to the nearest `step`, mm."""
    return Taken(*(round(end / step) * step for end in (taken.body_edge, taken.tail)))
