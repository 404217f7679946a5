"""Steps of a session, found afterwards. All sessions are made up; what is expected follows from how they were made."""

from __future__ import annotations

import numpy as np
import pytest
from made_sessions import DIGIT, START, US, at, made, matched, rounded, seconds

from gaugelog.analysis.explained import Explained, explain, fitted
from gaugelog.analysis.results import Gap

REST = 0.1


def told(session, **more) -> Explained:
    return explain(session.utc_us, session.value, (DIGIT,), rest_rate_per_day=REST, **more)


def steps_at(explained: Explained) -> list[float]:
    return [seconds(step.time_us) for step in explained.steps]


def stream(true, noise: float = 0.02, seed: int = 1, rate_hz: float = 10.0):
    true = np.asarray(true, dtype=float)
    value = rounded(true + np.random.default_rng(seed).normal(0, noise, true.size))
    return at(np.arange(true.size) / rate_hz), value


SHAPES = {
    "plain": {},
    "all at once": {"walk": 0.01, "gaps": 2, "wild": 5},
    "quiet gauge": {"noise": 0.01},
    "noisy gauge": {"noise": 0.05},
    "correlated": {"correlation": 0.8},
    "late creep": {"late_creep": True, "creep": True},
}


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_steps_are_found_and_none_is_invented(shape):
    wanted = got = invented = 0
    for seed in range(12):
        session = made(seed, **shape)
        explained = told(session)
        pairs = matched(steps_at(explained), session.step_s)
        large = {k for k in range(session.step.size) if abs(session.step[k]) >= 0.1}
        wanted += len(large)
        got += len(large & set(pairs.values()))
        invented += len(explained.steps) - len(pairs)
        for found, true in pairs.items():
            assert explained.steps[found].size == pytest.approx(session.step[true], abs=0.03)
    assert wanted >= 10
    assert got >= 0.95 * wanted
    assert invented == 0


def test_a_step_is_told_with_time_size_and_uncertainty():
    t = np.arange(36_000) / 10
    explained = told_of(*stream(2.81 + 0.12 * (t >= 1234.5)))
    (step,) = explained.steps
    assert seconds(step.time_us) == pytest.approx(1234.45, abs=0.3)
    assert step.size == pytest.approx(0.12, abs=0.003)
    assert 1e-4 < step.u < 0.003


def told_of(utc_us, value, **more) -> Explained:
    return explain(utc_us, value, (DIGIT,), rest_rate_per_day=REST, **more)


def test_the_truth_lies_within_the_uncertainty_as_often_as_it_says():
    """Monte Carlo: 68 % within u, 95 % within 1.96 u, for gauges of different noise, wander and memory."""
    shapes = ({}, {"walk": 0.02}, {"noise": 0.05}, {"correlation": 0.8}, {"noise": 0.012, "digit": 0.02})
    off = []
    for seed in range(60):
        session = made(
            seed, duration_s=2400.0, steps=3, sizes=(0.1, 0.3), creep_tau_s=(300.0, 900.0), **shapes[seed % 5]
        )
        digit = shapes[seed % 5].get("digit", DIGIT)
        explained = explain(session.utc_us, session.value, (digit,), rest_rate_per_day=REST)
        pairs = matched(steps_at(explained), session.step_s)
        off += [abs(explained.steps[k].size - session.step[true]) / explained.steps[k].u for k, true in pairs.items()]
    assert len(off) >= 175
    # 180 steps: three standard deviations of chance are 10 and 5 %
    assert 0.58 <= np.mean(np.array(off) < 1) <= 0.78
    assert np.mean(np.array(off) < 1.96) >= 0.90


def test_u_is_never_below_what_the_digits_hide():
    for noise, share in ((0.0, 0.25), (0.005, 0.2), (0.01, 0.1)):
        t = np.arange(36_000) / 10
        for step in told_of(*stream(2.813 + 0.147 * (t >= 1500), noise=noise)).steps:
            assert step.u > share * DIGIT


def test_a_session_that_is_all_noise_ends_in_few_steps():
    """A gauge waved about: no more than 60 places of a sitting are looked at."""
    waved = np.repeat(np.random.default_rng(2).normal(2.8, 2.0, 100), 600)
    assert len(told_of(*stream(waved)).steps) <= 60


def test_shift_sign_and_reversal_change_nothing_else():
    session = made(3, steps=3, creep=False, sizes=(0.1, 0.3))
    first = told(session)
    assert len(first.steps) == 3
    shifted = explain(session.utc_us + 77, session.value + 40 * DIGIT, (DIGIT,), rest_rate_per_day=REST)
    mirrored = explain(session.utc_us, -session.value, (DIGIT,), rest_rate_per_day=REST)
    back = explain(2 * START - session.utc_us[::-1], session.value[::-1], (DIGIT,), rest_rate_per_day=REST)
    for a, b, c, d in zip(first.steps, shifted.steps, mirrored.steps, back.steps[::-1], strict=True):
        assert b.time_us == a.time_us + 77
        assert c.time_us == a.time_us
        assert d.time_us == pytest.approx(2 * START - a.time_us, abs=0.3 * US)
        assert b.size == pytest.approx(a.size, abs=1e-9)
        assert c.size == pytest.approx(-a.size, abs=1e-12)
        assert d.size == pytest.approx(-a.size, abs=1e-3)
        assert a.u == pytest.approx(b.u, rel=1e-6) == pytest.approx(c.u, rel=1e-9)


