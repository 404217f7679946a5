"""Whether the stated 95 % intervals hold the truth: simulated gauges whose zero, scale, scatter and digit are known.

Each gauge has its own zero error, scale error and places between two digits; 2000 gauges a row, seeds fixed. With 2000
a rate is uncertain by half a percent. Where the scatter is small against the digit nothing is normal: intervals may
then hold the truth more often, never less (docs/methods.md).
"""

from __future__ import annotations

import numpy as np
import pytest

from gaugelog.analysis.gauge_budget import gauge_budget, limit_of_error
from gaugelog.analysis.gauge_linearity import correction_at, linearity
from gaugelog.analysis.gauge_repeat import repeatability
from gaugelog.analysis.gauge_reversal import reversal

GAUGES = 2000
LEAST, MOST = 0.93, 0.975
DIGIT = 0.05
U_REFERENCE = 0.01
RANGE = 10.0


class Made:
    """A gauge with errors of its own: reads true values with scatter (in digits), to its digit."""

    def __init__(self, random: np.random.Generator, digits: float) -> None:
        self.random = random
        self.sigma = digits * DIGIT
        self.zero = random.normal(0, 3 * DIGIT)
        self.scale = random.normal(0, 0.003)

    def read(self, true: np.ndarray) -> np.ndarray:
        """Return what it shows."""
        shown = true * (1 + self.scale) + self.zero + self.random.normal(0, self.sigma, np.shape(true))
        return np.round(shown / DIGIT) * DIGIT


def gauges(seed: int, digits: float) -> list[Made]:
    random = np.random.default_rng(seed)
    return [Made(random, digits) for _ in range(GAUGES)]


def hits(found, true):
    return found.low_95 <= true <= found.high_95


@pytest.mark.parametrize(("digits", "least"), [(0.5, True), (1.0, True), (2.0, True), (0.1, False), (0.25, False)])
def test_repeatability(digits, least):
    """Ten placements; below half a digit only the lower bound holds."""
    count = 0
    for gauge in gauges(21, digits):
        told = repeatability(gauge.read(np.full(10, gauge.random.uniform(0, RANGE))), DIGIT)
        count += told.low_95 <= gauge.sigma <= told.high_95
    assert LEAST <= count / GAUGES <= (MOST if least else 1.0)


@pytest.mark.parametrize(("digits", "narrow"), [(0.5, True), (1.0, True), (2.0, True), (0.02, True), (0.2, False)])
def test_zero_by_reversal(digits, narrow):
    """Five pairs on a place that isn't level; the gauge has no scale error here, which a tilt would carry into it."""
    zero, tilt = 0, 0
    for gauge in gauges(22, digits):
        gauge.scale = 0.0
        true = gauge.random.uniform(-1, 1)
        told = reversal(gauge.read(np.full(5, true)), gauge.read(np.full(5, -true)), DIGIT)
        zero += hits(told.zero, gauge.zero)
        tilt += hits(told.tilt, true)
    assert LEAST <= zero / GAUGES <= (MOST if narrow else 1.0)
    assert LEAST <= tilt / GAUGES <= (MOST if narrow else 1.0)


def on_references(gauge: Made, points: int, each: int):
    nominal = np.linspace(0.0, RANGE, points) + gauge.random.uniform(-0.1, 0.1, points)
    true = nominal + gauge.random.normal(0, U_REFERENCE, points)
    return linearity(np.repeat(nominal, each), U_REFERENCE, gauge.read(np.repeat(true, each)), DIGIT)


@pytest.mark.parametrize(
    ("points", "each", "digits"), [(6, 4, 0.02), (6, 4, 0.25), (6, 4, 1.0), (10, 1, 0.25), (10, 1, 1.0)]
)
def test_zero_and_scale_against_references(points, each, digits):
    """References with an uncertainty of their own, each read once or four times."""
    zero = scale = middle = bent = 0
    for gauge in gauges(23, digits):
        told = on_references(gauge, points, each)
        zero += hits(told.zero, gauge.zero)
        scale += hits(told.scale, gauge.scale)
        true = -(gauge.zero + gauge.scale * 0.7 * RANGE)
        middle += hits(correction_at(told, 0.7 * RANGE), true)
        bent += told.straight is False
    assert LEAST <= zero / GAUGES <= MOST
    assert LEAST <= scale / GAUGES <= MOST
    assert LEAST <= middle / GAUGES <= MOST
    # a straight gauge is called bent in no more than the 5 % of the test
    assert bent / GAUGES <= 0.065


@pytest.mark.parametrize("digits", [0.25, 1.0])
def test_a_reading_a_change_and_the_limit_of_error(digits):
    """From a check of ten placements and six references to a later use of the same gauge.

    A corrected reading within its U95; a change between means of three within its U95; an uncorrected mean of many
    readings, which has neither scatter nor (with noise) digit, within the limit of error.
    """
    single = change = limit = 0
    for gauge in gauges(24, digits):
        random = gauge.random
        repeat = repeatability(gauge.read(np.full(10, random.uniform(0, RANGE))), DIGIT)
        line = on_references(gauge, 6, 4)
        told = gauge_budget(DIGIT, repeat=repeat, linearity=line, placements=3)
        true = random.uniform(0, RANGE)
        shown = float(gauge.read(np.array([true]))[0])
        single += abs(shown + correction_at(line, shown).value - true) <= told.single.half_95
        moved = random.uniform(0, 0.5)
        before, after = gauge.read(np.full(3, true)).mean(), gauge.read(np.full(3, true + moved)).mean()
        change += abs(after - before - moved) <= told.change.half_95
        limit += abs(gauge.zero + gauge.scale * true) <= limit_of_error(told).half_width
    # the digit is in the scatter that repeats show as well as in its own row, and the scale's u is that of the far end
    assert LEAST <= single / GAUGES <= 1.0
    assert LEAST <= change / GAUGES <= 1.0
    assert limit / GAUGES >= 0.95
