"""The live detector on synthetic series: what it tells, how soon, and what it leaves alone. The aims are our own."""

from __future__ import annotations

import numpy as np
import pytest
from live_series import STEP_DEG, kinds, rounded, tell, walk, warm_up

from gaugelog.analysis.slip import AlarmKind, SlipDetector

SLIP, CREEP, NOTICE = AlarmKind.SLIP, AlarmKind.CREEP, AlarmKind.NOTICE
BEFORE_S, AFTER_S = 60.0, 30.0


def with_slip(noise: float, size: float, rng: np.random.Generator, rate_hz: float = 10.0) -> np.ndarray:
    n, at = round((BEFORE_S + AFTER_S) * rate_hz), round(BEFORE_S * rate_hz)
    digits = rng.uniform(-0.5, 0.5) + noise * rng.standard_normal(n)
    digits[at:] += size * rng.choice([-1, 1])
    return rounded(digits)


def delays(noise: float, size: float, sessions: int, seed: int) -> np.ndarray:
    rng, found = np.random.default_rng(seed), []
    for _ in range(sessions):
        told = tell(SlipDetector(STEP_DEG, rate_hz=10.0), with_slip(noise, size, rng))
        slips = [time_s for time_s, kind, _, _ in told if kind is SLIP]
        assert not any(time_s < BEFORE_S for time_s in slips)
        found.append(slips[0] - BEFORE_S if slips else np.inf)
    return np.array(found)


@pytest.mark.parametrize("noise", [0.1, 0.2, 0.3, 0.5])
def test_one_digit_is_told_within_seconds(noise):
    found = delays(noise, 1.0, 120, seed=round(1000 * noise))
    median, late = np.quantile(found, [0.5, 0.95], method="higher")
    assert median <= 3.0
    assert late <= 5.5


@pytest.mark.parametrize("noise", [0.1, 0.3, 0.5])
def test_two_digits_are_told_within_a_second(noise):
    found = delays(noise, 2.0, 80, seed=round(1000 * noise))
    median, late = np.quantile(found, [0.5, 0.95], method="higher")
    assert median <= 1.0
    assert late <= 1.5


def test_a_slip_is_told_once_with_its_size_and_beginning():
    rng = np.random.default_rng(5)
    for _ in range(20):
        values = with_slip(0.4, 4.0, rng)
        told = tell(SlipDetector(STEP_DEG, rate_hz=10.0), values)
        assert kinds(told) == [SLIP]
        _, _, size, since_s = told[0]
        assert abs(size) == pytest.approx(0.2, abs=0.03)
        assert np.sign(size) == np.sign(values[-1] - values[0])
        assert since_s == pytest.approx(BEFORE_S, abs=1.0)


@pytest.mark.parametrize("noise", [0.1, 0.2, 0.4, 0.7])
@pytest.mark.parametrize("wander", ["walk", "warm-up"])
def test_hours_of_wander_and_wild_readings_raise_no_alarm(noise, wander):
    rng, n = np.random.default_rng(17), 36_000
    digits = rng.uniform(-0.5, 0.5) + noise * rng.standard_normal(n)
    digits += walk(n, rng) if wander == "walk" else warm_up(n, 1200.0)
    wild = rng.random(n) < 0.001
    digits[wild] += rng.uniform(-40, 40, wild.sum())
    assert SLIP not in kinds(tell(SlipDetector(STEP_DEG, rate_hz=10.0), rounded(digits)))


@pytest.mark.parametrize("noise", [0.01, 0.03, 0.06])
def test_a_quiet_gauge_that_crosses_a_digit_gets_a_notice_and_no_alarm(noise):
    rng, n = np.random.default_rng(23), 36_000
    digits = noise * rng.standard_normal(n) + np.linspace(0, 1, n)
    told = tell(SlipDetector(STEP_DEG, rate_hz=10.0), rounded(digits))
    assert set(kinds(told)) == {NOTICE}
    assert sum(size for _, _, size, _ in told) == pytest.approx(STEP_DEG, abs=0.2 * STEP_DEG)


def test_a_quiet_gauge_that_goes_two_digits_at_once_has_slipped():
    values = rounded(np.repeat([0.0, 2.0], 600))
    told = tell(SlipDetector(STEP_DEG, rate_hz=10.0), values)
    assert kinds(told) == [SLIP]
    assert told[0][0] - 60.0 <= 1.0


def test_a_gauge_without_noise_cries_wolf_at_a_digit_only_once():
    # nothing in its readings tells it from a gauge of a tenth of a digit that slipped by one; afterwards it is known
    values = rounded(np.repeat([0.0, 1.0, 2.0, 1.0], 3000))
    assert kinds(tell(SlipDetector(STEP_DEG, rate_hz=10.0), values)) == [SLIP, NOTICE, NOTICE]


def test_two_digits_crossed_within_a_minute_are_a_slip():
    detector = SlipDetector(STEP_DEG, rate_hz=10.0)
    assert kinds(tell(detector, rounded(np.repeat([0.0, 1.0, 0.0], 900)))) == [SLIP, NOTICE]  # now it is known as quiet
    told = tell(detector, rounded(np.repeat([0.0, -1.0, -2.0], [900, 200, 900])), start_s=270.0)
    assert kinds(told) == [NOTICE, SLIP]
    assert told[1][2] == pytest.approx(-2 * STEP_DEG, abs=0.005)
    assert told[1][3] == pytest.approx(360.0, abs=0.2)


