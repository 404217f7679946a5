"""A session explained afterwards: its steps, its creep, when it came to rest, and its noise.

Here: bringing the parts together, and the fitted curve. Not here: the parts (`bins`, `steps`, `creep`, `wander`,
`noise`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.bins import Bins, binned, held_bins
from gaugelog.analysis.creep import Creep, Settling, Trend, choose, columns_of, rest_s
from gaugelog.analysis.dither import left_unseen, noise_chances
from gaugelog.analysis.noise import difference_noise, digits_u, wild
from gaugelog.analysis.results import Gap
from gaugelog.analysis.steps import Found, Step, find_steps, moment_of
from gaugelog.analysis.wander import Blocks

LEAST_READINGS = 8
COARSE_BLOCKS = 200
LEAST_BLOCK_S = 10.0
FIRST_BLOCK = 2
NOISE_S = 30.0
NOISE_READINGS = 8
STEP_SIGMAS = 4.0
LEAST_DIGITS = 1.5
# a gauge whose noise shows what is between two digits also shows jumps below them: they belong to the curve, untold
SEEN_DIGITS, SEEN_UNSEEN = 0.6, 0.16
COVER_95 = 1.959963984540054
FLOOR_DIGITS = 1e-3


@dataclass(frozen=True, slots=True)
class Curve:
    """The fitted curve: level + Σ jumps + creep + slope · t; t in s from `origin_us`.

    `jump_s` and `jump` are all jumps, those over long gaps too, which are no steps. `centre` are the columns' means
    over the readings, `covariance` that of jumps and trend, `level_u` that of the mean, digits and noise.
    """

    origin_us: int
    level: float
    jump_s: tuple[float, ...]
    jump: tuple[float, ...]
    slope_per_s: float | None
    settling: Settling | None
    creep_size: float
    centre: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    level_u: float


@dataclass(frozen=True, slots=True)
class Explained:
    """What a session did: steps in order of time, creep, rest (UTC microseconds); None where there is none to tell.

    `noise` is the standard deviation of one reading about its level in the base unit, `rejected` the single wild
    readings left out, `wander` the standard deviation of the slow wander after an hour. `curve` is None with too few
    readings to explain.
    """

    steps: tuple[Step, ...]
    creep: Creep | None
    rest_at_us: int | None
    noise: float
    rejected: int
    wander: float = 0.0
    curve: Curve | None = None


def _blocks(bins: Bins, found: Found, edges: Sequence[int]) -> tuple[Blocks, NDArray[np.intp]]:
    """Return blocks of bins: short next to a step, growing away from it; and each block's first bin."""
    length = float(bins.time_s[-1] - bins.time_s[0])
    coarse = max(LEAST_BLOCK_S, length / COARSE_BLOCKS)
    most = max(round(coarse / max(bins.spacing_s, 1.0)), 1)
    guard = 1 if bins.spacing_s < 2.0 else 0
    jumps = {int(each) for each in found.place}
    begins: list[int] = []
    ends: list[int] = []
    for low, high in pairwise(edges):
        start = low + (guard if low in jumps else 0)
        stop = high - (guard if high in jumps else 0)
        lengths = _graded(stop - start, most, low in jumps, high in jumps)
        cuts = start + np.concatenate(([0], np.cumsum(lengths))).astype(np.intp)
        begins += cuts[:-1].tolist()
        ends += cuts[1:].tolist()
    keep = ~found.hidden
    sums = [
        np.concatenate(([0.0], np.cumsum(np.where(keep, each, 0.0))))
        for each in (bins.weight, bins.weight * bins.value, bins.weight * bins.time_s)
    ]
    begin, end = np.asarray(begins, dtype=np.intp), np.asarray(ends, dtype=np.intp)
    weight, total, moment = (each[end] - each[begin] for each in sums)
    some = weight > 0
    begin, end, weight = begin[some], end[some], weight[some]
    span = np.where(end - begin > 1, bins.time_s[end - 1] - bins.time_s[begin] + min(bins.spacing_s, 1.0), 0.0)
    span = np.where((end - begin == 1) & (bins.weight[begin] > 1), 1.0, span)
    return Blocks(moment[some] / weight, span, total[some] / weight, weight), begin


