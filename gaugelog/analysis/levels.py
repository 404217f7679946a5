"""Where a series stood over a stretch of time, and how far it went from the stretch's start to its end.

Here: levels with their variance. Not here: phases and gaps (`drift`), steps and creep (`explained`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.describe import describe, effective_size
from gaugelog.analysis.phases import Stretch
from gaugelog.analysis.series import Series

LEVEL_S = 60.0
LEVEL_SHARE = 4
LEAST_READINGS = 3


@dataclass(frozen=True, slots=True)
class Level:
    """Where a series stood over a short window: its mean, and the variance of that, None where it can't be told."""

    value: float
    variance: float | None


@dataclass(frozen=True, slots=True)
class Levels:
    """Where a series stood at the start and at the end of a stretch; `digits` is what its steps add to the variance."""

    begin: Level
    end: Level
    digits: float

    @property
    def change(self) -> float:
        """End less begin, in the base unit."""
        return self.end.value - self.begin.value

    @property
    def u(self) -> float | None:
        """Standard uncertainty of the change, None where a window holds too few readings for one."""
        if self.begin.variance is None or self.end.variance is None:
            return None
        return math.sqrt(self.begin.variance + self.end.variance + self.digits)


def levels_in(series: Series, stretch: Stretch) -> Levels | None:
    """Return the levels at the start and at the end of a stretch, None where there are none to compare.

    Formula: means over the first and the last min(60 s, a quarter of the stretch) of the readings; the variance of a
    mean is s²/n_eff, or s² in full where the window wandered as one or the gauge sends on change; `digits` is 2 Σ r²/12
    over the readings in a value.
    Source: GUM (JCGM 100:2008) F.2.2.1 for the digits; n_eff as `describe.effective_size`.

    When this is wrong: something that happens within the first or last window is told in part only; a gauge that sends
    on change and was cut off is taken to have stood still.

    Args:
        series: sorted by time and counted.
        stretch: from when until when.
    """
    low, high = bounds(series, stretch)
    digits = 2 * sum(step**2 for step in series.steps) / 12
    if series.holds:
        # a value from before the stretch still stands at its start
        if high == 0:
            return None
        start, end = max(stretch.start_utc_us, int(series.utc_us[0])), stretch.end_utc_us
        window = int(min(LEVEL_S * 1e6, (end - start) / LEVEL_SHARE))
        if window <= 0:
            return None
        return Levels(
            _held_level(series.utc_us[:high], series.value[:high], start, start + window),
            _held_level(series.utc_us[:high], series.value[:high], end - window, end),
            digits,
        )
    times, values = series.utc_us[low:high], series.value[low:high]
    if times.size < 2 or times[-1] <= times[0]:
        return None
    window = int(min(LEVEL_S * 1e6, (times[-1] - times[0]) / LEVEL_SHARE))
    head = int(np.searchsorted(times, times[0] + window, side="right"))
    tail = int(np.searchsorted(times, times[-1] - window, side="left"))
    return Levels(_sampled_level(values[:head]), _sampled_level(values[tail:]), digits)


def mean_in(series: Series, stretch: Stretch) -> float | None:
    """Return the mean over a stretch, None without a reading; on change, weighted with the time each value stood.

    Args:
        series: sorted by time and counted.
        stretch: from when until when.
    """
    low, high = bounds(series, stretch)
    if series.holds and high > 0:
        start = max(stretch.start_utc_us, int(series.utc_us[0]))
        return _held_level(series.utc_us[:high], series.value[:high], start, stretch.end_utc_us).value
    return float(series.value[low:high].mean()) if high > low else None


def bounds(series: Series, stretch: Stretch) -> tuple[int, int]:
    """Return the index of the first reading of a stretch, and of the first behind it, in a series sorted by time."""
    low, high = np.searchsorted(series.utc_us, [stretch.start_utc_us, stretch.end_utc_us], side="left")
    return int(low), int(high)


def _sampled_level(values: NDArray[np.float64]) -> Level:
    """Return the level of evenly sent readings: s²/n_eff, and s² in full where they wandered as one (no n_eff)."""
    told = describe(values)
    if told.mean is None:
        raise ValueError("a level needs a reading")
    if told.sd is None or told.n < LEAST_READINGS:
        return Level(told.mean, None)
    return Level(told.mean, told.sd**2 / (effective_size(values) or 1.0))


def _held_level(utc_us: NDArray[np.int64], values: NDArray[np.float64], start_utc_us: int, end_utc_us: int) -> Level:
    """Return the level of a gauge that sends on change: each value counts for as long as it stood.

    Its scatter about that counts in full, as if it had been seen once: how often a value changed says nothing of how
    many independent looks there were.
    """
    first = max(int(np.searchsorted(utc_us, start_utc_us, side="right")) - 1, 0)
    last = int(np.searchsorted(utc_us, end_utc_us, side="left"))
    stood = values[first : max(last, first + 1)]
    edges = np.concatenate((np.clip(utc_us[first : first + stood.size], start_utc_us, end_utc_us), [end_utc_us]))
    weights = np.diff(edges).astype(np.float64)
    if weights.sum() <= 0:
        return Level(float(stood[-1]), 0.0)
    mean = float(np.average(stood, weights=weights))
    return Level(mean, float(np.average((stood - mean) ** 2, weights=weights)))
