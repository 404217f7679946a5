"""DATASHEET@ADDRESS."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.errors import AddressError
from gaugelog.model.gauges import parse_address, parse_gauge


def test_a_gauge_has_datasheet_address_and_short_name():
    gauge = parse_gauge("angle-line@serial:COM3?baud=9600&parity=even", "neck")
    assert (gauge.datasheet, gauge.name) == ("angle-line", "neck")
    assert (gauge.address.scheme, gauge.address.target) == ("serial", "COM3")
    assert gauge.address.options == {"baud": "9600", "parity": "even"}
    assert str(gauge) == "angle-line@serial:COM3?baud=9600&parity=even"


def test_percent_escapes_stand_for_what_an_address_can_not_hold():
    assert parse_address("replay:a%3Fb?speed=2").target == "a?b"


@pytest.mark.parametrize(
    "text", ["serial", ":x", "@serial:x", "a b:x", "serial:x?baud", "serial:x?baud=", "serial:x?a=1&a=2"]
)
def test_what_can_not_be_read_is_refused(text):
    with pytest.raises(AddressError):
        parse_address(text)


@given(st.text(max_size=40))
def test_any_text_is_a_gauge_or_an_address_error(text):
    try:
        gauge = parse_gauge(text)
    except AddressError:
        return
    assert parse_gauge(str(gauge)) == gauge
