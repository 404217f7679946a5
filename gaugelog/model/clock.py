"""Monotonic time beside UTC.

Here: the anchor that ties the two. Not here: any clock; whoever runs a program reads one and passes its value in.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Anchor:
    """One moment on both clocks: monotonic nanoseconds and microseconds since 1970 UTC."""

    monotonic_ns: int
    utc_us: int

    def utc_us_of(self, monotonic_ns: int) -> int:
        """Return the UTC microseconds of a monotonic time, as if the wall clock had run evenly since the anchor."""
        return self.utc_us + (monotonic_ns - self.monotonic_ns) // 1000
