"""Creep against a plain line, rest, the fitted curve, and the fit under noise and wander. All sessions are made up."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from made_sessions import DIGIT, at, made, seconds

from gaugelog.analysis.creep import DAY_S, shape
from gaugelog.analysis.explained import explain, fitted
from gaugelog.analysis.wander import SHARES, Blocks, fit

REST = 0.2


def told(session, rest: float = REST):
    return explain(session.utc_us, session.value, (DIGIT,), rest_rate_per_day=rest)


def test_creep_is_told_and_a_quiet_session_has_none():
    for seed in range(6):
        crept = made(seed, steps=0, creep=True, creep_sizes=(0.1, 0.2), creep_tau_s=(600, 2400))
        explained = told(crept)
        assert explained.steps == ()
        assert explained.creep is not None
        assert explained.creep.size == pytest.approx(crept.creep[0], abs=4 * explained.creep.u)
        assert explained.creep.tau_s == pytest.approx(crept.creep[1], rel=0.2)
        assert seconds(explained.creep.start_us) == pytest.approx(0, abs=1)
        for quiet in ({}, {"walk": 0.01}, {"line_per_h": 0.02}, {"correlation": 0.8}):
            explained = told(made(seed, steps=0, creep=False, **quiet))
            assert explained.steps == ()
            assert explained.creep is None


def test_creep_that_begins_late_has_its_start():
    for seed in range(8):
        crept = made(seed, steps=0, creep=True, creep_sizes=(0.1, 0.2), creep_tau_s=(600, 1800), late_creep=True)
        explained = told(crept)
        assert explained.creep is not None
        assert seconds(explained.creep.start_us) == pytest.approx(crept.creep[2], abs=60)
        assert explained.creep.size == pytest.approx(crept.creep[0], abs=4 * explained.creep.u)


def test_the_truth_of_creep_lies_within_its_uncertainty():
    """Monte Carlo: at least as often as stated; digits count in full, although creep through several evens them out."""
    off = []
    for seed in range(40):
        crept = made(seed, steps=0, creep=True, creep_sizes=(0.1, 0.2), walk=0.01 * (seed % 2), creep_tau_s=(600, 2400))
        creep = told(crept).creep
        if creep is not None:
            off.append(abs(creep.size - crept.creep[0]) / creep.u)
    assert len(off) >= 34
    assert np.mean(np.array(off) < 1) >= 0.60
    assert np.mean(np.array(off) < 1.96) >= 0.88


def test_a_quiet_gauge_that_shows_two_stairs_is_not_said_to_creep():
    for seed in range(5):
        crept = made(seed, steps=0, creep=True, noise=0.003, creep_sizes=(0.06, 0.07))
        assert told(crept).creep is None


def test_rest_is_when_the_rate_falls_below_the_limit():
    crept = made(1, steps=0, creep=True, creep_sizes=(0.2, 0.2), creep_tau_s=(700, 700), duration_s=14_400)
    explained = told(crept, rest=0.2)
    # rate 0.2/700 exp(-t/700) = 0.2/86400 per second
    assert seconds(explained.rest_at_us) == pytest.approx(700 * math.log(DAY_S / 700), rel=0.05)
    assert told(crept, rest=1e-4).rest_at_us is None


def test_rest_needs_readings_that_can_bear_it_out():
    assert told(made(2, steps=0, creep=False), rest=0.05).rest_at_us is not None
    assert told(made(2, steps=0, creep=False, walk=0.01), rest=0.05).rest_at_us is None
    stepped = made(3, steps=1, sizes=(0.2, 0.2), creep=False)
    explained = told(stepped, rest=0.5)
    assert seconds(explained.rest_at_us) == pytest.approx(stepped.step_s[0], abs=1)


def test_the_fitted_curve_runs_through_the_truth():
    session = made(4, steps=2, creep=True, creep_sizes=(0.15, 0.2), sizes=(0.1, 0.3))
    explained = told(session)
    value, band = fitted(explained, session.utc_us)
    assert value.shape == band.shape == session.value.shape
    assert float(np.mean(session.value - value)) == pytest.approx(0, abs=1e-3)
    assert float(np.abs(np.convolve(session.value - value, np.ones(600) / 600, "valid")).max()) < 0.05
    assert 0 < band.min() < band.max() < 0.02


def blocks_of(values) -> Blocks:
    values = np.asarray(values, dtype=float)
    return Blocks(np.arange(values.size, dtype=float), np.zeros(values.size), values, np.ones(values.size))


def test_the_fit_agrees_with_an_independent_state_space_model():
    """A step in noise and a random walk, at one share of wander: statsmodels' Kalman filter with a step."""
    from statsmodels.tsa.statespace.structural import UnobservedComponents

    from gaugelog.analysis.wander import solve, whiten

    chance = np.random.default_rng(7)
    n, q = 120, 0.04
    step = (np.arange(n) >= 50).astype(float)
    values = 3 + 1.5 * step + np.cumsum(chance.normal(0, math.sqrt(q), n)) + chance.normal(0, 1, n)
    blocks = blocks_of(values)
    # scaled to a mean diagonal of one: white noise of variance 1 has 2, the walk q for each unit of time
    told = solve(blocks, whiten(blocks, step[:, None], np.array([q / 2])), shares=np.array([q / 2]))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = UnobservedComponents(values, "local level", exog=step, mle_regression=False)
        theirs = model.smooth([told.white, told.walk])
    assert told.walk / told.white == pytest.approx(q, rel=1e-9)
    assert told.value[0] == pytest.approx(float(theirs.smoothed_state[1, -1]), abs=1e-5)
    assert told.covariance[0, 0] == pytest.approx(float(theirs.smoothed_state_cov[1, 1, -1]), rel=1e-4)


