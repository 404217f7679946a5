"""Which datasheets fit bytes, in which order, and that none is picked in silence. All bytes are invented."""

from __future__ import annotations

import pytest

from gaugelog.datasheets.catalogue import known_datasheets
from gaugelog.datasheets.meaning import Encoding
from gaugelog.datasheets.read import read_datasheet
from gaugelog.gauges.guessing import alike_first, fits
from gaugelog.gauges.trying import try_bytes
from gaugelog.model.datasheet import Datasheet, Sends
from gaugelog.model.readings import Chunk, Reading, Reject, RejectReason

SENDING = [sheet for sheet in known_datasheets() if sheet.sends is not Sends.WHEN_TYPED]


def every(period_s: float, *pieces: bytes) -> list[Chunk]:
    return [Chunk(round(place * period_s * 1e9), piece) for place, piece in enumerate(pieces)]


def bare(quantity: str, unit: str, *, rate_hz: float | None = None, service: str = "") -> Datasheet:
    """A gauge that sends bare numbers: nothing in its bytes says what they are."""
    text = f"""
name = "bare-{quantity}"
title = "bare numbers"
quantity = "{quantity}"
sends = "steadily"
resolution = 0.01
{f"rate_hz = {rate_hz}" if rate_hz else ""}
[framing]
kind = "line"
pattern = '(?P<number>-?\\d+\\.\\d\\d)'
template = "{{number}}"
[value]
unit = "{unit}"
{f'[radio]{chr(10)}service = "{service}"' if service else ""}
"""
    return read_datasheet(text, "bare")


ANGLE, LENGTH = bare("angle", "deg"), bare("length", "mm")


@pytest.mark.parametrize("sheet", SENDING, ids=lambda sheet: sheet.name)
def test_each_gauge_is_among_the_best_for_what_it_sends(sheet: Datasheet) -> None:
    low = sheet.range_low if sheet.range_low is not None else 0.0
    high = sheet.range_high if sheet.range_high is not None else 10.0
    encoding = Encoding(sheet)
    values = [low + (high - low) * share for share in (0.51, 0.52, 0.54, 0.57, 0.61, 0.66)]
    found = fits(every(1 / (sheet.rate_hz or 10), *(encoding.encode(value) for value in values)), SENDING)
    assert sheet.name in [fit.datasheet.name for fit in alike_first(found)]
    (own,) = [fit for fit in found if fit.datasheet.name == sheet.name]
    assert (own.readings, own.rejects, own.share) == (6, 0, 1.0)
    if sheet.rate_hz is not None:
        assert own.rate_hz == pytest.approx(sheet.rate_hz)


def test_bytes_that_fit_an_angle_and_a_length_are_told_as_both() -> None:
    found = fits(every(0.1, *[b"2.85\r\n"] * 8), [LENGTH, ANGLE])
    assert [fit.datasheet.name for fit in alike_first(found)] == ["bare-angle", "bare-length"]


def test_the_evidence_is_the_bytes_and_the_value_in_them() -> None:
    (fit, *_) = fits(every(0.1, b"+  2.85 deg\r\n", b"+  2.90 deg H\r\n"), SENDING)
    assert fit.datasheet.name == "angle-line"
    assert fit.example.raw == b"+  2.90 deg H"
    assert isinstance(fit.example.item, Reading)
    assert fit.example.item.text == "2.90"


def test_the_rest_of_a_message_at_the_beginning_and_a_cut_one_at_the_end_are_held_against_none() -> None:
    (fit, *_) = fits(every(0.1, b"5 deg\r\n+  2.85 deg\r\n+  2.9", b"0 deg\r\n", b"+  2."), SENDING)
    assert (fit.readings, fit.rejects) == (2, 0)


def test_nothing_rejected_goes_before_something_rejected() -> None:
    wider = read_datasheet(
        ANGLE.text.replace("-?\\d", "[A-Z-]?\\d").replace("bare-angle", "wider").replace("[framing]", "[framing]"), "w"
    )
    data = every(0.1, b"1.00\r\n", b"2.00\r\n", b"3.00\r\n", b"X9\r\n", b"4.00\r\n")
    narrow = read_datasheet(
        ANGLE.text.replace("(?P<number>-?\\d+\\.\\d\\d)", "X?(?P<number>\\d+(?:\\.\\d\\d)?)").replace(
            "bare-angle", "all-of-it"
        ),
        "n",
    )
    found = fits(data, [wider, ANGLE, narrow])
    assert [(fit.datasheet.name, fit.rejects) for fit in found] == [("all-of-it", 0), ("bare-angle", 1), ("wider", 1)]


def test_more_rejected_than_read_is_no_fit_and_neither_is_nothing() -> None:
    assert fits(every(0.1, b"2.85\r\n", b"x1\r\n", b"x2\r\n"), [ANGLE]) == ()
    assert fits(every(0.1, b"nothing\r\n"), SENDING) == ()
    assert fits([], SENDING) == ()


def test_the_rate_of_the_datasheet_and_the_service_it_names_decide_between_equals() -> None:
    data = every(0.1, *[b"2.85\r\n"] * 8)
    slow, right = bare("angle", "deg", rate_hz=1), bare("length", "mm", rate_hz=10)
    assert [fit.datasheet.name for fit in fits(data, [slow, right])] == ["bare-length", "bare-angle"]
    named = bare("angle", "deg", rate_hz=1, service="181a")
    whole = "0000181a-0000-1000-8000-00805f9b34fb"
    assert [fit.datasheet.name for fit in fits(data, [right, named], [whole])] == ["bare-angle", "bare-length"]


def test_only_a_checksum_guards() -> None:
    lines = every(0.1, *[b"2.85\r\n"] * 8)
    assert not fits(lines, [ANGLE])[0].guarded
    asked = [sheet for sheet in SENDING if sheet.framing == "modbus"]
    for sheet in asked:
        (fit,) = fits(every(0.1, *[Encoding(sheet).encode(1.0)] * 4), [sheet])
        assert fit.guarded, sheet.name


def test_trying_tells_each_message_with_its_bytes_and_what_the_end_cut_off() -> None:
    tried = try_bytes(ANGLE, every(0.1, b"2.85\r\nx\r\n", b"3.0", b"0\r\n4."))
    assert [(each.time_ns, each.raw) for each in tried.messages] == [
        (0, b"2.85"),
        (0, b"x"),
        (200_000_000, b"3.00"),
    ]
    assert len(tried.readings) == 2
    assert len(tried.rejects) == 1
    (left,) = tried.left_over
    assert isinstance(left.item, Reject)
    assert (left.raw, left.item.reason) == (b"4.", RejectReason.CUT_OFF)
