"""A gauge left alone: how long it warms up, how it wanders, how long averaging helps, and its digit.

Here: one undisturbed run of readings. Not here: a clamp session, in which something else moves too (`explained`);
placements (`gauge_repeat`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.bins import Bins, binned, held_bins
from gaugelog.analysis.creep import choose
from gaugelog.analysis.describe import describe, effective_size
from gaugelog.analysis.gaps import silence_limit_us
from gaugelog.analysis.gauge_allan import AllanPoint, allan_points, helps_until
from gaugelog.analysis.gauge_figures import Figure, StepsSeen, checked_resolution, figure, finite_array, steps_seen
from gaugelog.analysis.noise import wild
from gaugelog.analysis.stretches import stretches_of
from gaugelog.analysis.wander import Blocks, fit

LEAST_READINGS = 20
# blocks that the warm-up and the wander are read from, and how many a fit needs
BLOCKS, LEAST_BLOCKS = 60, 8
LATEST_SETTLED = 2 / 3
UNEVEN = 0.2
MOST_FILLED = 0.01
HOUR_S = 3600.0
FLOOR_DIGITS = 1e-3

NOT_SETTLED = "the gauge hadn't settled by the end: let it run longer"
SHORT = "less than an hour after the warm-up: slow wander may not have shown"
ONE_DIGIT = "every reading is the same: the digit hides whatever the gauge does"
TWO_DIGITS = "the readings show two digits only: the digit makes most of what is told of noise and averaging"
FILLED = "every reading, evenly spaced but for a few missing ones, each taken between its neighbours"
STILL_FALLING = "averaging still helped at the longest time that the run can tell: let it run longer"
EVEN = "every reading, evenly spaced"
MEANS = "means over equal times, since the readings are not evenly spaced"
HELD = "means over equal times, each value standing until the next"
GAPS = "the run has gaps: averaging is read from its longest stretch without one"


@dataclass(frozen=True, slots=True)
class Rest:
    """What an undisturbed run says, in the base unit, times in seconds from its first reading.

    `warm_up_s` is when the gauge came within its digit of the end: 0 where it didn't warm up, None where it hadn't
    settled by two thirds of the run. `warm_up_rise` is how far it went while it settled. `settled_s` is from when on
    the rest is read. `rate_per_hour` is a straight drift; `wander_per_root_hour` the standard deviation of the random
    walk after an hour (None: too short to tell). `noise` is the standard deviation of one reading about its level.
    `allan` is the overlapping Allan deviation, made of `averaged` (one every `averaged_period_s`); `best` its smallest
    and `best_tau_s` at what averaging time: how long averaging helps (`helps_until`). `rejected` counts single wild
    readings left out. `n_eff` is how many independent readings the settled run is worth for its mean (None: fewer than
    two). `quantised`: at most two digits show.
    """

    n: int
    rejected: int
    span_s: float
    period_s: float | None
    gaps: int
    resolution: float
    seen: StepsSeen
    quantised: bool
    warm_up_s: float | None
    warm_up_rise: float
    settled_s: float
    mean: float
    sd: float
    noise: float
    n_eff: float | None
    rate_per_hour: Figure | None
    wander_per_root_hour: float | None
    averaged: str
    averaged_period_s: float | None
    averaged_from_s: float | None
    averaged_n: int
    allan: tuple[AllanPoint, ...]
    best: float | None
    best_tau_s: float | None
    warnings: tuple[str, ...] = ()


def rest(utc_us: NDArray[np.int64], value: NDArray[np.float64], resolution: float, *, holds: bool = False) -> Rest:
    """Return what a gauge does that is left alone.

    Formula. Warm-up: the level settles from the first reading on, size (1 - exp(-t/τ)), where the readings call for
    that against a level or a line under noise and wander (`creep.choose`, over means of a sixtieth of the run, eight
    readings at least); it ends where what is left until the end of the run is a digit. What would go on settling by
    more than a digit after the end hasn't settled. Rate and wander, from there on: a straight line through block means
    by generalised least squares, under white noise and a random walk whose share the readings tell (`wander.fit`); u of
    the rate holds both. Averaging: the overlapping Allan deviation (`allan_points`) over the longest stretch without a
    gap (a silence beyond max(2 s, 5 periods)). Readings whose distances are within a fifth of their median count as
    evenly spaced, and up to one in a hundred missing is taken between its neighbours; others are averaged over the
    longest distance of two, so that no mean is empty; of a gauge that sends on change each value stands until the next,
    and means are over seconds. n_eff as `effective_size`.
    Source: NIST SP 1065, 5.2.4; the rest as in the functions named.

    When this is wrong: a run in which something else moved (a bench leant on, sun on the surface); a run that isn't
    much longer than the warm-up; a warm-up that is no exponential, or shorter than a thirtieth of the run; wander that
    isn't a random walk, such as a workshop's daily swing, which a run of an hour takes for a straight drift. Means over
    equal times hide the noise between them. Where two digits show or one, noise and averaging tell of the digit: a
    gauge that shows one digit only has no noise to average, and yet is wrong by up to half a digit for good.

    Args:
        utc_us: shape (n,), sorted, microseconds; n from 20.
        value: shape (n,), finite, base unit.
        resolution: the digit r; 0 takes the one that shows.
        holds: whether a value stands until the next (a gauge that sends on change).

    Raises:
        ValueError: unequal lengths, unsorted times, something not finite, fewer than 20 readings, no time in them, or a
            digit below 0.
    """
    times, values = np.asarray(utc_us, dtype=np.int64), finite_array(value, "readings")
    digit = checked_resolution(resolution)
    if times.shape != values.shape:
        raise ValueError("each reading has its time")
    if times.size < LEAST_READINGS or times[-1] <= times[0]:
        raise ValueError("a run takes twenty readings at least, over some time")
    if bool((np.diff(times) < 0).any()):
        raise ValueError("readings are sorted by time")
    odd = np.empty(0, dtype=np.intp) if holds else wild(values, digit)
    times, values = np.delete(times, odd), np.delete(values, odd)
    seen = steps_seen(values)
    r = digit or seen.common or 0.0
    seconds = (times - times[0]) / 1e6
    bins = held_bins(times, values, int(times[-1])) if holds else binned(times, values)
    blocks = _blocks(bins)
    warming = _warm_up(blocks, r)
    warm_up_s = warming.settled_s
    settled_s = warm_up_s if warm_up_s is not None else float(seconds[-1]) * LATEST_SETTLED
    after = seconds >= settled_s
    later = Blocks(
        *(each[blocks.time_s >= settled_s] for each in (blocks.time_s, blocks.span_s, blocks.value, blocks.weight))
    )
    rate, walk = _wander(later, r)
    run = _averaged(times[after], values[after], holds=holds)
    points = allan_points(run.value, run.period_s) if run.period_s is not None else ()
    best = helps_until(points)
    settled = describe(values[after])
    quantised = seen.distinct <= 2
    short = float(seconds[-1]) - settled_s < HOUR_S
    falling = best is not None and best in points[-3:] and points[-1].deviation < best.deviation
    falling = falling or (best is points[-1] if len(points) > 1 and best is not None and best.deviation > 0 else False)
    warnings = [NOT_SETTLED] if warm_up_s is None else []
    warnings += [SHORT] if short else []
    warnings += [ONE_DIGIT] if seen.distinct == 1 else [TWO_DIGITS] if quantised else []
    warnings += [STILL_FALLING] if falling else []
    warnings += [GAPS] if run.gaps else []
    return Rest(
        n=int(values.size),
        rejected=int(odd.size),
        span_s=float(seconds[-1]),
        period_s=float(np.median(np.diff(seconds))) or None,
        gaps=run.gaps,
        resolution=digit,
        seen=seen,
        quantised=quantised,
        warm_up_s=warm_up_s,
        warm_up_rise=warming.rise,
        settled_s=settled_s,
        mean=float(settled.mean or 0.0),
        sd=float(settled.sd or 0.0) if seen.distinct > 1 else 0.0,
        noise=stretches_of(bins, bins.sittings).quieter().noise if seen.distinct > 1 else 0.0,
        n_eff=effective_size(run.value),
        rate_per_hour=rate,
        wander_per_root_hour=walk,
        averaged=run.how,
        averaged_period_s=run.period_s,
        averaged_from_s=None if run.first_us is None else (run.first_us - int(times[0])) / 1e6,
        averaged_n=int(run.value.size),
        allan=points,
        best=None if best is None else best.deviation,
        best_tau_s=None if best is None else best.tau_s,
        warnings=tuple(warnings),
    )


def _blocks(bins: Bins) -> Blocks:
    """Return means over a sixtieth of the run, eight readings at least; values less nothing."""
    weight, held = bins.weight, bins.weight * (bins.value + bins.offset)
    length = float(bins.time_s[-1] - bins.time_s[0])
    usual = max(float(np.median(weight)), 1.0)
    span = max(length / BLOCKS, 8 / usual * bins.spacing_s, 1e-6)
    place = np.minimum((bins.time_s - bins.time_s[0]) // span, max(length // span - 1, 0)).astype(np.intp)
    first = np.concatenate(([0], np.flatnonzero(np.diff(place)) + 1))
    last = np.append(first[1:], bins.size) - 1
    count = np.add.reduceat(weight, first)
    middle = np.add.reduceat(weight * bins.time_s, first) / count
    return Blocks(middle, bins.time_s[last] - bins.time_s[first], np.add.reduceat(held, first) / count, count)


@dataclass(frozen=True, slots=True)
class _Warming:
    """How the level settled: size (1 - exp(-t/tau)); `rise` is how far it went in the run."""

    settled_s: float | None
    rise: float


def _warm_up(blocks: Blocks, digit: float) -> _Warming:
    """Return how the gauge warmed up, if its readings call for it against plain wander."""
    if blocks.size < LEAST_BLOCKS:
        return _Warming(0.0, 0.0)
    trend = choose(blocks, np.empty((blocks.size, 0)), [], (FLOOR_DIGITS * digit) ** 2)
    if trend.settling is None or trend.settling.free_start:
        return _Warming(0.0, 0.0)
    start, tau, size = trend.settling.start_s, trend.settling.tau_s, float(trend.fitted.value[0])
    end = float(blocks.time_s[-1] + blocks.span_s[-1] / 2)
    left = math.exp(-(end - start) / tau)
    rise = size * (1 - left)
    if abs(size) * left > digit:
        return _Warming(None, rise)
    share = left + digit / abs(size) if size else 1.0
    settled = start - tau * math.log(share) if share < 1 else 0.0
    return _Warming(settled if settled <= LATEST_SETTLED * end else None, rise)


def _wander(blocks: Blocks, digit: float) -> tuple[Figure | None, float | None]:
    """Return the straight drift an hour, and the random walk's standard deviation after an hour."""
    if blocks.size < LEAST_BLOCKS:
        return None, None
    floor = (FLOOR_DIGITS * digit) ** 2
    if float(np.ptp(blocks.value)) == 0.0:
        length = float(blocks.time_s[-1] - blocks.time_s[0]) / HOUR_S
        return figure(0.0, digit / math.sqrt(6) / length), 0.0
    found = fit(blocks, blocks.time_s[:, None] - float(blocks.time_s.mean()), floor)
    length = float(blocks.time_s[-1] - blocks.time_s[0])
    variance = float(found.covariance[0, 0]) + digit**2 / 6 / length**2
    rate = figure(float(found.value[0]) * HOUR_S, math.sqrt(variance) * HOUR_S, float(blocks.size - 2))
    return rate, math.sqrt(max(found.walk, 0.0) * HOUR_S)


