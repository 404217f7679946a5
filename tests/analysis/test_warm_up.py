"""What bench and warm-up explain of the neck gauge's change (made sessions)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made_sessions import START, US, at, rounded

from gaugelog.analysis.results import Gap
from gaugelog.analysis.series import Series
from gaugelog.analysis.warm_up import bench_share
from gaugelog.model.datasheet import Sends
from gaugelog.model.quantities import Quantity

HOUR_S = 3600
END = START + HOUR_S * US


def gauge(name: str, true, seed: int, noise: float = 0.02, digit: float = 0.05, **more: object) -> Series:
    t = np.arange(0, HOUR_S, 1.0)
    chance = np.random.default_rng(seed)
    value = rounded(2.8 + true(t / HOUR_S) + chance.normal(0, noise, t.size), digit)
    return Series(name, Quantity.ANGLE, at(t), value, (digit,), **more)


def warming(size: float):
    return lambda hour: size * -np.expm1(-hour / 0.15)


def still(hour):
    return 0.0 * hour


def test_a_bench_that_both_see_is_a_share_of_one():
    told = bench_share(gauge("neck", warming(0.4), 1), gauge("body", warming(0.4), 2), START, END)
    assert told.share == pytest.approx(1.0, abs=2 * told.share_u)
    assert told.difference == pytest.approx(0.0, abs=0.06)


def test_a_neck_that_moved_alone_shares_nothing():
    told = bench_share(gauge("neck", warming(0.4), 1), gauge("body", still, 2), START, END)
    assert told.share == pytest.approx(0.0, abs=2 * told.share_u)
    assert told.difference == pytest.approx(told.neck_change - told.body_change, abs=1e-12)


def test_a_quarter_shared_and_one_that_went_the_other_way():
    exact = {"noise": 0.0, "digit": 0.0}
    for size in (0.1, -0.1, 0.8):
        neck, body = gauge("neck", lambda h: 0.4 * h, 1, **exact), gauge("body", lambda h, s=size: s * h, 2, **exact)
        told = bench_share(neck, body, START, END)
        assert told.share == pytest.approx(size / 0.4, rel=1e-9)
        assert told.difference == pytest.approx(told.neck_change * (1 - size / 0.4), rel=1e-9)


def test_a_change_within_its_uncertainty_has_no_share():
    told = bench_share(gauge("neck", still, 1), gauge("body", warming(0.2), 2), START, END)
    assert told.share is None
    assert told.share_u is None
    assert told.body_change > 0.1


def test_the_share_uncertainty_covers_the_truth():
    inside = 0
    for seed in range(200):
        neck = gauge("neck", warming(0.5), 2 * seed, digit=0.001)
        body = gauge("body", warming(0.2), 2 * seed + 1, digit=0.001)
        told = bench_share(neck, body, START, END)
        inside += abs(told.share - 0.4) <= 1.96 * told.share_u
    # 95 % of 200 less three standard deviations of that count; two gauges of one course share 0.2/0.5 at every moment
    assert inside >= 181


def test_only_the_stretch_asked_for_counts():
    neck, body = gauge("neck", warming(0.4), 1, noise=0.0), gauge("body", still, 2, noise=0.0)
    later = bench_share(neck, body, START + 2700 * US, END)
    assert later.neck_change == pytest.approx(0.0, abs=1e-9)


def test_a_body_gauge_that_started_late_tells_nothing():
    neck, body = gauge("neck", warming(0.4), 1), gauge("body", warming(0.4), 2)
    late = replace(body, utc_us=body.utc_us[1000:], value=body.value[1000:])
    assert bench_share(neck, late, START, END) is None
    assert bench_share(neck, replace(body, utc_us=body.utc_us[:0], value=body.value[:0]), START, END) is None


def test_a_gauge_that_sends_on_change_stands_until_the_next():
    neck = gauge("neck", lambda h: 0.4 * h, 1, noise=0.0, digit=0.0)
    body = Series("body", Quantity.ANGLE, at([0.0, 1000.0]), np.array([1.0, 1.2]), (0.05,), sends=Sends.ON_CHANGE)
    told = bench_share(neck, body, START, END)
    assert told.body_change == pytest.approx(0.2, abs=1e-12)
    late = replace(body, utc_us=body.utc_us + 1000 * US)
    assert bench_share(neck, late, START, END) is None


def test_a_gauge_that_sends_on_change_and_was_lost_does_not_stand_still():
    neck = gauge("neck", lambda h: 0.4 * h, 1, noise=0.0, digit=0.0)
    body = Series("body", Quantity.ANGLE, at([0.0, 1000.0]), np.array([1.0, 1.2]), (0.05,), sends=Sends.ON_CHANGE)
    for begin_s, end_s in ((1500, 3600), (-10, 900)):
        lost = replace(
            body, utc_us=at([-60.0, 1000.0]), gaps=(Gap(START + begin_s * US, START + end_s * US, "link lost"),)
        )
        assert bench_share(neck, lost, START, END) is None
    back = replace(body, gaps=(Gap(START + 1500 * US, START + 1600 * US, "link lost"),))
    assert bench_share(neck, back, START, END) == bench_share(neck, body, START, END)


def test_wrong_arguments():
    neck = gauge("neck", still, 1)
    with pytest.raises(ValueError):
        bench_share(neck, replace(neck, quantity=Quantity.LENGTH), START, END)
    with pytest.raises(ValueError):
        bench_share(neck, neck, END, START)
