"""The readings of a session as they gather, kept in a few hundred spans however long it lasts.

Here: taking readings one by one, and widening the spans when there are too many. Not here: drawing (`trail_picture`),
a recording read back (`drift_rows`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gaugelog.model.quantities import Quantity
from gaugelog.show.envelope import Envelope, Times, Values, coarser, envelope

SPANS = 240
_FIRST_WIDTH_US = 250_000
_WIDTHS_APART = 2.5


@dataclass(slots=True)
class _Span:
    start_us: int
    end_us: int
    low: float
    high: float
    total: float
    count: int


class Trail:
    """One gauge's values in its base unit; between `SPANS` and twice as many spans once there are that many."""

    def __init__(self, quantity: Quantity, resolution: float, longest_silence_s: float | None) -> None:
        """Begin empty.

        Args:
            quantity: what the gauge reads.
            resolution: of the gauge, in its base unit.
            longest_silence_s: a longer one is drawn as a gap; None where silence says nothing.
        """
        self.quantity, self.resolution = quantity, resolution
        self._silence_us = None if longest_silence_s is None else longest_silence_s * 1e6
        self._width_us = _FIRST_WIDTH_US
        self._spans: list[_Span] = []

    def __len__(self) -> int:
        """Return how many spans there are."""
        return len(self._spans)

    def take(self, utc_us: int, value: float) -> None:
        """Take one reading, not earlier than those before it."""
        last = self._spans[-1] if self._spans else None
        if last is None or utc_us >= last.start_us + self._width_us:
            self._spans.append(_Span(utc_us, utc_us, value, value, value, 1))
            if len(self._spans) > 2 * SPANS:
                self._put(coarser(self.drawn(), SPANS))
            return
        last.end_us = max(last.end_us, utc_us)
        last.low, last.high = min(last.low, value), max(last.high, value)
        last.total += value
        last.count += 1

    def begin_from(self, utc_us: Times, value: Values) -> None:
        """Begin with readings that were recorded before, sorted, both of shape (n,)."""
        if utc_us.size:
            self._put(envelope(utc_us, value, SPANS))

    def drawn(self) -> Envelope:
        """Return the spans so far."""
        columns = [(each.start_us, each.end_us, each.low, each.high, each.total, each.count) for each in self._spans]
        start, end, low, high, total, count = np.array(columns, dtype=np.float64).reshape(-1, 6).T
        whole = np.int64
        return Envelope(start.astype(whole), end.astype(whole), low, high, total / count, count.astype(whole))

    def gaps_after(self, drawn: Envelope) -> Times:
        """Return the places of `drawn` after which nothing was heard for longer than a gauge is silent."""
        if self._silence_us is None or drawn.size < 2:
            return np.empty(0, dtype=np.int64)
        silent_us = max(self._silence_us, _WIDTHS_APART * self._width_us)
        return np.flatnonzero(drawn.start_us[1:] - drawn.end_us[:-1] > silent_us)

    def _put(self, spans: Envelope) -> None:
        columns = zip(
            spans.start_us.tolist(), spans.end_us.tolist(), spans.low.tolist(), spans.high.tolist(),
            (spans.mean * spans.count).tolist(), spans.count.tolist(), strict=True,
        )  # fmt: skip
        self._spans = [_Span(*each) for each in columns]
        self._width_us = max(self._width_us, spans.lasts_us // SPANS)