@dataclass(frozen=True, slots=True, eq=False)
class _Run:
    """Evenly spaced values: the readings themselves or means, how they were made, and the gaps in the whole."""

    value: NDArray[np.float64]
    period_s: float | None
    how: str
    first_us: int | None
    gaps: int


def _averaged(times: NDArray[np.int64], values: NDArray[np.float64], *, holds: bool) -> _Run:
    """Return the longest stretch without a gap, evenly spaced."""
    if holds:
        bins = held_bins(times, values, int(times[-1]))
        return _Run(bins.value + bins.offset, bins.spacing_s, HELD, int(times[0]), 0)
    limit = silence_limit_us(times)
    cuts = np.flatnonzero(np.diff(times) > limit) + 1 if limit is not None else np.empty(0, dtype=np.intp)
    edges = np.concatenate(([0], cuts, [times.size]))
    longest = int(np.argmax(times[edges[1:] - 1] - times[edges[:-1]]))
    part = slice(int(edges[longest]), int(edges[longest + 1]))
    times, values = times[part], values[part]
    apart = np.diff(times)
    if apart.size < LEAST_BLOCKS or int(apart.max()) == 0:
        return _Run(values[:0], None, EVEN, None, int(cuts.size))
    usual = float(np.median(apart))
    if usual > 0:
        places = np.maximum(np.round(apart / usual), 1.0)
        even = float(np.abs(apart / places - usual).max()) <= UNEVEN * usual
        filled = int(places.sum()) - apart.size
        if even and filled <= MOST_FILLED * apart.size:
            at = np.concatenate(([0.0], np.cumsum(places)))
            whole = np.interp(np.arange(at[-1] + 1), at, values)
            how = FILLED if filled else EVEN
            return _Run(whole, float(apart.sum() / places.sum()) / 1e6, how, int(times[0]), int(cuts.size))
    width = int(apart.max())
    place = (times - times[0]) // width
    first = np.concatenate(([0], np.flatnonzero(np.diff(place)) + 1))
    count = np.diff(np.append(first, times.size))
    means = np.add.reduceat(values - values[0], first) / count + values[0]
    # the last one may be cut short
    return _Run(means[:-1], width / 1e6, MEANS, int(times[0]), int(cuts.size))
