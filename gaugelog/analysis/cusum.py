"""The sums that a live detector keeps from reading to reading: cumulative sums, a following level, running noise.

Here: the recursions as published, one reading at a time. Not here: bounds, and what a passed bound means (`slip`).
"""

from __future__ import annotations

_BLOCK, _BLOCK_GAIN = 100, 0.25
_WORTH = _BLOCK * (2 / _BLOCK_GAIN - 1)


class Cusum:
    """A two-sided cumulative sum.

    Formula: S+ = max(0, S+ + d - k), S- = max(0, S- - d - k) for departures d from the reference and the allowance k.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3 (Page's scheme).

    When this is wrong: it adds up departures as if each told something new; readings that follow one another, or a
    reference that is itself uncertain, need a larger bound.
    """

    __slots__ = ("_high_from", "_high_ns", "_low_from", "_low_ns", "allowance", "count", "high", "low")

    def __init__(self, allowance: float, time_ns: int = 0) -> None:
        """Begin with nothing summed; `allowance` in the unit of the departures."""
        self.allowance = allowance
        self.high = self.low = 0.0
        self.count = self._high_from = self._low_from = 0
        self._high_ns = self._low_ns = time_ns

    def hear(self, time_ns: int, off: float) -> float:
        """Take a departure from the reference and return the larger of the two sums."""
        self.count += 1
        high = self.high + off - self.allowance
        if high <= 0.0:
            high = 0.0
            self._high_from, self._high_ns = self.count, time_ns
        low = self.low - off - self.allowance
        if low <= 0.0:
            low = 0.0
            self._low_from, self._low_ns = self.count, time_ns
        self.high, self.low = high, low
        return high if high > low else low

    @property
    def grown_for(self) -> int:
        """How many readings ago the larger sum left zero."""
        return self.count - (self._high_from if self.high >= self.low else self._low_from)

    @property
    def since_ns(self) -> int:
        """When the larger sum was last zero."""
        return self._high_ns if self.high >= self.low else self._low_ns


class FollowingLevel:
    """A level that follows readings slowly: their mean at first, exponentially weighted later.

    Formula: E = E + λ d, d = reading - E, λ = 1/n for the first n readings, never less than `weight`.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4 (EWMA).

    When this is wrong: it lags behind a steady drift by drift a reading / λ.
    """

    __slots__ = ("_heard", "_longest", "value")

    def __init__(self, value: float, weight: float, heard: float) -> None:
        """Begin at a `value` that `heard` readings told; `weight` is the least λ, 0 to 1."""
        self.value = value
        self._longest = 1 / weight
        self._heard = min(heard, self._longest)

    def follow(self, off: float) -> None:
        """Take the departure of a reading from the level."""
        if self._heard < self._longest:
            self._heard = min(self._heard + 1, self._longest)
        self.value += off / self._heard


class RunningNoise:
    """Variance and covariance of neighbours of departures from a level, renewed by a quarter each hundred readings.

    `heard` is how many readings it is worth: those that it began with and the blocks since, 700 in the long run.
    """

    __slots__ = ("_before", "_in_block", "_products", "_squares", "covariance", "heard", "variance")

    def __init__(self, variance: float, covariance: float, heard: float) -> None:
        """Begin with what so many readings at rest told, base unit squared."""
        self.variance = variance
        self.covariance = covariance
        self.heard = heard
        self.begin_block()

    def begin_block(self) -> None:
        """Forget the block under way, as after a change of level."""
        self._squares = self._products = self._before = 0.0
        self._in_block = 0

    def hear(self, off: float) -> None:
        """Take a departure."""
        self._squares += off * off
        self._products += off * self._before
        self._before = off
        self._in_block += 1

    def renew(self) -> bool:
        """Return whether a block was full and has renewed the noise; asked when nothing looks like a change."""
        n = self._in_block
        if n < _BLOCK:
            return False
        self.variance += _BLOCK_GAIN * (self._squares / n - self.variance)
        self.covariance += _BLOCK_GAIN * (self._products / n - self.covariance)
        self.heard = min(self.heard + n, _WORTH)
        self.begin_block()
        return True
