"""A session cut into stretches: short ones that show its noise, and blocks for the fit.

Here: where the cuts are, and what is in between. Not here: second means (`bins`), the fit (`wander`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.bins import Bins
from gaugelog.analysis.dither import left_unseen, noise_chances
from gaugelog.analysis.noise import digits_u
from gaugelog.analysis.wander import Blocks

NOISE_S, NOISE_READINGS = 30.0, 8
QUIETER = 0.8
MOST_BLOCKS, LEAST_BLOCKS, BLOCK_S = 200, 20, 10.0
FIRST_BLOCK = 2
# bins at least so close hold readings from both sides of a step that falls within one
GUARDED_S = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """Half minutes of a session (eight readings at least), none across a cut: readings, mean and variance of each."""

    count: NDArray[np.float64]
    mean: NDArray[np.float64]
    variance: NDArray[np.float64]

    @property
    def noise(self) -> float:
        """Pooled standard deviation of one reading about its level."""
        degrees = float((self.count - 1).sum())
        return math.sqrt(float(((self.count - 1) * self.variance).sum()) / degrees) if degrees > 0 else 0.0

    def quieter(self) -> Stretches:
        """Return all but the noisiest fifth, in which steps may be that aren't known yet."""
        if self.count.size == 0:
            return self
        keep = self.variance <= np.quantile(self.variance, QUIETER)
        return Stretches(self.count[keep], self.mean[keep], self.variance[keep])

    def rounding(self, steps: tuple[float, ...]) -> float:
        """Return what the digits leave unseen in the difference of two levels."""
        if len(steps) > 1 or self.count.size == 0 or float(np.median(self.variance)) > steps[0] ** 2:
            return digits_u(self.noise**2, steps)
        digit = steps[0]
        if digit == 0.0:
            return 0.0
        return left_unseen(noise_chances(self.mean / digit, self.variance / digit**2, self.count), digit)


def stretches_of(bins: Bins, cuts: Sequence[int], hidden: NDArray[np.bool_] | None = None) -> Stretches:
    """Return the stretches of a session.

    Args:
        bins: the session.
        cuts: indices of bins at which a stretch must end, from 0 to the number of bins.
        hidden: bins to leave out.
    """
    usual = max(float(np.median(bins.weight)), 1.0)
    group = max(math.ceil(NOISE_READINGS / usual), round(NOISE_S / max(bins.spacing_s, 1.0)), 1)
    first = np.concatenate([np.arange(low, high, group) for low, high in pairwise(cuts)]).astype(np.intp)
    weight, squares = bins.weight, bins.squares
    if hidden is not None:
        weight, squares = np.where(hidden, 0.0, weight), np.where(hidden, 0.0, squares)
    count = np.add.reduceat(weight, first)
    total = np.add.reduceat(weight * bins.value, first)
    square = np.add.reduceat(weight * bins.value**2 + squares, first)
    some = count > 1.5
    count, total, square = count[some], total[some], square[some]
    return Stretches(count, total / count, np.maximum(square - total**2 / count, 0.0) / (count - 1))


def blocks_of(
    bins: Bins, cuts: Sequence[int], steps: NDArray[np.intp], hidden: NDArray[np.bool_]
) -> tuple[Blocks, NDArray[np.intp]]:
    """Return the blocks of a session, short next to a step and growing away from it, and each one's first bin.

    A block holds from 10 s to a 200th of the session; next to a step 2 bins, then 4, 8 and so on. The bins that a step
    parts are left out.

    Args:
        bins: the session.
        cuts: indices of bins at which a block must end, from 0 to the number of bins.
        steps: those of the cuts at which there is a step.
        hidden: bins to leave out.
    """
    length = float(bins.time_s[-1] - bins.time_s[0])
    block_s = max(min(BLOCK_S, length / LEAST_BLOCKS), length / MOST_BLOCKS)
    most = max(round(block_s / max(bins.spacing_s, 1.0)), 1)
    guard = 1 if bins.spacing_s < GUARDED_S else 0
    at_step = set(steps.tolist())
    edges: list[NDArray[np.intp]] = []
    for low, high in pairwise(cuts):
        start, stop = low + guard * (low in at_step), high - guard * (high in at_step)
        lengths = _growing(stop - start, most, low in at_step, high in at_step)
        edges.append(start + np.concatenate(([0], np.cumsum(lengths))).astype(np.intp))
    begin = np.concatenate([each[:-1] for each in edges])
    end = np.concatenate([each[1:] for each in edges])
    keep = ~hidden
    weight, total, moment = (
        np.diff(np.concatenate(([0.0], np.cumsum(each * keep)))[np.column_stack((begin, end))], axis=1)[:, 0]
        for each in (bins.weight, bins.weight * bins.value, bins.weight * bins.time_s)
    )
    some = weight > 0
    begin, end, weight = begin[some], end[some], weight[some]
    alone = np.where(bins.weight[begin] > 1, 1.0, 0.0)
    span = bins.time_s[end - 1] - bins.time_s[begin] + np.where(end - begin > 1, min(bins.spacing_s, 1.0), alone)
    return Blocks(moment[some] / weight, span, total[some] / weight, weight), begin


def _growing(count: int, most: int, from_left: bool, from_right: bool) -> list[int]:
    """Return lengths that fill `count` bins: growing from the sides where a step is, none above `most`."""
    left: list[int] = []
    right: list[int] = []
    room, size = max(count, 0), FIRST_BLOCK
    while (from_left or from_right) and size < most and room > 2 * size:
        if from_left:
            left.append(size)
            room -= size
        if from_right and room >= size:
            right.append(size)
            room -= size
        size *= 2
    parts = math.ceil(room / most)
    return left + [room // parts + (1 if i < room % parts else 0) for i in range(parts)] + right[::-1]
