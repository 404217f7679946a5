"""The difference of two gauges, live: readings of both brought together as they come, without interpolating.

Here: which reading belongs to which. Not here: the same over a finished session (`series`), what the difference means
(`watch`).
"""

from __future__ import annotations

from collections import deque

_LEAST_TOLERANCE_S = 0.05
_MOST_TOLERANCE_S = 5.0
_MOST_WAITING = 64


class LivePair:
    """Pairs each reading of the slower gauge with the nearest one of the faster, at most the longer period away.

    A reading of the slower gauge waits until the faster one has spoken at or after its time, so the nearest is known.
    As `series.difference_of` does it for a finished session.
    """

    def __init__(self, first_period_s: float | None, second_period_s: float | None) -> None:
        """Take both periods; the first gauge sets the times unless it is known to be the faster one."""
        periods = [period for period in (first_period_s, second_period_s) if period is not None]
        longest_s = max(periods) if periods else 1.0
        self.tolerance_ns = round(min(max(longest_s, _LEAST_TOLERANCE_S), _MOST_TOLERANCE_S) * 1e9)
        self.first_is_slower = len(periods) < 2 or periods[0] >= periods[1]
        self.period_s = longest_s
        self._waiting: deque[tuple[int, float]] = deque(maxlen=_MOST_WAITING)
        self._before: tuple[int, float] | None = None
        self._latest: tuple[int, float] | None = None

    def clear(self) -> None:
        """Forget what waits, after one of the two was lost."""
        self._waiting.clear()
        self._before = self._latest = None

    def hear(self, of_first: bool, time_ns: int, value: float) -> list[tuple[int, float]]:
        """Take a reading of one gauge.

        Args:
            of_first: whether it is the first gauge's.
            time_ns: its time, not before the one before of the same gauge.
            value: base unit.

        Returns:
            The pairs that it completes: time of the slower gauge's reading, first less second.
        """
        if of_first is self.first_is_slower:
            self._waiting.append((time_ns, value))
        else:
            self._before, self._latest = self._latest, (time_ns, value)
        latest = self._latest
        if latest is None:
            return []
        made = []
        while self._waiting and self._waiting[0][0] <= latest[0]:
            slow_ns, slow = self._waiting.popleft()
            nearest = self._nearest(slow_ns, latest)
            if abs(nearest[0] - slow_ns) <= self.tolerance_ns:
                made.append((slow_ns, slow - nearest[1] if self.first_is_slower else nearest[1] - slow))
        return made

    def _nearest(self, time_ns: int, latest: tuple[int, float]) -> tuple[int, float]:
        before = self._before
        if before is not None and time_ns - before[0] <= latest[0] - time_ns:
            return before
        return latest
