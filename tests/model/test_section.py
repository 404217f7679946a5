"""The cursor over a declarative table."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.model.quantities import Quantity
from gaugelog.model.section import Section


def faults_of(section):
    return [(fault.key, fault.got) for fault in section.faults]


def test_faults_of_nested_tables_come_together_with_dotted_keys():
    top = Section({"neck": {"frets": "many"}, "checkpoint": [{"id": "a"}, {"id": 3}]})
    top.table("neck").whole("frets", 1, 60)
    for table in top.tables("checkpoint"):
        table.text("id")
    assert faults_of(top) == [("neck.frets", '"many"'), ("checkpoint[2].id", "3")]


def test_a_key_that_nobody_asked_for_is_told_with_the_nearest_known():
    section = Section({"scale_lenght": 686, "zzz": 1})
    section.number("scale_length")
    section.done()
    assert section.faults[0].wanted == "a key that is known here (perhaps scale_length)"
    assert section.faults[1].wanted == "one of the keys scale_length"


@pytest.mark.parametrize(
    ("raw", "value_mm"), [(1, 25.4), (0.5, 12.7), ("3/32 in", 2.38125), ("2 mm", 2.0), (1e-5, 0.000254), ("0,5", 12.7)]
)
def test_a_bare_length_is_in_the_unit_given(raw, value_mm):
    assert Section({"x": raw}).measure("x", Quantity.LENGTH, "in") == pytest.approx(value_mm, rel=1e-15)


@pytest.mark.parametrize(
    "raw",
    [
        True,
        [],
        {},
        "x",
        "0.2..0.3",
        "<1",
        float("nan"),
        float("inf"),
        pytest.param(16**5000, id="huge"),
        1e300 * 10,
        "3 deg",
    ],
)
def test_what_is_no_length_is_a_fault_and_no_value(raw):
    section = Section({"x": raw})
    assert section.measure("x", Quantity.LENGTH, "mm") is None
    assert [fault.key for fault in section.faults] == ["x"]


def test_limits_of_a_difference_hold_after_the_offset_is_left_out():
    section = Section({"tolerance": "5 degF", "none": 0})
    assert section.measure("tolerance", Quantity.TEMPERATURE, "degC", above=0.0, difference=True) == pytest.approx(
        25 / 9
    )
    assert section.measure("none", Quantity.TEMPERATURE, "degF", above=0.0, difference=True) is None
    assert section.faults[0].wanted == "a temperature in degF, more than 0 degC"


@pytest.mark.parametrize("raw", [pytest.param(16**5000, id="huge"), float("nan"), True, "1", None])
def test_numbers_are_finite_and_no_truth_values(raw):
    section = Section({"x": raw, "xs": [1, raw]})
    assert section.number("x") is None
    assert section.numbers("xs", 2) is None


@given(
    st.dictionaries(
        st.sampled_from("abc"),
        st.recursive(
            st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
            lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
            max_leaves=6,
        ),
    )
)
def test_no_getter_raises_whatever_the_file_holds(data):
    for name in ("a", "b", "c"):
        section = Section(data)
        section.text(name, required=True)
        section.choice(name, ["x"])
        section.flag(name)
        section.whole(name)
        section.number(name, 0, 1)
        section.measure(name, Quantity.TEMPERATURE, "degF", 0, 1, above=0.5, difference=True)
        section.texts(name)
        section.numbers(name, 2)
        section.pattern(name)
        section.table(name)
        section.tables(name)
        section.names()
        section.done()
        assert all(str(fault) for fault in section.faults)


def test_what_was_found_is_shown_shortly_as_the_file_has_it():
    section = Section({"a": {"b": 1}, "c": [1, "x", True], "d": 16**5000, "e": "y" * 100})
    for name in "acde":
        section.flag(name)
    shown = [fault.got for fault in section.faults]
    assert shown == ["a table", '[1, "x", true]', "a number of thousands of digits", '"' + "y" * 56 + "…"]


def test_a_key_without_a_name_is_told_as_one() -> None:
    section = Section({"": 1})
    section.done()
    assert [fault.key for fault in section.faults] == ['""']
