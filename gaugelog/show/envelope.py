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
    """Spans of time in order: their ends in UTC microseconds; lowest, highest and mean value, and readings in each."""

    start_us: Times
    end_us: Times
    low: Values
    high: Values
    mean: Values
    count: Times

    @property
    def size(self) -> int:
        """How many spans there are."""
        return int(self.start_us.size)

    @property
    def middle_us(self) -> Times:
        """Middle of each span, UTC microseconds, shape (n,)."""
        return (self.start_us + self.end_us) // 2

    @property
    def lasts_us(self) -> int:
        """How long all spans last together, from the first reading to the last."""
        return int(self.end_us[-1] - self.start_us[0]) if self.size else 0

    @property
    def single(self) -> bool:
        """Whether every span is one reading."""
        return bool((self.count == 1).all())


def stretches(utc_us: Times, gaps: Sequence[Gap], ends_us: Sequence[int] = ()) -> tuple[slice, ...]:
    """Return the runs of readings between which a gap lies, or the end of a part.

    Args:
        utc_us: sorted, shape (n,).
        gaps: of the series.
        ends_us: moments behind which a new run begins.
    """
    cuts = {0, int(utc_us.size)}
    cuts.update(int(np.searchsorted(utc_us, (gap.start_utc_us + gap.end_utc_us) // 2)) for gap in gaps)
    cuts.update(int(np.searchsorted(utc_us, end_us, side="right")) for end_us in ends_us)
    return tuple(slice(low, high) for low, high in pairwise(sorted(cuts)) if high > low)


def singles(utc_us: Times, value: Values) -> Envelope:
    """Return each reading, both of shape (n,), as a span of its own."""
    return Envelope(utc_us, utc_us, value, value, value, np.ones(utc_us.size, dtype=np.int64))


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
    first, last = _spans(utc_us, int(utc_us[0]), int(utc_us[-1]), spans)
    count = last - first
    return Envelope(
        start_us=utc_us[first],
        end_us=utc_us[last - 1],
        low=np.minimum.reduceat(value, first),
        high=np.maximum.reduceat(value, first),
        mean=np.add.reduceat(value, first) / count,
        count=count,
    )


def coarser(fine: Envelope, spans: int) -> Envelope:
    """Return the same readings in at most `spans` longer spans; `fine` as it is where it has no more.

    Raises:
        ValueError: no span.
    """
    if spans < 1:
        raise ValueError("an envelope needs a span")
    if fine.size <= spans:
        return fine
    first, last = _spans(fine.middle_us, int(fine.start_us[0]), int(fine.end_us[-1]), spans)
    count = np.add.reduceat(fine.count, first)
    return Envelope(
        start_us=fine.start_us[first],
        end_us=fine.end_us[last - 1],
        low=np.minimum.reduceat(fine.low, first),
        high=np.maximum.reduceat(fine.high, first),
        mean=np.add.reduceat(fine.mean * fine.count, first) / count,
        count=count,
    )


def _spans(utc_us: Times, start_us: int, end_us: int, spans: int) -> tuple[Times, Times]:
    """Return the first place of each filled span of equal time, and the place behind its last."""
    edges = np.linspace(float(start_us), float(end_us) + 1, spans + 1)
    first = np.searchsorted(utc_us, edges[:-1].astype(np.int64))
    first[0] = 0
    last = np.append(first[1:], utc_us.size)
    filled = last > first
    return first[filled], last[filled]
