"""Long series drawn with few points and nothing lost.

Here: stretches between gaps, and the lowest, highest and mean value of short spans of time. Not here: drawing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.results import Gap

Times = NDArray[np.int64]
Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Envelope:
    """Spans of time in order: their ends in UTC microseconds, and the lowest, highest and mean value in each."""

    start_us: Times
    end_us: Times
    low: Values
    high: Values
    mean: Values


def stretches(utc_us: Times, gaps: Sequence[Gap]) -> tuple[slice, ...]:
    """Return the runs of readings between which a gap lies; `utc_us` is sorted."""
    cuts = {0, int(utc_us.size)}
    for gap in gaps:
        cuts.add(int(np.searchsorted(utc_us, (gap.start_utc_us + gap.end_utc_us) // 2)))
    ordered = sorted(cuts)
    return tuple(slice(low, high) for low, high in pairwise(ordered) if high > low)


def envelope(utc_us: Times, value: Values, spans: int) -> Envelope:
    """Return at most `spans` spans of equal time over a series; empty ones are left out.

    Every reading lies between the lowest and the highest of its span, so no slip or knock is lost however few spans
    there are.

    Args:
        utc_us: sorted, shape (n,), n at least 1.
        value: shape (n,).
        spans: 1 or more.

    Raises:
        ValueError: no reading, or no span.
    """
    if utc_us.size == 0 or spans < 1:
        raise ValueError("an envelope needs a reading and a span")
    edges = np.linspace(float(utc_us[0]), float(utc_us[-1]) + 1, spans + 1)
    first = np.searchsorted(utc_us, edges[:-1])
    last = np.append(first[1:], utc_us.size)
    filled = last > first
    first, last = first[filled], last[filled]
    return Envelope(
        start_us=utc_us[first],
        end_us=utc_us[last - 1],
        low=np.minimum.reduceat(value, first),
        high=np.maximum.reduceat(value, first),
        mean=np.add.reduceat(value, first) / (last - first),
    )
