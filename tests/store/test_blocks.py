"""Blocks of readings come back as they went in, whatever the numbers. All values are invented."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.model.quantities import Quantity, find_unit
from gaugelog.store.blocks import (
    BlockFormError,
    Columns,
    Layout,
    base_values,
    concatenate,
    decode,
    encode,
    ticks_of,
)

INT64 = st.integers(-(2**63), 2**63 - 1)
TIMES = st.integers(0, 2**62)
LENGTH_UNITS = ("mm", "in", "cm", "m")
DECIMAL = st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**9), max_value=10**9, places=6)


@st.composite
def columns(draw):
    layouts = draw(
        st.lists(st.builds(Layout, st.sampled_from(LENGTH_UNITS), st.integers(-5, 12)), min_size=1, unique=True)
    )
    place = st.integers(0, len(layouts) - 1)
    rows = draw(st.lists(st.tuples(TIMES, INT64, place, st.integers(0, 255)), min_size=1, max_size=40))
    return Columns(*(np.array(column, dtype=np.int64) for column in zip(*rows, strict=True)), tuple(layouts))


def same(one: Columns, other: Columns) -> bool:
    numbers = ("utc_us", "ticks", "flags")
    return all(np.array_equal(getattr(one, name), getattr(other, name)) for name in numbers) and [
        one.layouts[place] for place in one.layout
    ] == [other.layouts[place] for place in other.layout]


@given(columns())
def test_a_block_comes_back_as_it_went_in_also_where_the_clock_steps_back(block):
    assert same(decode(encode(block)), block)


@given(st.lists(columns(), min_size=1, max_size=4))
def test_blocks_put_together_hold_the_readings_of_each_in_order(blocks):
    whole = decode(encode(concatenate(blocks)))
    assert whole.utc_us.tolist() == [time for block in blocks for time in block.utc_us.tolist()]
    assert whole.ticks.tolist() == [tick for block in blocks for tick in block.ticks.tolist()]
    assert [whole.layouts[place] for place in whole.layout] == [
        block.layouts[place] for block in blocks for place in block.layout
    ]


@given(DECIMAL, st.sampled_from(LENGTH_UNITS))
def test_a_shown_decimal_is_kept_as_shown_and_its_value_is_the_nearest_float(number, unit):
    text = format(number, "f")
    value = find_unit(unit, Quantity.LENGTH).to_base(number)
    ticks, layout = ticks_of(text, value, unit, Quantity.LENGTH)
    assert format(Decimal(ticks).scaleb(-layout.decimals), "f") == text.replace("-0.000000", "0.000000")
    one = Columns(*(np.array([cell], dtype=np.int64) for cell in (0, ticks, 0, 0)), (layout,))
    assert base_values(one, Quantity.LENGTH).tolist() == [value]


@given(INT64, st.builds(Layout, st.sampled_from(("degF", "degC")), st.integers(0, 12)))
def test_values_are_exact_also_with_an_offset_and_with_large_numbers(ticks, layout):
    one = Columns(*(np.array([cell], dtype=np.int64) for cell in (0, ticks, 0, 0)), (layout,))
    exact = find_unit(layout.unit, Quantity.TEMPERATURE).to_base(Decimal(ticks).scaleb(-layout.decimals))
    assert base_values(one, Quantity.TEMPERATURE).tolist() == [exact]


@pytest.mark.parametrize(("text", "value"), [("3/32", 2.38125), ("1" * 40, 0.5), ("2.85", 2.80), ("", -1.25e-7)])
def test_where_the_text_is_no_decimal_of_this_value_the_value_is_kept(text, value):
    ticks, layout = ticks_of(text, value, "mm", Quantity.LENGTH)
    assert float(Decimal(ticks).scaleb(-layout.decimals)) == value
    assert layout.unit == "mm"


def test_what_is_no_number_is_refused():
    with pytest.raises(ValueError):
        ticks_of("", float("nan"), "mm", Quantity.LENGTH)


def test_a_day_of_jittering_quantised_readings_takes_under_three_bytes_each():
    chance = np.random.default_rng(686)
    n = 6000
    times = 1_700_000_000_000_000 + np.arange(n) * 100_000 + chance.normal(0, 1000, n).astype(np.int64)
    ticks = 5 * np.cumsum(chance.choice((-1, 0, 1), n, p=(0.1, 0.8, 0.1)))
    nothing = np.zeros(n, dtype=np.int64)
    assert len(encode(Columns(times, ticks, nothing, nothing, (Layout("deg", 2),)))) < 3 * n


@given(st.binary(max_size=200))
def test_bytes_that_are_no_block_are_refused(data):
    with pytest.raises(BlockFormError):
        decode(data)


def test_a_block_cut_short_anywhere_is_refused():
    some = np.arange(50, dtype=np.int64)
    whole = encode(Columns(some * 1000, some * 7 % 13, some * 0, some * 0, (Layout("mm", 1),)))
    for end in range(len(whole)):
        with pytest.raises(BlockFormError):
            decode(whole[:end])
