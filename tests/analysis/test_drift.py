"""A clamp session over time. All series are made up; where a number is expected it follows from how they were made."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from gaugelog.analysis.drift import drift, series_drift
from gaugelog.analysis.phases import WHOLE_SESSION, Stretch, phases_of
from gaugelog.analysis.results import Gap
from gaugelog.analysis.series import Series, difference_of
from gaugelog.model.datasheet import Sends
from gaugelog.model.placement import Mark, MarkKind
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Flag

S = 1_000_000
START = 1_770_000_000 * S
R = 0.05


def at(seconds) -> np.ndarray:
    return (START + np.round(np.asarray(seconds, dtype=float) * S)).astype(np.int64)


def series(seconds, values, name: str = "neck", **more) -> Series:
    values = np.broadcast_to(np.asarray(values, dtype=float), np.shape(seconds)).copy()
    more = {"steps": (R,), **more}
    return Series(name, Quantity.ANGLE, at(seconds), values, **more)


def steady(duration_s: float, rate_hz: float = 10.0) -> np.ndarray:
    return np.arange(int(duration_s * rate_hz)) / rate_hz


def mark(seconds: float, kind: MarkKind) -> Mark:
    return Mark(int(at(seconds)), kind)


MARKS = (mark(600, MarkKind.CLAMPS_ON), mark(300, MarkKind.GLUE_ON), mark(1200, MarkKind.CLAMPS_OFF))


def test_phases_from_marks():
    told = phases_of(MARKS, int(at(0)), int(at(1800)))
    assert [(p.name, p.start_utc_us, p.end_utc_us) for p in told] == [
        ("dry fit", int(at(0)), int(at(300))),
        ("glue open", int(at(300)), int(at(600))),
        ("in clamps", int(at(600)), int(at(1200))),
        ("after clamps", int(at(1200)), int(at(1800))),
    ]


def test_phases_at_the_edges():
    whole = phases_of((mark(10, MarkKind.NOTE),), int(at(0)), int(at(60)))
    assert [p.name for p in whole] == [WHOLE_SESSION]
    again = phases_of(
        (mark(-60, MarkKind.GLUE_ON), mark(5, MarkKind.CLAMPS_ON), mark(9, MarkKind.CLAMPS_ON)), int(at(0)), int(at(60))
    )
    assert [(p.name, p.start_utc_us) for p in again] == [("glue open", int(at(0))), ("in clamps", int(at(5)))]


def test_changes_phase_by_phase():
    t = steady(1800)
    rng = np.random.default_rng(1)
    true = np.where(t < 600, 2.8, np.where(t < 900, 3.2, 3.0))
    told = drift([series(t, np.round((true + rng.normal(0, 0.04, t.size)) / R) * R)], MARKS).series[0]
    assert [p.name for p in told.phases] == ["dry fit", "glue open", "in clamps", "after clamps"]
    assert sum(p.n for p in told.phases) == told.n == t.size
    for phase, want in zip(told.phases, (0.0, 0.0, -0.2, 0.0), strict=True):
        assert phase.change == pytest.approx(want, abs=0.01)
        # noise alone would give under 0.003: the digits (GUM F.2.2.1, two levels) can't be averaged away
        assert phase.u == pytest.approx(R / math.sqrt(6), rel=0.05)
    assert told.phases[2].mean == pytest.approx(3.1, abs=0.002)
    assert told.gaps == ()


def test_autocorrelated_noise_widens_u():
    rng = np.random.default_rng(2)
    t, noise = steady(1000, 20.0), np.empty(20_000)
    noise[0] = 0.0
    for i, shock in enumerate(rng.normal(0, 1, 19_999)):
        noise[i + 1] = 0.9 * noise[i] + shock
    told = drift([series(t, noise, steps=(1e-9,))]).series[0].phases[0]
    shuffled = drift([series(t, rng.permutation(noise), steps=(1e-9,))]).series[0].phases[0]
    # sqrt((1 + 0.9)/(1 - 0.9)) = 4.4 for a first-order series
    assert 3 < told.u / shuffled.u < 6


def test_u_covers_the_truth():
    """Nothing moves; the change is within 2 u in about 95 of 100 sessions of autocorrelated noise."""
    rng = np.random.default_rng(3)
    inside = 0
    for _ in range(300):
        shocks = rng.normal(0, 1, 2400)
        noise = np.convolve(shocks, 0.7 ** np.arange(30))[: shocks.size]
        phase = drift([series(steady(2400, 1.0), noise, steps=(1e-9,))]).series[0].phases[0]
        inside += abs(phase.change) <= 2 * phase.u
    assert 0.88 <= inside / 300 <= 0.99


def test_too_few():
    one = drift([series([5.0], 2.8)], start_utc_us=int(at(0)), end_utc_us=int(at(60))).series[0].phases[0]
    assert (one.n, one.mean, one.change, one.u) == (1, 2.8, None, None)
    spots = drift([series([0, 600, 1200], [2.8, 2.8, 2.9], sends=Sends.ON_BUTTON)]).series[0].phases[0]
    assert (spots.change, spots.u) == (pytest.approx(0.1), None)
    none = drift([series([], [])], MARKS, start_utc_us=int(at(0)), end_utc_us=int(at(1800))).series[0]
    assert all((p.n, p.mean, p.change) == (0, None, None) for p in none.phases)
    with pytest.raises(ValueError, match="start and end"):
        drift([series([], [])])


def test_a_window_that_ran_away_counts_its_whole_scatter():
    t = steady(400)
    told = drift([series(t, 0.001 * t, steps=(1e-9,))]).series[0].phases[0]
    # a ramp of 0.06 within each window of 60 s has s = 0.06/√12
    assert told.u == pytest.approx(math.sqrt(2) * 0.06 / math.sqrt(12), rel=0.01)
    assert told.change == pytest.approx(0.001 * 340, rel=0.01)


def test_readings_on_hold_or_over_range_are_left_out():
    t = steady(100)
    values, flags = np.full(t.size, 2.8), np.zeros(t.size, dtype=np.int64)
    values[500:], flags[500:] = 90.0, int(Flag.OVER_RANGE)
    flags[:10] = int(Flag.LOW_BATTERY)
    told = drift([series(t, values, flags=flags)]).series[0]
    assert told.n == 500
    assert told.phases[0].mean == pytest.approx(2.8)
    assert told.gaps == ()


def test_times_that_run_backwards_are_sorted():
    t = steady(100)
    jumbled = np.concatenate((t[500:], t[:500]))
    told = drift([series(jumbled, 0.01 * jumbled)]).series[0].phases[0]
    assert told.change == pytest.approx(drift([series(t, 0.01 * t)]).series[0].phases[0].change)


def without(t: np.ndarray, low: float, high: float) -> np.ndarray:
    return t[(t < low) | (t >= high)]


def test_silence_of_a_steady_gauge_is_a_gap():
    t = without(steady(300), 100, 110)
    told = drift([series(t, 2.8)]).series[0]
    assert [(g.fault, g.start_utc_us, g.end_utc_us) for g in told.gaps] == [(True, int(at(99.9)), int(at(110)))]
    assert drift([series(without(steady(300), 100, 101.8), 2.8)]).series[0].gaps == ()


def test_a_slow_gauge_may_be_silent_for_five_periods():
    slow = without(np.arange(0, 600, 2.0), 100, 108)
    assert drift([series(slow, 2.8)]).series[0].gaps == ()
    assert len(drift([series(without(np.arange(0, 600, 2.0), 100, 112), 2.8)]).series[0].gaps) == 1
    assert len(drift([series(slow, 2.8, period_s=1.0)]).series[0].gaps) == 1


def test_silence_at_either_end_of_the_session():
    told = drift([series(steady(60), 2.8)], start_utc_us=int(at(-30)), end_utc_us=int(at(120))).series[0]
    assert [(g.start_utc_us, g.end_utc_us) for g in told.gaps] == [
        (int(at(-30)), int(at(0))),
        (int(at(59.9)), int(at(120))),
    ]


@pytest.mark.parametrize(
    "how",
    [
        {"sends": Sends.ON_CHANGE},
        {"sends": Sends.ON_BUTTON},
        {"sends": Sends.WHEN_TYPED},
        {"sends": Sends.WHEN_ASKED},
        {"awake_s": 300.0},
    ],
)
def test_where_silence_is_expected_there_is_no_gap(how):
    assert drift([series(without(steady(600), 100, 500), 2.8, **how)]).series[0].gaps == ()


def test_recorded_gaps_give_the_reason():
    lost = Gap(int(at(101)), int(at(109)), "link lost")
    asleep = Gap(int(at(200)), int(at(201)), "asleep", fault=False)
    told = drift([series(without(steady(300), 100, 110), 2.8, gaps=(asleep, lost))]).series[0]
    assert told.gaps == (Gap(int(at(99.9)), int(at(110)), "link lost"), asleep)


def test_a_silence_explained_twice_is_stretched_over_both():
    lost, pause = (
        Gap(int(at(101)), int(at(104)), "link lost"),
        Gap(int(at(104)), int(at(109)), "not running", fault=False),
    )
    told = drift([series(without(steady(300), 100, 110), 2.8, gaps=(pause, lost))]).series[0]
    assert told.gaps == (replace(lost, start_utc_us=int(at(99.9))), replace(pause, end_utc_us=int(at(110))))


def test_the_difference_takes_the_bench_out():
    t = steady(1000)
    bench = 0.3 * np.sin(t / 100) + 0.0005 * t
    neck, body = series(t, 2.8 + bench), series(t + 0.03, bench, "body")
    told = drift([neck, body], pairs=[("neck", "body")]).series
    assert [(s.name, s.difference) for s in told] == [("neck", False), ("body", False), ("neck - body", True)]
    assert told[2].n == t.size
    assert abs(told[2].phases[0].change) < 0.001 < abs(told[0].phases[0].change)
    # two readings at either end, each with a digit: 4 R²/12
    assert told[2].phases[0].u == pytest.approx(R / math.sqrt(3), rel=0.01)


def test_pairs_are_nearest_in_time_and_not_too_far():
    sparse = series([0.0, 1.0, 2.0, 60.0], [1.0, 2.0, 3.0, 4.0])
    dense = series(np.arange(0.04, 20, 0.1), 0.0, "body")
    told = difference_of(sparse, dense)
    assert told.utc_us.tolist() == at([0.0, 1.0, 2.0]).tolist()
    assert told.value.tolist() == [1.0, 2.0, 3.0]
    assert difference_of(dense, sparse).value.tolist() == [-1.0, -2.0, -3.0]
    assert difference_of(sparse, series([], [], "body")).utc_us.size == 0
    with pytest.raises(ValueError, match="quantity"):
        difference_of(sparse, replace(dense, quantity=Quantity.LENGTH))


def test_a_gauge_that_sends_on_change_holds_its_value():
    body = series(
        [0.5, 10.0, 20.0],
        [1.0, 2.0, 4.0],
        "body",
        sends=Sends.ON_CHANGE,
        gaps=(Gap(int(at(15)), int(at(20)), "link lost"),),
    )
    neck = series([0.0, 5.0, 12.0, 17.0, 30.0], 10.0)
    told = difference_of(neck, body)
    assert told.utc_us.tolist() == at([5.0, 12.0, 30.0]).tolist()
    assert told.value.tolist() == [9.0, 8.0, 6.0]
    both = difference_of(replace(neck, sends=Sends.ON_CHANGE), replace(body, gaps=()))
    assert both.utc_us.tolist() == at([0.5, 5.0, 10.0, 12.0, 17.0, 20.0, 30.0]).tolist()


def test_a_held_value_counts_for_as_long_as_it_stood():
    """2.8 from the start, 2.9 after 900 s: silent windows at both ends, so only the digits make u."""
    told = (
        drift(
            [series([0.0, 900.0], [2.8, 2.9], sends=Sends.ON_CHANGE)], start_utc_us=int(at(0)), end_utc_us=int(at(1800))
        )
        .series[0]
        .phases[0]
    )
    assert told.mean == pytest.approx(2.85)
    assert told.change == pytest.approx(0.1)
    assert told.u == pytest.approx(R / math.sqrt(6))
    late = (
        drift(
            [series([0.0, 1770.0], [2.8, 2.9], sends=Sends.ON_CHANGE)],
            start_utc_us=int(at(0)),
            end_utc_us=int(at(1800)),
        )
        .series[0]
        .phases[0]
    )
    assert late.change == pytest.approx(0.05)


def test_a_silent_phase_of_a_gauge_that_sends_on_change():
    """No reading in the glue-open phase means that nothing changed in it."""
    told = drift(
        [series([0.0, 650.0], [2.8, 2.9], sends=Sends.ON_CHANGE)],
        MARKS,
        start_utc_us=int(at(0)),
        end_utc_us=int(at(1800)),
    ).series[0]
    opened = told.phases[1]
    assert (opened.n, opened.mean, opened.change) == (0, 2.8, 0.0)


def test_a_million_readings():
    t = steady(100_000)
    told = drift([series(t, 2.8), series(t, 0.1, "body")], MARKS, pairs=[("neck", "body")])
    assert [s.n for s in told.series] == [1_000_000] * 3
    assert told.start_utc_us == START


def test_wrong_arguments():
    with pytest.raises(ValueError, match="one length"):
        Series("neck", Quantity.ANGLE, at([0.0, 1.0]), np.array([1.0]), (R,))
    with pytest.raises(ValueError, match="no gauge called body"):
        drift([series([0.0, 1.0], 2.8)], pairs=[("neck", "body")])


def test_what_moved_and_came_back_is_told_as_the_farthest() -> None:
    # by hand: 600 s at 2/s, 2.80 but for 60 s from 300 s on, when it stood 0.20 higher
    seconds = np.arange(1200) * 0.5
    value = np.where((seconds >= 300) & (seconds < 360), 3.00, 2.80)
    (phase,) = series_drift(
        Series("neck", Quantity.ANGLE, (seconds * 1e6).astype(np.int64), value, (0.05,)),
        [Stretch("in clamps", 0, 600_000_000)],
    ).phases
    assert phase.change == pytest.approx(0.0, abs=1e-12)
    assert phase.farthest == pytest.approx(0.20)
    assert phase.farthest_utc_us == 300_000_000


def test_the_farthest_of_a_phase_that_only_went_down_is_its_end() -> None:
    seconds = np.arange(600) * 1.0
    value = 2.80 - seconds / 600
    (phase,) = series_drift(
        Series("neck", Quantity.ANGLE, (seconds * 1e6).astype(np.int64), value, (0.05,)),
        [Stretch("in clamps", 0, 600_000_000)],
    ).phases
    assert phase.farthest is not None
    assert phase.change is not None
    assert phase.farthest < phase.change < 0
    assert phase.farthest_utc_us == 590_000_000
