"""Datasheets: every fault at once, values exactly as shown, both directions, the builder's own folder."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.datasheets.catalogue import find_datasheet, known_datasheets
from gaugelog.datasheets.meaning import Decoding, Encoding, redecode
from gaugelog.datasheets.read import read_datasheet
from gaugelog.errors import FaultyDatasheetError, PluginClashError, UnknownDatasheetError
from gaugelog.model.readings import Chunk, Flag, Reading, Reject, RejectReason

MINE = """
name = "my-gauge"
title = "a gauge of my own"
quantity = "length"
sends = "steadily"
resolution = 0.01

[framing]
kind = "line"
pattern = '(?P<number>-?\\d+\\.\\d+)'
template = "{number}"

[value]
unit = "mm"
"""


def item(name: str, line: bytes) -> Reading | Reject:
    (only,) = Decoding(find_datasheet(name), "gauge").feed(Chunk(7, line)).items
    return only


def reading(name: str, line: bytes) -> Reading:
    found = item(name, line)
    assert isinstance(found, Reading), found
    return found


def reject(name: str, line: bytes) -> RejectReason:
    found = item(name, line)
    assert isinstance(found, Reject), found
    return found.reason


def test_a_displayed_number_is_exactly_that_number() -> None:
    found = reading("angle-line", b"+  2.85 deg\r\n")
    assert (found.value, found.text, found.unit, found.resolution, found.time_ns) == (2.85, "2.85", "deg", 0.05, 7)


def test_signs_marks_and_units() -> None:
    assert reading("angle-line", b"-  0.35 deg H\n").value == -0.35
    assert reading("angle-line", b"-  0.35 deg H\n").flags is Flag.HOLD
    assert reading("angle-line", b"+  0.35 deg B\n").flags is Flag.LOW_BATTERY
    assert reading("depth-line", b"D   0.42 mm*\n").flags is Flag.HOLD


def test_decimal_comma_and_degree_sign() -> None:
    found = reading("angle-line-fine", "-0,35°\r\n".encode("latin-1"))
    assert (found.value, found.text) == (-0.35, "-0.35")


def test_a_scale_keeps_the_digits_exact() -> None:
    found = reading("angle-on-change", b"A 00285\r")
    assert (found.value, found.text) == (2.85, "2.85")


def test_inches_are_converted_exactly_and_have_the_digit_of_their_own_display() -> None:
    found = reading("caliper-button", b"0.0165 in\r\n")
    # 25.4 mm: international yard and pound agreement, 1959
    assert found.value == pytest.approx(0.0165 * 25.4, rel=1e-15)
    assert (found.text, found.unit) == ("0.0165", "in")
    assert found.resolution == pytest.approx(0.0127)


def test_fahrenheit_has_its_offset() -> None:
    # 212 F is 100 degC, by definition of the scales
    text = find_datasheet("temperature-line").text.replace("range = [-20, 60]", "range = [-20, 160]")
    (found,) = Decoding(read_datasheet(text, "hot"), "gauge").feed(Chunk(0, b"T 212.0 F\n")).items
    assert isinstance(found, Reading)
    assert found.value == 100.0


@pytest.mark.parametrize(
    ("name", "line", "reason"),
    [
        ("angle-line", b"+ 2.8x deg\r\n", RejectReason.NO_MATCH),
        ("angle-line", b"+999.00 deg\r\n", RejectReason.RANGE),
        ("angle-line-fine", b"OR\r\n", RejectReason.RANGE),
        ("angle-line-fine", "°\r\n".encode("latin-1"), RejectReason.NUMBER),
        ("caliper-button", b"0.42 mils\r\n", RejectReason.NO_MATCH),
    ],
)
def test_what_is_no_reading_says_why(name: str, line: bytes, reason: RejectReason) -> None:
    assert reject(name, line) is reason


def test_a_unit_that_the_datasheet_does_not_know_is_told() -> None:
    text = MINE.replace("\\d+\\.\\d+)'", "\\d+\\.\\d+)(?P<unit>.*)'").replace('"{number}"', '"{number}{unit}"')
    sheet = read_datasheet(text + 'unit_field = "unit"\nunits = {mm = "mm"}\n', "mine")
    (found,) = Decoding(sheet, "gauge").feed(Chunk(0, b"0.42thou\n")).items
    assert isinstance(found, Reject)
    assert (found.reason, found.detail) == (RejectReason.UNIT, "thou")


@pytest.mark.parametrize("text", ["nan", "inf", "1e5", "0x10", "1_000", "--1"])
def test_what_only_a_computer_calls_a_number_is_none(text: str) -> None:
    sheet = read_datasheet(MINE.replace("-?\\d+\\.\\d+", ".+"), "mine")
    (found,) = Decoding(sheet, "gauge").feed(Chunk(0, f"{text}\n".encode())).items
    assert isinstance(found, Reject)
    assert found.reason is RejectReason.NUMBER


SHEETS = known_datasheets()


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
@given(share=st.floats(0, 1))
def test_a_value_comes_back_on_its_digit(sheet, share: float) -> None:
    low = sheet.range_low if sheet.range_low is not None else 0.0
    high = sheet.range_high if sheet.range_high is not None else 100.0
    value = low + share * (high - low)
    (found,) = Decoding(sheet, "gauge").feed(Chunk(0, Encoding(sheet).encode(value))).items
    assert isinstance(found, Reading)
    assert abs(found.value - value) <= sheet.resolution * 0.5000001
    assert found.value == float(found.text)


def test_bytes_that_were_kept_can_be_read_again_otherwise() -> None:
    chunks = [Chunk(0, b"0.4"), Chunk(1, b"2\n")]
    as_it_was = redecode(read_datasheet(MINE, "mine"), chunks, "gauge")
    corrected = redecode(read_datasheet(MINE.replace('unit = "mm"', 'unit = "in"'), "mine"), chunks, "gauge")
    values = [item.value for heard in (*as_it_was, *corrected) for item in heard.items if isinstance(item, Reading)]
    assert values == [0.42, 0.42 * 25.4]


def test_all_faults_are_told_at_once_with_their_keys() -> None:
    text = """
