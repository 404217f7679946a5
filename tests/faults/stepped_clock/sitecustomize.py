"""Clocks that a test sets, for a program that is started with this folder on its path: Python imports this by itself.

The file that STEPPED_CLOCK names holds two numbers: by how many seconds the wall clock is off, and for how many the
computer is to have slept by now. Sleep moves the wall clock and the clock that counts sleep in, and leaves alone the
one that stands still meanwhile, as clock_gettime(2) describes them. Only the clocks that gaugelog reads are moved.
"""

import os
import time

_wall_ns, _wall_s, _clock_ns = time.time_ns, time.time, time.clock_gettime_ns


def _off_s() -> tuple[float, float]:
    try:
        with open(os.environ["STEPPED_CLOCK"], encoding="ascii") as file:
            off, slept = file.read().split()
        return float(off), float(slept)
    except (KeyError, OSError, ValueError):
        return 0.0, 0.0


def _clock_gettime_ns(which: int) -> int:
    slept_ns = round(_off_s()[1] * 1e9) if which == getattr(time, "CLOCK_BOOTTIME", None) else 0
    return _clock_ns(which) + slept_ns


time.time_ns = lambda: _wall_ns() + round(sum(_off_s()) * 1e9)
time.time = lambda: _wall_s() + sum(_off_s())
time.clock_gettime_ns = _clock_gettime_ns
