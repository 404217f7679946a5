"""The watch over a session's gauges: what the bench does is no slip, a lost gauge is told, marks and limits count."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pytest
from live_series import STEP_DEG, rounded, walk, warm_up

from gaugelog.analysis.pairing import LivePair
from gaugelog.analysis.series import Series, difference_of
from gaugelog.analysis.slip import AlarmKind
from gaugelog.analysis.watch import Alarm, Watch, WatchedGauge
from gaugelog.model.datasheet import Sends
from gaugelog.model.quantities import Quantity

SLIP, CREEP, LOST, NOTICE = AlarmKind.SLIP, AlarmKind.CREEP, AlarmKind.LOST, AlarmKind.NOTICE
ANGLE = WatchedGauge(STEP_DEG, Quantity.ANGLE, Sends.STEADILY, 0.1, 2.0)
SECOND = 1_000_000_000


def play(watch: Watch, gauges: dict[str, np.ndarray], start_s: float = 0.0, period_s: float = 0.1) -> list[Alarm]:
    """Feed gauges that speak one after the other within each period, with a tick each half second."""
    told: list[Alarm] = []
    for i in range(len(next(iter(gauges.values())))):
        now_s = start_s + i * period_s
        for j, (name, values) in enumerate(gauges.items()):
            told += watch.hear(name, round((now_s + j * period_s / 7) * 1e9), float(values[i]))
        if i % 5 == 0:
            told += watch.tick(round(now_s * 1e9))
    return told


def noisy(digits: Iterable[float], rng: np.random.Generator, noise: float = 0.3) -> np.ndarray:
    digits = np.asarray(list(digits), dtype=float)
    return rounded(digits + noise * rng.standard_normal(digits.size))


def pair(limit: float | None = None) -> Watch:
    return Watch({"neck": ANGLE, "body": ANGLE}, [("neck", "body")], {"neck": limit})


def test_what_the_bench_does_raises_no_alarm():
    rng = np.random.default_rng(1)
    bench = np.concatenate([np.zeros(600), np.full(600, 3.0), np.full(600, -40.0), np.linspace(-40, 0, 600)])
    told = play(pair(limit=0.1), {"neck": noisy(bench, rng), "body": noisy(bench, rng)})
    assert [alarm for alarm in told if alarm.kind is not NOTICE] == []


def test_a_neck_that_slips_on_a_moving_bench_is_told_of_the_difference():
    rng = np.random.default_rng(2)
    bench = 8 * np.sin(np.arange(1200) / 150)
    neck = bench + np.repeat([0.0, -3.0], 600)
    told = play(pair(), {"neck": noisy(neck, rng), "body": noisy(bench, rng)})
    assert [(alarm.kind, alarm.series, alarm.of_difference) for alarm in told] == [(SLIP, "neck - body", True)]
    assert told[0].size == pytest.approx(-3 * STEP_DEG, abs=0.04)
    assert 60 * SECOND <= told[0].time_ns <= 61 * SECOND
    assert told[0].since_ns == pytest.approx(60 * SECOND, abs=SECOND)


@pytest.mark.parametrize("seed", range(6))
def test_a_whole_session_tells_its_slips_and_nothing_else(seed):
    # two hours: a wandering, warming bench under both gauges, creep, wild readings, and up to three slips
    rng, n = np.random.default_rng(seed), 72_000
    bench, neck = walk(n, rng) + warm_up(n, rng.uniform(1200, 3600)), warm_up(n, rng.uniform(600, 3600), size=3)
    slips = sorted(rng.choice(np.arange(1, 11), seed % 4, replace=False) * 6_000)
    for at in slips:
        neck[at:] += rng.choice([-1, 1]) * rng.uniform(2.2, 6)
    wild = rng.random(n) < 0.0005
    neck[wild] += rng.uniform(-40, 40, wild.sum())
    told = play(pair(), {"neck": noisy(bench + neck, rng, 0.4), "body": noisy(bench, rng, 0.4)})
    found = [alarm for alarm in told if alarm.kind is not NOTICE]
    assert [alarm.kind for alarm in found] == [SLIP] * len(slips)
    for alarm, at in zip(found, slips, strict=True):
        assert at / 10 <= alarm.time_ns / 1e9 <= at / 10 + 2.0


def test_a_gauge_without_a_body_gauge_speaks_for_itself():
    rng = np.random.default_rng(3)
    watch = Watch({"neck": ANGLE}, [], {})
    told = play(watch, {"neck": noisy(np.repeat([0.0, 3.0], 600), rng)})
    assert [(alarm.kind, alarm.series, alarm.of_difference) for alarm in told] == [(SLIP, "neck", False)]


def test_a_lost_body_gauge_is_told_once_and_the_neck_gauge_then_speaks():
    rng = np.random.default_rng(4)
    watch = pair()
    assert play(watch, {"neck": noisy(np.zeros(600), rng), "body": noisy(np.zeros(600), rng)}) == []
    told = play(watch, {"neck": noisy(np.repeat([0.0, 3.0], 300), rng)}, start_s=60.0)
    assert [(alarm.kind, alarm.series) for alarm in told] == [(LOST, "body"), (SLIP, "neck")]
    lost, slip = told
    assert lost.size == 0.0
    assert 61.9 * SECOND < lost.time_ns < 63 * SECOND
    assert lost.since_ns == pytest.approx(60 * SECOND, abs=SECOND)
    assert not slip.of_difference


def test_a_link_that_was_lost_is_told_once_and_again_after_it_was_back():
    watch = Watch({"neck": ANGLE}, [], {})
    watch.hear("neck", 0, 2.85)
    assert [alarm.kind for alarm in watch.lost("neck", SECOND)] == [LOST]
    assert watch.lost("neck", 2 * SECOND) == ()
    assert watch.tick(10 * SECOND) == ()
    watch.back("neck", 11 * SECOND)
    assert watch.tick(12 * SECOND) == ()
    assert [alarm.kind for alarm in watch.tick(14 * SECOND)] == [LOST]


def test_a_gauge_never_heard_is_lost_too_and_one_that_may_be_silent_is_not():
    button = WatchedGauge(0.01, Quantity.LENGTH, Sends.ON_BUTTON)
    watch = Watch({"neck": ANGLE, "depth": button}, [], {})
    assert watch.tick(0) == ()
    assert [(alarm.kind, alarm.series) for alarm in watch.tick(3 * SECOND)] == [(LOST, "neck")]


def test_temperature_is_watched_only_for_being_lost():
    rng = np.random.default_rng(5)
    air = WatchedGauge(0.1, Quantity.TEMPERATURE, Sends.STEADILY, 0.1, 2.0)
    watch = Watch({"air": air}, [], {"air": 0.5})
    values = 20 + 0.1 * np.rint(np.repeat([0.0, 60.0], 300) + 0.3 * rng.standard_normal(600))
    assert play(watch, {"air": values}) == []
    assert [alarm.kind for alarm in watch.tick(100 * SECOND)] == [LOST]


def test_creep_of_the_difference_takes_the_limit_of_the_neck_gauge():
    rng = np.random.default_rng(6)
    neck, body = noisy(np.linspace(0, 3, 18_000), rng), noisy(np.linspace(0, -1, 18_000), rng)
    told = [alarm for alarm in play(pair(limit=0.1), {"neck": neck, "body": body}) if alarm.kind is not NOTICE]
    assert [(alarm.kind, alarm.series, alarm.of_difference) for alarm in told] == [(CREEP, "neck - body", True)]
    assert told[0].size == pytest.approx(0.11, abs=0.02)


def test_a_mark_lets_everything_settle_again():
    rng = np.random.default_rng(7)
    watch = pair(limit=0.1)
    assert play(watch, {"neck": noisy(np.zeros(600), rng), "body": noisy(np.zeros(600), rng)}) == []
    assert all(detector.settled for detector in watch.series().values())
    watch.mark(60 * SECOND)
    assert not any(detector.settled for detector in watch.series().values())
    tightened = np.concatenate([np.linspace(0, 6, 60), np.full(600, 6.0)])
    assert play(watch, {"neck": noisy(tightened, rng), "body": noisy(np.zeros(660), rng)}, start_s=60.0) == []


def test_a_digit_that_falls_apart_as_the_bench_tilts_is_only_noted():
    # a tilt by 2.5 digits: one gauge shows three more, the other two
    neck, body = rounded(np.repeat([0.4, 2.9], 600)), rounded(np.repeat([-0.3, 2.2], 600))
    told = play(pair(), {"neck": neck, "body": body})
    assert [(alarm.kind, alarm.series) for alarm in told] == [(NOTICE, "neck - body")]


def test_a_gauge_that_sends_on_change_holds_its_value_from_tick_to_tick():
    watch = Watch({"neck": WatchedGauge(STEP_DEG, Quantity.ANGLE, Sends.ON_CHANGE)}, [], {})
    told: list[Alarm] = list(watch.hear("neck", 0, 2.85))
    for half_second in range(1, 200):
        now_ns = half_second * SECOND // 2
        if half_second == 120:
            told += watch.hear("neck", now_ns - 1000, 3.0)
        told += watch.tick(now_ns)
    assert [alarm.kind for alarm in told] == [SLIP]
    assert told[0].size == pytest.approx(0.15, abs=0.005)
    assert 60 * SECOND <= told[0].time_ns <= 61 * SECOND


@pytest.mark.parametrize("on_change", ["neck", "body"])
def test_a_gauge_that_sends_on_change_has_a_difference_with_a_steady_one(on_change):
    rng = np.random.default_rng(9)
    sends = {"neck": Sends.STEADILY, "body": Sends.STEADILY, on_change: Sends.ON_CHANGE}
    gauges = {name: WatchedGauge(STEP_DEG, Quantity.ANGLE, each, 0.1) for name, each in sends.items()}
    watch = Watch(gauges, [("neck", "body")], {})
    bench = 5 * np.sin(np.arange(1200) / 200)
    values = {"neck": noisy(bench + np.repeat([0.0, 3.0], 600), rng, 0.1), "body": noisy(bench, rng, 0.1)}
    told: list[Alarm] = []
    for i in range(1200):
        for name in values:
            if name != on_change or i == 0 or values[name][i] != values[name][i - 1]:
                told += watch.hear(name, i * SECOND // 10, float(values[name][i]))
        if i % 5 == 0:
            told += watch.tick(i * SECOND // 10)
    assert [(alarm.kind, alarm.series) for alarm in told if alarm.kind is not NOTICE] == [(SLIP, "neck - body")]
    assert 60 * SECOND <= told[-1].time_ns <= 61 * SECOND


def test_the_screen_sees_reference_noise_and_settling():
    rng = np.random.default_rng(8)
    watch = pair()
    assert {name: detector.reference for name, detector in watch.series().items()} == dict.fromkeys(
        ("neck", "body", "neck - body")
    )
    play(watch, {"neck": noisy(np.full(600, 2.0), rng), "body": noisy(np.zeros(600), rng)})
    difference = watch.series()["neck - body"]
    assert difference.settled
    assert difference.reference == pytest.approx(2 * STEP_DEG, abs=0.02)


@pytest.mark.parametrize(("first_s", "second_s"), [(0.1, 0.1), (0.1, 0.5), (0.5, 0.1), (5.0, 0.1), (0.02, 0.37)])
def test_live_pairs_are_those_of_the_finished_session(first_s, second_s):
    rng = np.random.default_rng(round(100 * first_s + second_s))
    series = {}
    for name, period_s in (("neck", first_s), ("body", second_s)):
        times = np.arange(0, 60, period_s) + period_s / 3 * rng.uniform(size=round(np.ceil(60 / period_s)))
        # of two alike the finished session takes the shorter, which live can only be the first
        times = times[rng.random(times.size) > (0.2 if name == "neck" else 0.05)]
        utc_us = np.rint(times * 1e6).astype(np.int64)
        value = rng.standard_normal(times.size)
        series[name] = Series(name, Quantity.ANGLE, utc_us, value, (STEP_DEG,), period_s=period_s)
    expected = difference_of(series["neck"], series["body"])
    events = sorted(
        (int(time_us), name, float(value))
        for name, each in series.items()
        for time_us, value in zip(each.utc_us, each.value, strict=True)
    )
    pairing = LivePair(first_s, second_s)
    made = [each for time_us, name, value in events for each in pairing.hear(name == "neck", time_us * 1000, value)]
    wanted = list(zip((expected.utc_us * 1000).tolist(), expected.value.tolist(), strict=True))
    assert made == wanted[: len(made)]
    assert len(made) >= len(wanted) - 2


@pytest.mark.parametrize("pairs", [[("neck", "head")], [("neck", "depth")]])
def test_pairs_that_have_no_difference_are_refused(pairs):
    depth = WatchedGauge(0.01, Quantity.LENGTH)
    with pytest.raises(ValueError, match=r"isn't watched|one quantity"):
        Watch({"neck": ANGLE, "depth": depth}, pairs, {})
