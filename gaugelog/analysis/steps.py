"""Where in a session a level jumped.

Here: finding the places of steps among one-second means, and the moment among the readings.
Not here: how large each is in the end, with its uncertainty, together with creep and wander (`wander`, `explained`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.bins import Bins
from gaugelog.analysis.noise import difference_noise

SIGMAS = 6.0
EVENT_S = 30.0
SHORT_HALF, LONG_HALF = 6, 120
FIT_HALF = 60
LEAST_SIDE = 3
# what is looked at more closely is a little below what is told in the end
LOOSE = 0.8
ROUNDS = 5
# the noise is read from the filter's output where a session holds at least so many windows
MEASURED = 20
HOPELESS = 1e12
# a gap is seen across by a window of twice its length on either side
GAP_BINS, GAP_REACH = 3.0, 2.0
MAD_OF_ONE_SIGMA = 0.6744897501960817


@dataclass(frozen=True, slots=True)
class Step:
    """A jump of the level: when (UTC microseconds), its signed size and standard uncertainty in the base unit."""

    time_us: int
    size: float
    u: float


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Places of steps: `place` k says that the level jumped before bin k.

    `hidden` marks bins to leave out; `least` is the size looked for.
    """

    place: NDArray[np.intp]
    hidden: NDArray[np.bool_]
    least: float