def test_without_wander_the_fit_is_plain_least_squares():
    from statsmodels.regression.linear_model import OLS

    from gaugelog.analysis.wander import solve, whiten

    chance = np.random.default_rng(8)
    t = np.arange(200.0)
    columns = np.column_stack((t >= 60, shape(t, 10.0, 50.0)))
    values = columns @ [0.3, -0.2] + chance.normal(0, 0.05, t.size)
    blocks = blocks_of(values)
    told = solve(blocks, whiten(blocks, columns, np.zeros(1)), shares=np.zeros(1))
    theirs = OLS(values, np.column_stack((np.ones(t.size), columns))).fit()
    assert told.value == pytest.approx(theirs.params[1:], rel=1e-8)
    assert told.covariance == pytest.approx(theirs.cov_params()[1:, 1:], rel=1e-8)


def test_shares_reach_from_no_wander_to_nothing_else():
    assert SHARES[0] == 0.0
    assert (np.diff(SHARES) > 0).all()


@pytest.mark.parametrize("name", ["flicker", "zarr13"])
def test_autocorrelated_readings_widen_the_uncertainty(name, column, expected):
    """NIST sets, in means of ten as the fit gets them: a difference of halves against their batch means' own u.

    Twice the batch means' standard uncertainty is that of a difference of two halves. Wander that shows makes it more.
    """
    values = np.asarray(column(name))
    means = values[: values.size // 10 * 10].reshape(-1, 10).mean(axis=1)
    step = (np.arange(means.size) >= means.size // 2).astype(float)[:, None]
    u = math.sqrt(float(fit(blocks_of(means), step).covariance[0, 0]))
    by_batches = 2 * expected["stream"][name]["batch_u"]
    print(name, u, by_batches, 2 * values.std() / math.sqrt(values.size))
    assert 0.9 * by_batches < u < 3 * by_batches


def test_times_of_a_curve_may_lie_anywhere():
    explained = told(made(6, steps=1))
    value, band = fitted(explained, at([-100.0, 0.0, 1e5]))
    assert np.isfinite(value).all()
    assert np.isfinite(band).all()
