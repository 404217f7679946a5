"""What a few readings at hand say: where they stand, how they scatter, and whether a change is more than one digit.

Here: small sums over a short list of readings, asked for only now and then. Not here: the sums kept from reading to
reading (`slip`), gauges and marks (`watch`). Plain Python: the lists are short and come one by one.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise
from statistics import median

from gaugelog.analysis.slip_settings import Counts

_MOST_CORRELATED = 0.95
_HINTS = 2
_LATEST, _LAST = 10, 3
_VISIBLE_NOISE = 0.6
_REACH_DIGITS, _REACH_NOISE = 1.5, 2.5


@dataclass(frozen=True, slots=True)
class Rest:
    """Readings of a gauge at rest: their level, their variance and the covariance of neighbours, base unit squared."""

    level: float
    variance: float
    covariance: float


def _tamed(values: Sequence[float], step: float) -> list[float]:
    """Return the departures from the median, wild ones cut to two digits or three standard deviations."""
    middle = median(values)
    apart = [value - middle for value in values]
    furthest = max(2 * step, 4.5 * median([abs(each) for each in apart]))
    return [min(max(each, -furthest), furthest) for each in apart]


def at_rest(values: Sequence[float], step: float, *, anyhow: bool = False) -> Rest | None:
    """Return how readings rest, None while they are on the move.

    Formula: they rest where the means of both halves differ by at most step/2 + 2 s √(4/n), s from the mean square of
    successive differences (which a slow movement hardly enters): s² = Σ (x_i - x_(i-1))² / 2(n - 1) (von Neumann's
    estimate, from memory).

    When this is wrong: a movement slower than half a digit in half the readings counts as rest.

    Args:
        values: shape (n,), n at least 4, in order of time.
        step: the gauge's digit, same unit.
        anyhow: take them as at rest whether they are or not, at the level of the latest of them.
    """
    if anyhow:
        values = list(values)[-_LATEST:]
    n = len(values)
    tamed = _tamed(values, step)
    half = n // 2
    first, second = sum(tamed[:half]) / half, sum(tamed[half:]) / (n - half)
    successive = sum((b - a) ** 2 for a, b in pairwise(tamed)) / (2 * (n - 1))
    if not anyhow and abs(second - first) > step / 2 + 2 * math.sqrt(successive * 4 / n):
        return None
    mean = sum(tamed) / n
    left = [each - mean for each in tamed]
    return Rest(
        level=median(values) + mean,
        variance=sum(each * each for each in left) / (n - 1),
        covariance=sum(a * b for a, b in pairwise(left)) / (n - 1),
    )


def long_run_variance(variance: float, covariance: float, heard: float) -> float:
    """Return the variance that a long sum of such readings grows by, for each reading.

    Formula: s² (1 + φ)/(1 - φ), φ = covariance of neighbours / variance: a first-order autoregressive series (textbook
    form, no clause to cite). φ counts from 3/√n on, where chance doesn't explain it, and is then taken as larger by its
    standard uncertainty 1/√n, n = `heard` readings that told it; 0.95 at most.

    When this is wrong: noise that remembers otherwise, such as a hum or slow wander.
    """
    if variance <= 0:
        return 0.0
    phi, u = covariance / variance, 1 / math.sqrt(heard)
    if phi < 3 * u:
        return variance
    phi = min(phi + u, _MOST_CORRELATED)
    return variance * (1 + phi) / (1 - phi)


class Change(Enum):
    """What the readings since a change say of it."""

    SLIP = "more than digits can hide"
    ONE_DIGIT = "one digit, at once, and it stands"
    CROSSED = "a quiet gauge went to its next digit"
    TOO_EARLY = "one digit, and too early to say"


@dataclass(frozen=True, slots=True)
class Digits:
    """Readings of the last half minute, in order of time, as they fall on digits about a reference.

    `noise` is the standard deviation of one reading at rest.
    """

    values: list[float]
    reference: float
    step: float
    noise: float

    @property
    def hide_a_change(self) -> bool:
        """Whether the readings show no more than two neighbouring digits.

        Then a gauge quieter than a tenth of a digit that crosses from one digit to the next can hardly be told from a
        slip by one. A value that came only once counts where it is next to the reference: further off it may be wild.
        """
        if self.noise >= _VISIBLE_NOISE * self.step:
            return False
        near = 1.5 * self.step
        counts = Counter(self.values)
        regular = [value for value, times in counts.items() if times > 1 or abs(value - self.reference) < near]
        return not regular or max(regular) - min(regular) < near


def look_at(digits: Digits, n: int, counts: Counts, *, known_quiet: bool) -> tuple[Change, float]:
    """Return what the last `n` readings, those since a change, say of it, and how far it went from the reference.

    A change by one digit of a gauge that shows only two is a slip where it came at once and stands. It is a digit
    crossed where readings went back meanwhile, where the new digit had shown three times and more just before without a
    further one showing since, or where the gauge has crossed digits before (`known_quiet`).

    When this is wrong: a gauge without noise that crosses a digit in one go; a gauge of a tenth to a fifth of a digit
    that slips by one digit while the new one had just shown by chance (1 to 2 % of such slips, measured).
    """
    fresh = digits.values[-n:]
    reach = max(_REACH_DIGITS * digits.step, _REACH_NOISE * digits.noise)
    size = new_level(fresh[-_LATEST:], reach) - digits.reference
    if abs(size) >= 1.5 * digits.step or not digits.hide_a_change:
        return Change.SLIP, size
    half = digits.step / 2
    went_back = any(abs(value - digits.reference) < half for value in fresh)
    lead = digits.values[-n - counts.lead : -n]
    shown_before = sum(abs(value - digits.reference - size) < half for value in lead)
    if not went_back and n < (counts.doubtful if shown_before else counts.sharp):
        return Change.TOO_EARLY, size
    if went_back or shown_before > _HINTS or known_quiet:
        return Change.CROSSED, size
    return Change.ONE_DIGIT, size


def new_level(fresh: Sequence[float], reach: float) -> float:
    """Return where the latest readings stand: the mean of those within `reach` of the median of the last three."""
    middle = median(fresh[-_LAST:])
    near = [value for value in fresh if abs(value - middle) <= reach]
    return sum(near) / len(near) if near else middle


class Crossings:
    """The digits that a quiet gauge crossed of late: one may be noted, two within `within_ns` are more than that."""

    __slots__ = ("_first_ns", "_from", "_noted_ns", "_since_ns", "_within_ns")

    def __init__(self, within_ns: int) -> None:
        """Begin with none."""
        self._within_ns = within_ns
        self._first_ns: int | None = None
        self._noted_ns: int | None = None
        self._from, self._since_ns = 0.0, 0

    def forget(self) -> None:
        """Forget them, after a mark."""
        self._first_ns = self._noted_ns = None

    def gone(self, time_ns: int, level: float, here: float, since_ns: int) -> tuple[float, int]:
        """Take a crossing from a level to `here` and return how far all of late went together, and since when."""
        if self._first_ns is None or time_ns - self._first_ns > self._within_ns:
            self._first_ns, self._from, self._since_ns = time_ns, level, since_ns
        return here - self._from, self._since_ns

    def may_note(self, time_ns: int) -> bool:
        """Return whether to tell of one: a gauge on the edge of two digits goes to and fro."""
        if self._noted_ns is not None and time_ns - self._noted_ns < self._within_ns:
            return False
        self._noted_ns = time_ns
        return True
