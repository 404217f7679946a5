"""A stream of readings as means over a second, so that a day of it is quick to look through.

Here: means, their weights, and where the sittings of a session end. Not here: what the means tell (`steps`, `wander`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.results import Gap

WIDTH_US = 1_000_000
# a gauge that sends on change is looked at every second, or in as many parts
MOST_HELD = 200_000
# a gap parts two sittings if it is longer than all of these: so many seconds, usual distances of two readings, and
# wide ones (the 95 % point), for readings that come as they please
LONG_GAP_S, LONG_GAP_PERIODS, LONG_GAP_WIDE = 600.0, 5.0, 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Bins:
    """Means over a second or more each, empty ones left out; all arrays of shape (n,), values less `offset`.

    `time_s` is seconds from `origin_us`; `weight` the readings in a bin, or of a gauge that sends on change the
    seconds that it covers; `squares` the weighted sum of squares within it; `first` the index of its first reading
    (of a gauge that sends on change: of the reading that stood at its start).
    `sittings` are the ends of the sittings as indices, from 0 to n: a long gap parts two.
    """

    origin_us: int
    offset: float
    time_s: NDArray[np.float64]
    value: NDArray[np.float64]
    weight: NDArray[np.float64]
    squares: NDArray[np.float64]
    first: NDArray[np.intp]
    sittings: tuple[int, ...]

    @property
    def size(self) -> int:
        """Number of bins."""
        return int(self.value.size)

    @property
    def spacing_s(self) -> float:
        """Median distance of two bins in seconds; 1 with fewer than two."""
        return float(np.median(np.diff(self.time_s))) if self.size > 1 else 1.0


def _sittings(time_s: NDArray[np.float64]) -> tuple[int, ...]:
    apart = np.diff(time_s)
    if apart.size == 0:
        return (0, int(time_s.size))
    usual, wide = np.quantile(apart, (0.5, 0.95))
    long = max(LONG_GAP_S, LONG_GAP_PERIODS * float(usual), LONG_GAP_WIDE * float(wide))
    return (0, *(int(i) + 1 for i in np.flatnonzero(apart > long)), int(time_s.size))


def binned(utc_us: NDArray[np.int64], value: NDArray[np.float64]) -> Bins:
    """Return the means over each second in which there are readings; slower readings stand for themselves.

    Args:
        utc_us: shape (n,), sorted, n at least 1.
        value: shape (n,), finite.
    """
    second = (utc_us - utc_us[0]) // WIDTH_US
    first = np.concatenate(([0], np.flatnonzero(second[1:] != second[:-1]) + 1)).astype(np.intp)
    last = np.append(first[1:], utc_us.size) - 1
    weight = (last - first + 1).astype(np.float64)
    origin, offset = int(utc_us[0]), float(value[0])
    left = value - offset
    mean = np.add.reduceat(left, first) / weight
    squares = np.maximum(np.add.reduceat(left * left, first) - weight * mean**2, 0.0)
    time_s = ((utc_us[first] - origin) + (utc_us[last] - origin)) / 2e6
    return Bins(origin, offset, time_s, mean, weight, squares, first, _sittings(time_s))


def held_bins(utc_us: NDArray[np.int64], value: NDArray[np.float64], end_us: int, gaps: Sequence[Gap] = ()) -> Bins:
    """Return the means over each second of a gauge that sends on change, each value counting while it stood.

    Formula: the integral of the standing value over the second, over the part of it that is covered; a value stands
    until the next reading, the next gap, or `end_us`.

    Args:
        utc_us: shape (n,), sorted, n at least 1.
        value: shape (n,), finite.
        end_us: until when the last value stood.
        gaps: in which nothing stands.
    """
    origin, offset = int(utc_us[0]), float(value[0])
    ends = np.append(utc_us[1:], max(end_us, int(utc_us[-1])))
    for gap in gaps:
        ends = np.where(utc_us < gap.start_utc_us, np.minimum(ends, max(gap.start_utc_us, origin)), ends)
    ends = np.maximum(ends, utc_us)
    stood_s = (ends - utc_us) / 1e6
    left = value - offset
    knots = np.column_stack((utc_us - origin, ends - origin)).ravel() / 1e6

    def integral(height: NDArray[np.float64]) -> NDArray[np.float64]:
        parts = np.zeros(knots.size)
        parts[1::2] = height * stood_s
        total = np.cumsum(parts)
        whole: NDArray[np.float64] = np.diff(np.interp(edges, knots, total))
        return whole

    width_s = max(1.0, math.ceil(float(knots[-1]) / MOST_HELD))
    edges = np.arange(0.0, max(float(knots[-1]), width_s) + width_s / 2, width_s)
    covered = integral(np.ones(left.size))
    keep = covered > width_s / 2
    if not keep.any():
        return binned(utc_us, value)
    weight = covered[keep]
    mean = integral(left)[keep] / weight
    squares = np.maximum(integral(left**2)[keep] - weight * mean**2, 0.0)
    begins = edges[:-1][keep]
    time_s = begins + width_s / 2
    first = np.maximum(np.searchsorted((utc_us - origin) / 1e6, begins, side="right") - 1, 0)
    return Bins(origin, offset, time_s, mean, weight, squares, first.astype(np.intp), _sittings(time_s))
