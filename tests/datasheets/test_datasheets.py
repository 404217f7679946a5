"""Datasheets: every fault at once, values exactly as shown, both directions, the builder's own folder."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.datasheets.catalogue import find_datasheet, known_datasheets
from gaugelog.datasheets.meaning import Decoding, Encoding, redecode
from gaugelog.datasheets.read import read_datasheet
from gaugelog.errors import FaultyDatasheetError, PluginClashError, UnknownDatasheetError
from gaugelog.model.quantities import find_unit
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
    found = reading("caliper-button", b"+0.0165 in\r\n")
    # 25.4 mm: international yard and pound agreement, 1959
    assert found.value == pytest.approx(0.0165 * 25.4, rel=1e-15)
    assert (found.text, found.unit) == ("0.0165", "in")
    assert found.resolution == pytest.approx(0.0127)


def test_without_a_step_another_unit_is_never_finer_than_the_gauge() -> None:
    text = find_datasheet("caliper-button").text.replace("steps = {in = 0.0005}\n", "")
    decoding = Decoding(read_datasheet(text, "no step"), "gauge")
    found = decoding.feed(Chunk(0, b"+0.016 in\r\n+0.0165 in\r\n+0.01654 in\r\n")).items
    # a last digit of 0.001 in is 0.0254 mm; those of 0.0001 and 0.00001 in are finer than the gauge's own 0.01 mm
    assert [each.resolution for each in found if isinstance(each, Reading)] == pytest.approx([0.0254, 0.01, 0.01])


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
        ("angle-line-fine", "+°\r\n".encode("latin-1"), RejectReason.NUMBER),
        ("caliper-button", b"+0.42 mils\r\n", RejectReason.NO_MATCH),
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


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_a_number_too_large_for_a_float_is_out_of_range(unit: str) -> None:
    text = MINE.replace('unit = "mm"', f'unit = "{unit}"').replace('kind = "line"', 'kind = "line"\nlongest = 9000')
    for digits in (400, 5000):
        (found,) = Decoding(read_datasheet(text, "mine"), "gauge").feed(Chunk(0, b"9" * digits + b".0\n")).items
        assert isinstance(found, Reject)
        assert found.reason is RejectReason.RANGE


@given(st.decimals(-7, 7, places=4))
def test_inches_become_the_nearest_float_of_the_exact_product(inches: Decimal) -> None:
    # 1 in = 25.4 mm exactly (international yard and pound agreement, 1959)
    line = f"{'-' if inches.is_signed() else '+'}{abs(inches):f} in\r\n".encode()
    assert reading("caliper-button", line).value == float(Fraction(inches) * Fraction(254, 10))


def test_a_unit_that_the_gauge_cannot_say_is_refused() -> None:
    for name in ("depth-line", "caliper-polled"):
        with pytest.raises(ValueError, match="in"):
            Encoding(find_datasheet(name)).encode(5.0, unit="in")


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_no_gauge_shows_what_is_no_number(value: float) -> None:
    with pytest.raises(ValueError, match="can't show"):
        Encoding(find_datasheet("depth-line")).encode(value)


SHEETS = known_datasheets()


@pytest.mark.parametrize("sheet", [s for s in SHEETS if s.sends.value != "when typed"], ids=lambda sheet: sheet.name)
@given(share=st.floats(0, 1))
def test_a_line_that_lost_its_head_is_no_reading(sheet, share: float) -> None:
    line = Encoding(sheet).encode(sheet.range_low + share * (sheet.range_high - sheet.range_low))
    for lost in range(1, len(line)):
        items = Decoding(sheet, "gauge").feed(Chunk(0, line[lost:])).items
        assert not any(isinstance(each, Reading) for each in items), line[lost:]


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
@given(share=st.floats(0, 1))
def test_a_value_comes_back_on_its_digit(sheet, share: float) -> None:
    low = sheet.range_low if sheet.range_low is not None else 0.0
    high = sheet.range_high if sheet.range_high is not None else 100.0
    value = low + share * (high - low)
    (found,) = Decoding(sheet, "gauge").feed(Chunk(0, Encoding(sheet).encode(value))).items
    assert isinstance(found, Reading)
    assert abs(found.value - value) <= sheet.resolution * 0.5000001
    assert found.value == find_unit(found.unit, sheet.quantity).to_base(Decimal(found.text))
    step = Decimal(repr(sheet.resolution))
    assert found.value == float((Decimal(repr(value)) / step).quantize(Decimal(1), ROUND_HALF_EVEN) * step)


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
@given(data=st.data())
def test_readings_are_the_same_however_the_bytes_are_cut(sheet, data) -> None:
    ends = (sheet.range_low, sheet.range_high) if sheet.range_low is not None else (0.0, 100.0)
    values = data.draw(st.lists(st.floats(*ends), min_size=1, max_size=5))
    stream = b"".join(Encoding(sheet).encode(value) for value in values)
    places = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=6)))
    pieces = [stream[start:end] for start, end in zip([0, *places], [*places, len(stream)], strict=True)]
    heard = redecode(sheet, [Chunk(0, piece) for piece in pieces], "gauge")
    (whole,) = redecode(sheet, [Chunk(0, stream)], "gauge")
    assert tuple(each for one in heard for each in one.items) == whole.items
    assert len(whole.items) == len(values)


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
    "value", ["scale = 0", "scale = 1e999999", "scale = true", 'scale = "x"', "steps = {in = 1e-30}", "negative = []"]
)
def test_what_no_arithmetic_could_hold_is_a_fault(value: str) -> None:
    with pytest.raises(FaultyDatasheetError, match="value"):
        read_datasheet(f"{MINE}{value}\n", "mine")


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


@pytest.mark.filterwarnings("ignore::FutureWarning")  # Python's remarks on odd regular expressions
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


def test_the_same_digits_for_too_long_are_marked_as_frozen_and_kept() -> None:
    sheet = read_datasheet(MINE.replace("[framing]", "frozen_s = 5\n[framing]", 1), "stuck")
    line, decoding = Encoding(sheet), Decoding(sheet, "g")
    values = [(0, 2.85), (4, 2.85), (5.5, 2.85), (6, 2.86), (11, 2.86), (11.5, 2.86)]
    flags = []
    for seconds, value in values:
        (reading,) = decoding.feed(Chunk(round(seconds * 1e9), line.encode(value))).items
        assert isinstance(reading, Reading)
        flags.append(bool(reading.flags & Flag.FROZEN))
    assert flags == [False, False, True, False, False, True]
