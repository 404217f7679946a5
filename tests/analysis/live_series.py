"""Synthetic live series for the tests and benchmarks of the watch: white noise, wander, rounding to a digit.

All of it is made. A series is in digits until it is rounded: `rounded` gives it in degrees, in steps of 0.05.
"""

from __future__ import annotations

import numpy as np

from gaugelog.analysis.slip import AlarmKind, SlipDetector

STEP_DEG = 0.05
TOLD = tuple[float, AlarmKind, float, float]


def rounded(digits: np.ndarray) -> np.ndarray:
    """What a gauge with a digit of 0.05° shows, around 2.85°."""
    return np.rint(57 + digits) * STEP_DEG


def tell(detector: SlipDetector, values: np.ndarray, rate_hz: float = 10.0, start_s: float = 0.0) -> list[TOLD]:
    """Feed a series and return what was told: seconds, kind, size, since (seconds)."""
    told = []
    times = np.rint((start_s + np.arange(values.size) / rate_hz) * 1e9).astype(np.int64)
    for time_ns, value in zip(times.tolist(), values.tolist(), strict=True):
        found = detector.hear(time_ns, value)
        if found is not None:
            kind, size, since_ns = found
            told.append((time_ns / 1e9, kind, size, since_ns / 1e9))
    return told


def kinds(told: list[TOLD]) -> list[AlarmKind]:
    """Only what was told, in order."""
    return [kind for _, kind, _, _ in told]


def walk(n: int, rng: np.random.Generator, rate_hz: float = 10.0, per_root_hour: float = 1.0) -> np.ndarray:
    """A random walk in digits that goes about `per_root_hour` digits in an hour."""
    return np.cumsum(rng.standard_normal(n)) * per_root_hour / 60 / np.sqrt(rate_hz)


def warm_up(n: int, tau_s: float, size: float = 4.0, rate_hz: float = 10.0) -> np.ndarray:
    """A warm-up by `size` digits with the time constant `tau_s`."""
    return size * (1 - np.exp(-np.arange(n) / rate_hz / tau_s))


def correlated(n: int, phi: float, rng: np.random.Generator) -> np.ndarray:
    """First-order autoregressive noise of standard deviation 1."""
    from scipy.signal import lfilter

    return lfilter([np.sqrt(1 - phi**2)], [1, -phi], rng.standard_normal(n))
