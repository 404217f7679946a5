"""The readings of one gauge over a session, and the difference of two gauges.

Here: series as arrays, which readings count, and how two are brought together without interpolating.
Not here: what they did in which phase (`drift`).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.results import Gap
from gaugelog.model.datasheet import Sends
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import SAYS_NOTHING

NOT_COUNTED = int(SAYS_NOTHING)
_LEAST_TOLERANCE_S = 0.05
_MOST_TOLERANCE_S = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Readings over time: `utc_us` int64, `value` float64 in the base unit, `flags` int or None, all of shape (n,).

    `steps` holds the step of each reading that enters a value: one, or two for a difference. `awake_s` is not None for
    a gauge that switches itself off. `gaps` are those that the recorder noted. Equality of two series is identity.
    """

    name: str
    quantity: Quantity
    utc_us: NDArray[np.int64]
    value: NDArray[np.float64]
    steps: tuple[float, ...]
    sends: Sends = Sends.STEADILY
    flags: NDArray[np.int_] | None = None
    period_s: float | None = None
    awake_s: float | None = None
    gaps: tuple[Gap, ...] = field(default=())
    difference: bool = False

    def __post_init__(self) -> None:
        if self.utc_us.shape != self.value.shape or self.utc_us.ndim != 1:
            raise ValueError("times and values are one-dimensional and of one length")
        if self.flags is not None and self.flags.shape != self.utc_us.shape:
            raise ValueError("flags have the length of the times")

    @property
    def steady(self) -> bool:
        """Whether silence is a fault: the gauge sends or is polled all the time, and doesn't switch itself off."""
        polled = self.sends is Sends.WHEN_ASKED and self.period_s is not None
        return (self.sends is Sends.STEADILY or polled) and self.awake_s is None

    @property
    def holds(self) -> bool:
        """Whether a value counts until the next one comes: the gauge sends on change."""
        return self.sends is Sends.ON_CHANGE

    def in_order(self) -> Series:
        """Return the series sorted by time; a wall clock may have been set back."""
        if self.utc_us.size < 2 or bool((np.diff(self.utc_us) >= 0).all()):
            return self
        order = np.argsort(self.utc_us, kind="stable")
        flags = self.flags[order] if self.flags is not None else None
        return replace(self, utc_us=self.utc_us[order], value=self.value[order], flags=flags)

    def counted(self) -> Series:
        """Return the readings that count: finite, neither on hold nor over range."""
        keep = np.isfinite(self.value)
        if self.flags is not None:
            keep &= (self.flags & NOT_COUNTED) == 0
        if bool(keep.all()):
            return replace(self, flags=None)
        return replace(self, utc_us=self.utc_us[keep], value=self.value[keep], flags=None)


def _period_us(series: Series) -> float:
    if series.period_s is not None:
        return series.period_s * 1e6
    return float(np.median(np.diff(series.utc_us))) if series.utc_us.size > 1 else 1e6


def _tolerance_us(first: Series, second: Series) -> int:
    """Return how far apart in time two readings may be and still be a pair: the longer period, 0.05 to 5 s."""
    period = max(_period_us(first), _period_us(second))
    return int(min(max(period, _LEAST_TOLERANCE_S * 1e6), _MOST_TOLERANCE_S * 1e6))


def _nearest(times: NDArray[np.int64], wanted: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the index in `times` nearest to each of `wanted`; both sorted, `times` not empty."""
    right = np.clip(np.searchsorted(times, wanted), 1, max(times.size - 1, 1))
    right = np.minimum(right, times.size - 1)
    left = np.maximum(right - 1, 0)
    return np.where(wanted - times[left] <= times[right] - wanted, left, right)


def _outside(times: NDArray[np.int64], gaps: tuple[Gap, ...]) -> NDArray[np.bool_]:
    """Return which times lie in none of the gaps."""
    keep = np.ones(times.shape, dtype=np.bool_)
    for gap in gaps:
        keep &= (times < gap.start_utc_us) | (times >= gap.end_utc_us)
    return keep


def _partner(
    series: Series, wanted: NDArray[np.int64], tolerance_us: int
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Return the index of the reading of `series` that belongs to each wanted time, and whether there is one."""
    if series.holds:
        index = np.searchsorted(series.utc_us, wanted, side="right") - 1
        return np.maximum(index, 0), (index >= 0) & _outside(wanted, series.gaps)
    index = _nearest(series.utc_us, wanted)
    return index, np.abs(series.utc_us[index] - wanted) <= tolerance_us


def difference_of(first: Series, second: Series) -> Series:
    """Return `first` less `second`, reading by reading; nothing is interpolated.

    Each reading of the gauge that sends less often is paired with the nearest one of the other, at most the longer of
    the two periods away (0.05 to 5 s). A gauge that sends on change holds its last value until the next, except in a
    gap; where both do, there is a pair whenever either one changed.

    When this is wrong: something that moves within the pairing tolerance, such as a knock, shows at slightly
    different times in the two and leaves a short false spike in the difference.

    Raises:
        ValueError: the two measure different quantities.
    """
    if first.quantity is not second.quantity:
        raise ValueError("only gauges of one quantity have a difference")
    a, b = first.in_order().counted(), second.in_order().counted()
    both_hold = a.holds and b.holds
    gaps = tuple(sorted(set(a.gaps + b.gaps), key=lambda gap: (gap.start_utc_us, gap.end_utc_us)))
    empty = replace(
        a,
        name=f"{first.name} - {second.name}",
        utc_us=np.empty(0, dtype=np.int64),
        value=np.empty(0),
        steps=a.steps + b.steps,
        sends=Sends.ON_CHANGE if both_hold else (b.sends if a.holds else a.sends),
        period_s=None,
        awake_s=a.awake_s if a.awake_s is not None else b.awake_s,
        gaps=gaps,
        difference=True,
    )
    if a.utc_us.size == 0 or b.utc_us.size == 0:
        return empty
    times = _pair_times(a, b)
    tolerance = _tolerance_us(a, b)
    index_a, there_a = _partner(a, times, tolerance)
    index_b, there_b = _partner(b, times, tolerance)
    keep = there_a & there_b
    return replace(empty, utc_us=times[keep], value=(a.value[index_a] - b.value[index_b])[keep])


def _pair_times(a: Series, b: Series) -> NDArray[np.int64]:
    """Return the times at which there should be a pair."""
    if a.holds and b.holds:
        return np.union1d(a.utc_us, b.utc_us)
    if a.holds:
        return b.utc_us
    if b.holds:
        return a.utc_us
    return a.utc_us if a.utc_us.size <= b.utc_us.size else b.utc_us
