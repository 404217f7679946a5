"""Whether a session crept, against a plain line, and when it came to rest.

Here: the shape of creep, the choice of a curve, rest. Not here: the fit under noise and wander (`wander`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.wander import SHARES, Blocks, Fit, fit, gains, solve, whiten

COARSE_SHARES = SHARES[::2]
TAUS, STARTS = 7, 16
LEAST_TAU_SHARE, MOST_TAU_SHARE = 1 / 60, 1.5
LATEST_START = 0.85
REFINEMENTS = 4
LEAST_BLOCKS = 12
MARGIN = 6.0
# a shape from the grid may still gain so much when it is refined
SLACK = 12.0
STAIRS = 8.0
SIDED_95 = 1.6448536269514722
DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Creep:
    """A level that settles: level + size (1 - exp(-(t - start)/tau)) from `start_us` on; u is of the size."""

    size: float
    tau_s: float
    u: float
    start_us: int


@dataclass(frozen=True, slots=True)
class Settling:
    """The shape of creep in seconds; `free_start` where its start was read from the readings too."""

    start_s: float
    tau_s: float
    free_start: bool

    @property
    def parameters(self) -> int:
        """How many numbers creep of this shape takes: size and tau, and a free start."""
        return 3 if self.free_start else 2


@dataclass(frozen=True, slots=True, eq=False)
class Trend:
    """What a session does apart from its steps: a line, creep, or neither; and the fit of all columns.

    Columns are the steps, then those of `columns_of`.
    """

    line: bool
    settling: Settling | None
    fitted: Fit


def shape(time_s: NDArray[np.float64], start_s: float, tau_s: float) -> NDArray[np.float64]:
    """Return 1 - exp(-(t - start)/tau), 0 before the start; any shape of `time_s`."""
    past = np.maximum(time_s - start_s, 0.0) / tau_s
    risen: NDArray[np.float64] = -np.expm1(-past)
    return risen


def columns_of(time_s: NDArray[np.float64], settling: Settling | None, size: float, line: bool) -> NDArray[np.float64]:
    """Return the trend's columns, shape (n, 0 to 4).

    Creep's shape, and the creep's slopes by ln tau and (where it is free) by the start, which carry what isn't known
    of those; last the line's time.
    """
    columns = []
    if settling is not None:
        past = np.maximum(time_s - settling.start_s, 0.0) / settling.tau_s
        left = np.exp(-past)
        columns += [1 - left, -size * past * left]
        if settling.free_start:
            columns.append(np.where(time_s > settling.start_s, -size * left / settling.tau_s, 0.0))
    if line:
        columns.append(time_s)
    return np.column_stack(columns) if columns else np.empty((time_s.size, 0))


def choose(
    blocks: Blocks, steps: NDArray[np.float64], step_s: list[float], floor: float, digits_u: float = 0.0
) -> Trend:
    """Return the curve that the readings call for beside the steps: a level, a line, or creep.

    Formula: the Bayesian information criterion, deviance + k ln n, of each curve at its own likeliest share of
    wander; creep counts its size and tau, and its start where that is neither the first reading nor a step. Creep
    must be better than the plain ones by a margin of 6 ("strong" in the usual wording).
    Source: Schwarz, Annals of Statistics 6, 1978 (from memory).

    When this is wrong: wander that happens to bend like creep; creep that has hardly begun or was nearly over.

    Args:
        blocks: of the session.
        steps: shape (n, p), the steps' columns.
        step_s: when they were.
        floor: as `wander.fit`.
        digits_u: what the digits leave in the difference of two levels; creep must have gone 8 times as far to be seen
            through the stairs that a quiet gauge makes of it.
    """
    n, base = blocks.size, steps.shape[1]
    if n < base + 4:
        return Trend(False, None, fit(blocks, steps, floor))
    white = whiten(blocks, np.column_stack((steps, blocks.time_s)))
    level, line = solve(blocks, white.first(base), floor), solve(blocks, white, floor)
    plain = min(
        (level.deviance, Trend(False, None, level)), (line.deviance + math.log(n), Trend(True, None, line)), key=_first
    )
    if n < max(LEAST_BLOCKS, base + 6):
        return plain[1]
    criterion, settling = _likeliest(blocks, steps, step_s, floor)
    if criterion + MARGIN - SLACK > plain[0]:
        return plain[1]
    crept = _refined(blocks, steps, settling, floor)
    if crept is None or crept[0] + MARGIN >= plain[0]:
        return plain[1]
    settling = crept[1].settling or settling
    gone = float(shape(blocks.time_s[-1:], settling.start_s, settling.tau_s)[0]) * abs(crept[1].fitted.value[base])
    return crept[1] if gone >= STAIRS * digits_u else plain[1]


def _first(pair: tuple[float, Trend]) -> float:
    return pair[0]


def _grid(blocks: Blocks, step_s: list[float]) -> list[Settling]:
    """Return the shapes that are tried: from the first reading, from each step, and from moments between."""
    begin = float(blocks.time_s[0] - blocks.span_s[0] / 2)
    length = float(blocks.time_s[-1]) - begin
    widest = float(np.median(np.diff(blocks.time_s)))
    taus = np.geomspace(max(length * LEAST_TAU_SHARE, 2 * widest), length * MOST_TAU_SHARE, TAUS)
    latest = begin + LATEST_START * length
    fixed = [begin] + [each for each in step_s if each < latest]
    free = np.linspace(begin, latest, STARTS + 1)[1:]
    return [Settling(start, float(tau), False) for start in fixed for tau in taus] + [
        Settling(float(start), float(tau), True) for start in free for tau in taus
    ]


def _likeliest(blocks: Blocks, steps: NDArray[np.float64], step_s: list[float], floor: float) -> tuple[float, Settling]:
    """Return the criterion of the best shape tried, and that shape."""
    tried = _grid(blocks, step_s)
    past = blocks.time_s[:, None] - np.array([each.start_s for each in tried])
    shapes = -np.expm1(-np.maximum(past, 0.0) / np.array([each.tau_s for each in tried]))
    white = whiten(blocks, np.column_stack((steps, shapes)), COARSE_SHARES)
    gained, without = gains(white, steps.shape[1], floor)
    penalty = np.array([each.parameters for each in tried]) * math.log(blocks.size)
    criterion = (without[:, None] - gained).min(axis=0) + penalty
    best = int(np.argmin(criterion))
    return float(criterion[best]), tried[best]


def _refined(
    blocks: Blocks, steps: NDArray[np.float64], settling: Settling, floor: float
) -> tuple[float, Trend] | None:
    """Return the criterion and the trend after some Gauss-Newton rounds; None where creep ran out of the session."""
    base = steps.shape[1]
    begin = float(blocks.time_s[0] - blocks.span_s[0] / 2)
    length = float(blocks.time_s[-1]) - begin
    # without a size the slopes of the shape are none, and the first round only tells the size
    size = 0.0
    for _ in range(REFINEMENTS):
        value = fit(blocks, np.column_stack((steps, columns_of(blocks.time_s, settling, size, False))), floor).value
        by_tau = float(np.clip(value[base + 1], -0.5, 0.5)) if size else 0.0
        tau, start, free = settling.tau_s * math.exp(by_tau), settling.start_s, settling.free_start
        if free and size:
            start += float(np.clip(value[base + 2], -length / STARTS, length / STARTS))
            # a start next to the first reading can't be told from it
            free = start > float(blocks.time_s[2])
            start = start if free else begin
        if not LEAST_TAU_SHARE / 2 < tau / length < 2 * MOST_TAU_SHARE or start - begin > LATEST_START * length:
            return None
        settling, size = Settling(start, tau, free), float(value[base])
    told = fit(blocks, np.column_stack((steps, columns_of(blocks.time_s, settling, size, False))), floor)
    return told.deviance + settling.parameters * math.log(blocks.size), Trend(False, settling, told)


def rest_s(
    blocks: Blocks, trend: Trend, base: int, last_step_s: float, limit: float, digits_u: float, floor: float
) -> float | None:
    """Return when the session came to rest, in seconds; None where that can't be said.

    Formula: creep's rate size/tau exp(-(t - start)/tau) falls below the limit at start + tau ln(|size|/(tau limit));
    without creep it is at rest from the start; never before the last step. From there on the readings themselves must
    bear it out: the slope of a line through them, with 1.645 times its uncertainty (noise, wander and digits), is
    within the limit.

    When this is wrong: a gauge's own wander that cancels the neck's; a short rest of session can't bear anything out.

    Args:
        blocks: of the session.
        trend: what `choose` found.
        base: number of step columns in it.
        last_step_s: of the last step, or the start.
        limit: in the base unit per day.
        digits_u: what the digits leave in the difference of two levels.
        floor: as `wander.fit`.
    """
    at = last_step_s
    if trend.settling is not None and limit > 0:
        size = abs(float(trend.fitted.value[base]))
        tau = trend.settling.tau_s
        fastest = size / tau * DAY_S
        at = max(at, trend.settling.start_s)
        if fastest > limit:
            at = max(at, trend.settling.start_s + tau * math.log(fastest / limit))
    after = blocks.time_s - blocks.span_s / 2 >= at - 1e-6
    if int(after.sum()) < 4:
        return None
    rest = Blocks(blocks.time_s[after], blocks.span_s[after], blocks.value[after], blocks.weight[after])
    told = fit(rest, rest.time_s[:, None], floor)
    length = float(rest.time_s[-1] - rest.time_s[0])
    u = math.hypot(math.sqrt(max(float(told.covariance[0, 0]), 0.0)), digits_u / length)
    return at if (abs(float(told.value[0])) + SIDED_95 * u) * DAY_S <= limit else None
