"""A clamp session as a whole: what is told of which series."""

from __future__ import annotations

import numpy as np
import pytest

from gaugelog.analysis.series import Series
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.model.quantities import Quantity
from gaugelog.review.session import Session


def test_what_weather_and_bench_could_explain_is_told_of_the_series_they_concern() -> None:
    """An invented day: the air grows damp, a depth gauge over the joint and two angle gauges are left lying."""
    instrument = read_instrument(new_instrument("invented", gauges="two", full=True), "here")
    seconds = np.arange(0.0, 7200.0, 5.0)
    times = 1_760_000_000_000_000 + np.round(seconds * 1e6).astype(np.int64)
    chance = np.random.default_rng(5)

    def series(name: str, quantity: Quantity, start: float, end: float, step: float) -> Series:
        value = np.linspace(start, end, seconds.size) + chance.normal(0.0, step / 2, seconds.size)
        return Series(name, quantity, times, np.round(value / step) * step, (step,), period_s=5.0)

    gauges = (
        series("neck", Quantity.ANGLE, 3.0, 3.4, 0.05),
        series("body", Quantity.ANGLE, 0.2, 0.5, 0.05),
        series("air", Quantity.TEMPERATURE, 20.0, 20.0, 0.5),
        series("damp", Quantity.HUMIDITY, 45.0, 60.0, 1.0),
    )
    session = Session(
        gauges, (("neck", "body"),), (), int(times[0]), int(times[-1]) + 1, {"neck - body": 0.2}, instrument
    )
    told = {each.name: each for each in session.drift().series}
    bench = told["neck - body"].bench
    assert bench is not None
    assert bench.body_change == pytest.approx(0.3, abs=0.05)
    assert bench.share == pytest.approx(0.75, abs=0.15)
    assert told["neck"].bench is None
    assert told["neck"].weather is None, "even swelling turns no neck"
    assert told["air"].explained is None
