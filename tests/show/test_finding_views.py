"""Finding and trying as text of any width, and as documents whose every field is explained. All values invented."""

from __future__ import annotations

import json
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console, RenderableType

from gaugelog.datasheets.catalogue import find_datasheet, known_datasheets
from gaugelog.errors import LinkFailedError, LinkReason, PluginBrokenError
from gaugelog.gauges.found import NOT_NAMED, Blind, Doing, Found, HeardAt, Place, Step
from gaugelog.gauges.guessing import fits
from gaugelog.gauges.trying import try_bytes
from gaugelog.model.device import Sighting
from gaugelog.model.gauges import parse_address
from gaugelog.model.readings import Chunk
from gaugelog.plugins import DATASHEETS, FRAMINGS, Plugin
from gaugelog.show.finding_documents import finding_document, plugins_document, trying_document, written_document
from gaugelog.show.finding_progress import step_words
from gaugelog.show.finding_view import finding_view
from gaugelog.show.trying_view import plugins_view, trying_view

PAGE = (Path(__file__).parents[2] / "docs" / "documents.md").read_text(encoding="utf-8")
PORT = "serial:/dev/serial/by-id/usb-SYNTHETIC_adapter_for_the_tests_0001-if00-port0"
PLUGINS = [
    (Plugin(FRAMINGS, "lost", "nowhere.at_all:Framing", "a-package-with-a-long-name", "1.2.3"), "No module 'nowhere'"),
    (Plugin(DATASHEETS, "sheets", "somewhere.sheets", "another", "0.1"), ""),
]
BROKEN = [PluginBrokenError(DATASHEETS, "odd", "odd.sheets", "there is no *.toml file in it")]


def lines(*texts: bytes) -> tuple[Chunk, ...]:
    return tuple(Chunk(place * 100_000_000, text) for place, text in enumerate(texts))


@pytest.fixture
def found() -> Found:
    """A port with a gauge, one with gibberish, a busy one, a silent one, two strangers, and no radio of one kind."""
    good = lines(*[b"+  2.85 deg\r\n"] * 6, b"+  2.90 deg H\r\n")
    odd = [
        HeardAt(parse_address(f"serial:/dev/ttyX1?baud={speed}"), lines(bytes(range(200)))) for speed in (9600, 115200)
    ]
    return Found(
        (
            Place(
                Sighting(PORT, "synthetic adapter", "/dev/ttyX0"),
                (HeardAt(parse_address(f"{PORT}?baud=9600"), good, fits(good, known_datasheets())),),
            ),
            Place(Sighting("serial:/dev/ttyX1"), tuple(odd)),
            Place(
                Sighting("serial:/dev/ttyX2"), failure=LinkFailedError("serial:/dev/ttyX2", LinkReason.BUSY, "in use")
            ),
            Place(Sighting("serial:/dev/ttyX3"), (HeardAt(parse_address("serial:/dev/ttyX3?baud=9600"), ()),)),
            Place(Sighting("ble:C0:00:00:00:00:01", "far away", "", (), -90), passed_over=NOT_NAMED),
            Place(Sighting("ble:C0:00:00:00:00:02", "near by", "", (), -40), passed_over=NOT_NAMED),
        ),
        (Blind("air", LinkFailedError("air:", LinkReason.RADIO_OFF)),),
    )


def text_of(view: RenderableType, width: int) -> str:
    file = StringIO()
    Console(file=file, width=width, highlight=False, markup=False, emoji=False).print(view)
    return file.getvalue()


@pytest.mark.parametrize("width", [60, 80, 100])
def test_a_search_is_told_whole_at_any_width(found: Found, width: int) -> None:
    text = text_of(finding_view(found, asked=False), width)
    assert max(len(line.rstrip()) for line in text.splitlines()) <= width
    words = " ".join(text.split())
    for told in (
        "1 angle-line",
        "read 7 of 7 messages",
        "2.90 deg of `+ 2.90 deg H`",
        "In use by another program (in use).",
        "Nothing came.",
        "can be asked with --ask",
        "2 devices left alone",
        "air: Bluetooth is off",
    ):
        assert told in words
    assert words.index("near by, -40 dBm") < words.index("far away, -90 dBm")
    assert "can be asked" not in text_of(finding_view(found, asked=True), width)


def test_nothing_at_all_is_told() -> None:
    assert "No port is there" in text_of(finding_view(Found(()), asked=False), 80)


def test_long_options_of_a_radio_device_are_broken_between_themselves() -> None:
    way = f"air:G?service={'1' * 36}&notify={'2' * 36}&write={'3' * 36}"
    good, odd = lines(*[b"+  2.85 deg\r\n"] * 4), lines(b"odd")
    for chunks in (good, odd):
        heard = HeardAt(parse_address(way), chunks, fits(chunks, known_datasheets()))
        text = text_of(finding_view(Found((Place(Sighting("air:G"), (heard, heard)),)), asked=False), 80)
        assert f"service={'1' * 36}," in text
        assert f"write={'3' * 36}" in text


@pytest.mark.parametrize("width", [60, 80, 100])
def test_trying_and_plugins_fit_any_width(width: int) -> None:
    sheet = find_datasheet("angle-line")
    tried = try_bytes(sheet, lines(b"+  2.85 deg\r\n", b"x" * 90 + b"\r\n", b"+"))
    for view in (trying_view(sheet, "", tried), trying_view(sheet, "a rule", None), plugins_view(PLUGINS, BROKEN)):
        assert max(len(line.rstrip()) for line in text_of(view, width).splitlines()) <= width
    assert "1 reading, 1 rejected, the last one cut off by the end." in text_of(trying_view(sheet, "", tried), 100)
    assert "No installed package" in text_of(plugins_view([], []), width)


def test_broken_datasheets_are_told_even_where_no_entry_point_is_left() -> None:
    assert "there is no *.toml file in it" in text_of(plugins_view([], BROKEN), 100)


def test_each_step_is_one_line() -> None:
    for doing in Doing:
        words = step_words(Step(doing, "serial:/dev/ttyX0", 3.0, "detail"))
        assert words
        assert "\n" not in words
    assert step_words(Step(Doing.LISTENING, "serial:/dev/ttyX0", 3.0)) == "listening for 3 s: serial:/dev/ttyX0"


def _keys(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield key
            yield from _keys(inner)
    if isinstance(value, list):
        for each in value:
            yield from _keys(each)


def test_every_field_of_the_documents_is_explained(found: Found) -> None:
    sheet = find_datasheet("angle-line")
    tried = try_bytes(sheet, lines(b"+  2.85 deg\r\n", b"x\r\n", b"+"))
    documents = {
        "gauges find": finding_document(found, written_document("baritone.toml", "long", "angle-line@serial:X")),
        "gauges try": trying_document(sheet, "", tried),
        "gauges --plugins": plugins_document(PLUGINS, BROKEN),
    }
    sections = {name: PAGE.partition(f"## {name}\n")[2].split("\n## ")[0] for name in (*documents, "gauges read")}
    for name, document in documents.items():
        json.dumps(document, allow_nan=False)
        explained = sections[name] + (
            sections["gauges read"] + sections["gauges try"] if name != "gauges --plugins" else ""
        )
        assert [key for key in sorted(set(_keys(document))) if f"`{key}`" not in explained] == []