def test_a_digit_is_no_step_but_two_are():
    t = np.arange(36_000) / 10
    assert told_of(*stream(2.8 + 0.05 * (t >= 1500), noise=0.0)).steps == ()
    (step,) = told_of(*stream(2.8 + 0.10 * (t >= 1500), noise=0.0)).steps
    assert step.size == pytest.approx(0.10, abs=1e-6)
    assert DIGIT / 4 < step.u < DIGIT / 2


def test_a_hand_at_the_gauge_is_no_step():
    t = np.arange(36_000) / 10
    assert told_of(*stream(2.8 + 0.4 * ((t >= 1500) & (t < 1512)))).steps == ()


def test_a_slip_over_some_seconds_is_one_step():
    session = made(5, steps=1, sizes=(0.3, 0.3), creep=False, ramp_s=15.0)
    (step,) = told(session).steps
    assert seconds(step.time_us) == pytest.approx(session.step_s[0], abs=10)
    assert step.size == pytest.approx(session.step[0], abs=0.03)


def test_a_step_in_a_short_gap_is_told_in_its_middle():
    t = np.arange(36_000) / 10
    utc_us, value = stream(2.8 + 0.2 * (t >= 1500))
    keep = (t < 1480) | (t >= 1520)
    (step,) = told_of(utc_us[keep], value[keep]).steps
    assert seconds(step.time_us) == pytest.approx(1500, abs=1)


def test_a_night_between_two_sittings_is_no_step():
    t = np.arange(36_000) / 10
    utc_us, value = stream(2.8 + 0.2 * (t >= 1800) + 0.15 * (t >= 900))
    utc_us[18_000:] += 12 * 3600 * US
    (step,) = told_of(utc_us, value).steps
    assert seconds(step.time_us) == pytest.approx(900, abs=1)


def test_wild_readings_are_counted_and_left_out():
    session = made(8, steps=0, creep=False, wild=7)
    explained = told(session)
    assert explained.rejected == 7
    assert explained.steps == ()
    assert explained.noise == pytest.approx(np.hypot(0.02, DIGIT / np.sqrt(12)), rel=0.1)


def test_spot_readings_every_five_minutes():
    chance = np.random.default_rng(4)
    t = np.arange(48) * 300.0
    value = rounded(2.8 + 0.2 * (t >= 7000) + chance.normal(0, 0.01, t.size))
    (step,) = told_of(at(t), value).steps
    assert seconds(step.time_us) == pytest.approx(7000, abs=150)
    assert step.size == pytest.approx(0.2, abs=0.03)


def test_a_gauge_that_sends_on_change():
    t = np.arange(72_000) / 10
    utc_us, value = stream(2.81 + 0.15 * (t >= 3000))
    sent = np.concatenate(([True], np.diff(value) != 0))
    (step,) = told_of(utc_us[sent], value[sent], holds=True, end_us=int(utc_us[-1])).steps
    assert seconds(step.time_us) == pytest.approx(3000, abs=2)
    assert step.size == pytest.approx(0.15, abs=0.02)


def test_the_last_value_of_an_on_change_gauge_stands_until_the_end():
    utc_us, value = at([0.0, 600.0]), np.array([2.8, 3.0])
    (step,) = told_of(utc_us, value, holds=True, end_us=int(at(1800.0))).steps
    assert step.time_us == int(at(600.0))
    assert step.size == pytest.approx(0.2)


def test_a_gap_of_an_on_change_gauge_holds_nothing():
    gap = Gap(int(at(700.0)), int(at(5000.0)), "link lost")
    utc_us, value = at([0.0, 600.0, 5000.0]), np.array([2.8, 2.8, 3.0])
    assert told_of(utc_us, value, holds=True, end_us=int(at(6000.0)), gaps=(gap,)).steps == ()


def test_too_little_to_explain():
    explained = told_of(at([0.0, 1.0]), np.array([2.8, 2.9]))
    assert explained.steps == ()
    assert explained.creep is None
    assert explained.rest_at_us is None
    with pytest.raises(ValueError):
        fitted(explained, at([0.0]))
    assert told_of(at([]), np.array([])).noise == 0.0


def test_arguments_are_checked():
    with pytest.raises(ValueError):
        told_of(at([0.0, 1.0]), np.array([2.8]))
    with pytest.raises(ValueError):
        told_of(at([1.0, 0.0]), np.array([2.8, 2.8]))
    with pytest.raises(ValueError):
        explain(at([0.0]), np.array([2.8]), (), rest_rate_per_day=REST)
