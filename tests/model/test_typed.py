"""Typed values against Python's own fractions and decimals."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.errors import UnitMismatchError, ValueTextError
from gaugelog.model.quantities import Quantity
from gaugelog.model.typed import parse_typed

INCH_MM = Fraction(254, 10)  # exactly: international yard and pound agreement, 1959


def length(text, unit="mm", given_unit=None):
    return parse_typed(text, Quantity.LENGTH, unit, given_unit)


@given(st.integers(0, 99), st.integers(0, 999), st.integers(1, 999), st.sampled_from([" ", "-"]))
def test_fractions_of_an_inch_equal_those_of_the_fractions_module(whole, above, below, between):
    exact = (whole + Fraction(above, below)) * INCH_MM
    assert length(f"{whole}{between}{above}/{below}").value == float(exact)
    assert length(f"-{whole} {above}/{below} in").value == float(-exact)


@given(st.decimals(-1000, 1000, places=4))
def test_decimals_keep_every_digit(number):
    assert length(str(number)).value == float(number)
    assert length(str(number).replace(".", ",")).value == float(number)
    assert length(f"{number} in").value == float(Fraction(number) * INCH_MM)


@pytest.mark.parametrize(
    ("text", "value_mm"),
    [
        ("3/32", 2.38125),
        ("1/64 in", 0.396875),
        ('1 1/8"', 28.575),
        ("+1/16", 1.5875),
        ("\u22121/16", -1.5875),
        ("3/4 mm", 0.75),
        (".5", 0.5),
        ("1.", 1.0),
    ],
)
def test_written_forms(text, value_mm):
    assert length(text).value == value_mm


def test_a_feeler_pair_has_both_ends_and_their_middle():
    pair = length("0.25..0.30")
    assert (pair.low, pair.value, pair.high) == (0.25, pytest.approx(0.275), 0.3)
    assert pair.step is None
    assert length("1/64..1/32").value == pytest.approx(25.4 * 3 / 128)
    assert length("0.25 .. 0.30 mm", "in").unit == "mm"


@pytest.mark.parametrize(
    ("text", "step_mm"),
    [
        ("3/64", 25.4 / 64),
        ("1 1/8", 25.4 / 8),
        ("32/64 in", 25.4 / 64),
        ("-1/16", 25.4 / 16),
        (">1/32", 25.4 / 32),
        ("3/4 mm", 0.25),
        ("0.50", None),
        ("1", None),
        ("1/64..1/32", None),
    ],
)
def test_a_fraction_is_as_fine_as_its_denominator_says(text, step_mm):
    assert length(text).step == step_mm


def test_a_bound_has_no_value():
    over, under = length(">0.30"), length("< 0.05 mm")
    assert (over.value, over.low, over.high) == (None, 0.3, None)
    assert (under.value, under.low, under.high) == (None, None, 0.05)


def test_a_unit_beside_the_text_counts_and_may_not_contradict():
    assert length("0.1", "mm", "in").value == 2.54
    assert length("0.1 in", "mm", "inch").value == 2.54
    with pytest.raises(UnitMismatchError):
        length("0.1 mm", "mm", "in")
    with pytest.raises(UnitMismatchError):
        length("0.1 in..3 mm")
    with pytest.raises(UnitMismatchError):
        length("0.1 deg")


@pytest.mark.parametrize(
    "text", ["", " ", "abc", "1/0", "0.30..0.25", "0.3..0.3", "1..2..3", ">", ">1..2", "1 2", "--1", "1,2,3", "9" * 500]
)
def test_what_is_no_value_is_refused(text):
    with pytest.raises(ValueTextError):
        length(text)


@given(st.text(max_size=100) | st.text("0123456789./-<> ,inm°'\"", max_size=30), st.sampled_from(list(Quantity)))
def test_any_text_is_a_value_or_a_declared_error(text, quantity):
    try:
        read = parse_typed(text, quantity, quantity.base_unit)
    except (ValueTextError, UnitMismatchError):
        return
    assert read.value is not None or (read.low is None) != (read.high is None)


def test_a_pair_the_wrong_way_round_is_told_what_is_wanted():
    with pytest.raises(ValueTextError) as caught:
        length("0.30..0.25")
    assert caught.value.wanted == "a feeler pair with the one that goes first, then the larger one that doesn't"


def test_temperatures_take_the_offset_once():
    pair = parse_typed("68..70 °F", Quantity.TEMPERATURE, "degC")
    assert pair.low == 20.0
    assert pair.value == pytest.approx(float(Decimal(69 - 32) * 5 / 9))