def _graded(count: int, most: int, from_left: bool, from_right: bool) -> list[int]:
    """Return lengths of blocks that fill `count` bins: growing from the sides where a step is, never above `most`."""
    left: list[int] = []
    right: list[int] = []
    room = count
    size = min(FIRST_BLOCK, most)
    while size < most and room > 2 * size:
        if from_left:
            left.append(size)
            room -= size
        if from_right and room >= size:
            right.append(size)
            room -= size
        if not (from_left or from_right):
            break
        size *= 2
    parts = max(math.ceil(room / most), 1) if room > 0 else 0
    middle = [room // parts + (1 if i < room % parts else 0) for i in range(parts)]
    return left + middle + right[::-1]


@dataclass(frozen=True, slots=True, eq=False)
class _Stretches:
    """Half minutes of a session (eight readings at least), none across a step: readings, mean and variance of each."""

    count: NDArray[np.float64]
    mean: NDArray[np.float64]
    variance: NDArray[np.float64]

    @property
    def noise(self) -> float:
        """Pooled standard deviation of one reading."""
        degrees = float((self.count - 1).sum())
        return math.sqrt(float(((self.count - 1) * self.variance).sum()) / degrees) if degrees > 0 else 0.0

    def quieter(self) -> _Stretches:
        """Return all but the noisiest fifth, in which steps may be that aren't known yet."""
        keep = self.variance <= np.quantile(self.variance, 0.8) if self.variance.size else np.ones(0, dtype=np.bool_)
        return _Stretches(self.count[keep], self.mean[keep], self.variance[keep])

    def rounding(self, steps: tuple[float, ...]) -> float:
        """Return what the digits leave unseen in the difference of two levels."""
        loud = self.count.size == 0 or float(np.median(self.variance)) > steps[0] ** 2
        if loud or len(steps) > 1:
            return digits_u(self.noise**2, steps)
        digit = steps[0]
        return left_unseen(noise_chances(self.mean / digit, self.variance / digit**2, self.count), digit)


def _stretches(bins: Bins, hidden: NDArray[np.bool_], edges: Sequence[int]) -> _Stretches:
    per_bin = max(float(np.median(bins.weight)), 1.0)
    group = max(math.ceil(NOISE_READINGS / per_bin), round(NOISE_S / max(bins.spacing_s, 1.0)), 1)
    first = np.concatenate([np.arange(low, high, group) for low, high in pairwise(edges)]).astype(np.intp)
    weight = np.where(hidden, 0.0, bins.weight)
    count = np.add.reduceat(weight, first)
    total = np.add.reduceat(weight * bins.value, first)
    square = np.add.reduceat(weight * bins.value**2 + np.where(hidden, 0.0, bins.squares), first)
    some = count > 1.5
    count, total, square = count[some], total[some], square[some]
    return _Stretches(count, total / count, np.maximum(square - total**2 / count, 0.0) / (count - 1))


def explain(
    utc_us: NDArray[np.int64],
    value: NDArray[np.float64],
    steps: tuple[float, ...],
    *,
    gaps: Sequence[Gap] = (),
    rest_rate_per_day: float,
    holds: bool = False,
    end_us: int | None = None,
) -> Explained:
    """Return what a series did over a session.

    Formula: see `find_steps` for where it jumped and `choose` for creep. One fit of generalised least squares gives
    all sizes with their covariance, over block means that are short next to a step and long elsewhere, under white
    noise and a random walk whose shares the readings tell. To a size's variance comes what the digits leave in the
    difference of two means (`quantiser_u`). Steps are told from 1.5 digits and 4 standard uncertainties on.

    When this is wrong: as in those; noise at the gauge's own frequency that one-second means alias.

    Args:
        utc_us: shape (n,), sorted.
        value: shape (n,), finite, in the base unit.
        steps: the digits of the readings that enter a value: one, or two for a difference.
        gaps: in which an on-change gauge's value doesn't stand.
        rest_rate_per_day: what counts as rest, in the base unit per day.
        holds: whether a value stands until the next (a gauge that sends on change).
        end_us: until when the last value of such a gauge stood; its own time where not given.

    Raises:
        ValueError: times and values differ in length, or times are not sorted, or there is no digit.
    """
    if utc_us.shape != value.shape or utc_us.ndim != 1:
        raise ValueError("times and values are one-dimensional and of one length")
    if not steps or min(steps) < 0:
        raise ValueError("a value is made of at least one reading, each with its digit")
    if utc_us.size and bool((utc_us[1:] < utc_us[:-1]).any()):
        raise ValueError("readings are sorted by time")
    digit = max(steps)
    odd = np.empty(0, dtype=np.intp) if holds else wild(value, digit)
    if odd.size:
        utc_us, value = np.delete(utc_us, odd), np.delete(value, odd)
    if utc_us.size == 0:
        return Explained((), None, None, 0.0, 0)
    bins = held_bins(utc_us, value, end_us or int(utc_us[-1]), gaps) if holds else binned(utc_us, value)
    if bins.size < LEAST_READINGS:
        return Explained((), None, None, difference_noise(value), int(odd.size))
    unseen = _stretches(bins, np.zeros(bins.size, dtype=np.bool_), bins.sittings).quieter().rounding(steps)
    seen = unseen <= SEEN_UNSEEN * math.hypot(*steps)
    found = find_steps(bins, LEAST_DIGITS * digit, digit * (SEEN_DIGITS if seen else LEAST_DIGITS))
    while True:
        told, weak = _explained(bins, found, steps, rest_rate_per_day, int(odd.size), utc_us, value, holds)
        if weak is None:
            return told
        found = replace(found, place=np.delete(found.place, weak))


def _explained(
    bins: Bins,
    found: Found,
    steps: tuple[float, ...],
    rest_rate_per_day: float,
    rejected: int,
    utc_us: NDArray[np.int64],
    value: NDArray[np.float64],
    holds: bool,
) -> tuple[Explained, int | None]:
    digit = max(steps)
    edges = sorted({*bins.sittings, *(int(each) for each in found.place)})
    stretches = _stretches(bins, found.hidden, edges)
    noise, rounding = stretches.noise, stretches.rounding(steps)
    blocks, begin = _blocks(bins, found, edges)
    jumps = edges[1:-1]
    columns = (begin[:, None] >= np.asarray(jumps, dtype=np.intp)[None, :]).astype(np.float64)
    moments = [
        moment_of(bins, place, utc_us, value, holds=holds)
        if place in found.place
        else bins.origin_us + round(1e6 * float(bins.time_s[place - 1] + bins.time_s[place]) / 2)
        for place in jumps
    ]
    jump_s = [(each - bins.origin_us) / 1e6 for each in moments]
    floor = (FLOOR_DIGITS * digit) ** 2
    trend = choose(blocks, columns, jump_s, floor)
    told = []
    weakest, weak = 1.0, None
    for k, place in enumerate(jumps):
        if place not in found.place:
            continue
        size, u = float(trend.fitted.value[k]), math.sqrt(max(float(trend.fitted.covariance[k, k]), 0.0))
        strength = abs(size) / max(found.least * (1 - 1e-9), STEP_SIGMAS * u)
        if strength < weakest:
            weakest, weak = strength, int(np.flatnonzero(found.place == place)[0])
        if abs(size) >= LEAST_DIGITS * digit * (1 - 1e-9):
            told.append(Step(moments[k], size, math.hypot(u, rounding)))
    if weak is not None:
        return Explained((), None, None, noise, rejected), weak
    last = max([jump_s[k] for k, place in enumerate(jumps) if place in found.place], default=0.0)
    rest = rest_s(blocks, trend, len(jumps), last, rest_rate_per_day, rounding, floor)
    result = Explained(
        tuple(told),
        _creep(trend, len(jumps), bins.origin_us, rounding),
        None if rest is None else bins.origin_us + round(rest * 1e6),
        noise,
        rejected,
        math.sqrt(max(trend.fitted.walk, 0.0) * 3600.0),
        _curve(bins, blocks, columns, jump_s, trend, rounding),
    )
    return result, None


def _creep(trend: Trend, base: int, origin_us: int, rounding: float) -> Creep | None:
    if trend.settling is None:
        return None
    u = math.sqrt(max(float(trend.fitted.covariance[base, base]), 0.0))
    start = origin_us + round(trend.settling.start_s * 1e6)
    return Creep(float(trend.fitted.value[base]), trend.settling.tau_s, math.hypot(u, rounding), start)


def _curve(
    bins: Bins,
    blocks: Blocks,
    jumps: NDArray[np.float64],
    jump_s: list[float],
    trend: Trend,
    rounding: float,
) -> Curve:
    base, value = len(jump_s), trend.fitted.value
    size = float(value[base]) if trend.settling is not None else 0.0
    slope = float(value[-1]) if trend.line else 0.0
    columns = np.column_stack((jumps, columns_of(blocks.time_s, trend.settling, size, trend.line)))
    centre = np.average(columns, axis=0, weights=blocks.weight)
    mean = float(np.average(blocks.value, weights=blocks.weight))
    told = float(centre[:base] @ value[:base]) + (size * float(centre[base]) if size else 0.0)
    told += slope * float(centre[-1]) if trend.line else 0.0
    return Curve(
        bins.origin_us,
        bins.offset + mean - told,
        tuple(jump_s),
        tuple(float(each) for each in value[:base]),
        slope if trend.line else None,
        trend.settling,
        size,
        tuple(float(each) for each in centre),
        tuple(tuple(float(each) for each in row) for row in trend.fitted.covariance),
        math.sqrt(max(trend.fitted.white / float(blocks.weight.sum()), 0.0) + rounding**2 / 2),
    )


def fitted(explained: Explained, utc_us: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the fitted curve at given times, and the half width of its 95 % band, both of shape (n,).

    Formula: with c the columns at t less their mean over the readings, the curve is mean + c·b and its variance
    cᵀ C c + that of the mean. The band is of the curve, not of readings about it; wander is told apart.

    Raises:
        ValueError: there is no curve.
    """
    curve = explained.curve
    if curve is None:
        raise ValueError("too few readings for a curve")
    time_s = (utc_us - curve.origin_us) / 1e6
    jumps = (time_s[:, None] >= np.asarray(curve.jump_s)[None, :]).astype(np.float64)
    trend = columns_of(time_s, curve.settling, curve.creep_size, curve.slope_per_s is not None)
    value = curve.level + jumps @ np.asarray(curve.jump)
    if curve.slope_per_s is not None:
        value = value + curve.slope_per_s * time_s
    if curve.settling is not None:
        value = value + curve.creep_size * trend[:, 0]
    apart = np.column_stack((jumps, trend)) - np.asarray(curve.centre)
    variance = ((apart @ np.asarray(curve.covariance).reshape(apart.shape[1], -1)) * apart).sum(axis=1)
    return value, COVER_95 * np.sqrt(np.maximum(variance, 0.0) + curve.level_u**2)
