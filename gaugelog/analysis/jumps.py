"""Looking through a sitting for places at which the level may have jumped.

Here: the step on a line that fits best around each place, and which of them stand clear of the noise.
Not here: which are steps in the end (`steps`), their sizes beside creep and wander (`wander`).
"""

from __future__ import annotations

import math
from copy import copy

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.noise import difference_noise

SIGMAS = 6.0
SHORT_HALF, FIT_HALF, LONG_HALF = 6, 60, 120
LEAST_SIDE = 3
SHORTER = 4
# what is looked at more closely is a little below what is wanted in the end
LOOSE = 0.8
ROUNDS = 5
MOST_PLACES = 60
# the noise is read from the filter's output where a session holds at least so many windows, at so many places
MEASURED, SAMPLED = 20, 1000
HOPELESS = 1e12
# a gap is seen across by a window of twice its length on either side
GAP_BINS, GAP_REACH = 3.0, 2.0
MAD_OF_ONE_SIGMA = 0.6744897501960817


class Sums:
    """Running sums over the bins of one sitting, so that any window of it is fitted at once."""

    def __init__(self, time_s: NDArray[np.float64], value: NDArray[np.float64]) -> None:
        time = time_s - time_s.mean()
        # rows: t, t², y, t y
        self._sums = np.zeros((4, time.size + 1))
        for row, each in zip(self._sums[:, 1:], (time, time * time, value, time * value), strict=True):
            np.cumsum(each, out=row)

    def jumps(
        self, place: NDArray[np.intp], low: NDArray[np.intp], high: NDArray[np.intp]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the least-squares step on a line at each place within [low, high), and its variance over a bin's.

        Formula: with h = 1 from the place on, and h' and y' what is left of h and y after a line through the window,
        size = Σ h'y' / Σ h'², variance = 1 / Σ h'². The variance is huge where a window holds too little.
        """
        # take copies rows in one go, which plain indexing doesn't
        ends = self._sums.take(high, axis=1)
        after_t, after_y = ends[0] - self._sums[0].take(place), ends[2] - self._sums[2].take(place)
        t, tt, y, ty = ends - self._sums.take(low, axis=1)
        count, after_count = np.maximum(high - low, 1).astype(np.float64), (high - place).astype(np.float64)
        right = after_count / count
        step_step = after_count * (1 - right)
        step_time = after_t - right * t
        slope = step_time / np.maximum(tt - t * t / count, 1 / HOPELESS)
        left = step_step - slope * step_time
        sound = (np.minimum(after_count, count - after_count) >= LEAST_SIDE) & (left > 1e-6 * step_step)
        spread = np.where(sound, 1 / np.where(sound, left, 1.0), HOPELESS)
        size = np.where(sound, (after_y - right * y - slope * (ty - t * y / count)) * spread, 0.0)
        return size, spread

    def copy(self) -> Sums:
        """Return the same sums, to take steps out of."""
        other = copy(self)
        other._sums = self._sums.copy()
        return other

    def take_out(self, place: int, size: float) -> None:
        """Take a step out of the values."""
        self._sums[2, place:] -= size * np.arange(self._sums.shape[1] - place)
        self._sums[3, place:] -= size * (self._sums[0, place:] - self._sums[0, place])


class Look:
    """One sitting as the filter sees it; what is found is taken out of what is left."""

    def __init__(self, time_s: NDArray[np.float64], value: NDArray[np.float64]) -> None:
        self._count = value.size
        self._noise = difference_noise(value)
        self._places = np.arange(value.size + 1)
        self._wide = wide_at_gaps(time_s)
        self._whole = Sums(time_s, value)
        self._left = self._whole.copy()
        self._seen: dict[int, float] = {}

    def candidates(self, sure: float, least: float) -> list[int]:
        """Return the places at which the level may have jumped, in order: windows for `sure` first, then wide ones.

        Args:
            sure: the size for which the shortest window is made.
            least: the least size that is looked for.
        """
        if self._count < 2 * LEAST_SIDE:
            return []
        longest = max(min(LONG_HALF, self._count // 4), SHORT_HALF)
        wide = max(self._best_half(least, longest), min(FIT_HALF, longest))
        usual = self._best_half(sure, longest)
        # large steps close to each other stand clear in a shorter window too
        halves = (
            {max(usual // SHORTER, SHORT_HALF), usual, wide} if usual > SHORTER * SHORT_HALF // 2 else {usual, wide}
        )
        found: list[int] = []
        for half in sorted(halves):
            where = self._places
            noise = self._noise_at(half)
            for _ in range(ROUNDS):
                new = self._peaks(where, half, noise, least, found)
                found += new
                if not new or len(found) >= MOST_PLACES:
                    break
                # nothing changed elsewhere
                where = np.flatnonzero(near(new, 3 * half, self._count))
        return sorted(found[:MOST_PLACES])

    def standing(self, found: list[int], least: float) -> tuple[list[int], NDArray[np.float64]]:
        """Return the places whose step stands up to a fit between its neighbours, and the sizes of those fits.

        The weakest is dropped and its neighbours are fitted again, until all stand.

        Args:
            found: places in order.
            least: the least size that is looked for.
        """
        while found:
            place = np.asarray(found)
            reach = np.maximum(FIT_HALF, self._wide[place])
            low = np.maximum(np.concatenate(([0], place[:-1])), place - reach)
            high = np.minimum(np.append(place[1:], self._count), place + reach)
            size, spread = self._whole.jumps(place, low, high)
            height = np.abs(size) / np.maximum(LOOSE * least, SIGMAS * self._noise * np.sqrt(spread))
            worst = int(np.argmin(height))
            if height[worst] >= 1.0:
                return found, size
            found = found[:worst] + found[worst + 1 :]
        return [], np.empty(0)

    def _jumps(self, where: NDArray[np.intp], half: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        reach = np.maximum(half, self._wide[where])
        return self._left.jumps(where, np.maximum(where - reach, 0), np.minimum(where + reach, self._count))

    def _noise_at(self, half: int) -> float:
        """Return the noise of one bin as the filter sees it, blind to a few steps."""
        if self._count < MEASURED * half:
            return self._noise
        if half not in self._seen:
            size, spread = self._jumps(self._places[:: max(self._count // SAMPLED, 1)], half)
            self._seen[half] = float(np.median(np.abs(size) / np.sqrt(spread))) / MAD_OF_ONE_SIGMA
        return self._seen[half]

    def _best_half(self, least: float, longest: int) -> int:
        """Return the shortest half width at which the least size stands clear, or the one at which most do.

        In white noise the variance of a step is 8 σ²/half.
        """
        half = longest
        if least > 0.0:
            wanted = math.ceil(8 * (SIGMAS * self._noise / (LOOSE * least)) ** 2)
            half = min(max(wanted, SHORT_HALF), longest)
        best, lowest = half, math.inf
        while True:
            clear = SIGMAS * self._noise_at(half) * math.sqrt(8 / half)
            if clear < lowest:
                best = half
            if clear <= LOOSE * least or clear > lowest or half >= longest:
                return best
            lowest = min(clear, lowest)
            half = min(2 * half, longest)

    def _peaks(self, where: NDArray[np.intp], half: int, noise: float, least: float, known: list[int]) -> list[int]:
        """Return the places that stand clear, none within `half` of a larger one; take their steps out."""
        size, spread = self._jumps(where, half)
        height = np.abs(size)
        clear = np.flatnonzero((height >= LOOSE * least) & (height >= SIGMAS * noise * np.sqrt(spread)))
        clear = clear[np.argsort(-height[clear] / np.sqrt(spread[clear]), kind="stable")]
        if known:
            clear = clear[~near(known, half // 2 + 1, self._count)[where[clear]]]
        chosen: list[int] = []
        while clear.size and len(chosen) < MOST_PLACES:
            best = int(where[clear[0]])
            self._left.take_out(best, float(size[clear[0]]))
            chosen.append(best)
            clear = clear[np.abs(where[clear] - best) > half]
        return chosen


def wide_at_gaps(time_s: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return for each place how far a window must reach to see across the gap at it, in bins; 0 where there is none."""
    apart = np.diff(time_s, prepend=time_s[0], append=time_s[-1])
    usual = max(float(np.median(apart)), 1e-6)
    return np.where(apart > GAP_BINS * usual, np.ceil(GAP_REACH * apart / usual), 0.0).astype(np.intp)


def near(places: list[int], apart: int, last: int) -> NDArray[np.bool_]:
    """Return which of the places from 0 to `last` lie within `apart` of one of `places`, shape (last + 1,)."""
    mask = np.zeros(last + 1, dtype=np.bool_)
    for place in places:
        mask[max(place - apart, 0) : place + apart + 1] = True
    return mask
