"""The clock that everything is stamped with.

Here: monotonic time that goes on while the computer sleeps. Not here: what ties it to the wall clock (`model.clock`).
"""

from __future__ import annotations

import sys
import time

_WITH_SLEEP = {"linux": "CLOCK_BOOTTIME", "darwin": "CLOCK_MONOTONIC"}
_CLOCK: int | None = getattr(time, _WITH_SLEEP.get(sys.platform, ""), None)


def now_ns() -> int:
    """Return monotonic nanoseconds, the time in which the computer slept included.

    Python's own monotonic clock stands still meanwhile on Linux and macOS: a lid that was closed for an hour in
    mid-session would put all later readings an hour early. Linux counts on in CLOCK_BOOTTIME (clock_gettime(2)), macOS
    in CLOCK_MONOTONIC (its clock_gettime(3), from memory); Windows counts on anyhow. Only Linux was run.
    """
    return time.monotonic_ns() if _CLOCK is None else time.clock_gettime_ns(_CLOCK)