class _Sums:
    """Running sums over the bins of one sitting, so that any window of it is fitted at once."""

    def __init__(self, time_s: NDArray[np.float64], value: NDArray[np.float64]) -> None:
        time = time_s - time_s.mean()
        rows = np.stack((np.ones(time.size), time, time * time, value, time * value))
        self._sums = np.concatenate((np.zeros((5, 1)), np.cumsum(rows, axis=1)), axis=1)

    def jumps(
        self, place: NDArray[np.intp], low: NDArray[np.intp], high: NDArray[np.intp]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the least-squares step on a line at each place within [low, high), and its variance over a bin's.

        The variance is huge where a window holds too little.
        """
        after = self._sums[:, high] - self._sums[:, place]
        count, t, tt, y, ty = self._sums[:, high] - self._sums[:, low]
        right = after[0] / count
        with np.errstate(divide="ignore", invalid="ignore"):
            times = tt - t * t / count
            step_time = after[1] - right * t
            step_step = after[0] * (1 - right)
            slope = step_time / times
            left = step_step - slope * step_time
            size = (after[3] - right * y - slope * (ty - t * y / count)) / left
            spread = 1 / left
        enough = np.minimum(after[0], count - after[0]) >= LEAST_SIDE
        sound = enough & (left > 1e-6 * np.maximum(step_step, 1e-300)) & np.isfinite(size)
        return np.where(sound, size, 0.0), np.where(sound, spread, HOPELESS)


def _scale(size: NDArray[np.float64], spread: NDArray[np.float64]) -> float:
    """Return the noise of one bin as the filter sees it, blind to a few steps."""
    thin = max(size.size // 4000, 1)
    seen = np.abs(size[::thin]) / np.sqrt(spread[::thin])
    return float(np.median(seen)) / MAD_OF_ONE_SIGMA


def _peaks(gain: NDArray[np.float64], flagged: NDArray[np.intp], apart: int) -> list[int]:
    """Return the flagged places of largest gain, none within `apart` of a larger one."""
    chosen: list[int] = []
    left = flagged[np.argsort(-gain[flagged], kind="stable")]
    while left.size:
        best = int(left[0])
        chosen.append(best)
        left = left[np.abs(left - best) > apart]
    return chosen


def _candidates(time_s: NDArray[np.float64], value: NDArray[np.float64], sure: float, least: float) -> list[int]:
    """Return the places within one sitting at which the level may have jumped."""
    n = value.size
    if n < 2 * LEAST_SIDE:
        return []
    longest = max(min(LONG_HALF, n // 4), SHORT_HALF)
    look = _Look(time_s, value, difference_noise(value))
    halves = {look.best_half(sure, longest), look.best_half(least, longest), min(FIT_HALF, longest)}
    found: list[int] = []
    for half in sorted(halves):
        for _ in range(ROUNDS):
            new = look.peaks(half, least, found)
            found += new
            if not new:
                break
    return sorted(found)


class _Look:
    """One sitting as the filter sees it; what is found is taken out of what is left."""

    def __init__(self, time_s: NDArray[np.float64], value: NDArray[np.float64], noise: float) -> None:
        self._time_s, self._left, self._noise = time_s, value.copy(), noise
        self._places = np.arange(value.size + 1)
        self._wide = _wide_at_gaps(time_s)

    def _jumps(self, half: int) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
        """Return size and variance at each place, and the noise of one bin at this width."""
        n = self._left.size
        reach = np.maximum(half, self._wide)
        low, high = np.maximum(self._places - reach, 0), np.minimum(self._places + reach, n)
        size, spread = _Sums(self._time_s, self._left).jumps(self._places, low, high)
        return size, spread, _scale(size, spread) if n >= MEASURED * half else self._noise

    def best_half(self, least: float, longest: int) -> int:
        """Return the shortest half width at which the least size stands clear, or the one at which most do."""
        half = _half_for(self._noise, least, longest)
        best, lowest = half, math.inf
        while True:
            clear = SIGMAS * self._jumps(half)[2] * math.sqrt(8 / half)
            if clear < lowest:
                best, lowest = half, clear
            if clear <= LOOSE * least or clear > lowest or half >= longest:
                return best
            half = min(2 * half, longest)

    def peaks(self, half: int, least: float, known: list[int]) -> list[int]:
        """Return the places that stand clear, away from known ones, and take their steps out."""
        size, spread, noise = self._jumps(half)
        height = np.abs(size)
        enough = (height >= LOOSE * least) & (height >= SIGMAS * noise * np.sqrt(spread))
        if known:
            enough[_near(known, half // 2 + 1, height.size - 1)] = False
        new = _peaks(height / np.sqrt(spread), np.flatnonzero(enough), half)
        for place in new:
            self._left[place:] -= size[place]
        return new


def _wide_at_gaps(time_s: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return for each place how far a window must reach to see across the gap at it, in bins; 0 where there is none."""
    apart = np.diff(time_s, prepend=time_s[0], append=time_s[-1])
    usual = max(float(np.median(apart)), 1e-6)
    return np.where(apart > GAP_BINS * usual, np.ceil(GAP_REACH * apart / usual), 0.0).astype(np.intp)


def _near(found: list[int], apart: int, n: int) -> NDArray[np.intp]:
    around = np.asarray(found)[:, None] + np.arange(-apart, apart + 1)
    return np.clip(around, 0, n).ravel()


def _half_for(noise: float, least: float, longest: int) -> int:
    """Return the half width at which a step of the least size stands clear of the noise (variance 8 σ²/half)."""
    if least <= 0.0:
        return longest
    wanted = math.ceil(8 * (SIGMAS * noise / (LOOSE * least)) ** 2)
    return min(max(wanted, SHORT_HALF), longest)


def _pruned(
    time_s: NDArray[np.float64], value: NDArray[np.float64], found: list[int], least: float, noise: float
) -> tuple[list[int], NDArray[np.float64]]:
    """Return the places whose step stands up to a fit between its neighbours, and the sizes of those fits."""
    sums, wide = _Sums(time_s, value), _wide_at_gaps(time_s)
    while found:
        place = np.asarray(found)
        reach = np.maximum(FIT_HALF, wide[place])
        low = np.maximum(np.concatenate(([0], place[:-1])), place - reach)
        high = np.minimum(np.append(place[1:], value.size), place + reach)
        size, spread = sums.jumps(place, low, high)
        height = np.abs(size) / np.maximum(LOOSE * least, SIGMAS * noise * np.sqrt(spread))
        worst = int(np.argmin(height))
        if height[worst] >= 1.0:
            return found, size
        found = found[:worst] + found[worst + 1 :]
    return [], np.empty(0)


def find_steps(bins: Bins, sure: float, least: float) -> Found:
    """Return where the level jumped by about `least` or more, clear of the noise.

    Formula: at each place the least-squares step on a line over a window of 6 to 120 bins either side: the shortest
    in which 0.8 of `sure` stands clear by 6 standard deviations of the noise, as the filter's own output shows it,
    then 60 bins, then the shortest for `least`. The largest are taken out and what is left is looked through again. Each is then fitted between its neighbours and dropped if it
    doesn't stand. What happens within 30 s is one event: steps of one are put together, and where they cancel (a hand
    at the gauge) none is left and the bins between are hidden.
    Source: matched filter for a step in white noise on a line (textbook least squares, no clause to cite).

    When this is wrong: a slip that takes longer than the window is told too small or not at all; two steps within
    30 s are told as one; a change over a long gap is not told, since nobody saw whether it jumped or crept.

    Args:
        bins: the session.
        sure: the size from which on steps are told, for which the shortest window is made.
        least: the least size that is looked for, at most `sure`; what is a little below it is found too.
    """
    hidden = np.zeros(bins.size, dtype=np.bool_)
    kept: list[int] = []
    for start, end in zip(bins.sittings[:-1], bins.sittings[1:], strict=True):
        time_s, value = bins.time_s[start:end], bins.value[start:end]
        candidates = _candidates(time_s, value, sure, least)
        if not candidates:
            continue
        places, sizes = _pruned(time_s, value, candidates, least, difference_noise(value))
        for event in _events(time_s, places):
            first, last = places[event[0]], places[event[-1]]
            net = float(sizes[event].sum())
            hidden[start + first : start + last] = True
            if abs(net) >= LOOSE * least:
                weight = np.abs(sizes[event])
                kept.append(start + round(float(np.average(np.asarray(places)[event], weights=weight))))
    return Found(np.asarray(kept, dtype=np.intp), hidden, least)


def _events(time_s: NDArray[np.float64], places: list[int]) -> list[list[int]]:
    """Return the indices of places that belong together: each within `EVENT_S` of the one before."""
    events: list[list[int]] = []
    for index, place in enumerate(places):
        before = places[index - 1] if index else None
        if before is not None and time_s[place] - time_s[before] <= EVENT_S and place - before < FIT_HALF:
            events[-1].append(index)
        else:
            events.append([index])
    return events


def moment_of(
    bins: Bins, place: int, utc_us: NDArray[np.int64], value: NDArray[np.float64], *, holds: bool = False
) -> int:
    """Return the moment of a step: halfway between the two readings that part the levels best, in UTC microseconds.

    Formula: the split of the readings up to 5 bins either side that has the least squares about the mean level
    before and the mean level after. A gauge that sends on change jumped when it sent.

    Args:
        bins: as for `find_steps`.
        place: the bin before which the level jumped.
        utc_us: shape (n,), the readings the bins were made of.
        value: shape (n,).
        holds: whether the gauge sends on change.
    """
    low = max(place - 5, 0)
    high = min(place + 5, bins.size)
    before = float(np.mean(bins.value[low : max(place - 1, low + 1)])) + bins.offset
    after = float(np.mean(bins.value[min(place + 1, high - 1) : high])) + bins.offset
    first = int(bins.first[max(place - 2, 0)])
    last = int(bins.first[place + 2]) if place + 2 < bins.size else int(utc_us.size)
    near = value[first:last]
    nearer = np.cumsum((near - (before + after) / 2) * math.copysign(1.0, before - after))
    split = int(np.argmax(nearer[:-1])) if nearer.size > 1 else 0
    if holds or first + split + 1 >= utc_us.size:
        return int(utc_us[min(first + split + 1, utc_us.size - 1)])
    left, right = int(utc_us[first + split]), int(utc_us[first + split + 1])
    return left + (right - left) // 2