def test_a_gauge_on_the_edge_of_two_digits_is_noted_once_a_minute_at_most():
    rng, n = np.random.default_rng(14), 72_000
    told = tell(SlipDetector(STEP_DEG, rate_hz=10.0), rounded(0.5 + 0.01 * rng.standard_normal(n) + walk(n, rng)))
    noted = [time_s for time_s, kind, _, _ in told if kind is NOTICE]
    assert len(noted) > 5
    assert np.diff(noted).min() >= 60.0


def test_single_wild_readings_of_any_size_are_no_slip():
    values = rounded(0.2 * np.random.default_rng(3).standard_normal(3000))
    values[[200, 900, 901, 1500]] = [90.0, -1e6, 90.0, 0.0]
    assert kinds(tell(SlipDetector(STEP_DEG, rate_hz=10.0), values)) == []


def test_a_slide_is_told_and_then_where_it_came_to_rest():
    slide = np.concatenate([np.zeros(600), np.linspace(0, 10, 40), np.full(600, 10.0)])
    told = tell(SlipDetector(STEP_DEG, rate_hz=10.0), rounded(slide + 0.3 * np.random.default_rng(4).normal(size=1240)))
    assert kinds(told) == [SLIP, SLIP]
    assert sum(size for _, _, size, _ in told) == pytest.approx(0.5, abs=0.03)


def test_creep_past_the_limit_is_told_once_for_each_limit_passed():
    n = 72_000
    digits = np.linspace(0, 5, n) + 0.3 * np.random.default_rng(6).standard_normal(n)
    told = tell(SlipDetector(STEP_DEG, rate_hz=10.0, limit=0.1), rounded(digits))
    assert [kind for kind in kinds(told) if kind is not NOTICE] == [CREEP, CREEP]
    first_s, _, size, since_s = next(each for each in told if each[1] is CREEP)
    assert size == pytest.approx(0.11, abs=0.015)
    assert first_s == pytest.approx(2.25 / 5 * 7200, abs=240)
    assert since_s < 30.0


def test_a_slip_that_was_told_is_not_told_again_as_creep():
    digits = np.repeat([0.0, 4.0], 3000) + 0.3 * np.random.default_rng(7).standard_normal(6000)
    assert kinds(tell(SlipDetector(STEP_DEG, rate_hz=10.0, limit=0.1), rounded(digits))) == [SLIP]


def test_after_a_mark_movement_is_expected_and_the_limit_counts_anew():
    rng = np.random.default_rng(8)
    detector = SlipDetector(STEP_DEG, rate_hz=10.0, limit=0.1)
    assert tell(detector, rounded(0.3 * rng.standard_normal(600))) == []
    detector.mark(60_000_000_000)
    assert not detector.settled
    tightening = np.concatenate([np.linspace(0, 8, 150), np.full(600, 8.0)]) + 0.3 * rng.standard_normal(750)
    assert tell(detector, rounded(tightening), start_s=60.0) == []
    assert detector.settled
    assert detector.reference == pytest.approx(2.85 + 0.4, abs=0.01)
    assert detector.noise == pytest.approx(np.hypot(0.3, 12**-0.5) * STEP_DEG, rel=0.3)


def test_a_gap_is_no_slip_unless_it_hid_one():
    rng = np.random.default_rng(9)
    for size, expected in ((0.5, []), (5.0, [SLIP])):
        detector = SlipDetector(STEP_DEG, rate_hz=10.0)
        assert tell(detector, rounded(0.3 * rng.standard_normal(600))) == []
        told = tell(detector, rounded(size + 0.3 * rng.standard_normal(600)), start_s=360.0)
        assert kinds(told) == expected
        assert all(59.0 < since_s < 61.0 for _, _, _, since_s in told)


@pytest.mark.parametrize(("rate_hz", "within_s"), [(50.0, 2.0), (2.0, 5.0), (0.2, 40.0)])
def test_other_rates_take_their_time(rate_hz, within_s):
    rng = np.random.default_rng(round(10 * rate_hz))
    at_s = max(60.0, 60 / rate_hz)
    n = round(2 * at_s * rate_hz)
    late = []
    for _ in range(20):
        digits = rng.uniform(-0.5, 0.5) + 0.3 * rng.standard_normal(n)
        digits[n // 2 :] += 3.0
        told = tell(SlipDetector(STEP_DEG, rate_hz=rate_hz), rounded(digits), rate_hz)
        assert kinds(told) == [SLIP]
        late.append(told[0][0] - at_s)
    assert max(late) <= within_s


def test_the_noise_sets_the_bounds():
    # a slip by one digit hides in noise of two; by five it doesn't, and the noise alone raises nothing
    rng = np.random.default_rng(12)
    digits = 2.0 * rng.standard_normal(12_000)
    digits[6000:] += 5.0
    told = tell(SlipDetector(STEP_DEG, rate_hz=10.0), rounded(digits))
    assert kinds(told) == [SLIP]
    assert told[0][0] - 600.0 < 3.0


@pytest.mark.parametrize("wrong", [{"step": 0.0}, {"step": 0.05, "rate_hz": 0.0}, {"step": 0.05, "limit": 0.0}])
def test_wrong_arguments_are_refused(wrong):
    with pytest.raises(ValueError, match="above 0"):
        SlipDetector(**wrong)
