"""Mean, standard deviation and autocorrelation, in digits that agree with NIST's certified values."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.analysis.describe import autocorrelation, batch_means_u, describe, effective_size


def agreeing_digits(got: float | None, certified: float) -> float:
    """Log relative error, as NIST scores statistics programs; 15 where nothing differs."""
    assert got is not None
    error = abs(got - certified) / abs(certified)
    return 15.0 if error == 0 else min(-math.log10(error), 15.0)


@pytest.mark.parametrize("name", ["pidigits", "lottery", "lew", "mavro", "michelso"])
def test_nist_certified_values(name, column, expected):
    values, certified = column(f"strd_{name}"), expected["strd"][name]
    told = describe(values)
    assert told.n == certified["n"]
    assert agreeing_digits(told.mean, certified["mean"]) >= 14
    # mavro's printed readings are no doubles: exact two-pass arithmetic on them reaches 12.2 digits
    assert agreeing_digits(told.sd, certified["sd"]) >= (12 if name == "mavro" else 13.5)
    assert agreeing_digits(autocorrelation(values), certified["r1"]) >= 12


@pytest.mark.parametrize("name", ["1", "2", "3", "4"])
def test_nist_numerical_accuracy_sets(name, expected):
    certified = expected["numacc"][name]
    base = certified.get("base")
    values = certified.get("data") or [base + 0.2] + [base + 0.1, base + 0.3] * 500
    least = certified["least_digits"]
    told = describe(values)
    assert agreeing_digits(told.mean, certified["mean"]) >= 14
    assert agreeing_digits(told.sd, certified["sd"]) >= least
    assert agreeing_digits(autocorrelation(values), certified["r1"]) >= min(least, 12)


def test_the_score_can_fail():
    assert agreeing_digits(1.001, 1.0) == pytest.approx(3, abs=0.01)


def test_autocorrelations_of_the_handbook(column, expected):
    values = column("strd_lew")
    got = [round(autocorrelation(values, lag), 2) for lag in range(1, 11)]
    assert got == expected["lew"]["printed"]


@pytest.mark.parametrize("name", ["mavro", "michelso", "lew", "flicker", "zarr13"])
def test_what_a_stream_is_worth(name, column, expected):
    file = name if name in ("flicker", "zarr13") else f"strd_{name}"
    values, want = column(file), expected["stream"][name]
    assert autocorrelation(values) == pytest.approx(want["r1"], rel=1e-9)
    assert batch_means_u(values, 10) == pytest.approx(want["batch_u"], rel=1e-6)
    size = effective_size(values)
    if want["n_eff_raw"] < 2:
        assert size is None
    else:
        assert size == pytest.approx(min(want["n_eff_raw"], want["n"]), rel=1e-6)


def test_too_few():
    assert describe([]).mean is None
    assert describe([]).sd is None
    assert describe([2.5]).mean == 2.5
    assert describe([2.5]).sd is None
    assert autocorrelation([1.0, 2.0]) is None
    assert autocorrelation([2.8] * 5) is None
    assert effective_size([1.0, 2.0]) is None
    assert effective_size([2.8] * 5) == 5
    assert batch_means_u([1.0, 2.0, 3.0], 2) is None


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_what_is_no_number_is_refused(bad):
    with pytest.raises(ValueError, match="finite"):
        describe([1.0, bad])
    with pytest.raises(ValueError, match="finite"):
        effective_size([1.0, bad, 2.0])


def test_wrong_arguments():
    with pytest.raises(ValueError, match="lag"):
        autocorrelation([1.0, 2.0, 3.0], 0)
    with pytest.raises(ValueError, match="batch"):
        batch_means_u([1.0, 2.0], 0)


@given(st.lists(st.integers(-400, 400), min_size=2, max_size=40), st.integers(-1000, 1000))
def test_an_offset_leaves_the_spread(ticks, offset):
    """Ticks of 1/16 are doubles exactly, so nothing may differ but rounding."""
    values = [tick / 16 for tick in ticks]
    moved = [value + offset for value in values]
    assert describe(moved).sd == pytest.approx(describe(values).sd, rel=1e-9, abs=1e-12)
    assert describe(moved).mean == pytest.approx(describe(values).mean + offset, rel=1e-12, abs=1e-12)


def test_two_identical_values_have_no_spread():
    assert describe([0.1] * 3).sd == 0.0