name = "My Gauge"
quantity = "length"
sends = "sometimes"
resolution = -1
range = [5, 1]
wobble = 3

[framing]
kind = "line"
pattern = '(?P<number>\\d+)'
template = "{amount}"

[value]
unit = "deg"
field = "count"

[[flag]]
field = "mark"
means = "tired"
"""
    with pytest.raises(FaultyDatasheetError) as caught:
        read_datasheet(text, "mine.toml")
    keys = {fault.key for fault in caught.value.faults}
    assert {
        "name", "title", "sends", "resolution", "range", "wobble", "framing.template", "value.unit", "value.field",
        "flag[1].means", "flag[1].texts", "flag[1].field",
    } <= keys  # fmt: skip
    assert "mine.toml" in str(caught.value)


def test_a_gauge_that_answers_when_asked_must_say_what_to_ask() -> None:
    with pytest.raises(FaultyDatasheetError, match="poll"):
        read_datasheet(MINE.replace('"steadily"', '"when asked"'), "mine")


@pytest.mark.parametrize(
    "poll", ['text = "?"', "period_s = 1", 'text = "?"\nhex = "3F"\nperiod_s = 1', 'hex = "3"\nperiod_s=1']
)
def test_a_poll_is_bytes_and_a_period(poll: str) -> None:
    with pytest.raises(FaultyDatasheetError, match="poll"):
        read_datasheet(f"{MINE}\n[poll]\n{poll}\n", "mine")


def read_or_faults(text: str) -> object:
    """Return the datasheet, or its faults; anything else that is raised fails the test."""
    try:
        return read_datasheet(text, "fuzz")
    except FaultyDatasheetError as error:
        return error.faults


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused_as_faulty(text: str) -> None:
    assert read_or_faults(text)


@given(st.data())
def test_a_damaged_datasheet_is_read_or_refused_as_faulty(data) -> None:
    text = list(data.draw(st.sampled_from(SHEETS)).text)
    for _ in range(data.draw(st.integers(1, 6))):
        text[data.draw(st.integers(0, len(text) - 1))] = data.draw(st.characters(codec="utf-8"))
    assert read_or_faults("".join(text))


def test_the_nearest_names_are_offered() -> None:
    with pytest.raises(UnknownDatasheetError) as caught:
        find_datasheet("angle-lime")
    assert "angle-line" in caught.value.nearest


def test_the_builders_own_folder_is_looked_through(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(MINE, encoding="utf-8")
    assert find_datasheet("my-gauge", [tmp_path]).title == "a gauge of my own"


def test_a_name_that_is_taken_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(MINE.replace("my-gauge", "angle-line"), encoding="utf-8")
    with pytest.raises(PluginClashError):
        known_datasheets([tmp_path])
