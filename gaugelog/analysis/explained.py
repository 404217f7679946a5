"""A session explained afterwards: its steps, its creep, when it came to rest, and its noise.

Here: bringing the parts together, and the fitted curve.
Not here: the parts (`bins`, `stretches`, `steps`, `wander`, `creep`, `noise`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.bins import Bins, binned, held_bins
from gaugelog.analysis.creep import Creep, Settling, Trend, choose, columns_of, rest_s
from gaugelog.analysis.noise import difference_noise, wild
from gaugelog.analysis.results import Gap
from gaugelog.analysis.steps import Found, Step, find_steps, moment_of
from gaugelog.analysis.stretches import Stretches, blocks_of, stretches_of
from gaugelog.analysis.wander import Blocks

LEAST_READINGS = 8
LEAST_BLOCKS = 4
STEP_SIGMAS = 4.0
LEAST_DIGITS = 1.5
# a gauge whose noise shows what is between two digits also shows jumps below them: they belong to the curve, untold
SEEN_DIGITS, SEEN_UNSEEN = 0.6, 0.16
COVER_95 = 1.959963984540054
# a gauge that never flickers is not taken for a perfect one
FLOOR_DIGITS = 1e-3
ROUNDED = 1 - 1e-9


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
    odd = np.empty(0, dtype=np.intp) if holds else wild(value, max(steps))
    if odd.size:
        utc_us, value = np.delete(utc_us, odd), np.delete(value, odd)
    if utc_us.size == 0:
        return Explained((), None, None, 0.0, 0)
    bins = held_bins(utc_us, value, end_us or int(utc_us[-1]), gaps) if holds else binned(utc_us, value)
    if bins.size < LEAST_READINGS:
        return Explained((), None, None, difference_noise(value), int(odd.size))
    found = _looked_for(bins, steps)
    moments = {int(place): moment_of(bins, int(place), utc_us, value, holds=holds) for place in found.place}
    while True:
        session = _Session(bins, found, moments, steps)
        weak = session.weak()
        if weak.size == 0:
            return replace(session.explained(rest_rate_per_day), rejected=int(odd.size))
        found = replace(found, place=np.delete(found.place, weak))


def _looked_for(bins: Bins, steps: tuple[float, ...]) -> Found:
    """Return where there may be steps: down to less than a digit where the noise shows what is between two."""
    digit = max(steps)
    unseen = stretches_of(bins, bins.sittings).quieter().rounding(steps)
    seen = unseen <= SEEN_UNSEEN * math.hypot(*steps)
    return find_steps(bins, LEAST_DIGITS * digit, digit * (SEEN_DIGITS if seen else LEAST_DIGITS))


class _Session:
    """A session fitted with the steps that were found."""

    def __init__(self, bins: Bins, found: Found, moments: dict[int, int], steps: tuple[float, ...]) -> None:
        self._bins, self._found = bins, found
        self._digit = max(steps)
        self._floor = (FLOOR_DIGITS * self._digit) ** 2
        cuts = sorted({*bins.sittings, *found.place.tolist()})
        self._stretches: Stretches = stretches_of(bins, cuts, found.hidden)
        self._rounding = self._stretches.rounding(steps)
        self._blocks, begin = blocks_of(bins, cuts, found.place, found.hidden)
        # a long gap is a jump of its own, of which nothing is told
        jumps = cuts[1:-1]
        self._moment = [moments.get(place) or self._middle_of_gap(place) for place in jumps]
        self._jump_s = [(each - bins.origin_us) / 1e6 for each in self._moment]
        self._told = [k for k, place in enumerate(jumps) if place in moments]
        self._jumps = (begin[:, None] >= np.asarray(jumps, dtype=np.intp)).astype(np.float64)
        self._trend: Trend | None = None
        if self._blocks.size >= max(LEAST_BLOCKS, len(jumps) + 3):
            self._trend = choose(self._blocks, self._jumps, self._jump_s, self._floor, self._rounding)

    def _middle_of_gap(self, place: int) -> int:
        return self._bins.origin_us + round(5e5 * float(self._bins.time_s[place - 1] + self._bins.time_s[place]))

    def _sizes(self, trend: Trend) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return size and standard uncertainty of each step, without what the digits hide."""
        u = np.sqrt(np.maximum(np.diag(trend.fitted.covariance), 0.0))
        return trend.fitted.value[self._told], u[self._told]

    def weak(self) -> NDArray[np.intp]:
        """Return the indices of steps that don't stand in the fit, at most the weaker half of those."""
        if self._trend is None:
            return np.arange(len(self._told))
        size, u = self._sizes(self._trend)
        strength = np.abs(size) / np.maximum(self._found.least * ROUNDED, STEP_SIGMAS * u)
        failing = np.flatnonzero(strength < 1.0)
        return failing[np.argsort(strength[failing])][: (failing.size + 1) // 2]

    def explained(self, rest_rate_per_day: float) -> Explained:
        """Return what the session did."""
        noise, trend = self._stretches.noise, self._trend
        if trend is None:
            return Explained((), None, None, noise, 0)
        size, u = self._sizes(trend)
        steps = tuple(
            Step(self._moment[k], float(size[i]), math.hypot(float(u[i]), self._rounding))
            for i, k in enumerate(self._told)
            if abs(size[i]) >= LEAST_DIGITS * self._digit * ROUNDED
        )
        origin_us, base = self._bins.origin_us, len(self._jump_s)
        last_s = (steps[-1].time_us - origin_us) / 1e6 if steps else 0.0
        rest = rest_s(self._blocks, trend, base, last_s, rest_rate_per_day, self._rounding, self._floor)
        return Explained(
            steps,
            _creep(trend, base, origin_us, self._rounding),
            None if rest is None else origin_us + round(rest * 1e6),
            noise,
            0,
            math.sqrt(max(trend.fitted.walk, 0.0) * 3600.0),
            _curve(self._bins, self._blocks, self._jumps, self._jump_s, trend, self._rounding),
        )


def _creep(trend: Trend, base: int, origin_us: int, rounding: float) -> Creep | None:
    if trend.settling is None:
        return None
    u = math.sqrt(max(float(trend.fitted.covariance[base, base]), 0.0))
    start_us = origin_us + round(trend.settling.start_s * 1e6)
    return Creep(float(trend.fitted.value[base]), trend.settling.tau_s, math.hypot(u, rounding), start_us)


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
    covariance = np.asarray(curve.covariance).reshape(apart.shape[1], apart.shape[1])
    variance = ((apart @ covariance) * apart).sum(axis=1)
    return value, COVER_95 * np.sqrt(np.maximum(variance, 0.0) + curve.level_u**2)
